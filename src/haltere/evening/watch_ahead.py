"""A decoder that decodes frames when they arrive and has them ready when they are asked for."""

from __future__ import annotations

import threading
from collections.abc import Iterable, Iterator
from concurrent.futures import Future
from dataclasses import replace
from pathlib import Path
from typing import Literal

from haltere.errors import FrameError
from haltere.evening.watch_numbers import NUMBERS
from haltere.frames import Decoder, Frame, Pixels
from haltere.frames.decode import shrunk
from haltere.frames.decoder import Member


class AheadDecoder(Decoder):
    """Decodes what `expect` names at analysis size, and streams it from memory.

    Keeps at most about `kept_bytes` of pictures, those that came first; everything else, and
    whatever is asked for in colour or larger, is decoded when it is asked for, as ever.

    Parameters
    ----------
    workers : int, optional
        Number of decoding processes.
    longest_px : int, optional
        Longest side of the pictures kept.
    kept_bytes : int, optional
        Memory for them.
    """

    def __init__(
        self,
        workers: int = 2,
        longest_px: int = NUMBERS.kept_px,
        kept_bytes: int = NUMBERS.kept_bytes,
    ) -> None:
        super().__init__(workers)
        self._longest = longest_px
        # nobody knows a picture's size before it is decoded: three sides to four is usual
        self._most = max(1, int(kept_bytes / (0.75 * longest_px**2)))
        self._ready: dict[Path, Future[Pixels]] = {}
        self._guard = threading.Lock()

    def expect(self, frame: Frame) -> None:
        """Start decoding a frame that will be asked for, if there is room to keep it.

        Parameters
        ----------
        frame : Frame
            A frame that has just arrived.
        """
        with self._guard:
            if len(self._ready) < self._most and frame.path not in self._ready:
                self._ready[frame.path] = self.submit_luma(frame, self._longest)

    def keep_only(self, frames: Iterable[Frame]) -> None:
        """Let go of all pictures but those of some frames.

        Parameters
        ----------
        frames : iterable of Frame
            Frames that may be asked for again.
        """
        wanted = {frame.path for frame in frames}
        with self._guard:
            for path in [p for p in self._ready if p not in wanted]:
                self._ready.pop(path).cancel()

    def stream(
        self,
        frames: Iterable[Frame],
        what: Literal["luma", "rgb"] = "luma",
        longest_px: int | None = None,
        ahead: int = 2,
        member: Member = "jpeg",
    ) -> Iterator[tuple[Frame, Pixels | FrameError]]:
        """Give frames in order, from memory where they are there.

        Parameters
        ----------
        frames : iterable of Frame
            The frames.
        what : {"luma", "rgb"}
            Grey or colour.
        longest_px : int, optional
            Longest side wanted.
        ahead : int, optional
            Frames decoded in advance.
        member : {"jpeg", "raw"}
            Which file of a pair, for colour.

        Yields
        ------
        frame : Frame
            One frame after the other.
        pixels : Pixels or FrameError
            Its pixels, or what is wrong with it.
        """
        every = list(frames)
        held: dict[Path, Future[Pixels]] = {}
        if what == "luma" and longest_px is not None and longest_px <= self._longest:
            with self._guard:
                held = {f.path: self._ready[f.path] for f in every if f.path in self._ready}
        others = super().stream(
            [frame for frame in every if frame.path not in held], what, longest_px, ahead, member
        )
        for frame in every:
            future = held.get(frame.path)
            if future is None or longest_px is None:
                yield next(others)
                continue
            try:
                got: Pixels | FrameError = _shrunk(future.result(), longest_px)
            except FrameError as error:
                got = error
            yield frame, got


def _shrunk(pixels: Pixels, longest_px: int) -> Pixels:
    """Picture at most `longest_px` on its longest side, as the decoder would give it."""
    small = shrunk(pixels.array, longest_px)
    scale = pixels.scale * max(small.shape[:2]) / max(pixels.array.shape[:2])
    return replace(pixels, array=small, scale=scale)
