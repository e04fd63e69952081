"""What is said of a sweep: planes, passes, gaps, and whether it is complete."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from haltere.focus.fault import Fault
from haltere.kit.capture import ScaleSource
from haltere.runs.run import Pass
from haltere.sweeps.choice import Choice
from haltere.sweeps.focusing import Focusing
from haltere.sweeps.push import Push
from haltere.sweeps.steps import Moved


@dataclass(frozen=True, slots=True)
class Plane:
    """Where one frame's plane of focus lies; 0 = the reference frame's plane, + = deeper.

    `position_*` is None for a frame that could not be placed; `*_mm` is None where the
    scale is unknown. `moved` says how the frame went on within its pass, `step_*` how far from
    the foremost plane before it (+ = on; None for the first of a pass), `moved_why` the same in
    words; None where it could not be placed. `sharp` are the places of the reference frame that
    lie within half a depth of field of its plane; None where it could not be placed.
    """

    frame: str
    position_mm: float | None
    position_dof: float | None
    uncertainty_mm: float | None
    uncertainty_dof: float | None
    usable: bool
    faults: tuple[Fault, ...]
    moved: Moved | None = None
    step_mm: float | None = None
    step_dof: float | None = None
    moved_why: str | None = None
    sharp: Cells | None = None


@dataclass(frozen=True, slots=True)
class Cells:
    """Places on the reference frame, as squares in rows.

    Attributes
    ----------
    size_px : float
        Side of a square, full-size pixels.
    runs : tuple of (int, int, int)
        Row, first column and the column after the last, counted in squares from the top left
        corner of the picture.
    """

    size_px: float
    runs: tuple[tuple[int, int, int], ...]


@dataclass(frozen=True, slots=True)
class Gap:
    """A stretch of depth that holds animal and no usable plane.

    `box_px` is (x0, y0, x1, y1) on the reference frame; `beside` names the frames whose
    planes border the gap; `cells` are the places themselves, None where only the box is known;
    `where` says where it lies against the eye, None where the eye is unknown.
    """

    kind: Literal["near-end", "inside", "far-end"]
    from_mm: float | None
    to_mm: float | None
    from_dof: float
    to_dof: float
    box_px: tuple[float, float, float, float]
    beside: tuple[str, ...]
    cells: Cells | None = None
    where: str | None = None

    @property
    def blur_coc(self) -> float:
        """Widest blur in the gap, in circles of confusion: 1 is just unseen in a whole print.

        Half a depth of field off the plane blurs by one; inside a gap the middle is farthest from
        the planes on either side, at an end its outer edge.
        """
        wide = self.to_dof - self.from_dof
        return 1.0 + (wide if self.kind == "inside" else 2.0 * wide)


@dataclass(frozen=True, slots=True)
class EyePlace:
    """Where the eye lies in a sweep.

    Attributes
    ----------
    frame : str
        The reference frame.
    x_px, y_px : float
        The eye there, upright full-size pixels.
    source : {"given", "proposed"}
        Who says so.
    depth_mm : float or None
        Depth against the reference frame's plane; None where the scale is unknown.
    depth_dof : float
        The same in depths of field.
    """

    frame: str
    x_px: float
    y_px: float
    source: Literal["given", "proposed"]
    depth_mm: float | None
    depth_dof: float


@dataclass(frozen=True, slots=True)
class Coverage:
    """Everything said of one sweep before merging.

    `choice` are the frames that suffice, `push` is how the hand did, `eye` is where the eye lies,
    `focusing` is whether the camera was pushed; None where they were not worked out.
    """

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
    choice: Choice | None = None
    push: Push | None = None
    eye: EyePlace | None = None
    focusing: Focusing | None = None
