"""How deep the eye lies in a sweep, and where its gaps lie against it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from haltere.align.pose import apply, homography
from haltere.errors import UsageError
from haltere.focus.curves import NUMBERS as CURVES
from haltere.sweeps.coverage import Coverage, EyePlace, Gap
from haltere.sweeps.sweep import Sweep

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class EyeNumbers:
    """Numbers that steer the search for the eye's depth.

    Attributes
    ----------
    reaches : tuple of float
        Radii of the eye within which places are asked for their depth, one after the other: a
        smooth eye shows focus at its rim and in the hairs about it only (assumed).
    places : int
        Believed places that must lie there.
    just_dof : float
        Distance below which a gap is said to lie just behind the eye: a plane's own error and the
        eye's curve are of that size (assumed).
    """

    reaches: tuple[float, ...] = (0.8, 1.3, 2.0)
    places: int = 4
    just_dof: float = 0.25


NUMBERS = EyeNumbers()


def in_reference(
    sweep: Sweep, frame: str, at_px: tuple[float, float]
) -> tuple[float, float] | None:
    """Carry a place of one frame to the reference frame.

    Parameters
    ----------
    sweep : Sweep
        Solved.
    frame : str
        Name of the frame.
    at_px : tuple of float
        The place, upright full-size pixels of that frame.

    Returns
    -------
    tuple of float or None
        The place, upright full-size pixels of the reference frame; None where the frame could not
        be placed.
    """
    names = [one.name for one in sweep.frames]
    if frame not in names or _plane(sweep, frame) is None:
        return None
    pose = sweep.poses[names.index(frame)]
    middle = _middle(sweep)
    seen = np.array([[(at_px[0] + 0.5) * sweep.scale - 0.5, (at_px[1] + 0.5) * sweep.scale - 0.5]])
    depth = float(pose[2])
    here = seen
    for _ in range(3):  # where it lies in the reference view depends on its depth, and the reverse
        back = np.linalg.inv(homography(pose, depth, sweep.focal_px)).astype(np.float64)
        here = apply(back, seen - middle) + middle
        told = _depth_at(sweep, here[0], 3.0 * CURVES.cell_px)
        if told is None:
            break
        depth = told
    x, y = ((here[0] + 0.5) / sweep.scale - 0.5).tolist()
    return x, y


def with_eye(
    sweep: Sweep,
    at_px: tuple[float, float],
    radius_px: float,
    source: Literal["given", "proposed"],
) -> Coverage:
    """Say how deep the eye lies, and of each gap where it lies against the eye.

    Parameters
    ----------
    sweep : Sweep
        Solved.
    at_px : tuple of float
        The eye, upright full-size pixels of the reference frame.
    radius_px : float
        Its radius there.
    source : {"given", "proposed"}
        Who says so.

    Returns
    -------
    Coverage
        As it was where nothing tells the eye's depth.

    Raises
    ------
    UsageError
        When the eye was given and lies outside the reference frame.
    """
    said = sweep.coverage
    frame = sweep.frames[sweep.reference]
    if not (0 <= at_px[0] <= frame.width_px - 1 and 0 <= at_px[1] <= frame.height_px - 1):
        if source == "given":
            raise UsageError(
                f"{frame.name}: the eye lies outside this frame, which all others are brought to; "
                "name one that shows it with --reference"
            )
        return said
    here = (np.array(at_px) + 0.5) * sweep.scale - 0.5
    radius = max(radius_px * sweep.scale, float(CURVES.cell_px))
    found = (_depth_at(sweep, here, reach * radius) for reach in NUMBERS.reaches)
    depth = next((one for one in found if one is not None), None)
    if depth is None:
        return said
    dof = said.depth_of_field_mm
    at_dof = depth / sweep.dof
    eye = EyePlace(
        frame.name, at_px[0], at_px[1], source, None if dof is None else at_dof * dof, at_dof
    )
    return replace(
        said, eye=eye, gaps=tuple(replace(gap, where=against_eye(gap, eye)) for gap in said.gaps)
    )


def against_eye(gap: Gap, eye: EyePlace) -> str:
    """Say where a gap lies: 'about 0.4 mm behind the eye'.

    Parameters
    ----------
    gap : Gap
        The gap.
    eye : EyePlace
        The eye.
    """
    near, far = gap.from_dof - eye.depth_dof, gap.to_dof - eye.depth_dof
    if near <= 0 <= far:
        return "across the eye itself"
    side, away = ("behind", near) if near > 0 else ("in front of", -far)
    if away < NUMBERS.just_dof:
        return f"just {side} the eye"
    size = f"{away:.1f} depths of field"
    if gap.from_mm is not None and gap.to_mm is not None and eye.depth_mm is not None:
        mm = gap.from_mm - eye.depth_mm if near > 0 else eye.depth_mm - gap.to_mm
        size = f"{mm:.1f} mm" if mm >= 0.1 else f"{mm:.2f} mm"
    return f"about {size} {side} the eye"


def _plane(sweep: Sweep, frame: str) -> float | None:
    return next((p.position_dof for p in sweep.coverage.planes if p.frame == frame), None)


def _middle(sweep: Sweep) -> Floats:
    """Middle of an analysis picture, pixels from its corner."""
    height, width = sweep.lumas.shape
    return np.array([(width - 1) / 2, (height - 1) / 2])


def _depth_at(sweep: Sweep, here: Floats, reach_px: float) -> float | None:
    """Median depth of the believed places within some analysis pixels of one."""
    rows, cols = sweep.trusted.shape
    y, x = np.mgrid[0:rows, 0:cols]
    step = CURVES.cell_px
    away = np.hypot((x + 0.5) * step - 0.5 - here[0], (y + 0.5) * step - 0.5 - here[1])
    there = sweep.trusted & (away <= reach_px)
    if int(there.sum()) < NUMBERS.places:
        return None
    return float(np.median(sweep.peaks.depth[there]))
