"""From a map of what is suspicious to a few boxes that a person can walk through."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Map = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Spot:
    """A suspicious part of a map.

    Attributes
    ----------
    box : tuple of 4 ints
        x0, y0 and one past x1, y1, in places of the map.
    rows, cols : ndarray of int64
        Its places.
    strength : float
        90th percentile of the map there.
    """

    box: tuple[int, int, int, int]
    rows: NDArray[np.int64]
    cols: NDArray[np.int64]
    strength: float


def spots(strength: Map, low: float, high: float, least: int, join: int) -> list[Spot]:
    """Gather neighbouring places into spots, the strongest first.

    Parameters
    ----------
    strength : ndarray of float32, shape (H, W)
        How suspicious each place is.
    low, high : float
        A place above `low` belongs to a spot if enough others there are above `high`.
    least : int
        So many places above `high` make a spot.
    join : int
        Places no further apart than about twice this are one spot.

    Returns
    -------
    list of Spot
        Boxes with a margin of one place.
    """
    hot = (strength > low).astype(np.uint8)
    count, parts, stats, _ = cv2.connectedComponentsWithStats(hot, connectivity=8)
    if count > 1:
        # single places are noise, and would only widen the boxes
        hot[stats[parts, cv2.CC_STAT_AREA] < 2] = 0
    wide = cv2.dilate(hot, np.ones((2 * join + 1, 2 * join + 1), np.uint8))
    count, parts = cv2.connectedComponents(wide)
    found = []
    for part in range(1, count):
        rows, cols = np.nonzero((parts == part) & (hot > 0))
        if len(rows) == 0:
            continue
        here = strength[rows, cols]
        if int((here > high).sum()) < least:
            continue
        box = (
            max(int(cols.min()) - 1, 0),
            max(int(rows.min()) - 1, 0),
            min(int(cols.max()) + 2, strength.shape[1]),
            min(int(rows.max()) + 2, strength.shape[0]),
        )
        found.append(Spot(box, rows, cols, float(np.percentile(here, 90))))
    return sorted(found, key=lambda spot: (-spot.strength, spot.box))
