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


@njit(cache=True, nogil=True)  # type: ignore[misc, unused-ignore]
def seen_columns(matrix: Floats, shape: tuple[int, int], border: int, margin: int) -> Ints:
    """Columns of each row of a warped picture that lie within the frame it was warped from.

    Parameters
    ----------
    matrix : ndarray of float64, shape (3, 3)
        Pixels of the warped picture to those of the frame, counted from the corner.
    shape : tuple of int
        Rows and columns of both.
    border : int
        Pixels along the frame's edges that count as outside.
    margin : int
        Pixels along the warped picture's own edges that count as outside.

    Returns
    -------
    ndarray of int32, shape (H, 2)
        First column, and the one past the last; equal where the row saw nothing.
    """
    h, w = shape
    out = np.empty((h, 2), np.int32)
    for y in range(h):
        low, high = float(margin), w - 1.0 - margin
        if y < margin or y >= h - margin:
            high = -1.0
        # nearest pixel: from half a pixel before the first to half a pixel after the last
        for side in range(4):
            axis = side // 2
            past = side % 2 == 1
            edge = (w if axis == 0 else h) - border - 0.5 if past else border - 0.5
            sign = -1.0 if past else 1.0
            slope = sign * (matrix[axis, 0] - edge * matrix[2, 0])
            rest = sign * (matrix[axis, 1] - edge * matrix[2, 1]) * y
            rest += sign * (matrix[axis, 2] - edge * matrix[2, 2])
            if abs(slope) < 1e-12:
                if rest < 0:
                    low = np.inf
            elif slope > 0:
                low = max(low, -rest / slope)
            else:
                high = min(high, -rest / slope)
        first = int(np.ceil(min(low, w)))
        out[y, 0], out[y, 1] = first, max(int(np.floor(max(high, -1.0))) + 1, first)
    return out


@njit(cache=True, nogil=True, fastmath=_FAST, forceinline=True)  # type: ignore[misc, unused-ignore]
def _add_squares(first: Any, second: Any, left: Any, right: Any, sums: Any) -> None:
    """Add to each column of `sums` the squares of one line of two pictures, and their product."""
    one, two = first[left:right], second[left:right]
    own, cross, other = sums[0, left:right], sums[2, left:right], sums[1, left:right]
    count = max(right - left, 0)
    for x in range(count):
        own[x] += one[x] * one[x]
        cross[x] += one[x] * two[x]
    for x in range(count):
        other[x] += two[x] * two[x]


@njit(cache=True, nogil=True, fastmath=_FAST, forceinline=True)  # type: ignore[misc, unused-ignore]
def _block_votes(
    first: Any, moved: Any, seen: Any, detail: Any, detail2: Any, floor: Any, votes: Any
) -> tuple[float, float, float]:
    """Fill in what each block has to say; give the products of the pictures by these votes."""
    h, w = first.shape
    rows, cols = votes.shape
    sums = np.empty((3, w), np.float32)
    off = np.empty((rows, cols), np.float32)
    least, two, none = np.float32(floor), np.float32(2.0), np.float32(0.0)
    cross, own, other, total = 0.0, 0.0, 0.0, 0.0
    for row in range(rows):
        top, bottom = (row * h + rows - 1) // rows, ((row + 1) * h + rows - 1) // rows
        sums[:] = none
        inside = 0
        for y in range(top, bottom):
            left, right = seen[y]
            _add_squares(first[y], moved[y], left, right, sums)
            inside += right - left
        for col in range(cols):
            start, end = (col * w + cols - 1) // cols, ((col + 1) * w + cols - 1) // cols
            p = q = r = none
            for x in range(start, end):
                p += sums[2, x]
                q += sums[0, x]
                r += sums[1, x]
            low = min(detail[row, col], detail2[row, col])
            high = max(detail[row, col], detail2[row, col])
            vote = low / ((low + least) * (high + least))
            votes[row, col] = vote
            off[row, col] = max(q + r - two * p, none) / np.float32((end - start) * (bottom - top))
            cross += vote * p
            own += vote * q
            other += vote * r
            total += vote * (end - start) * inside / w
    tight = np.float32(1.0 / (2.25 * (own + other - 2.0 * cross) / max(total, 1e-12) + 1e-12))
    one = np.float32(1.0)
    for row in range(rows):
        for col in range(cols):
            votes[row, col] /= one + off[row, col] * tight
    return cross, own, other


@njit(cache=True, nogil=True, fastmath=_FAST, forceinline=True)  # type: ignore[misc, unused-ignore]
def _add_voted(of: Any, line: Any, left: Any, right: Any, voted: Any, sums: Any) -> None:
    """Add to each column of `sums` what `_add_products` adds, times the votes of the columns."""
    across, down, change = of[0, left:right], of[1, left:right], of[2, left:right]
    votes, across_voted, down_voted = line[left:right], voted[0, left:right], voted[1, left:right]
    count = max(right - left, 0)
    for x in range(count):
        across_voted[x] = votes[x] * across[x]
        down_voted[x] = votes[x] * down[x]
    xx, yy = sums[0, left:right], sums[1, left:right]
    for x in range(count):
        xx[x] += across_voted[x] * across[x]
        yy[x] += down_voted[x] * down[x]
    xy, xt = sums[2, left:right], sums[3, left:right]
    for x in range(count):
        xy[x] += across_voted[x] * down[x]
        xt[x] += across_voted[x] * change[x]
    yt = sums[4, left:right]
    for x in range(count):
        yt[x] += down_voted[x] * change[x]


