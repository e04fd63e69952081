"""The compiled loops that read a JPEG's bits, and that find a part of them again.

After ITU-T T.81 (1992).  Samples come out as libjpeg's accurate integer transforms give them (from
memory, held against it by tests), so that it does not show which of the two has read a file.
Whatever the bits say, these loops end and stay within their arrays.
"""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
from numba import njit
from numpy.typing import NDArray

from haltere.frames.transforms import full_block, half_block, quarter_block

Codes: TypeAlias = NDArray[np.uint8]
Ints: TypeAlias = NDArray[np.int32]
Parts: TypeAlias = tuple[Any, ...]

WINDOW = 12
"""Bits that are looked up at once: most values, with the code before them, are no longer."""

# fmt: off
ZIGZAG = np.array([
    0, 1, 8, 16, 9, 2, 3, 10, 17, 24, 32, 25, 18, 11, 4, 5, 12, 19, 26, 33, 40, 48, 41, 34, 27, 20,
    13, 6, 7, 14, 21, 28, 35, 42, 49, 56, 57, 50, 43, 36, 29, 22, 15, 23, 30, 37, 44, 51, 58, 59,
    52, 45, 38, 31, 39, 46, 53, 60, 61, 54, 47, 55, 62, 63,
], np.int32)
# fmt: on

_SPOT = np.full(256, 64, np.int32)
_SPOT[:64] = ZIGZAG
"""Where a value goes; past a block's end, to a place that nothing is read from."""

_HIGH = np.uint64(0x8080808080808080)
_LOW = np.uint64(0x0101010101010101)
_SHIFT = np.uint64(64 - WINDOW)
_LAST = np.uint64(63)
_LOOKS = 3  # before bits are fetched anew: of 57, two windows take 24, a code and its value 31
END = 128  # places: so many more than a block has say that nothing but zeros follows


@njit(cache=True, nogil=True)  # type: ignore[misc, unused-ignore]
def _next_eight(data: Codes, at: int) -> np.uint64:
    """Give eight bytes as one number, the first one highest."""
    # places without a sign: numba would look whether each counts from the end
    return (
        (np.uint64(data[np.uint64(at)]) << np.uint64(56))
        | (np.uint64(data[np.uint64(at + 1)]) << np.uint64(48))
        | (np.uint64(data[np.uint64(at + 2)]) << np.uint64(40))
        | (np.uint64(data[np.uint64(at + 3)]) << np.uint64(32))
        | (np.uint64(data[np.uint64(at + 4)]) << np.uint64(24))
        | (np.uint64(data[np.uint64(at + 5)]) << np.uint64(16))
        | (np.uint64(data[np.uint64(at + 6)]) << np.uint64(8))
        | np.uint64(data[np.uint64(at + 7)])
    )


@njit(cache=True, nogil=True)  # type: ignore[misc, unused-ignore]
def _filled(
    data: Codes, at: int, buffer: np.uint64, left: int, lent: int
) -> tuple[int, np.uint64, int, int]:
    """Fill the buffer byte by byte; at a marker or the end with zeros, which are lent.

    Takes and gives the next byte's place, the buffer, how many bits it holds, and how many of all
    were lent.
    """
    while left <= 56:
        byte = np.uint64(0)
        if at < len(data) and data[at] != 255:
            byte = np.uint64(data[at])
            at += 1
        elif at + 1 < len(data) and data[at + 1] == 0:
            byte = np.uint64(255)
            at += 2
        else:
            lent += 8
        buffer |= byte << np.uint64(56 - left)
        left += 8
    return at, buffer, left, lent


@njit(cache=True, nogil=True)  # type: ignore[misc, unused-ignore]
def _long(long: Ints, table: Any, buffer: np.uint64) -> Any:
    """Read the value after a code too long for the window, as the window's table tells others.

    0 where there is no such code.
    """
    entry = np.int64(long[(np.uint64(table) << np.uint64(16)) | (buffer >> np.uint64(48))])
    bits = entry & 255
    size, run = (entry >> 8) & 15, entry >> 12
    if bits == 0 or size == 0:
        return bits | run << 8
    value = np.int64((buffer << np.uint64(bits)) >> np.uint64(64 - size))
    if value >> (size - 1) == 0:
        value -= (1 << size) - 1
    return value << 16 | run << 8 | (bits + size)


