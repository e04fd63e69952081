"""Detail at a coarse scale, and what it says against a depth that fine detail tells."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.align.pose import homography
from haltere.align.solve import centred, scaled
from haltere.focus.curves import detail
from haltere.sweeps.sweep import Sweep

Map = NDArray[np.float32]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class CoarseNumbers:
    """Numbers that steer coarse detail.

    Attributes
    ----------
    shrink : int
        Places of the volume per coarse one: an edge blurred by ten depths of field has no fine
        detail left, but still much at a scale of some ten pixels.
    border : int
        Coarse places beside a frame's border whose detail is partly that of nothing.
    weak, floor : float, float
        Fine detail below so many times the coarse one may be chance; and what is added to the
        coarse one, squared grey levels of 255, so that nothing is not less than nothing. On eleven
        sweeps 0.6 wins 0.21 dB in the mean, 1.2 wins 0.27, 4 wins 0.18 (decision 0008).
    against, within_dof : float, float
        Such a depth is not believed when coarse detail so near to it is below this share of its
        largest: 0.87 is as good.
    """

    shrink: int = 4
    border: int = 4
    weak: float = 1.2
    floor: float = 0.3
    against: float = 0.8
    within_dof: float = 1.0


COARSE = CoarseNumbers()


def coarse_shape(shape: tuple[int, int]) -> tuple[int, int]:
    """Rows and columns of coarse places.

    Parameters
    ----------
    shape : tuple of int
        Rows and columns of the volume.
    """
    return max(1, shape[0] // COARSE.shrink), max(1, shape[1] // COARSE.shrink)


def coarse_detail(
    sweep: Sweep, k: int, picture: Map, shape: tuple[int, int]
) -> tuple[Map, NDArray[np.uint8]]:
    """Detail of one frame at a coarse scale, carried to the reference view; and where it saw.

    Parameters
    ----------
    sweep : Sweep
        Solved sweep.
    k : int
        Index of the frame.
    picture : ndarray of float32
        Its grey levels, at any size that is not smaller.
    shape : tuple of int
        Rows and columns of coarse places.

    Returns
    -------
    energy : ndarray of float32, shape `shape`
        Mean squared detail.
    seen : ndarray of uint8, shape `shape`
        1 where the frame tells it.
    """
    size = (shape[1], shape[0])
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    energy = cv2.GaussianBlur(detail(np.asarray(small, np.float32)) ** 2, (0, 0), 1.0)
    to_frame = homography(sweep.poses[k], float(sweep.poses[k, 2]), sweep.focal_px)
    carry = centred(scaled(to_frame, sweep.lumas.shape[1] / shape[1]), shape, shape)
    inside = np.zeros(shape, np.uint8)
    edge = COARSE.border
    inside[edge:-edge, edge:-edge] = 1
    found = cv2.warpPerspective(energy, carry, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
    seen = cv2.warpPerspective(inside, carry, size, flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP)
    return np.asarray(found, np.float32), np.asarray(seen, np.uint8)


def on_places(
    few: tuple[int, int], shape: tuple[int, int]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Index of the coarse place that each place lies in.

    Parameters
    ----------
    few, shape : tuple of int
        Rows and columns of coarse places, and of places.

    Returns
    -------
    rows, cols : ndarray of int64, shape (H, 1) and (1, W)
        To index an array of coarse places with.
    """
    up, across = (np.minimum(np.arange(n) * m // n, m - 1) for m, n in zip(few, shape, strict=True))
    return up[:, None], across[None, :]


def contradicted(coarse: NDArray[np.float32], label: Map, energy: Map, step_dof: float) -> Flags:
    """Places whose coarse detail says that the depth of their fine one is chance.

    What no frame shows sharp, the far rim of a leaf or the backdrop beside a bright thing, has no
    fine detail but what compression and sampling leave, and that is largest at any depth.  Its
    coarse detail tells where it is least blurred.

    Parameters
    ----------
    coarse : ndarray of float32, shape (h, w, L)
        Coarse detail over depth.
    label : ndarray of float32, shape (H, W)
        Chosen label of each place.
    energy : ndarray of float32, shape (H, W)
        Fine detail there.
    step_dof : float
        Depths of field between labels.

    Returns
    -------
    ndarray of bool, shape (H, W)
        True where both disagree.
    """
    rows, cols, labels = coarse.shape
    most = coarse.max(2)
    fine = cv2.resize(np.maximum(energy, 0), (cols, rows), interpolation=cv2.INTER_AREA)
    fine = cv2.dilate(fine, np.ones((3, 3), np.uint8))
    weak = fine < COARSE.weak * (most + COARSE.floor)
    reach = max(1, round(COARSE.within_dof / step_dof))
    window = np.ones((1, 2 * reach + 1), np.uint8)
    near = cv2.dilate(coarse.reshape(-1, labels), window).reshape(coarse.shape)
    on = on_places((rows, cols), (label.shape[0], label.shape[1]))
    at = np.clip(np.rint(label), 0, labels - 1).astype(np.int64)
    return np.asarray(weak[on] & (near[(*on, at)] < COARSE.against * most[on]), np.bool_)
