"""How much light the blur of nearer things lays over what lies behind them."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.merge.limits import PLACES

Map = NDArray[np.float32]


def veil(light: Map, depth_dof: Map, blur_px: float) -> Map:
    """Foretell the seam along each edge: where nearer things are blurred over what is sharp.

    A frame that is sharp at a depth shows nearer things as discs, n depths of field away of
    radius n times the blur of one; along an edge their light lies over what is behind, and no
    frame can give it back.  Worked out from depth and brightness, not from the frames.

    Parameters
    ----------
    light : ndarray of float32, shape (H, W)
        Linear light of the merged picture.
    depth_dof : ndarray of float32, shape (H, W)
        Depth, depths of field.
    blur_px : float
        Radius of the disc for one depth of field of defocus, in places.

    Returns
    -------
    ndarray of float32, shape (H, W)
        Light that was laid over (+) or taken away (-), as a share of what would be there.
    """
    low, high = float(depth_dof.min()), float(depth_dof.max())
    bins = PLACES.veil_bins
    width = max((high - low) / bins, 1e-6)
    within = np.floor((depth_dof - low) / width).clip(0, bins - 1).astype(np.int16)
    result = np.zeros(light.shape, np.float32)
    layers = []
    for near in range(bins):
        mask = (within == near).astype(np.float32)
        layers.append((mask, mask * light) if mask.any() else None)
    for far in range(1, bins):
        here = within == far
        if not here.any():
            continue
        cover = np.zeros(light.shape, np.float32)
        laid = np.zeros(light.shape, np.float32)
        for near, layer in enumerate(layers[:far]):
            apart = (far - near) * width
            if layer is None or apart < PLACES.veil_dof:
                continue
            # a disc's light lies about as wide as a bell of half its radius
            sigma = max(blur_px * apart / 2, 0.4)
            cover += cv2.GaussianBlur(layer[0], (0, 0), sigma)
            laid += cv2.GaussianBlur(layer[1], (0, 0), sigma)
        cover = np.minimum(cover, np.float32(0.9))
        result[here] = (laid - cover * light)[here]
    return np.asarray(result / np.maximum(light - result, np.float32(2e-3)), np.float32)
