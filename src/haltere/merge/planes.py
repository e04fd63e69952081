"""Planes of focus over the places of the reference view."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from haltere.align.pose import plane_depth

Map = NDArray[np.float32]


def plane_fit(
    pose: NDArray[np.float64], shape: tuple[int, int], focal_px: float
) -> tuple[float, float, float]:
    """Plane of focus as a linear function of the centred analysis pixel: p0 + p1 x + p2 y.

    Over the small angles of a hand its relative depth is linear to a millionth.

    Parameters
    ----------
    pose : ndarray of float64, shape (6,)
        Pose of the frame.
    shape : tuple of int
        Rows and columns of an analysis picture.
    focal_px : float
        See `haltere.align.pose`.

    Returns
    -------
    tuple of float
        p0, p1 and p2.
    """
    y, x = np.mgrid[0:9, 0:9].astype(np.float64) / 8 - 0.5
    points = np.column_stack([x.ravel() * (shape[1] - 1), y.ravel() * (shape[0] - 1)])
    known = np.column_stack([np.ones(81), points])
    p0, p1, p2 = np.linalg.lstsq(known, plane_depth(pose, points, focal_px), rcond=None)[0]
    return float(p0), float(p1), float(p2)


def plane_map(
    pose: NDArray[np.float64], shape: tuple[int, int], factor: float, focal_px: float
) -> Map:
    """Relative depth of a frame's plane of focus over places `factor` analysis pixels apart.

    Parameters
    ----------
    pose : ndarray of float64, shape (6,)
        Pose of the frame.
    shape : tuple of int
        Rows and columns of places.
    factor : float
        Analysis pixels per place.
    focal_px : float
        See `haltere.align.pose`.

    Returns
    -------
    ndarray of float32, shape `shape`
        Relative depth at each place.
    """
    p0, p1, p2 = plane_over(pose, shape, factor, focal_px)
    xs, ys = np.arange(shape[1]), np.arange(shape[0])
    return np.asarray(p0 + p1 * xs[None, :] + p2 * ys[:, None], np.float32)


def plane_over(
    pose: NDArray[np.float64],
    shape: tuple[int, int],
    factor: float,
    focal_px: float,
    first: int = 0,
) -> NDArray[np.float64]:
    """Relative depth of a plane at the first place of row `first`, and its steps right and down.

    Parameters
    ----------
    pose : ndarray of float64, shape (6,)
        Pose of the frame.
    shape : tuple of int
        Rows and columns of places.
    factor : float
        Analysis pixels per place.
    focal_px : float
        See `haltere.align.pose`.
    first : int, optional
        The row.

    Returns
    -------
    ndarray of float64, shape (3,)
        Depth, and what a place to the right and one down add to it.
    """
    whole = (round(shape[0] * factor), round(shape[1] * factor))
    p0, p1, p2 = plane_fit(pose, whole, focal_px)
    right, down = p1 * factor, p2 * factor
    across, above = (shape[1] - 1) / 2, (shape[0] - 1) / 2 - first
    return np.array([p0 - right * across - down * above, right, down])
