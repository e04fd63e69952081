"""Focus curves of the places on an eye, also where the burst saw only one side of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import j1

from haltere.focus.curves import NUMBERS as CURVES
from haltere.focus.curves import Stack

Floats = NDArray[np.float64]

SPECTRA = (1.0, 1.75, 2.5, 3.0, 3.5, 4.25)
"""Exponents tried for the power of an eye's texture; facets lie at one frequency, hairs at all."""

_PRIOR = (3.0, 0.5)
"""Mean and width of what is expected of them: only felt where the curve's top was not seen."""

_NOISE = 0.06
"""Scatter of a place's energy from frame to frame beyond what focus explains, relative."""


@dataclass(frozen=True, slots=True)
class Curves:
    """Depths of places under one assumption on their texture.

    Attributes
    ----------
    depth, sigma : ndarray of float64, shape (C,)
        Relative depth and one standard deviation.
    misfit : ndarray of float64, shape (C,)
        Chi-square of the curve.
    strength : ndarray of float64, shape (C,)
        Energy at the peak over what is there without focus.
    prior : float
        What the assumption itself costs, in chi-square.
    """

    depth: Floats
    sigma: Floats
    misfit: Floats
    strength: Floats
    prior: float


def shape_of(blur_px: Floats, airy_px: float, spectrum: float) -> Floats:
    """Energy of texture in the detail band against the sharp one, see `focus.curve_shape`.

    Parameters
    ----------
    blur_px : ndarray of float64, shape (M,)
        Diameter of the defocus disc, analysis pixels.
    airy_px : float
        Airy diameter, analysis pixels.
    spectrum : float
        Power of the texture falls as frequency to minus this.
    """
    f = np.linspace(0.004, 0.5, 250)
    s = CURVES.fine_px
    passed = np.exp(-2 * (np.pi * f * s) ** 2) - np.exp(-2 * (np.pi * f * 2 * s) ** 2)
    cut = np.clip(f * airy_px / 2.44, 0, 1)
    lens = (2 / np.pi) * (np.arccos(cut) - cut * np.sqrt(1 - cut**2))
    power = f ** (1 - spectrum) * (passed * lens * np.sinc(f)) ** 2
    x = np.pi * np.abs(blur_px)[:, None] * f
    disc = np.where(x > 1e-6, 2 * j1(x) / np.maximum(x, 1e-6), 1.0)
    result: Floats = (power * disc**2).sum(-1) / power.sum()
    return result


def fit_curves(
    stack: Stack,
    taking: NDArray[np.bool_],
    cells: NDArray[np.bool_],
    dof: float,
    c_px: float,
    airy_px: float,
) -> list[Curves]:
    """Fit the places of an eye, with energy left over that no focus explains.

    Parameters
    ----------
    stack : Stack
        Measured detail.
    taking : ndarray of bool, shape (N,)
        Frames that take part.
    cells : ndarray of bool, shape (R * C,)
        Places on the eye.
    dof, c_px, airy_px : float
        See `haltere.focus.curves.find_peaks`.

    Returns
    -------
    list of Curves
        One for each of `SPECTRA`.
    """
    count = int(taking.sum())
    energy = stack.energy[taking].reshape(count, -1)[:, cells].astype(np.float64)
    along = stack.along[taking].reshape(count, -1)[:, cells].astype(np.float64)
    seen = np.isfinite(energy)
    energy = np.where(seen, energy, 0.0)
    quiet = float(np.nanpercentile(stack.energy[taking], 2))
    least = np.min(np.where(seen, energy, np.inf), axis=0)
    size = _NOISE * energy + 0.02 * energy.max(0) + 2 * quiet
    weight = np.where(seen, 1 / np.maximum(size, 1e-9) ** 2, 0.0)
    tries = np.arange(along.min() - 3 * dof, along.max() + 3 * dof, 0.06 * dof)
    table = np.arange(0, 60, 0.05)
    # photographers aim at the eye: it lies among the planes or not far off
    middle, half = 0.5 * (along.max() + along.min()), 0.5 * (along.max() - along.min())
    aim = ((tries - middle) / (half + 1.5 * dof)) ** 2
    out = []
    for spectrum in SPECTRA:
        shape = shape_of(table, airy_px, spectrum)
        chi = np.empty((tries.size, energy.shape[1]))
        strength = np.empty_like(chi)
        for t, z in enumerate(tries):
            away = np.abs(along - z) * (2 * c_px / dof)
            expected = np.interp(away, table, shape)
            best = np.full(energy.shape[1], np.inf)
            for share in (0.0, 0.2, 0.5):
                left = np.minimum(quiet, least) + share * np.maximum(least - quiet, 0)
                rest = energy - left
                inner = (weight * expected * rest).sum(0)
                norm = np.maximum((weight * expected**2).sum(0), 1e-30)
                high = np.maximum(inner / norm, 0)
                now = (weight * (rest - high * expected) ** 2).sum(0) + (share / 0.2) ** 2
                better = now < best
                best = np.where(better, now, best)
                strength[t] = np.where(better, high / np.maximum(left, 1e-9), strength[t])
            chi[t] = best + aim[t]
        at = chi.argmin(0)
        columns = np.arange(at.size)
        lowest = chi[at, columns]
        likely = np.exp(-0.5 * np.minimum((chi - lowest) / np.maximum(lowest / count, 1.0), 60))
        likely /= likely.sum(0)
        mean = (likely * tries[:, None]).sum(0)
        spread = np.sqrt((likely * (tries[:, None] - mean) ** 2).sum(0))
        prior = ((spectrum - _PRIOR[0]) / _PRIOR[1]) ** 2
        out.append(Curves(mean, spread, lowest, strength[at, columns], prior))
    return out
