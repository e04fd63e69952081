"""What noise alone looks like to a measure of detail."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.align.ahead import in_turn
from haltere.focus.curves import detail
from haltere.merge.limits import NUMBERS
from haltere.sweeps.sweep import Sweep

Map = NDArray[np.float32]
LAST = np.float32(30.999)
"""Place, among the brightnesses that noise is told for, from which it stays the same."""


@dataclass(frozen=True, slots=True)
class Noise:
    """Detail that noise alone makes, by brightness.

    Attributes
    ----------
    energy : ndarray of float32, shape (32,)
        Mean squared detail at grey levels 4, 12, ... 252.
    """

    energy: NDArray[np.float32]

    def at(self, grey: Map) -> Map:
        """Look up the energy expected at grey levels, same shape.

        Parameters
        ----------
        grey : ndarray of float32
            Grey levels on 0..255, any shape.
        """
        place = np.clip((grey - 4.0) / 8.0, 0, LAST).astype(np.float32)
        low = place.astype(np.int32)
        share = place - low
        found = self.energy[low] * (1 - share) + self.energy[low + 1] * share
        return np.asarray(found, np.float32)


def mean_around(picture: Map, side: int) -> Map:
    """Mean over a square.

    Parameters
    ----------
    picture : ndarray of float32, shape (H, W)
        Any picture.
    side : int
        Of the square, pixels.

    Returns
    -------
    ndarray of float32, shape (H, W)
        The means.
    """
    return np.asarray(cv2.blur(picture, (side, side)), np.float32)


def measure_noise(sweep: Sweep, used: list[int]) -> Noise:
    """Tell noise from detail: in every frame most places are out of focus and hold only noise.

    Parameters
    ----------
    sweep : Sweep
        Solved sweep.
    used : list of int
        Frames that take part; a handful of them is looked at.

    Returns
    -------
    Noise
        Energy of noise by brightness.
    """

    def gathered(k: int) -> tuple[Map, Map]:
        picture = sweep.lumas.full(k) * np.float32(sweep.gains[k])
        # over enough pixels that its low end lies near its mean
        energy = mean_around(detail(picture) ** 2, 13)[6:-6:4, 6:-6:4].ravel()
        return energy, mean_around(picture, 13)[6:-6:4, 6:-6:4].ravel()

    both = list(in_turn(gathered, used[:: max(1, len(used) // 6)][:6]))
    energy, grey = (np.concatenate(parts) for parts in zip(*both, strict=True))
    bins = np.clip(grey / 8, 0, 31).astype(int)
    centres, values = [], []
    for b in range(32):
        here = energy[bins == b]
        if here.size >= 100:
            centres.append(b)
            values.append(float(np.percentile(here, NUMBERS.noise_percentile)))
    if not centres:
        return Noise(np.full(32, NUMBERS.least_noise, np.float32))
    curve = np.interp(np.arange(32), centres, values)
    # a brightness that only sharp things have would pass detail off as noise; noise itself is
    # nearly even in encoded values
    curve = np.minimum(curve, NUMBERS.uneven_noise * np.median(curve[bins]))
    return Noise(np.maximum(curve, NUMBERS.least_noise).astype(np.float32))
