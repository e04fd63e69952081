"""Cosine transforms of a JPEG's blocks, as libjpeg's accurate integer ones give them.

From memory of the method (Loeffler, Ligtenberg & Moschytz 1989, eleven multiplications in 13-bit
fixed point) and of the smaller ones derived from it; tests hold every sample against libjpeg.
Frequencies and what lies between two passes are halves of one array: of two, the compiler would
have to ask whether they overlap, and does not take eight columns at once in so short a loop.
"""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
from numba import njit
from numpy.typing import NDArray

Codes: TypeAlias = NDArray[np.uint8]
Ints: TypeAlias = NDArray[np.int32]


@njit(cache=True, nogil=True)  # type: ignore[misc, unused-ignore]
def _clipped(value: Any) -> Any:
    """Clip a sample, which is counted from the middle, and count it from 0."""
    return min(max(value + 128, 0), 255)


@njit(cache=True, nogil=True)  # type: ignore[misc, unused-ignore]
def _code(value: Any) -> np.uint8:
    """Give a sample as it is stored."""
    return np.uint8(_clipped(value))


@njit(cache=True, nogil=True)  # type: ignore[misc, unused-ignore]
def _eight(
    a0: np.int32,
    a1: np.int32,
    a2: np.int32,
    a3: np.int32,
    a4: np.int32,
    a5: np.int32,
    a6: np.int32,
    a7: np.int32,
) -> tuple[np.int32, np.int32, np.int32, np.int32, np.int32, np.int32, np.int32, np.int32]:
    """One line of eight, 13 bits larger: the halves that add up to either end of it."""
    z1 = np.int32((a2 + a6) * 4433)
    t2 = np.int32(z1 - a6 * 15137)
    t3 = np.int32(z1 + a2 * 6270)
    t0 = np.int32((a0 + a4) << 13)
    t1 = np.int32((a0 - a4) << 13)
    z5 = np.int32((a7 + a3 + a5 + a1) * 9633)
    z1 = np.int32((a7 + a1) * -7373)
    z2 = np.int32((a5 + a3) * -20995)
    z3 = np.int32((a7 + a3) * -16069 + z5)
    z4 = np.int32((a5 + a1) * -3196 + z5)
    o0 = np.int32(a7 * 2446 + z1 + z3)
    o1 = np.int32(a5 * 16819 + z2 + z4)
    o2 = np.int32(a3 * 25172 + z2 + z3)
    o3 = np.int32(a1 * 12299 + z1 + z4)
    e0, e1 = np.int32(t0 + t3), np.int32(t1 + t2)
    e2, e3 = np.int32(t1 - t2), np.int32(t0 - t3)
    return e0, e1, e2, e3, o3, o2, o1, o0


@njit(cache=True, nogil=True)  # type: ignore[misc, unused-ignore]
def full_block(block: Ints, out: Codes, row: int, column: int) -> None:
    """Turn a block of 8 x 8 into samples.

    Parameters
    ----------
    block : ndarray of int32, shape (128,)
        64 frequencies, and room for as many numbers; changed.
    out : ndarray of uint8
        Plane that is written to.
    row, column : int
        Where the block's corner lies in it.
    """
    half = np.int32(1 << 10)
    for x in range(8):
        e0, e1, e2, e3, o3, o2, o1, o0 = _eight(
            block[x],
            block[x + 8],
            block[x + 16],
            block[x + 24],
            block[x + 32],
            block[x + 40],
            block[x + 48],
            block[x + 56],
        )
        block[x + 64] = np.int32(e0 + o3 + half) >> 11
        block[x + 120] = np.int32(e0 - o3 + half) >> 11
        block[x + 72] = np.int32(e1 + o2 + half) >> 11
        block[x + 112] = np.int32(e1 - o2 + half) >> 11
        block[x + 80] = np.int32(e2 + o1 + half) >> 11
        block[x + 104] = np.int32(e2 - o1 + half) >> 11
        block[x + 88] = np.int32(e3 + o0 + half) >> 11
        block[x + 96] = np.int32(e3 - o0 + half) >> 11
    for y in range(8):
        for x in range(8):
            block[8 * x + y] = block[64 + 8 * y + x]
    half = np.int32(1 << 17)
    for y in range(8):
        e0, e1, e2, e3, o3, o2, o1, o0 = _eight(
            block[y],
            block[y + 8],
            block[y + 16],
            block[y + 24],
            block[y + 32],
            block[y + 40],
            block[y + 48],
            block[y + 56],
        )
        block[y + 64] = _clipped(np.int32(e0 + o3 + half) >> 18)
        block[y + 120] = _clipped(np.int32(e0 - o3 + half) >> 18)
        block[y + 72] = _clipped(np.int32(e1 + o2 + half) >> 18)
        block[y + 112] = _clipped(np.int32(e1 - o2 + half) >> 18)
        block[y + 80] = _clipped(np.int32(e2 + o1 + half) >> 18)
        block[y + 104] = _clipped(np.int32(e2 - o1 + half) >> 18)
        block[y + 88] = _clipped(np.int32(e3 + o0 + half) >> 18)
        block[y + 96] = _clipped(np.int32(e3 - o0 + half) >> 18)
    for y in range(8):
        line = out[row + y]
        for x in range(8):
            line[column + x] = np.uint8(block[64 + 8 * x + y])


