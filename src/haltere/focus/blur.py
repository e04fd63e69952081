"""What blur leaves of a place's detail, ring by ring of its spectrum, and how deep it lies by that.

Each patch and each frequency has an unknown amount of detail and a little light that no focus
explains; only the depth is shared.  No assumption on the texture is needed: the blur of a disc cuts
different frequencies by different shares, so that planes on one side of a place still say how far
they miss it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import j1

from haltere.focus.patches import NUMBERS, Patches

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


TABLE_PX = 0.1
"""Step of the tables of what discs leave."""

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
    discs = np.arange(0, 160, TABLE_PX)[:, None]
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
    at = np.minimum((disc_px * (1 / TABLE_PX)).astype(np.int32), len(table) - 1)
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
    at = np.minimum((disc * (1 / TABLE_PX)).astype(np.int32), len(table) - 1)
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
