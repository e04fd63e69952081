"""Turns stored pixels upright: the only place where Exif orientation is applied."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

_T = TypeVar("_T", bound=np.generic)


def upright_size(width_px: int, height_px: int, orientation: int) -> tuple[int, int]:
    """Give the size of the upright picture.

    Parameters
    ----------
    width_px, height_px : int
        Stored size.
    orientation : int
        Exif orientation, 1..8.

    Returns
    -------
    width_px, height_px : int
        Swapped for the four orientations that lie on their side.
    """
    return (height_px, width_px) if orientation >= 5 else (width_px, height_px)


def turn_upright(array: NDArray[_T], orientation: int) -> NDArray[_T]:
    """Turn stored pixels upright.

    Parameters
    ----------
    array : ndarray, shape (H, W) or (H, W, 3)
        Pixels as stored.
    orientation : int
        Exif orientation, 1..8 (Exif 2.32, tag 274: which edges the first row and column are).

    Returns
    -------
    ndarray, shape (H, W, ...) or (W, H, ...)
        Upright view of the same memory.
    """
    if orientation >= 5:
        array = array.swapaxes(0, 1)
    # after the swap, 5 is upright, 6 runs right to left, 7 both, 8 bottom to top
    if orientation in (2, 3, 6, 7):
        array = array[:, ::-1]
    if orientation in (3, 4, 7, 8):
        array = array[::-1]
    return array
