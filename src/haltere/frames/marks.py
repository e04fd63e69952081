"""Where the parts of a JPEG lie, noted on a first reading, so that some are read again alone."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from haltere.frames.limits import LIMITS

Ints: TypeAlias = NDArray[np.int32]

PART_PX = 64
"""Width of a part: as wide as the blocks that a merge paints."""

_LUMA_SHAPES = {(1, 1), (2, 1), (2, 2)}
_TWICE_LEAST = 3  # columns of colour from which libjpeg smooths it


@dataclass(frozen=True, slots=True)
class Coding:
    """What a JPEG says of its bits before they begin.

    Attributes
    ----------
    size_px : tuple of int
        Width and height.
    shape : tuple of int
        Blocks of luma across and down in a unit, the smallest piece that holds all colours.
    tables : tuple of bytes
        Codes: for luma those of means and of the rest, then for colour.
    quanta : ndarray of int32, shape (3 * 64,)
        By component and place in the zigzag.
    restart : int
        Units from one restart marker to the next; 0 without.
    scan : int
        Place of the first byte of the bits.
    """

    size_px: tuple[int, int]
    shape: tuple[int, int]
    tables: tuple[bytes, ...]
    quanta: Ints
    restart: int
    scan: int

    @property
    def units(self) -> tuple[int, int]:
        """Units in a row, and rows of them."""
        (width, height), (wide, high) = self.size_px, self.shape
        return -(-width // (8 * wide)), -(-height // (8 * high))

    @property
    def every(self) -> int:
        """Units of a part."""
        return PART_PX // (8 * self.shape[0])

    @property
    def layout(self) -> Ints:
        """Component, row of its tables, column and row of each block of a unit."""
        wide, high = self.shape
        luma = [(0, 0, x, y) for y in range(high) for x in range(wide)]
        return np.array([*luma, (1, 2, 0, 0), (2, 2, 0, 0)], np.int32)


@dataclass(frozen=True, slots=True, eq=False)
class Marks:
    """Where the parts of a JPEG begin.

    Attributes
    ----------
    path : Path
        The file.
    stamp : tuple of int
        Its size and the time it was last written, by which it is known again.
    coding : Coding
        What its bits mean.
    places, means : ndarray
        See `haltere.frames.bits.read_units`.
    icc : bytes or None
        Profile.
    """

    path: Path
    stamp: tuple[int, int]
    coding: Coding
    places: NDArray[np.int64]
    means: NDArray[np.int16]
    icc: bytes | None

    @property
    def nbytes(self) -> int:
        """Memory of its places and means, bytes."""
        return self.places.nbytes + self.means.nbytes


def coding_of(data: bytes) -> Coding | None:
    """Read what stands before a JPEG's bits.

    Parameters
    ----------
    data : bytes
        The file.

    Returns
    -------
    Coding or None
        None for other kinds than cameras write: only one scan of 8 bit in three colours is read,
        with colour at full or half size.
    """
    at, restart = 2, 0
    jfif, adobe = False, -1
    codes: dict[int, bytes] = {}
    quanta: dict[int, bytes] = {}
    frame = b""
    while at + 4 <= len(data):
        if data[at] != 0xFF:
            return None
        marker = data[at + 1]
        if marker == 0xFF:
            at += 1
            continue
        size = int.from_bytes(data[at + 2 : at + 4], "big")
        body = data[at + 4 : at + 2 + size]
        at += 2 + size
        if size < 2 or at > len(data):
            return None
        if marker == 0xC4:
            _split(body, 17, codes)
        elif marker == 0xDB:
            _split(body, 1, quanta)
        elif marker in (0xC0, 0xC1):
            frame = body
        elif 0xC2 <= marker <= 0xCF:
            return None
        elif marker == 0xDD:
            restart = int.from_bytes(body[:2], "big")
        elif marker == 0xE0 and body[:5] == b"JFIF\0":
            jfif = True
        elif marker == 0xEE and body[:5] == b"Adobe" and len(body) >= 12:
            adobe = body[11]
        elif marker == 0xDA:
            return _coding(frame, body, codes, quanta, (jfif, adobe), restart, at)
    return None


def _split(body: bytes, head: int, into: dict[int, bytes]) -> None:
    """Take the tables of a segment apart; those of another kind spoil what is asked for later."""
    at = 0
    while at < len(body):
        size = 64 if head == 1 else sum(body[at + 1 : at + 17])
        into[body[at]] = body[at + 1 : at + head + size]
        at += head + size


def _coding(
    frame: bytes,
    scan: bytes,
    codes: dict[int, bytes],
    quanta: dict[int, bytes],
    colours: tuple[bool, int],
    restart: int,
    at: int,
) -> Coding | None:
    if len(frame) != 15 or frame[0] != 8 or frame[5] != 3 or len(scan) != 10 or scan[0] != 3:
        return None
    height, width = int.from_bytes(frame[1:3], "big"), int.from_bytes(frame[3:5], "big")
    parts = [frame[6 + 3 * c : 9 + 3 * c] for c in range(3)]
    shape = (parts[0][1] >> 4, parts[0][1] & 15)
    jfif, adobe = colours
    usual = bytes(part[0] for part in parts) == b"\1\2\3"
    if not (jfif or adobe == 1 or (adobe < 0 and usual)):
        return None
    if shape not in _LUMA_SHAPES or parts[1][1] != 0x11 or parts[2][1] != 0x11:
        return None
    if scan[7:] != b"\x00\x3f\x00" or any(scan[1 + 2 * c] != parts[c][0] for c in range(3)):
        return None
    if scan[4] != scan[6] or not 0 < width * height <= LIMITS.max_px:
        return None
    if shape[0] > 1 and width < 2 * _TWICE_LEAST:
        return None
    means_luma, rest_luma = scan[2] >> 4, 16 | (scan[2] & 15)
    means_colour, rest_colour = scan[4] >> 4, 16 | (scan[4] & 15)
    try:
        tables = tuple(codes[k] for k in (means_luma, rest_luma, means_colour, rest_colour))
        steps = [quanta[part[2]] for part in parts]
    except KeyError:
        return None
    if any(len(one) != 64 for one in steps) or not all(_sound(one) for one in tables):
        return None
    by_part = np.array([step for one in steps for step in one], np.int32)
    return Coding((width, height), shape, tables, by_part, restart, at)


def _sound(table: bytes) -> bool:
    """Whether a table's codes are all there, and no more of them than bits can tell apart."""
    room = 1
    for count in table[:16]:
        room = 2 * room - count
        if room < 0:
            return False
    return len(table) == 16 + sum(table[:16])


