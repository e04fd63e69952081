"""Frames that each part of a merged picture is taken from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.merge.limits import STRETCHES
from haltere.merge.nearest import nearest_known

Map = NDArray[np.float32]


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

    def eased(self, known: NDArray[np.bool_]) -> tuple[NDArray[np.uint8], Map]:
        """Let the frames that stay out of a part fade in over the backdrop around it.

        Blurred backdrop looks a little different in every frame: where one stretch of them ended
        at once a seam was seen. On the animal frames agree outside of the part, and none fades.

        Parameters
        ----------
        known : ndarray of bool, shape (H, W)
            Places of the depth map that were sharp somewhere.

        Returns
        -------
        region : ndarray of uint8, shape (H, W)
            As `region`; places that frames fade in over have the number of the part beside them.
        share : ndarray of float32, shape (H, W)
            Weight there of a frame that stays out of the part; 0 everywhere else.
        """
        share = np.zeros(self.region.shape, np.float32)
        if not self.moved:
            return self.region, share
        number, away = nearest_known(self.region, self.region > 0)
        ring = (self.region == 0) & ~known & (away < STRETCHES.fade)
        share[ring] = away[ring] / np.float32(STRETCHES.fade)
        return np.where(ring, number, self.region), share

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
