"""Finest detail that averaging planes took, worked out and given back."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from haltere.merge.depth import DepthMap
from haltere.merge.limits import NUMBERS
from haltere.merge.paint import Painted, weight_widths
from haltere.merge.planes import plane_fit
from haltere.merge.taken import Stretches
from haltere.merge.threads import compiled, in_stretches
from haltere.sweeps.sweep import Sweep

Map = NDArray[np.float32]

_BAND = 64  # rows that are worked on together
_NOBODY = 65535  # origin of a pixel that no frame saw
_FAR = np.float32(1e6)


def blur_of_averaging(
    sweep: Sweep, used: list[int], ground: DepthMap, stretches: Stretches | None = None
) -> Map:
    """Tell how much averaging blurs each place beyond what its nearest plane shows.

    A plane that lies d depths of field off blurs by a disc of radius d times the circle of
    confusion; its variance along one axis is a quarter of the squared radius, and variances of
    an average are averaged with its weights.  Frames count also where their border left a place
    out: along the border that is a little too much.

    Parameters
    ----------
    sweep : Sweep
        Solved sweep.
    used : list of int
        Frames that were painted.
    ground : DepthMap
        Depth that was painted at.
    stretches : Stretches, optional
        Frames for parts that moved.

    Returns
    -------
    ndarray of float32, shape of the depth
        Variance along one axis, squared full-size pixels; 0 where no depth is known.
    """
    rows, cols = ground.depth.shape
    region = np.zeros((rows, cols), np.uint8) if stretches is None else stretches.region
    everywhere = np.ones(1, np.uint8)
    planes = []
    for index, k in enumerate(used):
        fit = np.array(plane_fit(sweep.poses[k], sweep.lumas.shape, sweep.focal_px))
        planes.append((fit, everywhere if stretches is None else stretches.taken[index]))
    best = np.full((rows, cols), _FAR, np.float32)
    where = (ground.depth, np.float32(ground.factor), region)
    widths = weight_widths(ground, sweep.dof)
    weight, spread = np.zeros((2, rows, cols), np.float32)
    given = (best, widths, np.float32(NUMBERS.reach), weight, spread)

    def gather(top: int, bottom: int) -> None:
        for fit, taken in planes:
            _fast_nearest(top, bottom, fit, *where, taken, best)
        for fit, taken in planes:
            _fast_gather(top, bottom, fit, *where, taken, *given)

    in_stretches(gather, rows)
    spread /= np.maximum(weight, np.float32(1e-6))
    spread -= best * best
    # a circle of confusion, in pixels, for a depth of field
    disc = sweep.c_px / sweep.scale / sweep.dof
    spread *= np.float32(0.25 * disc * disc)
    return np.asarray(np.where(ground.known, spread, 0), np.float32)


def give_back(painted: Painted, blur: Map) -> None:
    """Take the blur of averaging back, in place: light less half the variance times its bend.

    The first term of undoing any small blur of that variance; it needs no more than the next
    pixels.  Pixels beside one that no frame saw stay as they are.

    Parameters
    ----------
    painted : Painted
        Painted picture.
    blur : ndarray of float32, shape (h, w)
        What `blur_of_averaging` told.
    """
    height = painted.linear.shape[0]
    # rows on either side of a band as they were: another thread may have been there
    edges = np.arange(_BAND, height, _BAND)
    before, after = painted.linear[edges - 1], painted.linear[edges]
    count = len(edges) + 1
    in_stretches(_fast_unblur, count, painted.linear, painted.origin, blur, before, after)


def _nearest(
    top: int,
    bottom: int,
    fit: NDArray[np.float64],
    depth: Map,
    factor: np.float32,
    region: NDArray[np.uint8],
    taken: NDArray[np.uint8],
    best: Map,
) -> None:
    """Note how near a frame's plane comes to each place."""
    height, width = depth.shape
    slant = np.float32(fit[1]) * factor
    for y in range(top, bottom):
        left = fit[0] + (fit[2] * (y - (height - 1) * 0.5) - fit[1] * (width - 1) * 0.5) * factor
        for x in range(width):
            away = abs(np.float32(left) + slant * np.float32(x) - depth[y, x])
            if away < best[y, x] and taken[region[y, x]] != 0:
                best[y, x] = away


