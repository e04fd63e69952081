"""Depth labels that agree with their neighbours: semi-global matching over eight directions.

Hirschmueller (2008), *Stereo processing by semiglobal matching and mutual information*, from
memory; here the costs come from focus, not from stereo.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from haltere.merge.threads import compiled, in_stretches

_WAYS = ((0, 1), (0, -1), (1, 0), (-1, 0), (1, 1), (-1, -1), (1, -1), (-1, 1))


def _lines(
    first: int,
    past: int,
    cost: NDArray[np.uint8],
    jump: NDArray[np.uint8],
    total: NDArray[np.uint16],
    step: int,
    dy: int,
    dx: int,
) -> None:
    """Follow lines `first` to `past` of direction (dy, dx) and add their path costs."""
    height, width, labels = cost.shape
    before = np.zeros(labels, np.int32)
    here = np.zeros(labels, np.int32)
    for line in range(first, past):
        # a line starts on the row, or on the column, that the direction enters through
        if dy == 0:
            y = line
            x = 0 if dx > 0 else width - 1
        elif dx == 0 or line < width:
            x = line
            y = 0 if dy > 0 else height - 1
        else:
            x = 0 if dx > 0 else width - 1
            y = line - width + 1 if dy > 0 else height - 2 - (line - width)
        for k in range(labels):
            before[k] = 0
        least = 0
        while 0 <= y < height and 0 <= x < width:
            leap = least + jump[y, x]
            lowest = 1 << 30
            for k in range(labels):
                best = before[k]
                if k > 0:
                    best = min(best, before[k - 1] + step)
                if k < labels - 1:
                    best = min(best, before[k + 1] + step)
                best = min(best, leap)
                value = cost[y, x, k] + best - least
                here[k] = value
                lowest = min(lowest, value)
                total[y, x, k] += np.uint16(value)
            for k in range(labels):
                before[k] = here[k]
            least = lowest
            y += dy
            x += dx


_fast_lines = compiled(_lines)


def agree(cost: NDArray[np.uint8], jump: NDArray[np.uint8], step: int) -> NDArray[np.uint16]:
    """Sum of path costs of every label at every place; the smallest is the chosen depth.

    Parameters
    ----------
    cost : ndarray of uint8, shape (H, W, L)
        What each label costs by itself.
    jump : ndarray of uint8, shape (H, W)
        What a jump of more than one label costs on entering a place; at least `step`.
    step : int
        What a step of one label costs.

    Returns
    -------
    ndarray of uint16, shape (H, W, L)
        Summed costs.
    """
    height, width, _ = cost.shape
    total = np.zeros(cost.shape, np.uint16)
    for dy, dx in _WAYS:
        lines = height if dy == 0 else width if dx == 0 else width + height - 1
        in_stretches(_fast_lines, lines, cost, jump, total, step, dy, dx)
    return total
