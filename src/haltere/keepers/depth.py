"""How deep the eye lies: from how its detail fades, ring by ring of its spectrum, frame by frame.

Each patch and each frequency has an unknown amount of detail and a little light that no focus
explains; only the depth is shared.  No assumption on the texture is needed, so that facets, hairs
and a catch light on a smooth eye are all of use, and a burst whose planes lie on one side of the
eye still says how far it misses: the blur of a disc cuts different frequencies by different shares.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.special import j1

from haltere.keepers.numbers import NUMBERS
from haltere.keepers.patches import Patches

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Blur:
    """What turns a relative depth into a blur.

    Attributes
    ----------
    dof : float
        Relative depth of field.
    c_px : float
        Circle of confusion, analysis pixels: the blur at half a depth of field.
    """

    dof: float
    c_px: float

    def disc_px(self, depth: Floats | float, along: Floats) -> Floats:
        """Diameter of the disc, analysis pixels, that a point becomes in a frame.

        Exact for a thin lens: things before the plane blur a little more than things behind.

        Parameters
        ----------
        depth : ndarray of float64 or float
            Relative depth of the point.
        along : ndarray of float64
            Relative depth of the plane.
        """
        behind = depth - along
        result: Floats = (2 * self.c_px / self.dof) * np.abs(behind) / np.maximum(1 + behind, 0.2)
        return result


@dataclass(frozen=True, slots=True)
class EyeDepth:
    """Depth of an eye.

    Attributes
    ----------
    depth, sigma : float
        Relative depth at the point asked for and one standard deviation.
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


_TABLE_PX = 0.1

TOP = 4
"""Rings that only tell the noise."""


def kept_power(frequencies: Floats, window_px: int) -> Floats:
    """Share of power that discs leave at each ring, shape (B, F); disc b has b/10 px diameter.

    Parameters
    ----------
    frequencies : ndarray of float64, shape (F,)
        Cycles per pixel.
    window_px : int
        Side of the patches: its main lobe smooths the zeros.
    """
    return _kept_power(frequencies.tobytes(), window_px)


@lru_cache(maxsize=8)
def _kept_power(told: bytes, window_px: int) -> Floats:
    """Table of `kept_power`, the same for every burst of an outing."""
    frequencies = np.frombuffer(told, np.float64)
    discs = np.arange(0, 160, _TABLE_PX)[:, None]
    out = np.zeros((discs.size, frequencies.size))
    for away, share in ((-0.6, 0.25), (0.0, 0.5), (0.6, 0.25)):
        x = np.pi * discs * (frequencies + away / window_px)
        out += share * np.where(x > 1e-6, 2 * j1(x) / np.maximum(x, 1e-6), 1.0) ** 2
    return out


def look_up(table: Floats, disc_px: Floats, ring: int) -> Floats:
    """Share of power left at one ring by discs of any diameter.

    Parameters
    ----------
    table : ndarray of float64, shape (B, F)
        From `kept_power`.
    disc_px : ndarray of float64
        Diameters.
    ring : int
        Column of the table.
    """
    at = np.minimum((disc_px * (1 / _TABLE_PX)).astype(np.int32), len(table) - 1)
    result: Floats = table[:, ring][at]
    return result


def top_power(energy: NDArray[np.float32]) -> Floats:
    """Power of every patch of every frame at the highest frequencies, shape (N, P).

    Parameters
    ----------
    energy : ndarray of float32, shape (N, P, F)
        Power; NaN stays NaN.
    """
    result: Floats = np.maximum(energy[:, :, -TOP:].mean(-1).astype(np.float64), 1e-6)
    return result


def quiet_power(energy: NDArray[np.float32]) -> Floats:
    """Power per pixel of noise in every patch of every frame at every ring, shape (N, P, F).

    Its strength is told by the highest frequencies, where a lens leaves little, of each frame by
    itself: noise grows with the light. Its shape is the least that is found over many patches and
    frames, for a camera's files have more noise at middle frequencies than at high ones.

    Parameters
    ----------
    energy : ndarray of float32, shape (N, P, F)
        Power of frames that take part; NaN where a patch was not seen.
    """
    strength = top_power(energy)
    ratio = (energy / strength[:, :, None])[np.isfinite(strength)]
    if not len(ratio):
        return np.ones(energy.shape)
    shape = np.clip(np.percentile(ratio, NUMBERS.quietest, axis=0), 1.0, NUMBERS.hump)
    result: Floats = np.nan_to_num(strength, nan=1.0)[:, :, None] * shape
    return result


def misfits(patches: Patches, taking: NDArray[np.bool_], blur: Blur, depths: Floats) -> Floats:
    """How badly each depth explains each patch, as chi-square, shape (Z, P).

    Parameters
    ----------
    patches : Patches
        Spectra.
    taking : ndarray of bool, shape (N,)
        Frames that take part.
    blur : Blur
        Optics.
    depths : ndarray of float64, shape (Z,)
        Relative depths to try.
    """
    energy = patches.energy[taking].mean(-1).astype(np.float64)
    along, scale = patches.along[taking], patches.scale[taking]
    seen = np.isfinite(energy).all(-1)
    noise = quiet_power(patches.energy[taking].mean(-1))
    table = kept_power(patches.frequencies, patches.window_px)
    disc = blur.disc_px(depths[:, None, None], along) / scale[:, None]
    at = np.minimum((disc * (1 / _TABLE_PX)).astype(np.int32), len(table) - 1)
    total = np.zeros((len(depths), energy.shape[1]))
    count = max(int(taking.sum()), 1)
    for ring in range(patches.frequencies.size - TOP):
        power, quiet = np.where(seen, energy[:, :, ring], 0.0), noise[:, :, ring]
        top = power.max(0)
        size = NUMBERS.scatter * power + 0.01 * top + NUMBERS.noise * quiet
        weight = np.where(seen, 1 / size**2, 0.0)
        lit = np.maximum(power - quiet, 0.0)
        chi = _misfit(table[:, ring][at], lit, weight, NUMBERS.veil * top + quiet.min(0))
        # a ring that no depth explains, as blocks of a compressed picture, has little to say
        total += count * np.log1p(chi / count)
    return total


