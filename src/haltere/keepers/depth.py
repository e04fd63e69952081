"""How deep the eye lies: from how its detail fades, ring by ring of its spectrum, frame by frame.

Each patch and each frequency has an unknown amount of detail and a little light that no focus
explains; only the depth is shared.  No assumption on the texture is needed, so that facets, hairs
and a catch light on a smooth eye are all of use, and a burst whose planes lie on one side of the
eye still says how far it misses: the blur of a disc cuts different frequencies by different shares.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from haltere.focus.blur import Blur, misfits
from haltere.focus.patches import NUMBERS as PATCHES
from haltere.focus.patches import Patches
from haltere.keepers.numbers import NUMBERS

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class EyeDepth:
    """Depth of an eye.

    Attributes
    ----------
    depth, sigma : float
        Relative depth at the point asked for, and one sigma.
    terms : tuple of float
        Relative depth added by a step of one radius to the right, downwards, and by the bend.
    depths, chance : ndarray of float64, shape (Z,)
        Depths tried and how likely each is; sums to 1.
    """

    depth: float
    sigma: float
    terms: tuple[float, float, float]
    depths: Floats
    chance: Floats


_SLOPES = tuple(0.75 * k for k in range(-4, 5))
_BENDS = (0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0)
"""Depths of field by which an eye's face may slope or bend back over a radius. Twice as far apart,
the depth that fits is drawn to one or the other: the error common to a burst was half as much
again (200 and 102 simulated bursts)."""

_PER_DOF = 10
"""Depths tried in one depth of field."""


def eye_depth(
    patches: Patches,
    taking: NDArray[np.bool_],
    place: Floats,
    radius_px: float,
    blur: Blur,
) -> EyeDepth | None:
    """Fit a dome through the patches on an eye and say how deep its middle lies.

    Parameters
    ----------
    patches : Patches
        Spectra of the patches on the eye.
    taking : ndarray of bool, shape (N,)
        Frames that take part.
    place : ndarray of float64, shape (P, 2)
        Where the patches lie, from the point asked for, in radii.
    radius_px : float
        That radius, analysis pixels.
    blur : Blur
        Optics.

    Returns
    -------
    EyeDepth or None
        None when fewer than three frames saw the eye.
    """
    energy = patches.energy[taking]
    saw = np.isfinite(energy).all((2, 3))
    if int((saw.sum(1) > 0.5 * saw.shape[1]).sum()) < 3:
        return None
    along = patches.along[taking]
    dof, step = blur.dof, blur.dof / _PER_DOF
    beyond = NUMBERS.beyond_dof * dof
    depths = np.arange(along.min() - beyond, along.max() + beyond + step, step)
    chi = misfits(patches, taking, blur, depths)
    # a patch has a mean depth of its own: that of its window's spread
    spread = 2 * (0.18 * patches.window_px / radius_px) ** 2
    cost, shapes = _domes(chi, place, spread)
    # photographers aim at the eye: it lies among the planes or not far off
    middle, half = 0.5 * (along.max() + along.min()), 0.5 * (along.max() - along.min())
    outside = np.maximum(np.abs(depths - middle) - half, 0.0)
    cost = cost + (outside / (NUMBERS.aim_dof * dof)) ** 2
    chance = np.exp(-0.5 * np.minimum(cost - cost.min(), 80.0))
    chance /= chance.sum()
    depth, sigma = _middle(depths, chance, NUMBERS.told_from_dof * dof)
    bend, right, down = shapes[int(chance.argmax())]
    return EyeDepth(depth, sigma, (right * dof, down * dof, bend * dof), depths, chance)


def _domes(chi: Floats, place: Floats, spread: float) -> tuple[Floats, Floats]:
    """Cost of every depth of an eye's middle whatever its shape, and its likeliest shape there.

    `chi` (Z, P) tells how badly each depth explains each patch, `place` (P, 2) where these lie in
    radii, `spread` the mean square of the places that one patch sees. Shapes are rows of bend,
    slope to the right and slope downwards, depths of field over a radius.
    """
    excess = chi - chi.min(0)
    # a hair before the eye tells another depth: what is far off weighs little more than what is off
    excess = excess / (1 + excess / NUMBERS.cap)
    out2 = (place**2).sum(1)
    near = np.exp(-0.5 * out2 / NUMBERS.focus_share**2) * PATCHES.witnesses
    shapes = np.stack(np.meshgrid(_BENDS, _SLOPES, _SLOPES, indexing="ij"), -1).reshape(-1, 3)
    away = shapes @ np.stack([out2 + spread, place[:, 0], place[:, 1]]) * _PER_DOF
    room = int(np.abs(away).max()) + 2
    padded = np.ascontiguousarray(np.pad(excess, ((room, room), (0, 0)), mode="edge").T)
    # a dome's face bends back by about one depth of field, seldom by more than three
    usual = (((shapes - np.array([1.0, 0.0, 0.0])) / 2.0) ** 2).sum(1)
    table = _laid_on(padded, away + room, near, len(chi)) + usual[:, None]
    least = table.min(0)
    cost = least - 2 * np.log(np.exp(-0.5 * (table - least)).sum(0))
    return cost, shapes[table.argmin(0)]


@njit(cache=True, nogil=True)  # type: ignore[misc, unused-ignore]
def _laid_on(costs: Floats, away: Floats, near: Floats, count: int) -> Floats:
    """Sum the patches' costs (P, Z) along every shape (S, P), between two depths in proportion."""
    out = np.zeros((len(away), count))
    for shape in range(len(away)):
        total = out[shape]
        for patch in range(len(costs)):
            first = int(away[shape, patch])
            share = away[shape, patch] - first
            here, further = near[patch] * (1 - share), near[patch] * share
            row = costs[patch]
            for z in range(count):
                total[z] += here * row[z + first] + further * row[z + first + 1]
    return out


def _middle(depths: Floats, chance: Floats, near: float) -> tuple[float, float]:
    """Mean of what lies within so much of a distribution's median, and one sigma.

    Sigma is told by the middle 68 or 90 %, whichever is wider. A plain mean and standard deviation
    would follow the hundredth part that lies a dozen depths of field away, where a blurred eye fits
    as well as nothing does; a twentieth part counts. The median by itself jumps between the depths
    tried.
    """
    step = float(depths[1] - depths[0])
    cuts = np.interp(
        (0.05, 0.1587, 0.5, 0.8413, 0.95), np.concatenate([[0.0], np.cumsum(chance)]),
        np.concatenate([depths - step / 2, [depths[-1] + step / 2]]),
    )  # fmt: skip
    about = np.where(np.abs(depths - cuts[2]) <= near, chance, 0.0)
    depth = float((about * depths).sum() / about.sum())
    return depth, float(max((cuts[3] - cuts[1]) / 2.0, (cuts[4] - cuts[0]) / 3.29))