@lru_cache(maxsize=4)
def lookups(tables: tuple[bytes, ...]) -> tuple[Ints, Ints, NDArray[np.int64], Ints]:
    """Tell what bits mean, by those that come next.

    Parameters
    ----------
    tables : tuple of bytes
        Codes of each table: how many of each length, then what they stand for.

    Returns
    -------
    short : ndarray of int32, shape (tables << WINDOW,)
        Value, zeros before it and bits of both together; 0 where the window does not hold them.
    long : ndarray of int32, shape (tables << 16,)
        Zeros before the value, size of it, and bits of the code alone.
    pairs : ndarray of int64, shape (tables << WINDOW,)
        The first two values of a window, or one alone: second value and first (16 bits each),
        zeros before the second (6), places that it and the first go on by (8 each), bits of the
        first, and of both (5 each); 0 where the window does not hold the first.
    skips : ndarray of int32, shape (tables << WINDOW,)
        All values of a window: places that all but the last of them go on by, that all do, and
        bits (8); 0 where the window holds none.
    """
    from haltere.frames.bits import WINDOW

    long = np.zeros((len(tables), 1 << 16), np.int32)
    for row, table in enumerate(tables):
        begin, k = 0, 16
        for length in range(1, 17):
            wide = 1 << (16 - length)
            for _ in range(table[length - 1]):
                long[row, begin : begin + wide] = table[k] << 8 | length
                begin, k = begin + wide, k + 1
    window = np.arange(1 << WINDOW)
    codes = long[:, window << (16 - WINDOW)]
    size, run = (codes >> 8) & 15, codes >> 12
    bits = (codes & 255) + size
    held = (codes > 0) & (bits <= WINDOW)
    value = (window >> np.where(held, WINDOW - bits, 0)) & ((1 << size) - 1)
    value = np.where((size > 0) & (value < (1 << size) >> 1), value - (1 << size) + 1, value)
    short = np.where(held, value << 16 | run << 8 | bits, 0).astype(np.int32)
    both = [_together(one, WINDOW) for one in short.astype(np.int64)]
    pairs, skips = (np.concatenate(parts) for parts in zip(*both, strict=True))
    return short.ravel(), long.ravel(), pairs, skips.astype(np.int32)


def _together(short: NDArray[np.int64], window: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Tell what windows say at once, pairs and skips, from what they say first."""
    from haltere.frames.bits import END

    value, run, bits = short >> 16, (short >> 8) & 255, short & 255
    held = bits > 0
    on = np.where(held, np.where((value == 0) & (run != 15), END, run + 1), 0)
    all_bits, all_on, before = bits, on, np.zeros_like(on)
    pairs, going = np.zeros_like(short), held
    for count in range(1, window):
        at = (np.arange(1 << window) << all_bits) & ((1 << window) - 1)
        more = going & held[at] & (all_bits + bits[at] <= window) & (all_on < 64)
        if count == 1:
            next_on = np.where(more, on[at], 0)
            zeros = np.where(more & (next_on < END), next_on - 1, 0)
            second = np.where(more, value[at], 0)
            pairs = second << 48 | (value & 65535) << 32 | zeros << 26 | next_on << 18
            pairs |= on << 10 | bits << 5 | (bits + np.where(more, bits[at], 0))
        going = more
        before = np.where(more, all_on, before)
        all_bits = all_bits + np.where(more, bits[at], 0)
        all_on = all_on + np.where(more, on[at], 0)
    return pairs, before << 16 | all_on << 8 | all_bits
