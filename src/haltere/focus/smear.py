"""Which frames moved during the exposure, how far, and which way."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import product

import numpy as np
from numpy.typing import NDArray

from haltere.focus.blur import TOP, Blur, kept_power, look_up, top_power
from haltere.focus.curves import smeared_energy
from haltere.focus.patches import NUMBERS, SECTORS, Patches

Floats = NDArray[np.float64]

_LENGTHS_PX = np.array(
    [0, 0.7, 1, 1.4, 1.8, 2.2, 2.7, 3.3, 4, 5, 6, 7.5, 9, 11, 13.5, 16.5, 20], np.float64
)
_WAYS = 12


@dataclass(frozen=True, slots=True)
class Smear:
    """Movement of one frame's picture while it was lit.

    Attributes
    ----------
    length_px : float
        Length, analysis pixels.
    angle_deg : float or None
        Direction, clockwise from level, 0 to 180; None where there is hardly any.
    longer : float
        Probability that it is longer than the limit asked about.
    evidence : float
        By how much movement explains the frame better than stillness, chi-square.
    ghost : float
        Share of the light that drew the picture while it moved, daylight beside the flash's.
    ghost_sure : float
        Probability that there is such a share.
    """

    length_px: float
    angle_deg: float | None
    longer: float
    evidence: float = 0.0
    ghost: float = 0.0
    ghost_sure: float = 0.0


NO_SMEAR = Smear(0.0, None, 0.0)


@dataclass(frozen=True, slots=True)
class Kept:
    """Detail that a frame keeps of what the others foretell where its plane passes.

    Attributes
    ----------
    share : float
        As energy in the usual band.
    airy_px : float
        Diameter of the Airy disc, analysis pixels.
    """

    share: float
    airy_px: float


def smears_of(
    patches: Patches, depths: Floats, usable: NDArray[np.bool_], blur: Blur, limit_px: float
) -> list[Smear]:
    """Find the smeared frames of a burst.

    The plainest one is set aside first, and the others are compared anew: it had bent what was
    expected of them.

    Parameters
    ----------
    patches : Patches
        Spectra of places that are sharp in some frame.
    depths : ndarray of float64, shape (P,)
        Relative depth of each.
    usable : ndarray of bool, shape (N,)
        Frames to judge.
    blur : Blur
        Optics.
    limit_px : float
        Length asked about, analysis pixels.

    Returns
    -------
    list of Smear
        One per frame.
    """
    taking = usable.copy()
    found = [NO_SMEAR] * len(usable)
    while int(taking.sum()) >= 3:
        found = find_smears(patches, depths, taking, usable, blur, limit_px)
        left = [k for k in np.flatnonzero(taking) if found[k].longer > 0.5]
        if not left:
            break
        taking[max(left, key=lambda k: found[k].evidence)] = False
    return found


def find_smears(
    patches: Patches,
    depths: Floats,
    taking: NDArray[np.bool_],
    asked: NDArray[np.bool_],
    blur: Blur,
    limit_px: float,
    support: float = NUMBERS.support,
    kept: Kept | None = None,
) -> list[Smear]:
    """Compare every frame with what the others lead one to expect, direction by direction.

    A smear takes detail away along one direction, a wrong depth in all: what is lost evenly is left
    out of the comparison.

    Parameters
    ----------
    patches : Patches
        Spectra of places that are sharp in some frame.
    depths : ndarray of float64, shape (P,)
        Relative depth of each.
    taking : ndarray of bool, shape (N,)
        Frames that are compared with.
    asked : ndarray of bool, shape (N,)
        Frames to judge.
    blur : Blur
        Optics.
    limit_px : float
        Length asked about, analysis pixels.
    support : float
        Share of its own sharpness that another frame must have had at a place for a frame to be
        fully compared there.
    kept : Kept, optional
        Detail that the frame asked about keeps.

    Returns
    -------
    list of Smear
        One per frame; `NO_SMEAR` for frames not asked about or without a place that tells.
    """
    power = patches.energy.astype(np.float64)
    frames = len(power)
    table = kept_power(patches.frequencies, patches.window_px)
    disc = blur.disc_px(depths, patches.along) / patches.scale[:, None]
    leaves = np.stack([look_up(table, disc, f) for f in range(power.shape[2])], -1)[..., None]
    quiet = np.nan_to_num(top_power(patches.energy.mean(-1)), nan=1.0)[..., None, None]
    seen: NDArray[np.bool_] = np.asarray(np.isfinite(power).all((2, 3)), np.bool_)
    power = np.where(seen[..., None, None], power, 0.0)
    lit = np.maximum(power - quiet, 0.0)
    top = power[taking].max(0)
    weight = 1 / (NUMBERS.scatter * power + 0.02 * top + quiet) ** 2
    weight *= (seen & taking[:, None])[..., None, None]
    y1 = (weight * lit * leaves).sum(0)
    s2 = (weight * leaves**2).sum(0)
    out = []
    others = np.asarray(taking, np.bool_)
    for k in range(frames):
        if not asked[k] or not seen[k].any():
            out.append(NO_SMEAR)
            continue
        own = weight[k] * leaves[k]
        norm = np.maximum(s2 - own * leaves[k], 0.0)
        amount = np.maximum(y1 - own * lit[k], 0.0) / np.maximum(norm, 1e-30)
        signal = amount * leaves[k]
        expected = signal + quiet[k]
        miss = np.log(np.maximum(power[k], 0.05 * quiet[k]) / expected)
        # what is expected must stand out of the noise, and come from frames that were sharp there
        doubt = 1 / np.maximum(amount**2 * norm, 1e-9)
        trust = (signal / expected) ** 2 / (0.35**2 + doubt) * (leaves[k] > NUMBERS.shows)
        # what no other frame showed half as sharp is guessed, not expected
        beside = np.where(others[:, None, None, None], leaves, 0.0)
        beside[k] = 0.0
        trust *= np.clip(beside.max(0) / (support * leaves[k]), 0.0, 1.0) ** 2
        trust *= seen[k][:, None, None]
        low = slice(0, -TOP)
        out.append(
            _fit(miss[:, low], trust[:, low], patches.frequencies[low], limit_px,
                 (quiet[k] / expected)[:, low], kept)
        )  # fmt: skip
    return out


@lru_cache(maxsize=8)
def _left_by(frequencies: bytes) -> Floats:
    """Share of power that smears leave, shape (lengths * ways, rings * directions)."""
    f = np.frombuffer(frequencies, np.float64)[:, None, None]
    away = (np.arange(5) - 2) / 5 * (np.pi / SECTORS)
    middles = np.arange(SECTORS) * (np.pi / SECTORS)
    out = []
    for length in _LENGTHS_PX:
        for way in range(_WAYS):
            along = np.cos(middles[None, :, None] + away - way * np.pi / _WAYS)
            out.append((np.sinc(length * f * along) ** 2).mean(-1).ravel())
    return np.array(out)


GHOSTS = (0.15, 0.25, 0.4)
"""Shares of daylight tried."""

_PATHS_PX = (6.0, 10.0, 16.0, 26.0)


@lru_cache(maxsize=8)
def _left_by_ghosts(told: bytes) -> Floats:
    """Share of power left where daylight drew the picture along a path and the flash at one place.

    Shape (shares * paths * ways, F * SECTORS): of the wave the flash's part stays whole.
    """
    f = np.frombuffer(told, np.float64)[:, None, None]
    away = (np.arange(5) - 2) / 5 * (np.pi / SECTORS)
    middles = np.arange(SECTORS) * (np.pi / SECTORS)
    rows = []
    for share, path, way in product(GHOSTS, _PATHS_PX, range(_WAYS)):
        along = np.cos(middles[None, :, None] + away - way * np.pi / _WAYS)
        kept = 1 - share + share * np.sinc(path * f * along)
        rows.append((kept**2).mean(-1).ravel())
    return np.array(rows)


def _fit(
    miss: Floats,
    trust: Floats,
    frequencies: Floats,
    limit_px: float,
    noise: Floats,
    kept: Kept | None,
) -> Smear:
    """Length and direction whose loss fits best, whatever is lost evenly."""
    total = trust.sum(0)
    most = total.max()
    if most < 1.0:
        return NO_SMEAR
    able = np.clip(miss, -3, 3)
    middle = (trust * able).sum(0) / np.maximum(total, 1e-9)
    # all places tell a smear alike; one that differs lies at another depth, or moved by itself
    calm = trust / (1 + ((able - middle) / 0.7) ** 2)
    share = calm / np.maximum(calm.sum(0), 1e-9)
    mean = (share * able).sum(0)
    floor = (share * noise).sum(0)
    error2 = (share**2 * (able - mean) ** 2).sum(0) + 0.35**2 / np.maximum(total, 1e-9)
    # neighbouring rings and directions share their light
    weight = NUMBERS.ring_votes / (NUMBERS.ring_error**2 + error2)
    f = frequencies[:, None]
    even = np.stack(
        [np.ones_like(mean), *(np.broadcast_to(f**p, mean.shape) for p in (1, 2))], -1
    ).reshape(-1, 3)
    flat = weight.ravel()
    normal = np.linalg.inv((even * flat[:, None]).T @ even + 1e-9 * np.eye(3))
    left = _left_by(frequencies.tobytes())

    def misses(left: Floats) -> Floats:
        least = np.full(len(left), np.inf)
        for leak in NUMBERS.leaks:
            # strong detail leaks into the rings and directions beside it
            stays = np.minimum(floor + leak, 0.95).ravel()
            rest = mean.ravel() - np.log(left * (1 - stays) + stays)
            rest -= ((flat * rest) @ even) @ normal @ even.T
            least = np.minimum(least, np.minimum(rest**2, 2.0) @ flat)
        return least

    cost = misses(left).reshape(_LENGTHS_PX.size, _WAYS)
    evidence = float(cost[0].min() - cost.min())
    doubled = misses(_left_by_ghosts(frequencies.tobytes()))
    better = float(cost.min() - doubled.min())
    share = float(GHOSTS[int(doubled.argmin()) // (len(doubled) // len(GHOSTS))])
    sure = 1 / (1 + float(np.exp(-0.5 * np.clip(better - NUMBERS.ghost_cost, -60, 60))))
    sure *= float(evidence + better > NUMBERS.ghost_cost)
    if kept is not None:
        lost = np.log(smeared_energy(_LENGTHS_PX, kept.airy_px))
        off = (np.log(max(kept.share, 0.05)) - lost) / NUMBERS.kept_error
        cost += np.where(off > 0, off**2, np.minimum(off**2, NUMBERS.kept_most))[:, None]
        evidence = float(cost[0].min() - cost.min())
    cost += 0.3 * _LENGTHS_PX[:, None]
    chance = np.exp(-0.5 * np.minimum(cost - cost.min(), 80.0))
    # long ones are few and told coarsely: each stands for a wider stretch
    chance *= np.gradient(_LENGTHS_PX)[:, None]
    chance[0] *= NUMBERS.still
    chance /= chance.sum()
    length = float((chance.sum(1) * _LENGTHS_PX).sum())
    way = float(cost.min(0).argmin()) * 180 / _WAYS
    longer = float(chance[limit_px < _LENGTHS_PX].sum())
    longer *= 1 - sure
    return Smear(length, way if longer > 0.5 else None, longer, evidence, share, sure)
