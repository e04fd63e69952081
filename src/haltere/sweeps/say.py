"""Turns a solved sweep into what is said of it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from haltere.align.solve import Solution
from haltere.focus.curves import NUMBERS as CURVES
from haltere.focus.curves import Peaks, Stack
from haltere.focus.fault import Fault
from haltere.frames.frame import Frame
from haltere.kit import mm_per_px
from haltere.kit.capture import Capture
from haltere.sweeps.coverage import Coverage, Gap, Plane
from haltere.sweeps.gaps import NUMBERS as GAPS
from haltere.sweeps.gaps import Hole, find_holes
from haltere.sweeps.passes import find_passes

Mask = NDArray[np.bool_]

RULE_KNOWN = "geometrical, 2 c N_eff / m^2"
RULE_MEASURED = "measured from the width of the focus curves, in units of itself"


def say_coverage(
    *,
    frames: Sequence[Frame],
    good: Sequence[int],
    lost: dict[int, str],
    capture: Capture,
    reference: int,
    scale: float,
    solution: Solution,
    stack: Stack,
    peaks: Peaks,
    trusted: Mask,
    usable: Mask,
    found: Mask,
    faults: Sequence[tuple[Fault, ...]],
    dof: float,
) -> Coverage:
    """Put planes, passes, gaps and the verdict into words and numbers.

    Parameters
    ----------
    frames : sequence of Frame
        All frames of the sweep.
    good, lost
        Indices of the decoded frames; reason for each that was not.
    capture : Capture
        How it was taken.
    reference : int
        Index among the decoded frames.
    scale : float
        Analysis pixels over full-size pixels.
    solution, stack, peaks, trusted, usable, found, faults
        See `haltere.sweeps.solve`.
    dof : float
        Relative depth of field.

    Returns
    -------
    Coverage
    """
    distance = capture.pupil_distance_mm if capture.magnification is not None else None
    along = solution.poses[:, 2]
    sigma = np.sqrt(np.maximum(solution.covariance[:, 2, 2], 0.0))

    def millimetres(relative: float) -> float | None:
        return None if distance is None else float(relative * distance)

    planes = []
    place = {k: row for row, k in enumerate(good)}
    along_dof = np.full(len(frames), np.nan)
    for k, frame in enumerate(frames):
        row = place.get(k)
        if row is None or not found[row]:
            why = faults[row] if row is not None else (Fault("hidden", 0.99, lost[k]),)
            planes.append(Plane(frame.name, None, None, None, None, usable=False, faults=why))
            continue
        along_dof[k] = along[row] / dof
        planes.append(
            Plane(
                frame.name,
                millimetres(along[row]),
                float(along[row] / dof),
                millimetres(sigma[row]),
                float(sigma[row] / dof),
                usable=bool(usable[row]),
                faults=faults[row],
            )
        )
    names = [f.name for f in frames]
    passes = find_passes(names, along_dof)
    holes = _holes(along, usable, stack, peaks, trusted, dof)
    order = np.flatnonzero(usable)[np.argsort(along[usable], kind="stable")]
    gaps = tuple(
        _gap(
            hole,
            [frames[good[i]].name for i in order],
            along[order],
            distance,
            dof,
            scale,
            trusted.shape,
        )
        for hole in holes
    )
    complete, reason = _verdict(gaps, usable, trusted, distance, capture)
    return Coverage(
        reference=frames[good[reference]].name,
        depth_of_field_mm=millimetres(dof),
        depth_of_field_rule=RULE_KNOWN if distance is not None else RULE_MEASURED,
        coc_mm=capture.coc_mm,
        mm_per_px=mm_per_px(capture),
        scale_source=capture.scale_source,
        planes=tuple(planes),
        passes=passes,
        gaps=gaps,
        complete=complete,
        reason=reason,
    )


def _holes(
    along: NDArray[np.float64], usable: Mask, stack: Stack, peaks: Peaks, trusted: Mask, dof: float
) -> list[Hole]:
    if usable.sum() < 2:
        return []
    rows = np.flatnonzero(usable)
    ends = rows[along[rows].argmin()], rows[along[rows].argmax()]
    energy = [np.nan_to_num(stack.energy[e]) - peaks.noise for e in ends]
    toward_far = peaks.depth > 0.5 * (along[ends[0]] + along[ends[1]])
    outermost = np.where(toward_far, energy[1], energy[0])
    strong = outermost > GAPS.energy * np.maximum(peaks.noise, 0.1)
    return find_holes(peaks.depth, trusted, strong, along[rows], dof)


def _gap(
    hole: Hole,
    names: Sequence[str],
    along: NDArray[np.float64],
    distance: float | None,
    dof: float,
    scale: float,
    shape: tuple[int, ...],
) -> Gap:
    rows, cols = np.nonzero(hole.places)
    step = CURVES.cell_px / scale
    low = np.percentile(cols, 1) * step, np.percentile(rows, 1) * step
    high = (np.percentile(cols, 99) + 1) * step, (np.percentile(rows, 99) + 1) * step
    middle = 0.5 * (hole.start + hole.end)
    before = [n for n, z in zip(names, along, strict=True) if z <= middle]
    after = [n for n, z in zip(names, along, strict=True) if z > middle]
    beside = tuple([*before[-1:], *after[:1]])
    return Gap(
        hole.kind,
        None if distance is None else float(hole.start * distance),
        None if distance is None else float(hole.end * distance),
        float(hole.start / dof),
        float(hole.end / dof),
        (float(low[0]), float(low[1]), float(high[0]), float(high[1])),
        beside,
    )


def _verdict(
    gaps: Sequence[Gap], usable: Mask, trusted: Mask, distance: float | None, capture: Capture
) -> tuple[bool | None, str]:
    if usable.sum() < 3:
        return None, f"only {int(usable.sum())} frames are usable: too few to tell"
    if trusted.mean() < 0.01:
        return None, "hardly any place shows a focus peak: too little texture to tell"
    if not gaps:
        return True, "every part that shows texture has a plane within half a depth of field"
    parts = []
    words = {
        "near-end": "in front of the first plane",
        "inside": "between planes",
        "far-end": "behind the last plane",
    }
    for gap in gaps:
        if distance is None:
            size = f"{gap.to_dof - gap.from_dof:.1f} depths of field"
        else:
            size = f"{(gap.to_dof - gap.from_dof) * _dof_mm(gap):.2f} mm"
        parts.append(f"{size} {words[gap.kind]}")
    return False, "nothing is sharp in " + " and ".join(parts)


def _dof_mm(gap: Gap) -> float:
    """Depth of field that a gap's two units imply."""
    if gap.from_mm is None or gap.to_mm is None:
        return float("nan")
    return (gap.to_mm - gap.from_mm) / (gap.to_dof - gap.from_dof)
