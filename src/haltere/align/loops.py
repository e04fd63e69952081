"""The inner loops of registration, compiled: each reads its pictures once."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from haltere.align.bands import Picture

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

_FAST = {"reassoc", "contract", "nsz"}
"""Sums may be taken in another order, so that several are taken at once; NaN stays NaN."""


# in line: called, one compiled by itself stands in for it in the process that compiles both, and
# this caller's own in later ones, and the two add up in another order
@njit(cache=True, nogil=True, fastmath=_FAST, forceinline=True)  # type: ignore[misc, unused-ignore]
def _gradient(above: Any, here: Any, below: Any, across: Any, down: Any) -> None:
    """Gradient of one line by Sobel's operator (1968, from memory), mirrored at the edges."""
    w = len(here)
    eighth = np.float32(0.125)
    two = np.float32(2.0)
    for x in range(1, w - 1):
        across[x] = eighth * (
            (above[x + 1] - above[x - 1])
            + two * (here[x + 1] - here[x - 1])
            + (below[x + 1] - below[x - 1])
        )
        down[x] = eighth * (
            (below[x - 1] - above[x - 1])
            + two * (below[x] - above[x])
            + (below[x + 1] - above[x + 1])
        )
    across[0] = across[w - 1] = 0.0
    down[0] = np.float32(0.25) * (below[0] - above[0] + below[1] - above[1])
    down[w - 1] = np.float32(0.25) * (below[w - 1] - above[w - 1] + below[w - 2] - above[w - 2])


@njit(cache=True, nogil=True, fastmath=_FAST, forceinline=True)  # type: ignore[misc, unused-ignore]
def _add_products(of: Any, left: Any, right: Any, sums: Any) -> None:
    """Add to each column of `sums` the products of one line's gradients and change."""
    # few arrays a loop: with more of them the compiler gives up to see that none overlaps
    # another, and adds up pixel by pixel
    across, down, change = of[0, left:right], of[1, left:right], of[2, left:right]
    count = max(right - left, 0)
    xx, yy = sums[0, left:right], sums[1, left:right]
    for x in range(count):
        xx[x] += across[x] * across[x]
        yy[x] += down[x] * down[x]
    xy, xt = sums[2, left:right], sums[3, left:right]
    for x in range(count):
        xy[x] += across[x] * down[x]
        xt[x] += across[x] * change[x]
    yt = sums[4, left:right]
    for x in range(count):
        yt[x] += down[x] * change[x]


@njit(cache=True, nogil=True, fastmath=_FAST, forceinline=True)  # type: ignore[misc, unused-ignore]
def _mean_gradient(first: Any, second: Any, y: Any, smooth: Any, drop: Any, of: Any) -> None:
    """Sobel's gradient of the mean of two pictures along one line, and their difference."""
    h, w = first.shape
    above, below = y - 1 if y > 0 else 1, y + 1 if y < h - 1 else h - 2
    one0, one1, one2 = first[above], first[y], first[below]
    other0, other1, other2 = second[above], second[y], second[below]
    sixteenth, two = np.float32(0.0625), np.float32(2.0)
    for x in range(w):
        smooth[x] = (one0[x] + other0[x]) + (one2[x] + other2[x]) + two * (one1[x] + other1[x])
    for x in range(w):
        drop[x] = (one2[x] + other2[x]) - (one0[x] + other0[x])
    across, down, change = of[0], of[1], of[2]
    for x in range(1, w - 1):
        across[x] = sixteenth * (smooth[x + 1] - smooth[x - 1])
        down[x] = sixteenth * (drop[x - 1] + two * drop[x] + drop[x + 1])
    across[0] = across[w - 1] = 0.0
    down[0] = np.float32(0.125) * (drop[0] + drop[1])
    down[w - 1] = np.float32(0.125) * (drop[w - 1] + drop[w - 2])
    for x in range(w):
        change[x] = other1[x] - one1[x]


@njit(cache=True, nogil=True, fastmath=_FAST)  # type: ignore[misc, unused-ignore]
def cell_motion(
    first: Picture,
    first_seen: Ints,
    second: Picture,
    second_seen: Ints,
    cell: int,
    out: Picture,
) -> None:
    """Sum up, over every cell, how its content differs between two frames.

    Parameters
    ----------
    first : ndarray of float32, shape (H, W)
        One band-passed frame.
    first_seen : ndarray of int32, shape (H, 2)
        First column of each row that that frame saw, and the one past the last.
    second, second_seen : ndarray
        The other, in the same view.
    cell : int
        Side of a cell, pixels.
    out : ndarray of float32, shape (R, C, 6)
        Filled with means of gx gx, gy gy, gx gy, gx change, gy change, and the share both saw.
    """
    w = first.shape[1]
    rows, cols = out.shape[:2]
    smooth, drop = np.empty(w, np.float32), np.empty(w, np.float32)
    of, sums = np.empty((3, w), np.float32), np.empty((5, w), np.float32)
    both = np.empty(cols, np.int64)
    share = np.float32(1.0 / (cell * cell))
    for row in range(rows):
        sums[:] = 0.0
        both[:] = 0
        for y in range(row * cell, (row + 1) * cell):
            left = max(first_seen[y, 0], second_seen[y, 0])
            right = min(first_seen[y, 1], second_seen[y, 1], cols * cell)
            if left >= right:
                continue
            _mean_gradient(first, second, y, smooth, drop, of)
            _add_products(of, left, right, sums)
            for column in range(cols):
                start = column * cell
                both[column] += max(min(right, start + cell) - max(left, start), 0)
        for column in range(cols):
            for k in range(5):
                total = np.float32(0.0)
                for x in range(column * cell, (column + 1) * cell):
                    total += sums[k, x]
                out[row, column, k] = share * total
            out[row, column, 5] = share * both[column]