@njit(cache=True, nogil=True)  # type: ignore[misc, unused-ignore]
def _four(
    a0: np.int32,
    a1: np.int32,
    a2: np.int32,
    a3: np.int32,
    a5: np.int32,
    a6: np.int32,
    a7: np.int32,
) -> tuple[np.int32, np.int32, np.int32, np.int32]:
    """One line of eight as four, 14 bits larger."""
    even = np.int32(a0 << 14)
    bend = np.int32(a2 * 15137 - a6 * 6270)
    near = np.int32(a7 * -1730 + a5 * 11893 + a3 * -17799 + a1 * 8697)
    far = np.int32(a7 * -4176 + a5 * -4926 + a3 * 7373 + a1 * 20995)
    upper, lower = np.int32(even + bend), np.int32(even - bend)
    return (
        np.int32(upper + far),
        np.int32(lower + near),
        np.int32(lower - near),
        np.int32(upper - far),
    )


@njit(cache=True, nogil=True)  # type: ignore[misc, unused-ignore]
def half_block(block: Ints, out: Codes, row: int, column: int) -> None:
    """Turn a block of 8 x 8 into 4 x 4 samples.

    Parameters
    ----------
    block : ndarray of int32, shape (128,)
        See `full_block`.
    out : ndarray of uint8
        Likewise.
    row, column : int
        Likewise.
    """
    half = np.int32(1 << 11)
    for x in range(8):
        v0, v1, v2, v3 = _four(
            block[x],
            block[x + 8],
            block[x + 16],
            block[x + 24],
            block[x + 40],
            block[x + 48],
            block[x + 56],
        )
        block[x + 64] = np.int32(v0 + half) >> 12
        block[x + 72] = np.int32(v1 + half) >> 12
        block[x + 80] = np.int32(v2 + half) >> 12
        block[x + 88] = np.int32(v3 + half) >> 12
    half = np.int32(1 << 18)
    for y in range(4):
        k = 64 + 8 * y
        v0, v1, v2, v3 = _four(
            block[k],
            block[k + 1],
            block[k + 2],
            block[k + 3],
            block[k + 5],
            block[k + 6],
            block[k + 7],
        )
        out[row + y, column] = _code(np.int32(v0 + half) >> 19)
        out[row + y, column + 1] = _code(np.int32(v1 + half) >> 19)
        out[row + y, column + 2] = _code(np.int32(v2 + half) >> 19)
        out[row + y, column + 3] = _code(np.int32(v3 + half) >> 19)


@njit(cache=True, nogil=True)  # type: ignore[misc, unused-ignore]
def _two(
    a0: np.int32, a1: np.int32, a3: np.int32, a5: np.int32, a7: np.int32
) -> tuple[np.int32, np.int32]:
    """One line of eight as two, 15 bits larger."""
    even = np.int32(a0 << 15)
    odd = np.int32(a7 * -5906 + a5 * 6967 + a3 * -10426 + a1 * 29692)
    return np.int32(even + odd), np.int32(even - odd)


@njit(cache=True, nogil=True)  # type: ignore[misc, unused-ignore]
def quarter_block(block: Ints, out: Codes, row: int, column: int) -> None:
    """Turn a block of 8 x 8 into 2 x 2 samples.

    Parameters
    ----------
    block : ndarray of int32, shape (128,)
        See `full_block`.
    out : ndarray of uint8
        Likewise.
    row, column : int
        Likewise.
    """
    half = np.int32(1 << 12)
    for x in range(8):
        v0, v1 = _two(block[x], block[x + 8], block[x + 24], block[x + 40], block[x + 56])
        block[x + 64] = np.int32(v0 + half) >> 13
        block[x + 72] = np.int32(v1 + half) >> 13
    half = np.int32(1 << 19)
    for y in range(2):
        k = 64 + 8 * y
        v0, v1 = _two(block[k], block[k + 1], block[k + 3], block[k + 5], block[k + 7])
        out[row + y, column] = _code(np.int32(v0 + half) >> 20)
        out[row + y, column + 1] = _code(np.int32(v1 + half) >> 20)
