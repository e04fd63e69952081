"""The largest part of the reference view that is whole."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

_SOFT = 250
"""So many soft pixels weigh as much as a missing one."""


def whole_part(
    whole: NDArray[np.bool_], soft: NDArray[np.bool_] | None = None, spare: float = 0.002
) -> tuple[int, int, int, int]:
    """Cut borders away, the worst first, until (nearly) all that is left is whole.

    Parameters
    ----------
    whole : ndarray of bool, shape (H, W)
        Pixels that have what they should have.
    soft : ndarray of bool, shape (h, w), optional
        Places that are shown all the same, from frames that are not sharp there: they are cut
        where they make up more than half of a border row. A corner of leaf is not worth a feeler.
    spare : float
        Share of a border row that may be missing: a speck is no reason to cut.

    Returns
    -------
    tuple of int
        (x0, y0, x1, y1), past the last for x1 and y1.
    """
    rows, cols = whole.shape
    lost = np.logical_not(whole).view(np.uint8)
    sums = [(1.0, cv2.integral(lost, sdepth=cv2.CV_32S))]
    if soft is not None and soft.any():
        places = cv2.resize(soft.view(np.uint8), (cols, rows), interpolation=cv2.INTER_NEAREST)
        shown = cv2.bitwise_and(places, lost)
        sums.append((1 / _SOFT - 1, cv2.integral(shown, sdepth=cv2.CV_32S)))

    def count(x0: int, y0: int, x1: int, y1: int) -> float:
        total = 0.0
        for weight, above in sums:
            # python's numbers: those of 32 bit would run over on the way
            here = int(above[y1, x1]) - int(above[y0, x1])
            total += weight * (here + int(above[y0, x0]) - int(above[y1, x0]))
        return total / max((x1 - x0) * (y1 - y0), 1)

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
