"""Rims of what lies before the first plane or behind the last, which no frame shows sharp."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.merge.coarse import COARSE, on_places

Map = NDArray[np.float32]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class BeyondNumbers:
    """Numbers that tell a blurred rim from a thing of its own.

    Attributes
    ----------
    end_dof : float
        So much of the sweep counts as its end.
    end_share, rise : float
        A rim's coarse detail is highest there, up to this share; and so many times what it is at
        the other end or half way.
    least : float
        Coarse detail, squared grey levels of 255, below which nothing can be seen torn.
    over : float
        A rim is stronger than this share of what within reach lies at another depth: its own
        blur grows to the end as well.
    own_share : float
        A cell of which more than this share has a depth of its own is no rim.
    end_reach_dof, sharp_share, soft : float
        A place is soft if less than this share around it has a depth so near to the end, and its
        fine detail is below this share of the coarse one: a sharp edge has about as much of both.
    beside_cells, tail : int, float
        Within so many coarse places of an edge in focus, what is weaker than this share of it is
        its own foot.
    near_dof : float
        A depth so near to the end is no contradiction.
    against : float
        A place's own depth is contradicted when coarse detail there is below this share of what
        it is at the end.
    beside : float
        Beside a rim coarse detail is below this share of it.
    weak, faint : float
        Fine detail above this share of the rim's coarse one is a thing of its own: on the rim,
        and beside it.
    """

    end_dof: float = 1.0
    end_share: float = 0.85
    rise: float = 2.0
    least: float = 1.0
    over: float = 0.5
    own_share: float = 0.15
    end_reach_dof: float = 2.0
    sharp_share: float = 0.6
    soft: float = 0.07
    beside_cells: int = 4
    tail: float = 0.5
    near_dof: float = 3.0
    against: float = 0.6
    beside: float = 0.8
    weak: float = 0.16
    faint: float = 0.08


BEYOND = BeyondNumbers()


@dataclass(frozen=True, slots=True)
class Rims:
    """Where blurred rims lie.

    Attributes
    ----------
    soft : ndarray of float32, shape (h, w)
        Coarse detail, squared grey levels of 255, where no frame shows it sharp; 0 elsewhere.
    there : ndarray of bool, shape (H, W)
        Places on a rim: they are least blurred in the last plane.
    glow : ndarray of bool, shape (H, W)
        Places whose own depth is only the rim's blur.
    nearer : ndarray of float32, shape (h, w)
        As `soft`, of what lies before the first plane.
    """

    soft: Map
    there: Flags
    glow: Flags
    nearer: Map


def rims_beyond(
    coarse: NDArray[np.float32],
    label: Map,
    height: Map,
    known: Flags,
    step_dof: float,
    blur_px: float,
) -> Rims:
    """Tell blurred rims of what lies behind the last plane from things of their own.

    The rim of a thing behind the last plane is least blurred in the last frame. What fine detail
    it leaves is a ripple whose height over depth tells nothing; coarse detail still grows up to
    the end.

    Parameters
    ----------
    coarse : ndarray of float32, shape (h, w, L)
        Coarse detail over depth.
    label : ndarray of float32, shape (H, W)
        Chosen label of each place.
    height : ndarray of float32, shape (H, W)
        Fine detail there.
    known : ndarray of bool, shape (H, W)
        Places with a depth.
    step_dof : float
        Depths of field between labels.
    blur_px : float
        Radius of the blur of one depth of field, places.

    Returns
    -------
    Rims
        What was found.
    """
    rows, cols = label.shape
    labels = coarse.shape[2]
    nowhere = np.zeros((rows, cols), np.bool_)
    if labels * step_dof < 2 * BEYOND.near_dof:
        nothing = np.zeros(coarse.shape[:2], np.float32)
        return Rims(nothing, nowhere, nowhere, nothing)
    most = coarse.max(2)
    reach = int(np.ceil((blur_px * labels * step_dof + 2) / COARSE.shrink))
    # seen from the first plane what lies far behind is blurred most, and no rim of its own
    near = _at_end(coarse[..., ::-1], most, step_dof)
    near &= _own(near, most, reach)
    nearer = _soft(near, most, np.asarray(label * step_dof, np.float32), height, known)
    apart = np.asarray((labels - 1 - label) * step_dof, np.float32)
    rim = _at_end(coarse, most, step_dof)
    soft = _soft(rim, most, apart, height, known)
    cells = (coarse.shape[1], coarse.shape[0])
    rim &= most >= BEYOND.least
    rim &= _own(rim, most, reach)
    on = on_places(coarse.shape[:2], (rows, cols))
    at = np.clip(np.rint(label), 0, labels - 1).astype(np.int64)
    own, here = coarse[(*on, at)], most[on]
    far = known & (apart > BEYOND.near_dof)

    def against(strength: Map) -> Flags:
        rims = strength[on]
        found = far & (own < BEYOND.against * here) & (rims > 0) & (height < BEYOND.weak * rims)
        return np.asarray(found, np.bool_)

    held = known & ~against(_widest(np.where(rim, most, np.float32(0)), 1))
    rim &= _share(held, cells) < BEYOND.own_share
    strength = np.where(rim, most, np.float32(0))
    glow = against(_widest(strength, 1))
    beside = _widest(strength, reach)[on]
    half = apart > 0.5 * labels * step_dof
    glow |= far & half & (here < BEYOND.beside * beside) & (height < BEYOND.faint * beside)
    return Rims(soft, rim[on], glow, nearer)


def _at_end(coarse: NDArray[np.float32], most: Map, step_dof: float) -> Flags:
    """Where coarse detail is highest at the end of its depths."""
    n = max(1, round(BEYOND.end_dof / step_dof))
    end = coarse[..., -n:].mean(2)
    before = np.minimum(coarse[..., :n].mean(2), coarse[..., coarse.shape[2] // 2])
    return np.asarray((end >= BEYOND.end_share * most) & (end > BEYOND.rise * before), np.bool_)


def _own(rim: Flags, most: Map, reach: int) -> Flags:
    """Where a rim is stronger than the blur of other depths within reach could be."""
    thrown = _widest(np.where(rim, np.float32(0), most), reach)
    return np.asarray(most > BEYOND.over * thrown, np.bool_)


def _soft(rim: Flags, most: Map, apart: Map, height: Map, known: Flags) -> Map:
    """Coarse detail of rims that lie `apart` from the end and have no fine detail."""
    cells = (most.shape[1], most.shape[0])
    soft = rim & (_share(known & (apart < BEYOND.end_reach_dof), cells) < BEYOND.sharp_share)
    blurred = cv2.resize(height, cells, interpolation=cv2.INTER_AREA) < BEYOND.soft * most
    # beside a strong edge that is in focus there is still coarse detail, but no fine one
    focused = _widest(np.where(rim & ~blurred, most, np.float32(0)), BEYOND.beside_cells)
    soft &= blurred & (most > BEYOND.tail * focused)
    return np.where(soft, most, np.float32(0))


def _share(flags: Flags, cells: tuple[int, int]) -> Map:
    """Share of the places in and around each coarse one."""
    share = cv2.resize(flags.astype(np.float32), cells, interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.blur(share, (3, 3)), np.float32)


def _widest(values: Map, reach: int) -> Map:
    side = 2 * reach + 1
    return np.asarray(cv2.dilate(values, np.ones((side, side), np.uint8)), np.float32)
