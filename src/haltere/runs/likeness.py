"""Which neighbouring frames show the same animal, and how the camera moved between them."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.align.bands import Picture, band, flicker
from haltere.align.pair import register_pair
from haltere.errors import FrameError
from haltere.frames import Decoder, Frame, Skipped
from haltere.progress import Progress, silent
from haltere.runs.numbers import NUMBERS

Floats = NDArray[np.float64]


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
) -> tuple[list[Look], list[bool], list[Skipped]]:
    """Tie every frame to the nearest earlier one that shows the same thing.

    Holds a handful of small pictures at a time.

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

    Returns
    -------
    looks : list of Look
        One for every frame that could be decoded.
    apart : list of bool
        `apart`, for the looks.
    skipped : list of Skipped
        Frames that could not be decoded.
    """
    looks: list[Look] = []
    parted: list[bool] = []
    skipped: list[Skipped] = []
    held: deque[Picture] = deque(maxlen=NUMBERS.bridge)
    pending = False
    stream = decoder.stream(frames, what="luma", longest_px=NUMBERS.look_px)
    for place, (frame, pixels) in enumerate(stream):
        progress("looking at frames", place + 1, len(frames))
        pending = pending or apart[place]
        if isinstance(pixels, FrameError):
            skipped.append(Skipped(frame.name, str(pixels).removeprefix(f"{frame.name}: ")))
            continue
        picture = _grey(pixels.array, pixels.linear)
        if pending:
            held.clear()
        back, scale, shift = _tie(held, picture)
        level = flicker(picture)
        fine = float(np.abs(band(picture, 1.0)).mean()) / level
        looks.append(Look(frame, back, scale, shift, level, fine))
        parted.append(pending)
        pending = False
        held.append(picture)
    return looks, parted, skipped


def _grey(array: NDArray[np.uint8] | NDArray[np.uint16], linear: bool) -> Picture:
    """Grey on 0..255, about as a camera would encode it, at most the size wanted."""
    picture = array.astype(np.float32) / np.float32(np.iinfo(array.dtype).max)
    if linear:
        picture = np.sqrt(picture)
    longest = max(picture.shape)
    if longest > 1.5 * NUMBERS.look_px:
        factor = NUMBERS.look_px / longest
        size = (round(picture.shape[1] * factor), round(picture.shape[0] * factor))
        picture = np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.float32)
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
