"""Which neighbouring frames show the same animal, and how the camera moved between them."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from haltere.align.bands import Picture, band, flicker
from haltere.align.pair import register_pair
from haltere.errors import FrameError
from haltere.frames import Decoder, Frame, Pixels, Skipped
from haltere.frames.decode import shrunk
from haltere.progress import Progress, silent
from haltere.runs.numbers import NUMBERS

Floats = NDArray[np.float64]

AHEAD = 3
"""Pictures in work or waiting: one more than there are decoding processes."""


@dataclass(frozen=True, slots=True)
class Look:
    """What a small picture of one frame says beside its neighbours.

    Attributes
    ----------
    frame : Frame
        The frame.
    back : int or None
        How many looks earlier the frame lies that it was tied to; None when it is like none.
    scale : float
        Size of the content against that frame: above 1 when the camera came closer.
    shift : float
        Sideways move against that frame, share of the picture's longer side.
    level : float
        Brightness, in the picture's units.
    detail : float
        Mean strength of fine detail over brightness.
    """

    frame: Frame
    back: int | None
    scale: float
    shift: float
    level: float
    detail: float


def look_at(
    frames: Sequence[Frame],
    apart: Sequence[bool],
    decoder: Decoder,
    progress: Progress = silent,
    *,
    larger_px: Mapping[int, int] | None = None,
    looked: Callable[[list[Look]], None] | None = None,
) -> tuple[list[Look], list[Skipped]]:
    """Tie every frame to the nearest earlier one that shows the same thing.

    Holds a handful of small pictures at a time.  A file takes nearly as long to decode small as at
    half its size, so who will need the larger picture next has it decoded here, and kept in the
    decoder.

    Parameters
    ----------
    frames : sequence of Frame
        Frames in order of time.
    apart : sequence of bool
        For every frame, whether a pause or another camera parts it from the one before.
    decoder : Decoder
        Open decoder.
    progress : Progress, optional
        Told of each frame.
    larger_px : mapping of int to int, optional
        By place in `frames`, the longest side at which a JPEG is decoded and kept: in colour when
        it lies apart by itself, else in grey.
    looked : callable, optional
        Given the looks between two partings as soon as they are all there.

    Returns
    -------
    looks : list of Look
        One for every frame that could be decoded.
    skipped : list of Skipped
        Frames that could not be decoded.
    """
    looks: list[Look] = []
    skipped: list[Skipped] = []
    held: deque[Picture] = deque(maxlen=NUMBERS.bridge)
    pending = False
    begun = 0
    for place, (frame, wanted, pixels) in enumerate(_decoded(frames, apart, decoder, larger_px)):
        progress("looking at frames", place + 1, len(frames))
        if apart[place] and looked is not None and len(looks) > begun:
            looked(looks[begun:])
            begun = len(looks)
        pending = pending or apart[place]
        if not isinstance(pixels, FrameError) and wanted is not None:
            decoder.keep(frame, pixels, *wanted)
        if isinstance(pixels, FrameError):
            skipped.append(Skipped(frame.name, str(pixels).removeprefix(f"{frame.name}: ")))
            continue
        if pixels.array.ndim == 3:  # by itself: nothing lies beside it that it could be like
            looks.append(Look(frame, None, 1.0, 0.0, 0.0, 0.0))
            pending = False
            held.clear()
            continue
        picture = _grey(pixels.array, pixels.linear)
        if pending:
            held.clear()
        back, scale, shift = _tie(held, picture)
        level = flicker(picture)
        fine = float(np.abs(band(picture, 1.0)).mean()) / level
        looks.append(Look(frame, back, scale, shift, level, fine))
        pending = False
        held.append(picture)
    if looked is not None and len(looks) > begun:
        looked(looks[begun:])
    return looks, skipped


Wanted = tuple[Literal["luma", "rgb"], int]


def _decoded(
    frames: Sequence[Frame],
    apart: Sequence[bool],
    decoder: Decoder,
    larger_px: Mapping[int, int] | None,
) -> Iterator[tuple[Frame, Wanted | None, Pixels | FrameError]]:
    """Decode frames in order, a few ahead: small, or as somebody will want them next."""
    wanted: list[Wanted | None] = []
    for place, frame in enumerate(frames):
        longest = (larger_px or {}).get(place)
        last = place + 1 == len(frames) or apart[place + 1]
        alone = last and (place == 0 or apart[place])
        plain = longest is None or frame.kind != "jpeg" or longest < NUMBERS.look_px
        wanted.append(None if plain or longest is None else ("rgb" if alone else "luma", longest))
    waiting: deque[Future[Pixels]] = deque()
    try:
        for place, frame in enumerate(frames):
            for k in range(place + len(waiting), min(place + AHEAD, len(frames))):
                what, longest = wanted[k] or ("luma", NUMBERS.look_px)
                submit = decoder.submit_rgb if what == "rgb" else decoder.submit_luma
                waiting.append(submit(frames[k], longest))
            try:
                got: Pixels | FrameError = waiting.popleft().result()
            except FrameError as error:
                got = error
            yield frame, wanted[place], got
            del got
    finally:
        for future in waiting:
            future.cancel()


def _grey(array: NDArray[np.uint8] | NDArray[np.uint16], linear: bool) -> Picture:
    """Grey on 0..255, about as a camera would encode it, at most the size wanted."""
    array = shrunk(array, NUMBERS.look_px)
    picture = array.astype(np.float32) / np.float32(np.iinfo(array.dtype).max)
    if linear:
        picture = np.sqrt(picture)
    return np.asarray(picture * np.float32(255.0), np.float32)


def _tie(held: deque[Picture], picture: Picture) -> tuple[int | None, float, float]:
    """Find the nearest earlier picture that agrees: places back, scale and shift against it."""
    for back, earlier in enumerate(reversed(held), start=1):
        if earlier.shape != picture.shape:
            break
        fit = register_pair(earlier, picture)
        if fit.agreement >= NUMBERS.agreement and fit.overlap >= NUMBERS.overlap:
            scale = float(np.hypot(fit.matrix[0, 0], fit.matrix[1, 0]))
            shift = float(np.hypot(fit.matrix[0, 2], fit.matrix[1, 2])) / max(picture.shape)
            return back, scale, shift
    return None, 1.0, 0.0
