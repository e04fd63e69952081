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


@dataclass(frozen=True, slots=True)
class PartNumbers:
    """Numbers that say when a spot is cut in two.

    Attributes
    ----------
    least : int
        Places of the smaller half: smaller boxes are many and tell no more.
    saves : float
        Both boxes together are at most this share of the one.
    """

    least: int = 12
    saves: float = 0.7


PARTS = PartNumbers()


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


def in_parts(spot: Spot) -> list[Spot]:
    """Cut a slanting spot in pieces whose boxes hold less of what is not suspicious.

    Parameters
    ----------
    spot : Spot
        A spot.

    Returns
    -------
    list of Spot
        The spot, or its halves, cut again where that pays.
    """
    x0, y0, x1, y1 = spot.box
    along = spot.cols if x1 - x0 >= y1 - y0 else spot.rows
    middle = (int(along.min()) + int(along.max()) + 1) / 2
    halves = []
    for part in (along < middle, along >= middle):
        rows, cols = spot.rows[part], spot.cols[part]
        if len(rows) < PARTS.least:
            return [spot]
        box = (
            max(int(cols.min()) - 1, x0),
            max(int(rows.min()) - 1, y0),
            min(int(cols.max()) + 2, x1),
            min(int(rows.max()) + 2, y1),
        )
        halves.append(Spot(box, rows, cols, spot.strength))
    areas = [(one.box[2] - one.box[0]) * (one.box[3] - one.box[1]) for one in (spot, *halves)]
    if areas[1] + areas[2] > PARTS.saves * areas[0]:
        return [spot]
    return [part for half in halves for part in in_parts(half)]
