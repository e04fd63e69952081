"""The largest part of the reference view that is whole."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray


def whole_part(whole: NDArray[np.bool_], spare: float = 0.002) -> tuple[int, int, int, int]:
    """Cut borders away, the worst first, until (nearly) all that is left is whole.

    Parameters
    ----------
    whole : ndarray of bool, shape (H, W)
        Pixels that have what they should have.
    spare : float
        Share of a border row that may be missing: a speck is no reason to cut.

    Returns
    -------
    tuple of int
        (x0, y0, x1, y1), past the last for x1 and y1.
    """
    rows, cols = whole.shape
    missing = cv2.integral(np.logical_not(whole).view(np.uint8), sdepth=cv2.CV_32S)

    def count(x0: int, y0: int, x1: int, y1: int) -> float:
        # python's numbers: those of 32 bit would run over on the way
        lost = int(missing[y1, x1]) - int(missing[y0, x1])
        lost += int(missing[y0, x0]) - int(missing[y1, x0])
        return float(lost) / max((x1 - x0) * (y1 - y0), 1)

    x0, y0, x1, y1 = 0, 0, cols, rows
    while x1 - x0 > 1 and y1 - y0 > 1:
        shares = (
            count(x0, y0, x1, y0 + 1),
            count(x0, y1 - 1, x1, y1),
            count(x0, y0, x0 + 1, y1),
            count(x1 - 1, y0, x1, y1),
        )
        worst = int(np.argmax(shares))
        if shares[worst] <= spare:
            break
        y0 += worst == 0
        y1 -= worst == 1
        x0 += worst == 2
        x1 -= worst == 3
    return x0, y0, x1, y1
