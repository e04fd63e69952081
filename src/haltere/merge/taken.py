"""Frames that each part of a merged picture is taken from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Stretches:
    """Frames that each part of the picture is taken from.

    Attributes
    ----------
    region : ndarray of uint8, shape (H, W)
        Number of the moved part that a place of the depth map belongs to, 0 where nothing moved.
    taken : ndarray of uint8, shape (N, R)
        1 where frame `used[n]` may be used in region r; all of column 0 is 1.
    """

    region: NDArray[np.uint8]
    taken: NDArray[np.uint8]

    @property
    def moved(self) -> bool:
        """Whether there is a part that some frames must stay out of."""
        return bool((self.taken == 0).any())

    def of(self, places: list[int]) -> Stretches:
        """Keep the frames at some places of `used`.

        Parameters
        ----------
        places : list of int
            Places of `used`.
        """
        return Stretches(self.region, self.taken[places])


def all_frames(shape: tuple[int, int], count: int) -> Stretches:
    """Take every frame everywhere.

    Parameters
    ----------
    shape : tuple of int
        Rows and columns of the depth map.
    count : int
        Number of frames.

    Returns
    -------
    Stretches
        One region, all frames.
    """
    return Stretches(np.zeros(shape, np.uint8), np.ones((count, 1), np.uint8))