@njit(cache=True, nogil=True)  # type: ignore[misc, unused-ignore]
def _place(data: Codes, at: int, left: int) -> int:
    """Tell where the next unread bit stands: eight times its byte, and its place in that."""
    for _ in range((left + 7) // 8):
        at -= 1
        if data[at] == 0 and data[at - 1] == 255:
            at -= 1
    return 8 * at + (-left) % 8


@njit(cache=True, nogil=True)  # type: ignore[misc, unused-ignore]
def read_units(  # noqa: PLR0912, PLR0913, PLR0915, PLR0917 - in one piece the reader stays in registers
    data: Codes,
    place: int,
    first: int,
    past: int,
    across: int,
    layout: Ints,
    short: Ints,
    long: Ints,
    pairs: NDArray[np.int64],
    skips: Ints,
    quanta: Ints,
    restart: int,
    every: int,
    factor: int,
    colour: int,
    noting: bool,
    before: NDArray[np.int64],
    places: NDArray[np.int64],
    means: NDArray[np.int16],
    luma: Codes,
    blue: Codes,
    red: Codes,
) -> int:
    """Read units `first` to `past` of a picture, counted row by row.

    Parameters
    ----------
    data : ndarray of uint8
        The file.
    place : int
        Eight times the place of the byte that holds the first bit, and that bit's place in it.
    first, past : int
        Units.
    across : int
        Units in a row.
    layout : ndarray of int32, shape (B, 4)
        For each block of a unit: component, row of its tables, and its column and row among the
        component's blocks of the unit; luma is component 0 and comes first.
    short, long, pairs, skips : ndarray, flat
        What bits mean, see `haltere.frames.marks.lookups`.
    quanta : ndarray of int32, shape (3 * 64,)
        By component and place in the zigzag.
    restart : int
        Units from one restart marker to the next; 0 without.
    every : int
        Units of a part, the last of a row may have fewer.
    factor : int
        By how much luma is shrunk: 1, 2 or 4.
    colour : int
        By how much colour as it is stored is.
    noting : bool
        Luma alone is read, and it is noted where parts begin.
    before : ndarray of int64, shape (3,)
        Means before the first unit; changed.
    places : ndarray of int64, shape (rows, parts of a row)
        Filled when noting: where each part begins, as `place`.
    means : ndarray of int16, shape (rows, parts of a row, 3)
        Filled when noting: the means before each part.
    luma, blue, red : ndarray of uint8
        Filled: all blocks, whole.

    Returns
    -------
    int
        Place of the byte after the last; -1 where the bits make no sense or end too soon.
    """
    at: Any = place >> 3
    left: Any = 0
    lent = 0
    buffer = np.uint64(0)
    if place & 7 > 0:
        at, buffer, left, lent = _filled(data, at, buffer, left, lent)
        buffer <<= np.uint64(place & 7)
        left -= place & 7
    blocks = len(layout)
    side = 8 // factor
    wide, high = layout[blocks - 3, 2] + 1, layout[blocks - 3, 3] + 1
    block = np.zeros(2 * 64, np.int32)
    size = len(data)
    for unit in range(first, past):
        y = unit // across
        x = unit - y * across
        if restart > 0 and unit > first and unit % restart == 0:
            # what is left of a byte is padding
            if lent > left or left - lent >= 8 or at + 2 > size:
                return -1
            if data[at] != 255 or data[at + 1] & 0xF8 != 0xD0:
                return -1
            at, left, lent = at + 2, 0, 0
            buffer = np.uint64(0)
            before[:] = 0
        if noting and x % every == 0:
            part = x // every
            places[y, part] = _place(data, at, max(left - lent, 0))
            for c in range(3):
                means[y, part, c] = before[c]
        for b in range(blocks):
            c = layout[b, 0]
            keep = c == 0 or not noting
            if keep:
                for n in range(64):
                    block[n] = 0
            table = layout[b, 1]
            rest = np.uint64(table + 1) << np.uint64(WINDOW)
            steps = np.uint64(64 * c)
            k: Any = 0
            while k < 64:
                whole = False
                if at + 8 <= size:
                    word = _next_eight(data, at)
                    if ((~word - _LOW) & word & _HIGH) == np.uint64(0):
                        # no byte of eight ones
                        more = (64 - left) >> 3
                        buffer |= word >> np.uint64(left)
                        at += more
                        left += 8 * more
                        whole = True
                if not whole:
                    at, buffer, left, lent = _filled(data, at, buffer, left, lent)
                if k == 0:
                    entry: Any = np.int64(
                        short[(np.uint64(table) << np.uint64(WINDOW)) | (buffer >> _SHIFT)]
                    )
                    if entry == 0:
                        entry = _long(long, table, buffer)
                        if entry == 0:
                            return -1
                    buffer <<= np.uint64(entry & 255)
                    left -= entry & 255
                    before[c] += entry >> 16
                    if before[c] < -32768 or before[c] > 32767:
                        return -1
                    block[0] = before[c] * quanta[64 * c]
                    k = 1
                    continue
                for _ in range(_LOOKS):
                    if keep:
                        both: Any = pairs[rest | (buffer >> _SHIFT)]
                        if both != 0:
                            k += (both >> 10) & 255
                            to = np.uint64(k - 1)
                            step = quanta[steps + (to & _LAST)]
                            block[np.uint64(_SPOT[to])] = ((both << 16) >> 48) * step
                            if k > 63:
                                # what else the window holds is the next block's
                                buffer <<= np.uint64((both >> 5) & 31)
                                left -= (both >> 5) & 31
                                break
                            buffer <<= np.uint64(both & 31)
                            left -= both & 31
                            to = np.uint64(k + ((both >> 26) & 63))
                            step = quanta[steps + (to & _LAST)]
                            block[np.uint64(_SPOT[to])] = (both >> 48) * step
                            k += (both >> 18) & 255
                            if k > 63:
                                break
                            continue
                        entry = 0
                    else:
                        entry = np.int64(skips[rest | (buffer >> _SHIFT)])
                        if entry != 0 and k + (entry >> 16) < 64:
                            buffer <<= np.uint64(entry & 255)
                            left -= entry & 255
                            k += (entry >> 8) & 255
                            if k > 63:
                                break
                            continue
                        entry = np.int64(short[rest | (buffer >> _SHIFT)])
                    # one value alone
                    if entry == 0:
                        entry = _long(long, table + 1, buffer)
                        if entry == 0:
                            return -1
                    buffer <<= np.uint64(entry & 255)
                    left -= entry & 255
                    run, value = (entry >> 8) & 255, entry >> 16
                    k += run + 1 if value != 0 or run == 15 else END
                    to = np.uint64(k - 1)
                    block[np.uint64(_SPOT[to])] = value * quanta[steps + (to & _LAST)]
                    break
            # a value or zeros past the last place
            if k % END > 64:
                return -1
            if not keep:
                continue
            out, shrunk = luma, factor
            row, column = (y * high + layout[b, 3]) * side, (x * wide + layout[b, 2]) * side
            if c > 0:
                out, shrunk = (blue if c == 1 else red), colour
                row, column = y * (8 // colour), x * (8 // colour)
            if shrunk == 1:
                full_block(block, out, row, column)
            elif shrunk == 2:
                half_block(block, out, row, column)
            else:
                quarter_block(block, out, row, column)
    if lent > left:
        return -1
    past_all: int = at
    return past_all


@njit(cache=True, nogil=True)  # type: ignore[misc, unused-ignore]
def fetch(
    left: int, top: int, right: int, bottom: int, parts: Parts, done: NDArray[np.uint8]
) -> None:
    """Read the parts of a picture that a window needs, those that were not read yet.

    Parameters
    ----------
    left, top, right, bottom : int
        The window, past the last for right and bottom.
    parts : tuple
        See `haltere.frames.parts.open_parts`.
    done : ndarray of uint8, shape (rows, parts of a row)
        1 for parts that were read; changed.
    """
    _, rows, cols, wide, high, factor, colour = parts[:7]
    data, across, layout, short, long, pairs, quanta, restart, every = parts[7:16]
    places, means, luma, blue, red = parts[16:]
    # colour is smoothed into its neighbours
    reach_x, reach_y = 2 * (wide - 1), 2 * (high - 1)
    side = 8 // factor
    side_x, side_y = side * wide * every, side * high
    before = np.empty(3, np.int64)
    for y in range(
        max(top - reach_y, 0) // side_y, (min(bottom + reach_y, rows) - 1) // side_y + 1
    ):
        for part in range(
            max(left - reach_x, 0) // side_x, (min(right + reach_x, cols) - 1) // side_x + 1
        ):
            if done[y, part] != 0:
                continue
            done[y, part] = 1
            for c in range(3):
                before[c] = means[y, part, c]
            first = y * across + part * every
            past = min(first + every, (y + 1) * across)
            read_units(
                data, places[y, part], first, past, across, layout, short, long, pairs, short,
                quanta, restart, every, factor, colour, False, before, places, means, luma, blue,
                red,
            )  # fmt: skip
