"""What a frame is painted from: parts of its file, read when they are needed, or all of it."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any, TypeAlias, cast

import numpy as np
from numpy.typing import NDArray

from haltere.errors import FrameError
from haltere.frames import Decoder, Pixels, to_linear
from haltere.frames.decode import reduced_size
from haltere.frames.decoder import Member
from haltere.frames.frame import Frame
from haltere.frames.parts import Planes, no_parts, open_parts, planes_for
from haltere.sweeps.sweep import Sweep

Map: TypeAlias = NDArray[np.float32]
Codes: TypeAlias = NDArray[np.uint8] | NDArray[np.uint16]
Parts: TypeAlias = tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class Source:
    """A frame as it is painted from.

    Attributes
    ----------
    codes : ndarray of uint8 or uint16, shape (H, W, 3)
        Its code values; nothing where parts are read.
    parts : tuple
        See `haltere.frames.parts`.
    light : ndarray of float32, shape (256 or 65536, 3)
        Linear light of every code value.
    icc : bytes or None
        Profile.
    """

    codes: Codes
    parts: Parts
    light: Map
    icc: bytes | None


def light_table(pixels: Pixels) -> Map:
    """Linear light of every code value of a picture, shape (256 or 65536, 3).

    Parameters
    ----------
    pixels : Pixels
        Decoded colour picture.

    Returns
    -------
    ndarray of float32
        Linear light of red, green and blue.
    """
    if pixels.array.dtype == np.uint8:
        codes = np.repeat(np.arange(256, dtype=np.uint8)[:, None, None], 3, axis=2)
        table = to_linear(codes, pixels.icc, pixels.linear)
    else:
        deep = np.repeat(np.arange(65536, dtype=np.uint16)[:, None, None], 3, axis=2)
        table = to_linear(deep, pixels.icc, pixels.linear)
    return np.ascontiguousarray(table[:, 0])


def sources(
    sweep: Sweep, decoder: Decoder, used: list[int], longest_px: int | None, member: Member
) -> Iterator[Source | FrameError]:
    """Give one frame after the other to be painted from, those that come next being read.

    Of frames whose marks are known only the parts that are painted are decoded, all into the same
    room: a source is over when the next one is asked for.

    Parameters
    ----------
    sweep : Sweep
        Solved sweep.
    decoder : Decoder
        Decoder.
    used : list of int
        Frames.
    longest_px : int or None
        Longest side wanted; None for full size.
    member : {"jpeg", "raw"}
        Which file of a pair.

    Yields
    ------
    Source or FrameError
        The frame, or what is wrong with it.
    """
    factor = _factor(sweep.frames[sweep.reference], longest_px) if member == "jpeg" else 0
    marks = sweep.lumas.marks if factor > 0 else {}
    whole = [sweep.frames[k] for k in used if k not in marks]
    stream = decoder.stream(whole, "rgb", longest_px, ahead=1, member=member)
    whole_ones = iter(stream)
    planes: Planes | None = None
    with ThreadPoolExecutor(1) as other:
        coming: deque[Future[Parts | None]] = deque()
        known = iter([k for k in used if k in marks])
        for k in used:
            while len(coming) < 2 and (following := next(known, None)) is not None:
                planes = planes_for(marks[following].coding, factor, planes)
                coming.append(other.submit(open_parts, marks[following], planes, factor))
            parts = coming.popleft().result() if k in marks else None
            if parts is not None:
                yield _of_parts(parts, marks[k].icc)
                continue
            got: Pixels | FrameError
            if k not in marks:
                _, got = next(whole_ones)
            else:
                got = _whole(decoder, sweep.frames[k], longest_px)
            yield got if isinstance(got, FrameError) else _of_pixels(got)
            del got


def _factor(frame: Frame, longest_px: int | None) -> int:
    """By how much parts are shrunk to have a size; 0 where they can't have it."""
    full = (frame.width_px, frame.height_px)
    wanted = reduced_size(*full, longest_px)
    return next((k for k in (1, 2, 4) if (wanted[0] * k, wanted[1] * k) == full), 0)


def _whole(decoder: Decoder, frame: Frame, longest_px: int | None) -> Pixels | FrameError:
    """Decode a frame whose file has changed since it was read."""
    try:
        return decoder.rgb(frame, longest_px)
    except FrameError as error:
        return error


def _of_parts(parts: Parts, icc: bytes | None) -> Source:
    codes = np.zeros((1, 1, 3), np.uint8)
    return Source(codes, parts, light_table(Pixels(codes, 1.0, False, icc)), icc)


def _of_pixels(pixels: Pixels) -> Source:
    codes = cast("Codes", np.ascontiguousarray(pixels.array))
    return Source(codes, no_parts(*codes.shape[:2]), light_table(pixels), pixels.icc)
