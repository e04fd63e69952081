"""How far the view wanders sideways in a run, and how much of that is a shift and no tilt."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.align.pose import project

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Shift:
    """How much of a hand's sideways sway is a shift of the camera, and no pan or tilt.

    Attributes
    ----------
    share : float
        1 where the camera only shifts, 0 where it only tilts, about one half where the pictures
        don't tell. A shift moves near places more than far ones: where near and far are swapped,
        it comes out negative.
    error : float
        One standard deviation.
    """

    share: float
    error: float


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
    left = _beside_growth(_view(some, focal_px), some)
    return float(np.median(np.hypot(left[:, 0], left[:, 1])))


def measure_shift(
    poses: Floats, covariance: Floats, found: NDArray[np.bool_], focal_px: float
) -> Shift | None:
    """Measure how much of the sway is a shift, by what near and far places did in it.

    Parameters
    ----------
    poses : ndarray of float64, shape (N, 6)
        See `haltere.align.pose`.
    covariance : ndarray of float64, shape (N, 6, 6)
        Of the poses.
    found : ndarray of bool, shape (N,)
        Frames that take part.
    focal_px : float
        See `haltere.align.pose`, analysis pixels.

    Returns
    -------
    Shift or None
        None where fewer than four frames take part, or nothing sways.
    """
    some = poses[found]
    if len(some) < 4:
        return None
    sway = _beside_growth(_view(some, focal_px), some)
    shift = _beside_growth(-some[:, :2], some)
    whole = float((sway**2).sum())
    if whole <= 0:
        return None
    variance = covariance[found][:, (0, 1), (0, 1)]
    error = float(np.sqrt(np.maximum(sway**2 * variance, 0.0).sum()))
    return Shift(float((sway * shift).sum()) / whole, error / whole)


def _view(poses: Floats, focal_px: float) -> Floats:
    """Where the middle of the reference frame is seen, in each frame's plane of focus."""
    middle = np.zeros((1, 2))
    return np.array([project(pose, middle, float(pose[2]), focal_px)[0] for pose in poses])


def _beside_growth(at: Floats, poses: Floats) -> Floats:
    """Leave of a way what is beside a straight one over depth."""
    along = np.column_stack([np.ones(len(poses)), poses[:, 2]])
    way = np.linalg.lstsq(along, at, rcond=None)[0]
    return np.asarray(at - along @ way)
