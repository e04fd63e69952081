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
class Crop:
    """A crop of one frame as it could be shown, and what it carries.

    Attributes
    ----------
    box_px : tuple of int
        (x0, y0, x1, y1) in upright full-size pixels; x1 and y1 lie just outside.
    megapixels : float
        Pixels left.
    effective_megapixels : float or None
        Those that diffraction leaves something to see in; None when the f-number is unknown.
    print_width_mm, print_height_mm : float
        Largest print in which neither pixels nor missing detail show at reading distance.
    text : str
        The same in words.
    """

    box_px: tuple[int, int, int, int]
    megapixels: float
    effective_megapixels: float | None
    print_width_mm: float
    print_height_mm: float
    text: str


@dataclass(frozen=True, slots=True)
class FocusMap:
    """Where the plane of focus of one frame lies against what it shows.

    Attributes
    ----------
    frame : str
        Name of the frame.
    cell_px : float
        Side of a cell, upright full-size pixels; the first cell's middle is half of it from the
        corner.
    offset_dof : tuple of tuples of float or None
        Row by row: plane minus surface in depths of field, + = the plane lies behind the surface;
        None where no detail tells.
    """

    frame: str
    cell_px: float
    offset_dof: tuple[tuple[float | None, ...], ...]


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
    smear_px, smear_deg : float or None
        Length of the smear in full-size pixels and its direction, clockwise from level, 0 to 180.
    other_eye_px : tuple of float or None
        The animal's other eye (x, y), where both are seen.
    other_eye_offset_dof : float or None
        Plane of focus minus the other eye.
    like : str or None
        Name of the better ranked frame that this one nearly repeats; None for the first of a kind.
    crop : Crop or None
        Proposed crop, for keepers.
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
    smear_px: float | None = None
    smear_deg: float | None = None
    other_eye_px: tuple[float, float] | None = None
    other_eye_offset_dof: float | None = None
    like: str | None = None
    crop: Crop | None = None


@dataclass(frozen=True, slots=True)
class Verdict:
    """The answer to the burst's one question."""

    code: Literal["keeper", "none", "unsure"]
    text: str


@dataclass(frozen=True, slots=True)
class Keepers:
    """Everything said of one burst or single.

    Attributes
    ----------
    eye : Eye or None
        The eye judged at.
    frames : tuple of JudgedFrame
        In rank order.
    verdict : Verdict
        The answer.
    eye_radius_px : float or None
        Radius of the eye, full-size pixels of its frame.
    animal_px : tuple of float or None
        Box (x0, y0, x1, y1) about the main animal, pixels of the eye's frame.
    focus_map : FocusMap or None
        Of the best frame.
    """

    eye: Eye | None
    frames: tuple[JudgedFrame, ...]
    verdict: Verdict
    eye_radius_px: float | None = None
    animal_px: tuple[float, float, float, float] | None = None
    focus_map: FocusMap | None = None

    @property
    def best(self) -> JudgedFrame | None:
        """First-ranked frame; None when there is no frame."""
        return min(self.frames, key=lambda frame: frame.rank, default=None)
