"""Band-passed luma: the part of a picture that two differently focused frames share."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.float32]


def shrink(luma: NDArray[np.uint8] | NDArray[np.uint16] | Picture, factor: int) -> Picture:
    """Luma averaged over `factor` x `factor` pixels, float32, same units.

    Parameters
    ----------
    luma : ndarray, shape (H, W)
        Grey picture.
    factor : int
        1, 2, 4, 8 ...

    Returns
    -------
    ndarray of float32, shape (H // factor, W // factor)
        Shrunk pixel (x, y) has its centre at full ((x + 0.5) * factor - 0.5, ...).
    """
    h, w = luma.shape[0] // factor, luma.shape[1] // factor
    small: Picture = np.asarray(luma[: h * factor, : w * factor], np.float32)
    while factor > 1:
        # by two again and again takes a third of the time that it takes at once
        step = 2 if factor % 2 == 0 else factor
        size = small.shape[1] // step, small.shape[0] // step
        small = np.asarray(cv2.resize(small, size, interpolation=cv2.INTER_AREA), np.float32)
        factor //= step
    return small


def band(picture: Picture, fine_px: float) -> Picture:
    """Difference of two Gaussian blurs, sigma `fine_px` and 2.5 times it.

    Parameters
    ----------
    picture : ndarray of float32, shape (H, W)
        Grey picture.
    fine_px : float
        Sigma of the finer blur; below 0.5 the picture itself is used.

    Returns
    -------
    ndarray of float32, shape (H, W)
        Band-passed picture, mean about 0.
    """
    fine = picture if fine_px < 0.5 else cv2.GaussianBlur(picture, (0, 0), fine_px)
    coarse = cv2.GaussianBlur(picture, (0, 0), 2.5 * max(fine_px, 0.6))
    result: Picture = np.asarray(fine - coarse, np.float32)
    return result


def flicker(picture: Picture) -> float:
    """Brightness of a picture by which frames of one run are compared.

    The mean of the brighter half, above the darkest per cent: steady under small moves,
    moved by flash flicker and misfires.

    Parameters
    ----------
    picture : ndarray of float32, shape (H, W)
        Grey picture, preferably small.

    Returns
    -------
    float
        In the picture's units, at least 1e-3.
    """
    values = picture.ravel()
    last = values.size - 1
    places = (0.01 * last, 0.5 * last)
    # sorted no further than these places: np.percentile takes twice as long
    around = [k for place in places for k in (int(place), min(int(place) + 1, last))]
    values = np.partition(values, around)
    low, mid = (
        values[int(place)] + (place % 1.0) * (values[after] - values[int(place)])
        for place, after in zip(places, around[1::2], strict=True)
    )
    bright = picture[picture >= mid]
    return max(float(bright.mean() - low), 1e-3)
