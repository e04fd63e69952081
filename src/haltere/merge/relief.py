"""The shape of the animal as a depth map knows it: lit from the side, and cut along a line."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Map = NDArray[np.float32]

_LIGHT = np.array([-0.5, -0.6, 0.62])  # from the upper left, as maps are lit (common practice)
_MOST = 2000  # points along a line: more than a chart is wide


@dataclass(frozen=True, slots=True)
class Cut:
    """Depth along a line.

    Attributes
    ----------
    x_px, y_px : ndarray of float64, shape (N,)
        Points, picture pixels.
    distance_px : ndarray of float64, shape (N,)
        From the line's beginning.
    depth : ndarray of float64, shape (N,)
        NaN where unknown.
    confidence : ndarray of float64, shape (N,)
        0 to 1.
    """

    x_px: NDArray[np.float64]
    y_px: NDArray[np.float64]
    distance_px: NDArray[np.float64]
    depth: NDArray[np.float64]
    confidence: NDArray[np.float64]


def shaded(depth_px: Map, known: NDArray[np.bool_], smooth_px: float) -> Map:
    """Light a surface from the upper left.

    Parameters
    ----------
    depth_px : ndarray of float32, shape (H, W)
        Depth in pixels, growing away, without NaN.
    known : ndarray of bool, shape (H, W)
        Where it is known; only known places smooth each other.
    smooth_px : float
        Sigma of the smoothing.

    Returns
    -------
    ndarray of float32, shape (H, W)
        0 in the shade to 1 facing the light; NaN where the depth is unknown.
    """
    weight = known.astype(np.float32)
    # single places that jumped to another depth would throw shadows like pits
    calm = cv2.medianBlur(np.ascontiguousarray(depth_px), 5)
    total = cv2.GaussianBlur(calm * weight, (0, 0), smooth_px)
    share = cv2.GaussianBlur(weight, (0, 0), smooth_px)
    soft = np.asarray(total / np.maximum(share, np.float32(1e-3)), np.float32)
    slope_x = cv2.Sobel(soft, cv2.CV_32F, 1, 0, scale=0.125)
    slope_y = cv2.Sobel(soft, cv2.CV_32F, 0, 1, scale=0.125)
    light = _LIGHT / np.linalg.norm(_LIGHT)
    # the surface faces the viewer along its normal (dz/dx, dz/dy, 1), depth growing away
    length = np.sqrt(slope_x**2 + slope_y**2 + 1)
    facing = (slope_x * light[0] + slope_y * light[1] + light[2]) / length
    return np.where(known, np.clip(facing, 0, 1), np.nan).astype(np.float32)


def cut_along(
    depth: Map, confidence: Map, begin_px: tuple[float, float], end_px: tuple[float, float]
) -> Cut:
    """Read the depth along a line, one point a pixel; nothing is interpolated over holes.

    Parameters
    ----------
    depth : ndarray of float32, shape (H, W)
        NaN where unknown.
    confidence : ndarray of float32, shape (H, W)
        0 to 1.
    begin_px, end_px : (x, y)
        Ends, picture pixels.

    Returns
    -------
    Cut
        At most 2000 points.

    Raises
    ------
    ValueError
        When an end lies outside the map.
    """
    height, width = depth.shape
    for a, b in (begin_px, end_px):
        if not (0 <= a <= width - 1 and 0 <= b <= height - 1):
            raise ValueError(f"{a:g},{b:g} lies outside the picture, {width} x {height} px")
    length = float(np.hypot(end_px[0] - begin_px[0], end_px[1] - begin_px[1]))
    count = int(min(max(round(length) + 1, 2), _MOST))
    share = np.linspace(0, 1, count)
    x = begin_px[0] + share * (end_px[0] - begin_px[0])
    y = begin_px[1] + share * (end_px[1] - begin_px[1])
    at = np.rint(y).astype(int), np.rint(x).astype(int)
    return Cut(
        x, y, share * length, depth[at].astype(np.float64), confidence[at].astype(np.float64)
    )
