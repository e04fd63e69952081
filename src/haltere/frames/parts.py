"""A JPEG whose parts are read when they are needed, after it was read once as a whole."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from haltere.frames.content import stamp_of
from haltere.frames.decode import block_factor, icc_of_jpeg, reduced_size
from haltere.frames.frame import Frame, Pixels
from haltere.frames.marks import Coding, Marks, coding_of, lookups

Codes: TypeAlias = NDArray[np.uint8]
Planes: TypeAlias = tuple[Codes, Codes, Codes]
Parts: TypeAlias = tuple[Any, ...]

_END = b"\xff\xd9"


def read_marked(frame: Frame, longest_px: int) -> Pixels | None:
    """Decode a frame to small grey pixels, as the decoder gives them, and note where its parts lie.

    Parameters
    ----------
    frame : Frame
        The frame.
    longest_px : int
        Longest side wanted.

    Returns
    -------
    Pixels or None
        With `marks`; None for what is left to the decoder: other kinds of files, those that are
        turned, not much larger than wanted, or damaged.
    """
    import cv2

    full = (frame.width_px, frame.height_px)
    size = reduced_size(*full, longest_px)
    factor = block_factor(*full, size)
    if frame.kind != "jpeg" or frame.orientation != 1 or factor not in (2, 4):
        return None
    try:
        stamp = stamp_of(frame.path)
        data = frame.path.read_bytes()
    except OSError:
        return None
    coding = coding_of(data)
    if coding is None or coding.size_px != full:
        return None
    found = _walked(data, coding, factor)
    if found is None:
        return None
    luma, places, means = found
    luma = luma[: full[1] // factor, : full[0] // factor]
    small = cv2.resize(np.ascontiguousarray(luma), size, interpolation=cv2.INTER_AREA)
    marks = Marks(frame.path, stamp, coding, places, means, icc_of_jpeg(data))
    scale = max(size) / max(full)
    return Pixels(np.asarray(small, np.uint8), scale, False, marks.icc, marks)


def load_loops() -> None:
    """Load the compiled loops, by reading nothing, so that those who read need not wait for it."""
    from haltere.frames.bits import read_units

    data, places = np.zeros(1, np.uint8), np.zeros((1, 1), np.int64)
    bits, plane = np.zeros(1, np.int32), np.zeros((1, 1), np.uint8)
    read_units(
        np.frombuffer(data.tobytes(), np.uint8), 0, 0, 0, 1, np.zeros((3, 4), np.int32),
        bits, bits, np.zeros(1, np.int64), bits, bits, 0, 1, 2, 1, True,
        np.zeros(3, np.int64), places, np.zeros((1, 1, 3), np.int16), plane, plane, plane,
    )  # fmt: skip


def _walked(
    data: bytes, coding: Coding, factor: int
) -> tuple[Codes, NDArray[np.int64], NDArray[np.int16]] | None:
    from haltere.frames.bits import read_units

    across, down = coding.units
    wide, high = coding.shape
    side = 8 // factor
    parts = -(-across // coding.every)
    places = np.zeros((down, parts), np.int64)
    means = np.zeros((down, parts, 3), np.int16)
    luma = np.empty((down * high * side, across * wide * side), np.uint8)
    none = np.zeros((1, 1), np.uint8)
    tables = lookups(coding.tables)
    end = read_units(
        np.frombuffer(data, np.uint8), 8 * coding.scan, 0, across * down, across, coding.layout,
        *tables, coding.quanta, coding.restart, coding.every, factor, 1, True,
        np.zeros(3, np.int64), places, means, luma, none, none,
    )  # fmt: skip
    if end < 0 or data[end : end + 2] != _END:
        return None
    return luma, places, means


def planes_for(coding: Coding, factor: int = 1, before: Planes | None = None) -> Planes:
    """Give room for the samples of a picture.

    Parameters
    ----------
    coding : Coding
        Of the picture.
    factor : int, optional
        By how much it is shrunk.
    before : tuple of ndarray, optional
        Room that is not needed any more; given back where it fits.

    Returns
    -------
    tuple of ndarray of uint8
        Luma, and the two of colour, in whole units.
    """
    across, down = coding.units
    side = 8 // factor
    luma = (down * coding.shape[1] * side, across * coding.shape[0] * side)
    side = 8 // _of_colour(coding, factor)
    colour = (down * side, across * side)
    if before is not None and before[0].shape == luma and before[1].shape == colour:
        return before
    return np.zeros(luma, np.uint8), np.zeros(colour, np.uint8), np.zeros(colour, np.uint8)


def _of_colour(coding: Coding, factor: int) -> int:
    """By how much colour is shrunk: where it is stored at half of both sides, half as much."""
    return factor // 2 if factor > 1 and coding.shape == (2, 2) else factor


def open_parts(marks: Marks, planes: Planes, factor: int = 1) -> Parts | None:
    """Open a file whose parts are known, for the compiled loops.

    Parameters
    ----------
    marks : Marks
        Where they lie.
    planes : tuple of ndarray
        Where samples go, see `planes_for`.
    factor : int, optional
        By how much the picture is shrunk: 1, 2 or 4, which divides its sides.

    Returns
    -------
    tuple or None
        1, rows and columns of the picture, and all that `haltere.frames.bits.fetch` needs; None
        where the file has changed.
    """
    try:
        if stamp_of(marks.path) != marks.stamp:
            return None
        data = marks.path.read_bytes()
    except OSError:
        return None
    coding = marks.coding
    short, long, pairs, _ = lookups(coding.tables)
    width, height = coding.size_px
    wide, high = coding.shape
    return (
        1, height // factor, width // factor, wide, high, factor,
        _of_colour(coding, factor), np.frombuffer(data, np.uint8), coding.units[0],
        coding.layout, short, long, pairs, coding.quanta, coding.restart, coding.every,
        marks.places, marks.means, *planes,
    )  # fmt: skip


def no_parts(rows: int, cols: int) -> Parts:
    """Stand for the parts of a picture that is decoded as a whole.

    Parameters
    ----------
    rows, cols : int
        Its size.

    Returns
    -------
    tuple
        0, rows and columns, and nothing.
    """
    bits, pairs = np.zeros(1, np.int32), np.zeros(1, np.int64)
    plane = np.zeros((1, 1), np.uint8)
    return (
        0, rows, cols, 1, 1, 1, 1,
        np.frombuffer(b"\0", np.uint8), 1, np.zeros((3, 4), np.int32), bits, bits, pairs, bits,
        0, 1, np.zeros((1, 1), np.int64), np.zeros((1, 1, 3), np.int16), plane, plane, plane,
    )  # fmt: skip
