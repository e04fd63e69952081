"""What of a sweep can be worked out while its frames still arrive."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from haltere.align.lumas import Lumas
from haltere.align.pose import POSE_SIZE
from haltere.align.run import chain_factor
from haltere.align.solve import work_factor
from haltere.errors import FrameError
from haltere.focus.curves import focus_stack
from haltere.frames import Decoder, Pixels
from haltere.frames.frame import Frame
from haltere.frames.limits import LIMITS


@dataclass(frozen=True, slots=True)
class AdvanceNumbers:
    """Numbers that steer the work ahead.

    Attributes
    ----------
    analysis_px : int
        Longest side of the analysis pictures, see `haltere.frames.limits`.
    most : int
        Frames worked on ahead: pictures shrunk twice of so many take some 140 MB.
    every : int
        Detail is measured of so many new frames together, since that walks through all frames.
    """

    analysis_px: int = LIMITS.analysis_px
    most: int = 64
    every: int = 8


NUMBERS = AdvanceNumbers()


class Advance:
    """Frames of one sweep as they come: decoded, shrunk, their detail measured.

    None of it depends on the frames that follow. To be used by one thread at a time.

    Parameters
    ----------
    whole : bool, optional
        Keep all that is worked out of the first 64 frames, some 250 MB, until they are solved;
        without it some 90 MB.
    """

    def __init__(self, whole: bool = False) -> None:
        self.lumas = Lumas(keep=2 * NUMBERS.most) if whole else Lumas()
        self.scale = 1.0
        self._paths: list[Path] = []
        self._spoilt = False
        self._measured = 0

    def close(self) -> None:
        """Forget everything; it serves nobody any more."""
        self._spoilt = True
        self.lumas.close()

    def add(self, frame: Frame, decoder: Decoder) -> None:
        """Work on one more frame; where it can't be read, the sweep is solved without this.

        Parameters
        ----------
        frame : Frame
            The next frame.
        decoder : Decoder
            Open decoder.
        """
        full = len(self._paths) >= NUMBERS.most
        if self._spoilt or full or frame.path in self._paths:
            return
        try:
            pixels = decoder.luma(frame, NUMBERS.analysis_px)
        except FrameError:
            self._spoilt = True
            return
        if not self.take(frame, pixels):
            return
        last = len(self.lumas) - 1
        for factor in {chain_factor(self.lumas.shape), work_factor(self.lumas.shape)}:
            self.lumas.small(last, factor)
        if last + 1 - self._measured >= NUMBERS.every:
            self._measured = last + 1
            # every frame's detail is kept by `lumas`; where it lies is asked later
            nowhere = np.zeros((last + 1, POSE_SIZE))
            focus_stack(self.lumas, nowhere, np.ones(last + 1), 1.0)

    def take(self, frame: Frame, pixels: Pixels) -> bool:
        """Keep a decoded frame.

        Parameters
        ----------
        frame : Frame
            The next frame.
        pixels : Pixels
            Grey, of the size that sweeps are analysed at.

        Returns
        -------
        bool
            False where its size differs from the others', and it is not kept.
        """
        if self._paths and pixels.array.shape[:2] != self.lumas.shape:
            self._spoilt = True
            return False
        luma = pixels.array
        if pixels.linear:
            luma = (255 * np.sqrt(luma / 65535.0)).astype(np.uint8)
        index = self.lumas.add(luma)
        if pixels.marks is not None:
            self.lumas.note(index, pixels.marks)
        self.scale = pixels.scale
        self._paths.append(frame.path)
        return True

    def done_of(self, frames: Sequence[Frame]) -> int | None:
        """Count the first frames of a sweep that are worked on.

        Parameters
        ----------
        frames : sequence of Frame
            In order of time.

        Returns
        -------
        int or None
            None where something else than these was worked on.
        """
        count = len(self._paths)
        if self._spoilt or [frame.path for frame in frames[:count]] != self._paths:
            return None
        return count
