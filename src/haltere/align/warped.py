"""Band-passed frames of a run as the reference view would show them."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.align.ahead import in_turn
from haltere.align.bands import Picture, band
from haltere.align.loops import seen_columns
from haltere.align.lumas import Lumas

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

_BORDER = 3
"""Pixels along a frame's edges that count as not seen."""

_KEPT = 40
"""Warped pictures kept: of a run that goes to and fro those of one pass and its neighbours."""


class Warped:
    """Warped frames, as pairs ask for them; forty at most are held.

    Parameters
    ----------
    lumas : Lumas
        Analysis frames.
    gains : ndarray of float64, shape (N,)
        Factors that even out brightness.
    warps : list of ndarray of float64, shape (3, 3)
        Pixels of the warped picture to those of each shrunk frame, counted from the corner.
    factor : int
        By how much frames are shrunk.
    sigma_px : float
        Finer sigma of the band, see `haltere.align.bands.band`.
    """

    def __init__(
        self,
        lumas: Lumas,
        gains: Floats,
        warps: list[Floats],
        factor: int,
        sigma_px: float,
    ) -> None:
        self._lumas, self._gains, self._warps = lumas, gains, warps
        self._factor, self._sigma_px = factor, sigma_px

    def pairs(
        self, pairs: NDArray[np.int64]
    ) -> Iterator[tuple[tuple[Picture, Ints], tuple[Picture, Ints]]]:
        """Give both frames of every pair, each a picture and the columns of its rows it saw.

        Parameters
        ----------
        pairs : ndarray of int64, shape (P, 2)
            Frames.

        Yields
        ------
        tuple
            A picture and an array of int32, shape (H, 2), see `seen_columns`; twice.
        """
        held: dict[int, tuple[Picture, Ints]] = {}
        made = in_turn(self._warp, _asked(pairs))
        for one, other in pairs:
            for k in (int(one), int(other)):
                if k not in held:
                    _make_room(held, one, other)
                    held[k] = next(made)
            yield held[int(one)], held[int(other)]

    def _warp(self, index: int) -> tuple[Picture, Ints]:
        """Warp one frame."""
        gain = np.float32(self._gains[index])
        name = ("band", self._factor, float(gain), self._sigma_px)
        picture = self._lumas.made(index, name, partial(self._banded, index, gain))
        h, w = picture.shape
        matrix = self._warps[index]
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        warped = cv2.warpPerspective(picture.astype(np.float32), matrix, (w, h), flags=flags)
        return np.asarray(warped, np.float32), seen_columns(matrix, (h, w), _BORDER, 0)

    def _banded(self, index: int, gain: np.float32) -> NDArray[np.float16]:
        picture = band(self._lumas.small(index, self._factor) * gain, self._sigma_px)
        # half the bytes, so that those of some ninety frames are kept; one part in two thousand
        return picture.astype(np.float16)


def _asked(pairs: NDArray[np.int64]) -> Iterator[int]:
    """Frames in the order in which they must be warped, so that `_KEPT` of them serve all pairs."""
    held: dict[int, None] = {}
    for one, other in pairs:
        for k in (int(one), int(other)):
            if k not in held:
                _make_room(held, one, other)
                held[k] = None
                yield k


def _make_room(held: dict[int, Any], one: int, other: int) -> None:
    """Let go of the picture that was made first, unless this pair needs it."""
    if len(held) >= _KEPT:
        held.pop(next(k for k in held if k not in (one, other)))
