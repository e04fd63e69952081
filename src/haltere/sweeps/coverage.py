"""What is said of a sweep: planes, passes, gaps, and whether it is complete."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from haltere.focus.fault import Fault
from haltere.kit.capture import ScaleSource
from haltere.runs.run import Pass


@dataclass(frozen=True, slots=True)
class Plane:
    """Where one frame's plane of focus lies; 0 = the reference frame's plane, + = deeper.

    `position_*` is None for a frame that could not be placed; `*_mm` is None where the
    scale is unknown.
    """

    frame: str
    position_mm: float | None
    position_dof: float | None
    uncertainty_mm: float | None
    uncertainty_dof: float | None
    usable: bool
    faults: tuple[Fault, ...]


@dataclass(frozen=True, slots=True)
class Gap:
    """A stretch of depth that holds animal and no usable plane.

    `box_px` is (x0, y0, x1, y1) on the reference frame; `beside` names the frames whose
    planes border the gap.
    """

    kind: Literal["near-end", "inside", "far-end"]
    from_mm: float | None
    to_mm: float | None
    from_dof: float
    to_dof: float
    box_px: tuple[float, float, float, float]
    beside: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Coverage:
    """Everything said of one sweep before merging."""

    reference: str
    depth_of_field_mm: float | None
    depth_of_field_rule: str
    coc_mm: float
    mm_per_px: float | None
    scale_source: ScaleSource
    planes: tuple[Plane, ...]
    passes: tuple[Pass, ...]
    gaps: tuple[Gap, ...]
    complete: bool | None
    reason: str