def _misfit(kept: Floats, power: Floats, weight: Floats, veil: Floats) -> Floats:
    """Least chi-square over the detail of a patch and the light that stays without focus."""
    prior = 1 / veil**2
    s0 = weight.sum(0) + prior
    y0 = (weight * power).sum(0)
    s1 = np.einsum("nc,znc->zc", weight, kept)
    s2 = np.einsum("nc,znc,znc->zc", weight, kept, kept)
    y1 = np.einsum("nc,znc->zc", weight * power, kept)
    amount = np.maximum((s0 * y1 - s1 * y0) / np.maximum(s0 * s2 - s1**2, 1e-30), 0.0)
    rest = np.maximum((y0 - amount * s1) / s0, 0.0)
    amount = np.maximum((y1 - rest * s1) / np.maximum(s2, 1e-30), 0.0)
    squares = (weight * power**2).sum(0)
    # the sum of squares of power - amount kept - rest, multiplied out
    result: Floats = (
        squares - 2 * amount * y1 - 2 * rest * y0 + amount**2 * s2 + 2 * amount * rest * s1
        + rest**2 * s0
    )  # fmt: skip
    return np.maximum(result, 0.0)


def own_depths(patches: Patches, taking: NDArray[np.bool_], blur: Blur, about: Floats) -> Floats:
    """Depth of every patch by itself.

    Parameters
    ----------
    patches : Patches
        Spectra.
    taking : ndarray of bool, shape (N,)
        Frames that take part.
    blur : Blur
        Optics.
    about : ndarray of float64, shape (P,)
        Roughly known depths: felt only where the curve says little.
    """
    step = 0.1 * blur.dof
    along = patches.along[taking]
    tries = np.arange(along.min() - 2 * blur.dof, along.max() + 2 * blur.dof + step, step)
    cost = misfits(patches, taking, blur, tries) * NUMBERS.witnesses
    cost += ((tries[:, None] - about) / (2 * blur.dof)) ** 2
    chance = np.exp(-0.5 * np.minimum(cost - cost.min(0), 60.0))
    chance /= chance.sum(0)
    depth: Floats = (chance * tries[:, None]).sum(0)
    return depth


_SLOPES = (-3.0, -1.5, 0.0, 1.5, 3.0)
_BENDS = (0.0, 1.0, 2.0, 4.0)


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
    dof, step = blur.dof, 0.1 * blur.dof
    beyond = NUMBERS.beyond_dof * dof
    depths = np.arange(along.min() - beyond, along.max() + beyond + step, step)
    chi = misfits(patches, taking, blur, depths)
    excess = np.minimum(chi - chi.min(0), NUMBERS.cap)
    out2 = (place**2).sum(1)
    # a patch has a mean depth of its own: that of its window's spread
    spread = 2 * (0.18 * patches.window_px / radius_px) ** 2
    near = np.exp(-0.5 * out2 / NUMBERS.focus_share**2)
    at = np.arange(len(depths))
    columns = np.arange(len(out2))[None]
    costs, shapes = [], list(product(_BENDS, _SLOPES, _SLOPES))
    for bend, right, down in shapes:
        away = bend * (out2 + spread) + right * place[:, 0] + down * place[:, 1]
        rows = np.clip(at[:, None] + np.rint(away * 10).astype(int)[None], 0, len(depths) - 1)
        cost = (excess[rows, columns] * near).sum(1) * NUMBERS.witnesses
        # a dome's face bends back by about one depth of field, seldom by more than three
        costs.append(cost + (right / 2) ** 2 + (down / 2) ** 2 + ((bend - 1) / 2) ** 2)
    table = np.array(costs)
    least = table.min(0)
    cost = least - 2 * np.log(np.exp(-0.5 * (table - least)).sum(0))
    # photographers aim at the eye: it lies among the planes or not far off
    middle, half = 0.5 * (along.max() + along.min()), 0.5 * (along.max() - along.min())
    outside = np.maximum(np.abs(depths - middle) - half, 0.0)
    cost = cost + (outside / (NUMBERS.aim_dof * dof)) ** 2
    chance = np.exp(-0.5 * np.minimum(cost - cost.min(), 80.0))
    chance /= chance.sum()
    # an eye's middle stands out before what surrounds it in the same patch
    depths = depths - NUMBERS.before_dof * dof
    depth = float((chance * depths).sum())
    sigma = float(np.sqrt((chance * (depths - depth) ** 2).sum()))
    bend, right, down = shapes[int(table[:, int(chance.argmax())].argmin())]
    return EyeDepth(depth, sigma, (right * dof, down * dof, bend * dof), depths, chance)
