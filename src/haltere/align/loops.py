"""The inner loops of registration, compiled: each reads its pictures once."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from haltere.align.bands import Picture

Floats = NDArray[np.float64]

_FAST = {"reassoc", "contract", "nsz"}
"""Sums may be taken in another order, so that several are taken at once; NaN stays NaN."""


# in line: called, one compiled by itself stands in for it in the process that compiles both, and
# this caller's own in later ones, and the two add up in another order
@njit(cache=True, nogil=True, fastmath=_FAST, forceinline=True)  # type: ignore[misc, unused-ignore]
def _gradient(mean: Any, y: Any, across: Any, down: Any) -> None:
    """Gradient of one line by Sobel's operator (1968, from memory), mirrored at the edges."""
    h, w = mean.shape
    eighth = np.float32(0.125)
    two = np.float32(2.0)
    above = mean[y - 1] if y > 0 else mean[1]
    below = mean[y + 1] if y < h - 1 else mean[h - 2]
    here = mean[y]
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


@njit(cache=True, nogil=True, fastmath=_FAST)  # type: ignore[misc, unused-ignore]
def cell_motion(
    first: Picture,
    first_seen: Picture,
    second: Picture,
    second_seen: Picture,
    rows: int,
    cols: int,
    cell: int,
) -> Floats:
    """Sum up, over every cell, how its content differs between two frames.

    Parameters
    ----------
    first : ndarray of float32, shape (H, W)
        One band-passed frame.
    first_seen : ndarray of float32, shape (H, W)
        1 where that frame saw something, else 0.
    second, second_seen : ndarray of float32, shape (H, W)
        The other, in the same view.
    rows, cols : int
        Cells.
    cell : int
        Side of a cell, pixels.

    Returns
    -------
    ndarray of float64, shape (rows * cols, 6)
        Means of gx gx, gy gy, gx gy, gx change, gy change, and the share both saw.
    """
    w = first.shape[1]
    mean = np.float32(0.5) * (first + second)
    across, down = np.empty(w, np.float32), np.empty(w, np.float32)
    sums = np.empty((6, w), np.float32)
    out = np.zeros((rows * cols, 6))
    share = 1.0 / (cell * cell)
    for row in range(rows):
        sums[:] = 0.0
        xx, yy, xy, xt, yt, both = sums[0], sums[1], sums[2], sums[3], sums[4], sums[5]
        for y in range(row * cell, (row + 1) * cell):
            _gradient(mean, y, across, down)
            one, other = first[y], second[y]
            one_seen, other_seen = first_seen[y], second_seen[y]
            for x in range(cols * cell):
                seen = one_seen[x] * other_seen[x]
                gx, gy = across[x] * seen, down[x] * seen
                change = (other[x] - one[x]) * seen
                xx[x] += gx * gx
                yy[x] += gy * gy
                xy[x] += gx * gy
                xt[x] += gx * change
                yt[x] += gy * change
                both[x] += seen
        for column in range(cols):
            for k in range(6):
                total = 0.0
                for x in range(column * cell, (column + 1) * cell):
                    total += sums[k, x]
                out[row * cols + column, k] = share * total
    return out


