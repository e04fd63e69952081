"""How much of one frame's noise is left at each place of a merged picture."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from haltere.merge.depth import DepthMap
from haltere.merge.limits import NUMBERS
from haltere.merge.paint import weight_widths
from haltere.merge.planes import plane_map
from haltere.merge.taken import Stretches
from haltere.sweeps.sweep import Sweep

Map = NDArray[np.float32]
FILE = "noise.tif"
STEP = 2
"""Places of the depth map from one to the next: what is averaged changes as slowly as depth."""


def noise_left(
    sweep: Sweep,
    used: list[int],
    gains: NDArray[np.float64],
    ground: DepthMap,
    stretches: Stretches,
) -> Map:
    """Tell how much noise averaging leaves, by the weights that the picture is painted with.

    Frames are taken to see every place: where one ends within the picture a little more is left.

    Parameters
    ----------
    sweep : Sweep
        Solved sweep.
    used : list of int
        Frames that were painted from.
    gains : ndarray of float64, shape (len(used),)
        Factors on their linear light.
    ground : DepthMap
        Depth that was painted at.
    stretches : Stretches
        Frames for parts that moved.

    Returns
    -------
    ndarray of float32
        Variance over that of one frame at the same light, before resampling; every second place
        of the depth map.
    """
    shape = ground.depth.shape
    thin = (slice(None, None, STEP), slice(None, None, STEP))
    depth, region = ground.depth[thin], stretches.region[thin]
    widths = weight_widths(ground, sweep.dof)[thin]

    def behind(index: int) -> Map:
        plane = plane_map(sweep.poses[used[index]], shape, ground.factor, sweep.focal_px)[thin]
        out = stretches.taken[index][region] == 0
        return np.where(out, np.float32(np.inf), np.abs(plane - depth))

    best = behind(0)
    for index in range(1, len(used)):
        np.minimum(best, behind(index), out=best)
    total, squares = np.zeros_like(best), np.zeros_like(best)
    for index, gain in enumerate(gains):
        away = (behind(index) - best) / widths
        weight = np.where(away <= NUMBERS.reach, np.exp(-0.5 * away**2), np.float32(0.0))
        total += weight
        # light comes in grains: a frame that is brightened by g has g times their variance
        squares += np.float32(gain) * weight**2
    return np.asarray(squares / total**2, np.float32)