@njit(cache=True, nogil=True, fastmath=_FAST, forceinline=True)  # type: ignore[misc, unused-ignore]
def _add_to_similarity(sums: Any, gy: Any, n: Any) -> None:
    """Add what the columns of some rows about `gy` say of shift, growth and turn."""
    w = sums.shape[1]
    xx, yy, xy, xt, yt = sums[0], sums[1], sums[2], sums[3], sums[4]
    middle, two = np.float32((w - 1) / 2), np.float32(2.0)
    n00 = n01 = n02 = n03 = n11 = n12 = n13 = n22 = n23 = n33 = np.float32(0.0)
    for x in range(w):
        gx = np.float32(x) - middle
        n00 += xx[x]
        n01 += xy[x]
        n11 += yy[x]
        n02 += xx[x] * gx + xy[x] * gy
        n03 += xy[x] * gx - xx[x] * gy
        n12 += xy[x] * gx + yy[x] * gy
        n13 += yy[x] * gx - xy[x] * gy
    for x in range(w):
        gx = np.float32(x) - middle
        n22 += (xx[x] * gx + two * xy[x] * gy) * gx + yy[x] * gy * gy
        n23 += (xy[x] * gx - xx[x] * gy) * gx + (yy[x] * gx - xy[x] * gy) * gy
        n33 += (yy[x] * gx - two * xy[x] * gy) * gx + xx[x] * gy * gy
    r0 = r1 = r2 = r3 = np.float32(0.0)
    for x in range(w):
        gx = np.float32(x) - middle
        r0 += xt[x]
        r1 += yt[x]
        r2 += xt[x] * gx + yt[x] * gy
        r3 += yt[x] * gx - xt[x] * gy
    n[0, 0] += n00
    n[0, 1] += n01
    n[0, 2] += n02
    n[0, 3] += n03
    n[1, 1] += n11
    n[1, 2] += n12
    n[1, 3] += n13
    n[2, 2] += n22
    n[2, 3] += n23
    n[3, 3] += n33
    n[0, 4] += r0
    n[1, 4] += r1
    n[2, 4] += r2
    n[3, 4] += r3


@njit(cache=True, nogil=True, fastmath=_FAST)  # type: ignore[misc, unused-ignore]
def similarity_sums(
    first: Picture, moved: Picture, seen: Ints, detail: Picture, detail2: Picture, floor: float
) -> tuple[Floats, Floats, Floats]:
    """Sum up what a similarity should change so that one picture falls onto another.

    A block of some pixels counts by the detail that both show there, and less where they differ
    by more than they do on the whole: by its mean square, as one pixel's difference says little.
    Gradients are of the mean of both pictures, so that neither's blur shortens the step.

    Parameters
    ----------
    first, moved : ndarray of float32, shape (H, W)
        Band-passed pictures.
    seen : ndarray of int32, shape (H, 2)
        First column of each row that `moved` saw, and the one past the last.
    detail, detail2 : ndarray of float32, shape (R, C)
        Their mean squares about every block, R x C of which cover the picture.
    floor : float
        Mean square that counts as detail.

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
    rows, cols = detail.shape
    votes = np.empty((rows, cols), np.float32)
    cross, own, other = _block_votes(first, moved, seen, detail, detail2, floor, votes)
    smooth, drop, line = np.empty(w, np.float32), np.empty(w, np.float32), np.empty(w, np.float32)
    voted = np.empty((2, w), np.float32)
    of, sums = np.empty((3, w), np.float32), np.empty((5, w), np.float32)
    n = np.zeros((4, 5))
    middle = np.float32((h - 1) / 2)
    for row in range(rows):
        top, bottom = (row * h + rows - 1) // rows, ((row + 1) * h + rows - 1) // rows
        for col in range(cols):
            start, end = (col * w + cols - 1) // cols, ((col + 1) * w + cols - 1) // cols
            line[start:end] = votes[row, col]
        sums[:] = np.float32(0.0)
        for y in range(top, bottom):
            _mean_gradient(first, moved, y, smooth, drop, of)
            left, right = seen[y]
            _add_voted(of, line, left, right, voted, sums)
        # all rows of a block as if they lay in its middle
        _add_to_similarity(sums, np.float32(0.5) * np.float32(top + bottom - 1) - middle, n)
    normal = np.empty((4, 4))
    for k in range(4):
        for m in range(k, 4):
            normal[k, m] = normal[m, k] = n[k, m]
    return normal, n[:, 4].copy(), np.array([cross, own, other])
