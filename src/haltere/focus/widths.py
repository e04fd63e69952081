"""How wide focus curves are, ring by ring of small spectra, and the depth of field that tells."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from haltere.focus.blur import TABLE_PX, kept_power
from haltere.focus.curves import Stack, find_peaks, quietest
from haltere.focus.patches import Patches

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class WidthNumbers:
    """Numbers that steer the measurement of an unknown depth of field and lens.

    Attributes
    ----------
    rings : tuple of 2 floats
        Frequencies compared, cycles per circle of confusion: below them light that slopes across a
        patch speaks, above them diffraction leaves too little at large f-numbers.
    reach_dof : float
        Distance of the plane within which a frame tells of a place: at half of it the error grows.
    most : int
        Places that are enough: with 80 of them chance still showed.
    over_noise : float
        Power at the best frame over that of noise from which a ring of a place tells.
    fewest_rings, fewest_frames : int
        Rings and frames a place needs.
    beside : int
        Frames that must have passed within a depth of field of it.
    slants : tuple of float
        Spreads of depth within a patch that are tried, as a blur in circles of confusion: surfaces
        slant, and that widens all rings alike, where the blur of a disc widens coarse ones more.
    dear : float
        Price of a slant, per square of that blur, in logarithms of what is left unexplained: in
        short sweeps a slant explains a curve as well as the disc does (9013: 13 % too small without
        it). Ten times as much made 43 simulated sweeps worse, 6 % rms.
    off_dof : float
        How far a place may lie from where it was taken to lie.
    around : float
        Factor around the depth of field known so far within which a better one is sought.
    groups : int
        Groups of places that are left out in turn to see how sure the answer is; as many places are
        needed to say so (common practice).
    airy : tuple of 2 floats
        Least and largest Airy disc that is tried, circles of confusion.
    strongest : float
        Percentile of energy from which a place tells of the lens.
    """

    rings: tuple[float, float] = (0.13, 0.30)
    reach_dof: float = 5.5
    most: int = 200
    over_noise: float = 8.0
    fewest_rings: int = 3
    fewest_frames: int = 5
    beside: int = 2
    slants: tuple[float, ...] = (0.0, 0.5, 0.9, 1.3, 1.8, 2.4, 3.2, 4.5)
    dear: float = 0.015
    off_dof: float = 1.0
    around: float = 1.4
    groups: int = 8
    airy: tuple[float, float] = (0.35, 7.0)
    strongest: float = 80.0


NUMBERS = WidthNumbers()

_THINNED = 3
"""Every third place is plenty for one number."""

_TRIES = 11
_CLOSE = 1e-4
_LEAST = 3e-4
"""Share left unexplained below which one place is no better than another."""


@dataclass(frozen=True, slots=True)
class Width:
    """Depth of field told by the pictures.

    Attributes
    ----------
    dof : float
        Relative depth of field.
    spread : float
        One standard deviation of its logarithm by what the places say against each other; infinite
        where too few tell.
    places : int
        Places that told; 0 where `dof` is what was given.
    """

    dof: float
    spread: float
    places: int


def measure_depth_of_field(
    patches: Patches, taking: Mask, depth: Floats, dof: float, c_px: float
) -> Width:
    """Measure the depth of field of a sweep whose kit is unknown, from spectra of small patches.

    Of detail of one frequency a disc leaves a share that depends on nothing but its diameter:
    neither on the texture nor on the lens. How fast each ring of a patch's spectrum fades on both
    sides of its plane therefore tells how fast the disc grows.

    Parameters
    ----------
    patches : Patches
        Spectra of places with strong detail.
    taking : ndarray of bool, shape (N,)
        Frames that take part.
    depth : ndarray of float64, shape (P,)
        Relative depth of the places, roughly.
    dof : float
        Relative depth of field, roughly.
    c_px : float
        Circle of confusion, analysis pixels.

    Returns
    -------
    Width
        Relative depth of field, and how sure it is; what was given where no place tells.
    """
    nothing = Width(dof, float("inf"), 0)
    chosen = np.flatnonzero(
        (patches.frequencies * c_px >= NUMBERS.rings[0])
        & (patches.frequencies * c_px <= NUMBERS.rings[1])
    )
    energy = patches.energy[taking].mean(-1)[:, :, chosen].astype(np.float64)
    along = patches.along[taking]
    near = np.abs(along - depth) < NUMBERS.reach_dof * dof
    seen = np.isfinite(energy).all(-1) & near
    if len(chosen) < NUMBERS.fewest_rings or not seen.any():
        return nothing
    energy[~seen] = np.nan
    told = np.flatnonzero(_tells(along - depth, seen, dof))
    if not len(told):
        return nothing
    noise = np.percentile(np.nanmin(energy[:, told], axis=0), 3, axis=0)
    top = np.nanmax(energy[:, told], axis=0) - noise
    order = np.argsort(-np.median(top / noise, axis=1), kind="stable")
    tries = dof * np.geomspace(1 / NUMBERS.around, NUMBERS.around, _TRIES)
    tables = _tables(patches, chosen, c_px)
    dear = np.exp(NUMBERS.dear * np.square(NUMBERS.slants))
    offs = np.arange(-NUMBERS.off_dof, NUMBERS.off_dof + 0.01, 0.1) * dof
    misfits = []
    for k in order:
        rings = top[k] > NUMBERS.over_noise * noise
        if int(rings.sum()) < NUMBERS.fewest_rings:
            continue
        place, frames = told[k], seen[:, told[k]]
        lit = (energy[frames, place][:, rings] - noise[rings]) / top[k, rings]
        away = along[frames, place] - depth[place]
        rates = 2 * c_px / tries / TABLE_PX
        misfits.append(
            _unexplained(lit, away, offs, rates, np.ascontiguousarray(tables[..., rings]), dear)
        )
        if len(misfits) == NUMBERS.most:
            break
    if not misfits:
        return nothing
    scores = np.log(np.maximum(misfits, _LEAST))
    at = np.log(tries)
    return Width(float(np.exp(_lowest(at, scores.mean(0)))), _spread(at, scores), len(scores))


def _spread(at: Floats, scores: Floats) -> float:
    """Spread of the lowest point, by leaving out one group of places at a time (jackknife)."""
    if len(scores) < NUMBERS.groups:
        return float("inf")
    part = np.arange(len(scores)) % NUMBERS.groups
    lowest = [_lowest(at, scores[part != k].mean(0)) for k in range(NUMBERS.groups)]
    return float(np.std(lowest) * np.sqrt(NUMBERS.groups - 1))


def _tells(away: Floats, seen: Mask, dof: float) -> Mask:
    """Places that enough frames saw, some of them near and on either side."""
    enough = seen.sum(0) >= NUMBERS.fewest_frames
    close = (seen & (np.abs(away) < dof)).sum(0) >= NUMBERS.beside
    passed = (seen & (away < 0)).any(0) & (seen & (away > 0)).any(0)
    return np.asarray(enough & close & passed, np.bool_)


def _tables(patches: Patches, chosen: NDArray[np.intp], c_px: float) -> Floats:
    """Share of power left at each ring, by the spread of depth and the disc, shape (S, B, F)."""
    plain = kept_power(patches.frequencies, patches.window_px)[:, chosen]
    discs = np.arange(len(plain)) * TABLE_PX
    spread = np.linspace(-2.5, 2.5, 11)
    weight = np.exp(-(spread**2) / 2)
    weight /= weight.sum()
    out = []
    for slant in NUMBERS.slants:
        total = np.zeros_like(plain)
        for at, share in zip(spread * slant * c_px, weight, strict=True):
            index = np.minimum(np.abs(discs + at) / TABLE_PX + 0.5, len(plain) - 1)
            total += share * plain[index.astype(np.intp)]
        out.append(total)
    return np.array(out)


@njit(cache=True, nogil=True)  # type: ignore[misc, unused-ignore]
def _unexplained(
    lit: Floats, away: Floats, offs: Floats, rates: Floats, tables: Floats, dear: Floats
) -> Floats:
    """Share of a place's curves that each rate of blur leaves unexplained, at its best depth."""
    frames, rings = lit.shape
    last = tables.shape[1] - 1
    total = (lit**2).sum(0) + 1e-12
    out = np.full(len(rates), np.inf)
    inner, size = np.empty(rings), np.empty(rings)
    for t in range(len(rates)):
        for s in range(len(tables)):
            for z in range(len(offs)):
                inner[:] = 0.0
                size[:] = 1e-9
                for i in range(frames):
                    disc = min(int(abs(away[i] - offs[z]) * rates[t] + 0.5), last)
                    for f in range(rings):
                        kept = tables[s, disc, f]
                        inner[f] += kept * lit[i, f]
                        size[f] += kept * kept
                left = 0.0
                for f in range(rings):
                    left += 1.0 - inner[f] ** 2 / size[f] / total[f]
                out[t] = min(out[t], dear[s] * left / rings)
    return out