@njit(cache=True, nogil=True)  # type: ignore[misc, unused-ignore]
def ballot(
    motion: Floats,
    expected: Floats,
    near: Floats,
    first: Floats,
    second: Floats,
    noise: float,
    robust_px: float,
) -> tuple[Floats, Floats, Floats, Floats]:
    """Let the cells of a pair vote on how the two poses should change.

    Parameters
    ----------
    motion : ndarray of float64, shape (N, 6)
        From `cell_motion`.
    expected : ndarray of float64, shape (N, 2)
        Motion that the poses still leave, for the depth the cell is believed to have.
    near : ndarray of float64, shape (N,)
        How much the cell is in focus in both.
    first, second : ndarray of float64, shape (N, 2, 6)
        How its place moves with either pose.
    noise : float
        Gradient that is there without content.
    robust_px : float
        Miss at which a vote falls to a quarter.

    Returns
    -------
    normal : ndarray of float64, shape (12, 12)
        Normal matrix over both poses.
    right : ndarray of float64, shape (12,)
        Its right side.
    weight, miss : ndarray of float64, shape (N,)
        How much each cell counts, and by how much the poses miss it.
    """
    count = motion.shape[0]
    weight, miss = np.empty(count), np.empty(count)
    normal, right = np.zeros((12, 12)), np.zeros(12)
    j, t = np.empty((2, 12)), np.empty((2, 12))
    for n in range(count):
        xx, yy, xy = motion[n, 0], motion[n, 1], motion[n, 2]
        trace = xx + yy
        lift = 0.02 * trace + noise
        a, b = xx + lift, yy + lift
        # content seen at x in one is seen at x + d in the other: tensor d = mismatch
        u = -motion[n, 3] - (xx * expected[n, 0] + xy * expected[n, 1])
        v = -motion[n, 4] - (xy * expected[n, 0] + yy * expected[n, 1])
        det = a * b - xy * xy
        miss[n] = np.hypot((b * u - xy * v) / det, (a * v - xy * u) / det)
        trust = near[n] * trace / (trace + 4 * noise) if motion[n, 5] > 0.9 else 0.0
        robust = (1 + (miss[n] / robust_px) ** 2) ** 2
        vote = trust / np.sqrt(max(trace, 1e-9)) / robust
        weight[n] = vote
        if vote == 0.0:
            continue
        for k in range(6):
            j[0, k], j[1, k] = -first[n, 0, k], -first[n, 1, k]
            j[0, k + 6], j[1, k + 6] = second[n, 0, k], second[n, 1, k]
        for k in range(12):
            t[0, k] = vote * (xx * j[0, k] + xy * j[1, k])
            t[1, k] = vote * (xy * j[0, k] + yy * j[1, k])
            right[k] += vote * (j[0, k] * u + j[1, k] * v)
        for k in range(12):
            for m in range(12):
                normal[k, m] += j[0, k] * t[0, m] + j[1, k] * t[1, m]
    return normal, right, weight, miss


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
    for y in range(h):
        s = t = p = q = r = np.float32(0.0)
        for x in range(w):
            a, b = energy[y, x], energy2[y, x]
            low, high = min(a, b), max(a, b)
            vote = seen[y, x] * low / ((low + base) * (high + base))
            weight[y, x] = vote
            f, m = first[y, x], moved[y, x]
            s += vote * (m - f) * (m - f)
            t += vote
            p += vote * f * m
            q += vote * f * f
            r += vote * m * m
        squares += float(s)
        total += float(t)
        cross += float(p)
        own += float(q)
        other += float(r)
    spread = np.sqrt(squares / max(total, 1e-12))
    tight = np.float32(1.0 / (1.5 * spread + 1e-6))
    across, down = np.empty(w, np.float32), np.empty(w, np.float32)
    middle_x, middle_y = np.float32((w - 1) / 2), np.float32((h - 1) / 2)
    n = np.zeros(14)
    for y in range(h):
        _gradient(mean, y, across, down)
        n00 = n01 = n02 = n03 = n11 = n12 = n13 = n22 = n23 = n33 = np.float32(0.0)
        r0 = r1 = r2 = r3 = np.float32(0.0)
        gy = np.float32(y) - middle_y
        for x in range(w):
            gx = np.float32(x) - middle_x
            change = moved[y, x] - first[y, x]
            far = change * tight
            vote = weight[y, x] / (one + far * far)
            b0, b1 = across[x], down[x]
            b2, b3 = b0 * gx + b1 * gy, b1 * gx - b0 * gy
            v0, v1, v2, v3 = vote * b0, vote * b1, vote * b2, vote * b3
            n00 += v0 * b0
            n01 += v0 * b1
            n02 += v0 * b2
            n03 += v0 * b3
            n11 += v1 * b1
            n12 += v1 * b2
            n13 += v1 * b3
            n22 += v2 * b2
            n23 += v2 * b3
            n33 += v3 * b3
            r0 += v0 * change
            r1 += v1 * change
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