@njit(cache=True, nogil=True, fastmath=_FAST)  # type: ignore[misc, unused-ignore]
def similarity_sums(  # noqa: PLR0915 - fourteen sums, each by name so that they stay in registers
    first: Picture, moved: Picture, seen: Picture, energy: Picture, energy2: Picture, floor: float
) -> tuple[Floats, Floats, Floats]:
    """Sum up what a similarity should change so that one picture falls onto another.

    Parameters
    ----------
    first, moved : ndarray of float32, shape (H, W)
        Band-passed pictures, zero where not both were seen.
    seen : ndarray of float32, shape (H, W)
        1 where both were seen, else 0.
    energy, energy2 : ndarray of float32, shape (H, W)
        Their local mean squares.
    floor : float
        Energy that counts as detail.

    Returns
    -------
    normal : ndarray of float64, shape (4, 4)
        Normal matrix for shift right, shift down, growth and turn.
    right : ndarray of float64, shape (4,)
        Its right side.
    products : ndarray of float64, shape (3,)
        Weighted products first x moved, first x first, moved x moved.
    """
    h, w = first.shape
    mean = np.float32(0.5) * (first + moved)
    weight = np.empty((h, w), np.float32)
    one, base = np.float32(1.0), np.float32(floor)
    squares, total = 0.0, 0.0
    cross, own, other = 0.0, 0.0, 0.0
    # few arrays a loop here and below, see `_add_products`
    for y in range(h):
        here, there, both, votes = energy[y], energy2[y], seen[y], weight[y]
        for x in range(w):
            low, high = min(here[x], there[x]), max(here[x], there[x])
            votes[x] = both[x] * low / ((low + base) * (high + base))
        f, m = first[y], moved[y]
        s = t = p = q = r = np.float32(0.0)
        for x in range(w):
            vote = votes[x]
            s += vote * (m[x] - f[x]) * (m[x] - f[x])
            t += vote
            p += vote * f[x] * m[x]
            q += vote * f[x] * f[x]
            r += vote * m[x] * m[x]
        squares += float(s)
        total += float(t)
        cross += float(p)
        own += float(q)
        other += float(r)
    spread = np.sqrt(squares / max(total, 1e-12))
    tight = np.float32(1.0 / (1.5 * spread + 1e-6))
    across, down = np.empty(w, np.float32), np.empty(w, np.float32)
    grow, turn = np.empty(w, np.float32), np.empty(w, np.float32)
    middle_x, middle_y = np.float32((w - 1) / 2), np.float32((h - 1) / 2)
    place = np.empty(w, np.float32)
    for x in range(w):
        place[x] = np.float32(x) - middle_x
    n = np.zeros(14)
    for y in range(h):
        above = mean[y - 1] if y > 0 else mean[1]
        below = mean[y + 1] if y < h - 1 else mean[h - 2]
        _gradient(above, mean[y], below, across, down)
        gy = np.float32(y) - middle_y
        f, m, votes = first[y], moved[y], weight[y]
        for x in range(w):
            far = (m[x] - f[x]) * tight
            votes[x] /= one + far * far
        for x in range(w):
            grow[x] = across[x] * place[x] + down[x] * gy
        for x in range(w):
            turn[x] = down[x] * place[x] - across[x] * gy
        n00 = n01 = n02 = n03 = n11 = n12 = n13 = n22 = n23 = n33 = np.float32(0.0)
        r0 = r1 = r2 = r3 = np.float32(0.0)
        for x in range(w):
            b0, b1, b2, b3 = across[x], down[x], grow[x], turn[x]
            v0, v1 = votes[x] * b0, votes[x] * b1
            n00 += v0 * b0
            n01 += v0 * b1
            n02 += v0 * b2
            n03 += v0 * b3
            n11 += v1 * b1
            n12 += v1 * b2
            n13 += v1 * b3
        for x in range(w):
            b2, b3 = grow[x], turn[x]
            v2, v3 = votes[x] * b2, votes[x] * b3
            change = m[x] - f[x]
            n22 += v2 * b2
            n23 += v2 * b3
            n33 += v3 * b3
            r0 += votes[x] * across[x] * change
            r1 += votes[x] * down[x] * change
            r2 += v2 * change
            r3 += v3 * change
        n[0] += n00
        n[1] += n01
        n[2] += n02
        n[3] += n03
        n[4] += n11
        n[5] += n12
        n[6] += n13
        n[7] += n22
        n[8] += n23
        n[9] += n33
        n[10] += r0
        n[11] += r1
        n[12] += r2
        n[13] += r3
    normal = np.empty((4, 4))
    at = 0
    for k in range(4):
        for m in range(k, 4):
            normal[k, m] = normal[m, k] = n[at]
            at += 1
    return normal, n[10:14].copy(), np.array([cross, own, other])
