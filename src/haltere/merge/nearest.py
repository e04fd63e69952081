"""What the nearest place that is known says of one that is not."""

from __future__ import annotations

from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

Number = TypeVar("Number", bound=np.generic)


def nearest_known(
    values: NDArray[Number], known: NDArray[np.bool_]
) -> tuple[NDArray[Number], NDArray[np.float32]]:
    """Value of the nearest known place, and how far it is.

    Parameters
    ----------
    values : ndarray, shape (H, W)
        Values of places.
    known : ndarray of bool, shape (H, W)
        Places whose value is known.

    Returns
    -------
    values : ndarray, shape (H, W)
        Of the nearest known place; zeros where there is none.
    away : ndarray of float32, shape (H, W)
        Distance to it, places; a million where there is none.
    """
    if not known.any():
        return np.zeros_like(values), np.full(values.shape, 1e6, np.float32)
    away, index = cv2.distanceTransformWithLabels(
        (~known).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    table = np.zeros(int(index.max()) + 1, values.dtype)
    table[index[known]] = values[known]
    return table[index], np.asarray(away, np.float32)