def measure_airy(stack: Stack, usable: Mask, dof: float, c_px: float) -> float:
    """Measure the lens's own blur from the shape of the focus curves, once their width is known.

    What surfaces slant within a place's window, and how the texture is made, is taken into it: it
    is the one with which the expected curve looks like those that were seen.

    Parameters
    ----------
    stack : Stack
        Detail in the usual band.
    usable : ndarray of bool, shape (N,)
        Frames that take part.
    dof : float
        Relative depth of field.
    c_px : float
        Circle of confusion, analysis pixels.

    Returns
    -------
    float
        Airy diameter, analysis pixels.
    """
    seen = stack.energy[usable, ::_THINNED, ::_THINNED]
    most = np.where(np.isfinite(seen), seen, -1.0).max(0)
    strong: Mask = np.asarray(most >= np.percentile(most, NUMBERS.strongest), np.bool_)
    chosen, noise = _at(stack, strong), quietest(stack, usable)
    tries = c_px * np.linspace(*NUMBERS.airy, _TRIES)
    misfit = [
        np.log(
            np.maximum(
                1 - find_peaks(chosen, usable, dof, c_px, float(airy), noise).fit ** 2, _CLOSE
            )
        ).mean()
        for airy in tries
    ]
    return float(np.clip(_lowest(tries, np.array(misfit)), tries[0], tries[-1]))


def _at(stack: Stack, strong: Mask) -> Stack:
    """Detail of the chosen places alone, as one row."""
    thin = (slice(None), slice(None, None, _THINNED), slice(None, None, _THINNED))
    nothing = np.zeros((1, int(strong.sum())), np.float32)
    return Stack(
        stack.energy[thin][:, strong][:, None, :],
        stack.along[thin][:, strong][:, None, :],
        np.zeros((0, 2)),
        nothing,
    )


def _lowest(x: Floats, y: Floats) -> float:
    """Where a curve is lowest, by a parabola through its lowest three points."""
    at = int(np.clip(y.argmin(), 1, len(y) - 2))
    left, mid, right = y[at - 1 : at + 2]
    bend = left - 2 * mid + right
    shift = 0.5 * (left - right) / bend if bend > 0 else 0.0
    return float(x[at] + np.clip(shift, -0.5, 0.5) * (x[1] - x[0]))
