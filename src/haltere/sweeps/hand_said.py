"""Hands a solved sweep to the choice of frames and to the measure of the push."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from haltere.align.pose import project
from haltere.focus.run_optics import run_optics
from haltere.kit.capture import Capture
from haltere.runs.run import Pass
from haltere.sweeps.choice import Candidate, Choice, choose, need_of
from haltere.sweeps.coverage import Coverage, Plane
from haltere.sweeps.ground import find_ground
from haltere.sweeps.push import Counts, Push, Pushed, Setting, measure_push
from haltere.sweeps.solved import Reading, Solved

Floats = NDArray[np.float64]


def choice_said(
    reading: Reading,
    solved: Solved,
    capture: Capture,
    planes: Sequence[Plane],
    passes: Sequence[Pass],
    overlap: float,
) -> Choice:
    """Choose the frames of a solved sweep that suffice.

    Parameters
    ----------
    reading : Reading
        Frames, decoded or not.
    solved : Solved
        Poses and focus curves.
    capture : Capture
        How they were taken.
    planes : sequence of Plane
        In order of time.
    passes : sequence of Pass
        In order of time.
    overlap : float
        Share of a depth of field that neighbours should have in common.
    """
    height, width = (_size(reading)[k] * reading.scale for k in (1, 0))
    optics = run_optics(capture, reading.scale, float(np.hypot(width, height)))
    poses, dof = solved.solution.poses, solved.dof
    # a camera this far aside shifts what lies a depth of field beside the plane by a blur spot;
    # a tilt of one lifts the plane by a depth of field at the picture's side
    aside = poses[:, :2] * dof / optics.c_px
    tilt = poses[:, 3:5] / optics.focal_px * (width / 2) / optics.focal_px / dof
    views = np.hstack([aside, tilt])
    kept = solved.kept
    rows = {k: row for row, k in enumerate(reading.good)}
    number = {name: n for n, one in enumerate(passes) for name in one.frames}
    candidates = []
    for k, plane in enumerate(planes):
        row = rows.get(k)
        share = float(kept[row]) if kept is not None and row is not None else 1.0
        candidates.append(
            Candidate(
                plane.frame,
                plane.position_dof,
                plane.usable,
                plane.faults,
                number.get(plane.frame, 0),
                (0.0,) * 4 if row is None else tuple(float(v) for v in views[row]),
                share if np.isfinite(share) else 1.0,
            )
        )
    depths = solved.peaks.depth / dof
    sheet = find_ground(depths, solved.trusted)
    if sheet is None:
        return choose(candidates, need_of(depths[solved.trusted]), overlap)
    animal, under = (need_of(depths[solved.trusted & part]) for part in (~sheet, sheet))
    return choose(candidates, animal, overlap, under)


def push_said(
    coverage: Coverage, reading: Reading, solved: Solved, capture: Capture, times_s: Floats
) -> Push:
    """Measure how a solved sweep was pushed.

    Parameters
    ----------
    coverage : Coverage
        Planes, passes and choice.
    reading : Reading
        Frames, decoded or not.
    solved : Solved
        Poses.
    capture : Capture
        How they were taken.
    times_s : ndarray of float64, shape (N,)
        Moments of exposure, NaN where unknown.
    """
    planes = coverage.planes
    at = np.array([np.nan if p.position_dof is None else p.position_dof for p in planes])
    aside = np.full((len(planes), 2), np.nan)
    # the picture's size tells the focal length in pixels as well as needed: sway is a shift
    width, height = _size(reading)
    optics = run_optics(capture, reading.scale, float(np.hypot(width, height)) * reading.scale)
    for row, k in enumerate(reading.good):
        if np.isfinite(at[k]):
            pose = solved.solution.poses[row]
            seen = project(pose, np.zeros((1, 2)), float(pose[2]), optics.focal_px)
            aside[k] = seen[0] / reading.scale
    index = {p.frame: k for k, p in enumerate(planes)}
    pushed = []
    for one in coverage.passes:
        rows = [index[name] for name in one.frames]
        pushed.append(Pushed(at[rows], times_s[rows], aside[rows]))
    chosen = set(coverage.choice.frames) if coverage.choice is not None else set()
    moved = [p.moved for p in planes]
    counts = Counts(
        frames=len(planes),
        wasted=sum(p.frame not in chosen for p in planes),
        jumps=moved.count("jump"),
        back=moved.count("back"),
        still=moved.count("still"),
    )
    setting = Setting(
        coverage.depth_of_field_mm, coverage.mm_per_px, capture.f_number, min(width, height)
    )
    return measure_push(pushed, setting, counts)


def _size(reading: Reading) -> tuple[int, int]:
    """Width and height of the full-size pictures."""
    frame = reading.kept[0] if reading.good else reading.frames[0]
    return frame.width_px, frame.height_px
