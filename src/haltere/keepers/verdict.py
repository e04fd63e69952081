"""What is said of a burst: the eye, each frame's place, and a verdict in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from haltere.focus.fault import Fault


@dataclass(frozen=True, slots=True)
class Eye:
    """The eye point in one frame, upright full-size pixels."""

    frame: str
    x_px: float
    y_px: float
    source: Literal["given", "proposed"]


@dataclass(frozen=True, slots=True)
class JudgedFrame:
    """One frame of a burst, judged at the eye.

    Attributes
    ----------
    frame : str
        Name of the frame.
    rank : int
        1 is the best.
    eye_px : tuple of float or None
        Where the eye lies in this frame (x, y); None when it can't be found.
    sharpness : float
        Detail kept at the eye against the best frame of the run, 0 to 1.
    eye_offset_mm, eye_offset_dof : float or None
        Plane of focus minus eye along the axis: + = the plane lies behind the eye.
    uncertainty_dof : float or None
        One standard deviation of the offset.
    faults : tuple of Fault
        Everything found wrong.
    keeper : bool
        Eye within half a depth of field, smear at most 2 px, exposed, in the frame.
    """

    frame: str
    rank: int
    eye_px: tuple[float, float] | None
    sharpness: float
    eye_offset_mm: float | None
    eye_offset_dof: float | None
    uncertainty_dof: float | None
    faults: tuple[Fault, ...]
    keeper: bool


@dataclass(frozen=True, slots=True)
class Verdict:
    """The answer to the burst's one question."""

    code: Literal["keeper", "none", "unsure"]
    text: str


@dataclass(frozen=True, slots=True)
class Keepers:
    """Everything said of one burst or single; frames in rank order."""

    eye: Eye | None
    frames: tuple[JudgedFrame, ...]
    verdict: Verdict
