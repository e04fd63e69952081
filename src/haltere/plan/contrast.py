"""How much contrast of fine stripes is left on and off the plane of focus, in white light."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from haltere import optics

Float = NDArray[np.float64]
Colours = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Resolves:
    """What counts as resolved, each number with its reason.

    Attributes
    ----------
    last_trace : float
        Contrast of the finest pattern that a sharp lens still brings (Rayleigh's two stars leave
        about as much; a convention).
    seen : float
        Contrast of the finest pattern that counts off the plane of focus. Stripes of a defocused
        lens come back reversed with up to 0.13 of their contrast; above that, what is seen is
        really there (the height of the lobe is derived, the round number assumed).
    fewest_nodes, radians_per_node : float
        Points of the integral: enough for an error below 1e-5 while stripes are not reversed.
    halvings : int
        Of the interval in which the finest pattern is searched: to 1/4000 of it.
    """

    last_trace: float = optics.LAST_TRACE
    seen: float = 0.2
    fewest_nodes: int = 14
    radians_per_node: float = 2.5
    halvings: int = 12


RESOLVES = Resolves()

sharp_limit = optics.sharp_limit
"""How fine a pattern a sharp perfect lens brings; read by the neighbours in this room."""

_COLOURS = 3
"""Three wavelengths stand for white light to 1e-5 where a tenth of the contrast is left."""


def contrast_at(
    frequency_lp_mm: ArrayLike,
    effective: ArrayLike,
    off_mm: ArrayLike,
    magnification: float,
    colours: Colours | None = None,
) -> Float:
    """Tell how much contrast of a pattern a perfect lens passes off the plane of focus.

    Parameters
    ----------
    frequency_lp_mm : array_like of float
        Line pairs a millimetre on the sensor.
    effective : array_like of float
        Effective f-number.
    off_mm : array_like of float
        Distance from the plane of focus on the animal's side, mm.
    magnification : float
        Size on the sensor over size on the animal, all attachments included.
    colours : tuple of (float, float), optional
        Wavelengths in mm and weights; white light as the eye weights it when left out.

    Returns
    -------
    ndarray of float64
        Contrast, negative where stripes come back reversed; the first three are broadcast. The
        overlap integral of Hopkins (Proc. R. Soc. A 231, 1955, from memory), exact for a perfect
        round lens, averaged over the colours.
    """
    ne, off = np.asarray(effective, np.float64), np.asarray(off_mm, np.float64)
    scale = np.asarray(frequency_lp_mm, np.float64) * ne
    scale, path = np.broadcast_arrays(scale, np.abs(off) * (magnification / ne) ** 2 / 8.0)
    pairs = np.array(optics.seen_colours(_COLOURS) if colours is None else colours)
    lam = pairs[:, 0].reshape(-1, *(1,) * scale.ndim)
    t = np.clip(scale * lam, 0.0, 1.0)
    phase = 8.0 * np.pi * path / lam * t * (1.0 - t)
    steepest = float(np.max(phase, initial=0.0))
    count = RESOLVES.fewest_nodes + math.ceil(steepest / RESOLVES.radians_per_node)
    v, dv = _rule(count)
    # x = (1 - t)(1 - v^2) takes the root's steep end out of the integrand; then
    # 1 - (x + t)^2 = (1 - t) v^2 (1 + t + (1 - t)(1 - v^2))
    inside = 1.0 - v * v
    height = np.sqrt((1.0 - t)[..., None] * (1.0 + t[..., None] + (1.0 - t)[..., None] * inside))
    swing = np.cos(phase[..., None] * inside)
    each = 4.0 / np.pi * (1.0 - t) * ((height * swing) @ (2.0 * v * v * dv))
    return np.asarray(np.tensordot(pairs[:, 1], each, axes=1), np.float64)


@cache
def _rule(count: int) -> tuple[Float, Float]:
    nodes, weights = np.polynomial.legendre.leggauss(count)
    return (nodes + 1.0) / 2.0, weights / 2.0


def finest_lp_mm(effective: ArrayLike, off_mm: ArrayLike, magnification: float) -> Float:
    """Tell the finest pattern that still shows at a distance from the plane of focus.

    Parameters
    ----------
    effective : array_like of float
        Effective f-number.
    off_mm : array_like of float
        Distance from the plane of focus on the animal's side, mm; broadcast against the f-number.
    magnification : float
        Size on the sensor over size on the animal.

    Returns
    -------
    ndarray of float64
        Line pairs a millimetre on the sensor with `RESOLVES.seen` of their contrast left, of the
        lens alone.
    """
    ne = np.atleast_1d(np.asarray(effective, np.float64))
    sharp = sharp_limit(RESOLVES.seen) / ne
    off = np.asarray(off_mm, np.float64)
    if np.all(off <= 0.0):
        return sharp
    disc_mm = off * magnification**2 / ne
    # by rays alone contrast is at zero at 1.22 / disc; waves move that by less than twice
    low, high = np.zeros_like(ne), np.minimum(sharp, 2.44 / disc_mm)
    for _ in range(RESOLVES.halvings):
        middle = (low + high) / 2.0
        enough = contrast_at(middle, ne, off, magnification) >= RESOLVES.seen
        low, high = np.where(enough, middle, low), np.where(enough, high, middle)
    return np.asarray((low + high) / 2.0, np.float64)


def sharpest_effective(
    frequency_lp_mm: float, depth_mm: float, magnification: float, colours: Colours | None = None
) -> tuple[float, float]:
    """Tell the effective f-number that keeps most contrast at both ends of a depth.

    Parameters
    ----------
    frequency_lp_mm : float
        Line pairs a millimetre on the sensor.
    depth_mm : float
        Depth, focused in its middle, mm.
    magnification : float
        Size on the sensor over size on the animal.
    colours : tuple of (float, float), optional
        Wavelengths in mm and weights; white light when left out.

    Returns
    -------
    effective : float
        Effective f-number.
    contrast : float
        What is left at the ends.
    """
    # the optimum lies near m sqrt(d / (5 lambda)); coarse patterns want less, never 8 times less
    centre = optics.best_effective_f_number(depth_mm, magnification)
    steps = np.linspace(math.log(centre / 8.0), math.log(centre * 3.0), 160)
    left = contrast_at(frequency_lp_mm, np.exp(steps), depth_mm / 2.0, magnification, colours)
    best = int(np.clip(np.argmax(left), 1, len(steps) - 2))
    before, at, after = (float(left[best + i]) for i in (-1, 0, 1))
    bend = before - 2.0 * at + after
    shift = 0.0 if bend >= 0.0 else float(np.clip(0.5 * (before - after) / bend, -0.5, 0.5))
    top = at - 0.25 * (before - after) * shift
    return math.exp(float(steps[best]) + shift * float(steps[1] - steps[0])), top


@cache
def _hardest() -> float:
    """Finest pattern over all f-numbers that both ends of 1 mm at 1:1 can show."""
    ne = np.linspace(19.0, 20.4, 15)  # flat there: fifteen points find the top to 1e-4
    return float(finest_lp_mm(ne, 0.5, 1.0).max())


def finest_over_depth_lp_mm(depth_mm: float, magnification: float) -> float:
    """Tell the finest pattern that any f-number can show at both ends of a depth.

    Parameters
    ----------
    depth_mm : float
        Depth, focused in its middle, mm.
    magnification : float
        Size on the sensor over size on the animal.

    Returns
    -------
    float
        Line pairs a millimetre on the sensor. It goes with 1 / (m sqrt(d)): waves and rays scale
        alike, so one number, found once, serves all (derived).
    """
    return _hardest() / (magnification * math.sqrt(depth_mm))
