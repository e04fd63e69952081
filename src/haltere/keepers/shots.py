"""The frames of a burst, decoded once: small to tie them together, finer to measure the eye."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from types import TracebackType

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.align.lumas import Lumas
from haltere.errors import FrameError
from haltere.focus.run_optics import DIAGONAL_PARTS
from haltere.frames import Decoder, Frame, Pixels
from haltere.frames.decode import reduced_size
from haltere.keepers.numbers import NUMBERS
from haltere.kit import Capture
from haltere.progress import Progress

ROOMY_BYTES = 120 << 20
"""Memory for fine pictures, some twenty of a 20-megapixel camera; those of longer bursts lie in a
file."""


@dataclass(slots=True)
class Shots:
    """Frames that could be decoded to one size, and what is wrong with the others.

    Everything lies in temporary folders that go at the end of the `with` block.

    Attributes
    ----------
    small, fine : Lumas
        Grey pictures to tie the frames together on, and to measure detail on.
    small_scale, fine_scale : float
        Their size over the full one.
    frames : list of Frame
        The frames, in order.
    lost : list of tuple of Frame and str
        The others, and why.
    colour : Pixels or None
        A single frame in colour, at the size of `fine`: decoded once for both.
    """

    small: Lumas = field(default_factory=lambda: Lumas(roomy_bytes=ROOMY_BYTES // 4))
    fine: Lumas = field(default_factory=lambda: Lumas(roomy_bytes=ROOMY_BYTES))
    small_scale: float = 1.0
    fine_scale: float = 1.0
    frames: list[Frame] = field(default_factory=list)
    lost: list[tuple[Frame, str]] = field(default_factory=list)
    colour: Pixels | None = None

    def __enter__(self) -> Shots:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.small.close()
        self.fine.close()


def fine_px(frame: Frame, capture: Capture) -> int:
    """Longest side at which the blur of half a depth of field still shows.

    Halves of the full size, which decode faster than the whole.

    Parameters
    ----------
    frame : Frame
        Any frame of the run.
    capture : Capture
        How it was taken.
    """
    longest = max(frame.width_px, frame.height_px)
    pitch = capture.pixel_pitch_mm
    diagonal = float(np.hypot(frame.width_px, frame.height_px))
    coc = capture.coc_mm / pitch if pitch else diagonal / DIAGONAL_PARTS
    factor = max((k for k in (1, 2, 4) if coc / k >= NUMBERS.coc_px), default=1)
    return max(1, longest // factor)


def decode(
    frames: Sequence[Frame], decoder: Decoder, capture: Capture, shots: Shots, progress: Progress
) -> None:
    """Decode every frame once; frames of another size than most can't be compared.

    Holds one fine picture at a time.

    Parameters
    ----------
    frames : sequence of Frame
        One burst.
    decoder : Decoder
        Open decoder.
    capture : Capture
        How it was taken.
    shots : Shots
        Filled.
    progress : Progress
        Told of each frame.
    """
    sizes = [(f.width_px, f.height_px) for f in frames]
    usual = max(sizes, key=lambda s: (sizes.count(s), -sizes.index(s))) if sizes else (0, 0)
    first = next((f for f in frames if (f.width_px, f.height_px) == usual), None)
    longest = fine_px(first, capture) if first else 1
    alone = len(frames) == 1 and frames[0].kind == "jpeg"
    stream = decoder.stream(frames, what="rgb" if alone else "luma", longest_px=longest)
    for k, (frame, pixels) in enumerate(stream):
        progress("reading frames", k + 1, len(frames))
        if isinstance(pixels, FrameError):
            shots.lost.append((frame, str(pixels).removeprefix(f"{frame.name}: ")))
        elif (frame.width_px, frame.height_px) != usual:
            shots.lost.append((frame, "is of another size than the run"))
        elif len(shots.fine) and pixels.array.shape != shots.fine.shape:
            shots.lost.append((frame, "decodes to another size than the run"))
        else:
            picture = as_encoded(pixels)
            if alone:
                shots.colour = pixels
                picture = np.asarray(cv2.cvtColor(pixels.array, cv2.COLOR_RGB2GRAY), np.uint8)
            shots.fine.add(picture)
            small, times = shrunk(picture, NUMBERS.search_px)
            shots.small.add(small)
            shots.frames.append(frame)
            shots.fine_scale = pixels.scale
            shots.small_scale = pixels.scale * times


def shrunk(
    picture: NDArray[np.uint8] | NDArray[np.uint16], longest_px: int
) -> tuple[NDArray[np.uint8] | NDArray[np.uint16], float]:
    """Picture at most `longest_px` on its longest side, and its size over the given one.

    Parameters
    ----------
    picture : ndarray of uint8 or uint16, shape (H, W)
        Grey picture.
    longest_px : int
        Longest side wanted.
    """
    height, width = picture.shape
    times = min(1.0, longest_px / max(height, width))
    if times > 0.85:
        return picture, 1.0
    size = reduced_size(width, height, longest_px)
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    if picture.dtype == np.uint8:
        return np.asarray(small, np.uint8), size[0] / width
    return np.asarray(small, np.uint16), size[0] / width


def colour_of(shots: Shots, decoder: Decoder, longest_px: int) -> Pixels:
    """Give a single frame in colour, about as large as asked for.

    Parameters
    ----------
    shots : Shots
        With the one frame.
    decoder : Decoder
        Open decoder: asked only where the frame was not decoded in colour.
    longest_px : int
        Longest side wanted; up to twice that comes.

    Raises
    ------
    FrameError
        When the file can't be decoded.
    """
    seen = shots.colour
    if seen is None:
        return decoder.rgb(shots.frames[0], longest_px)
    height, width = seen.array.shape[:2]
    if max(height, width) < 2 * longest_px or height % 2 or width % 2:
        return seen
    half = cv2.resize(seen.array, (width // 2, height // 2), interpolation=cv2.INTER_AREA)
    return replace(seen, array=np.asarray(half, np.uint8), scale=seen.scale / 2)


def as_encoded(pixels: Pixels) -> NDArray[np.uint8] | NDArray[np.uint16]:
    """Grey values about as a camera encodes them.

    Parameters
    ----------
    pixels : Pixels
        Grey picture.

    Returns
    -------
    ndarray of uint8 or uint16, shape (H, W)
        The array itself unless it is linear.
    """
    if not pixels.linear:
        return pixels.array
    return np.asarray(np.sqrt(pixels.array / np.float32(65535)) * 65535, np.uint16)