def _gather(  # noqa: PLR0913, PLR0917 - a compiled loop takes plain arrays only
    top: int,
    bottom: int,
    fit: NDArray[np.float64],
    depth: Map,
    factor: np.float32,
    region: NDArray[np.uint8],
    taken: NDArray[np.uint8],
    best: Map,
    widths: Map,
    reach: np.float32,
    weight: Map,
    spread: Map,
) -> None:
    """Add a frame's weight, and its squared distance times that."""
    height, width = depth.shape
    slant = np.float32(fit[1]) * factor
    for y in range(top, bottom):
        left = fit[0] + (fit[2] * (y - (height - 1) * 0.5) - fit[1] * (width - 1) * 0.5) * factor
        for x in range(width):
            away = abs(np.float32(left) + slant * np.float32(x) - depth[y, x])
            behind = away - best[y, x]
            if behind > reach * widths[y, x] or taken[region[y, x]] == 0:
                continue
            behind /= widths[y, x]
            share = np.exp(np.float32(-0.5) * behind * behind)
            weight[y, x] += share
            spread[y, x] += share * away * away


def _unblur(
    first: int,
    past: int,
    linear: Map,
    origin: NDArray[np.uint16],
    blur: Map,
    before: Map,
    after: Map,
) -> None:
    """Work on bands `first` to `past`; `before` and `after` hold the rows beside their edges."""
    height, width = origin.shape
    rows, cols = blur.shape
    above, here = np.empty((width, 3), np.float32), np.empty((width, 3), np.float32)
    amount = np.empty(cols, np.float32)
    for band in range(first, past):
        begin, end = band * _BAND, min(band * _BAND + _BAND, height)
        here[:] = linear[begin]
        if band > 0:
            above[:] = before[band - 1]
        for y in range(begin, end):
            below = linear[min(y + 1, height - 1)]
            if y + 1 == end and band < len(after):
                below = after[band]
            if 0 < y < height - 1:
                v = min(max((y + 0.5) * rows / height - 0.5, 0.0), rows - 1.0)
                low = min(int(v), rows - 2) if rows > 1 else 0
                part = np.float32(v - low)
                for x in range(cols):
                    under = blur[min(low + 1, rows - 1), x]
                    amount[x] = np.float32(0.5) * (blur[low, x] * (1 - part) + under * part)
                seen = max(origin[y - 1, 0], origin[y, 0], origin[y + 1, 0])
                next_seen = max(origin[y - 1, 1], origin[y, 1], origin[y + 1, 1])
                for x in range(1, width - 1):
                    last_seen, seen = seen, next_seen
                    next_seen = max(origin[y - 1, x + 1], origin[y, x + 1], origin[y + 1, x + 1])
                    u = min(max((x + 0.5) * cols / width - 0.5, 0.0), cols - 1.0)
                    left = int(u)
                    right = min(left + 1, cols - 1)
                    share = np.float32(u - left)
                    half = amount[left] * (1 - share) + amount[right] * share
                    if half <= 0 or max(last_seen, seen, next_seen) == _NOBODY:
                        continue
                    for c in range(3):
                        corners = above[x - 1, c] + above[x + 1, c] + below[x - 1, c]
                        corners += below[x + 1, c]
                        sides = above[x, c] + below[x, c] + here[x - 1, c] + here[x + 1, c]
                        # a bend that is alike in all directions
                        bend = (corners + 4 * sides - 20 * here[x, c]) / 6
                        linear[y, x, c] = max(here[x, c] - half * bend, np.float32(0.0))
            above[:] = here
            here[:] = below


_fast_nearest = compiled(_nearest)
_fast_gather = compiled(_gather)
_fast_unblur = compiled(_unblur)
