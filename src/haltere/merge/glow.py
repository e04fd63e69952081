"""Peaks that are only the rim of a blurred thing's disc, not a thing of their own."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.merge.limits import NUMBERS

Map = NDArray[np.float32]

_BINS = 12
_REACHES = (0.25, 0.5, 1.0)


def glow(peak: Map, depth_dof: Map, blur_px: float) -> NDArray[np.bool_]:
    """Places whose peak may be the glow of something much stronger at another depth.

    A thing defocused by n depths of field spreads over a disc of radius n times the circle of
    confusion's diameter.  The rim of that disc passes over a place like a weak surface would;
    it is told by how weak it is against what throws it.

    Parameters
    ----------
    peak : ndarray of float32, shape (H, W)
        Detail at each place's depth.
    depth_dof : ndarray of float32, shape (H, W)
        That depth, in depths of field.
    blur_px : float
        Radius of the disc for one depth of field of defocus, in places.

    Returns
    -------
    ndarray of bool, shape (H, W)
        True where the peak may be glow.
    """
    low, high = float(depth_dof.min()), float(depth_dof.max())
    width = max((high - low) / _BINS, 1e-6)
    result = np.zeros(peak.shape, np.bool_)
    within = np.floor((depth_dof - low) / width).clip(0, _BINS - 1)
    widest = blur_px * (high - low) + 2
    for b in range(_BINS):
        middle = low + (b + 0.5) * width
        strong = np.where(within == b, peak, 0).astype(np.float32)
        if not strong.any():
            continue
        apart = np.abs(depth_dof - middle)
        reach = blur_px * apart + 2
        before = 0.0
        for part in _REACHES:
            radius = part * widest
            here = (reach > before) & (reach <= radius) & (apart > NUMBERS.glow_dof + width / 2)
            before = radius
            if not here.any():
                continue
            side = 2 * max(1, round(radius)) + 1
            thrown = cv2.dilate(strong, np.ones((side, side), np.uint8))
            result |= here & (peak < NUMBERS.glow_share * thrown)
    return result
