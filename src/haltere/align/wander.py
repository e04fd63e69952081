"""How far the view wanders sideways in a run: a hand's does, a camera's on a stand does not."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from haltere.align.pose import project

Floats = NDArray[np.float64]


def measure_wander(poses: Floats, found: NDArray[np.bool_], focal_px: float) -> float:
    """Median distance of the view from the straight way that growing alone would give it.

    A picture that only grows or shrinks does so about one point, which need not be its middle;
    what is left beside that is sway. Least squares, common practice.

    Parameters
    ----------
    poses : ndarray of float64, shape (N, 6)
        See `haltere.align.pose`.
    found : ndarray of bool, shape (N,)
        Frames that take part.
    focal_px : float
        See `haltere.align.pose`, analysis pixels.

    Returns
    -------
    float
        Analysis pixels; NaN where fewer than four frames take part, since three nearly fit any
        straight way.
    """
    some = poses[found]
    if len(some) < 4:
        return float("nan")
    middle = np.zeros((1, 2))
    at = np.array([project(pose, middle, float(pose[2]), focal_px)[0] for pose in some])
    along = np.column_stack([np.ones(len(some)), some[:, 2]])
    way = np.linalg.lstsq(along, at, rcond=None)[0]
    left = at - along @ way
    return float(np.median(np.hypot(left[:, 0], left[:, 1])))
