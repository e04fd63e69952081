"""How likely a burst of this hand has a keeper, and whether such predictions come true."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from haltere.hand.numbers import NUMBERS
from haltere.hand.seen import Floats
from haltere.hand.wander import Wander
from haltere.plan.chance_of_bursts import (
    FARTHEST,
    correlated_burst_hits,
    correlation_between_frames,
)


@dataclass(frozen=True, slots=True)
class Scored:
    """Predictions against what came.

    Attributes
    ----------
    bursts : int
        Bursts that were predicted from earlier outings alone.
    slope : float or None
        Of what came on what was predicted; 1 when predictions are neither timid nor bold.
    brier, brier_habit, brier_plan : float
        Mean squared miss (G. Brier, 1950) of the prediction, of the rate so far, and of the plan
        with its assumed hand; smaller is better.
    bins : tuple of Bin
        Calibration.
    """

    bursts: int
    slope: float | None
    brier: float
    brier_habit: float
    brier_plan: float
    bins: tuple[Bin, ...]


@dataclass(frozen=True, slots=True)
class Bin:
    """Bursts that were predicted alike.

    Attributes
    ----------
    predicted, real : float
        Mean prediction, and the share that had a keeper.
    low, high : float
        Interval of that share (E. Wilson, 1927).
    bursts : int
        How many.
    """

    predicted: float
    real: float
    low: float
    high: float
    bursts: int


def hit_chance(dof_mm: float, frames: int, rate_fps: float, wander: Wander, clean: float) -> float:
    """Tell how likely a burst of this hand has a keeper.

    Parameters
    ----------
    dof_mm : float
        Depth of field.
    frames : int
        Frames of the burst.
    rate_fps : float
        Frames a second.
    wander : Wander
        What is known of the hand along the axis.
    clean : float
        Share of frames without any fault but focus.

    Returns
    -------
    float
        Mean over the hands that it may be.
    """
    spread, sway, mean = wander.drawn(NUMBERS.draws)
    chances = [
        chance_of_one(dof_mm / s, frames, math.exp(-1.0 / (rate_fps * tau)), m / s, clean)
        for s, tau, m in zip(spread, sway, mean, strict=True)
    ]
    return float(np.mean(chances))


def chance_of_one(
    depth: float, frames: int, correlation: float, mean: float, clean: float
) -> float:
    """Tell how likely a wandering hand of spread 1 is within a depth in one good frame at least.

    The plan's reckoning with two things more: a mean beside the eye, and frames spoilt otherwise.

    Parameters
    ----------
    depth : float
        Whole depth, in spreads of the hand.
    frames : int
        Frames.
    correlation : float
        Of the place from frame to frame.
    mean : float
        Where the hand is on average, in its spreads.
    clean : float
        Share of frames that can be keepers.

    Returns
    -------
    float
        0 to 1.
    """
    low = min(max(-depth / 2 - mean, -FARTHEST), FARTHEST)
    high = min(max(depth / 2 - mean, -FARTHEST), FARTHEST)
    edges = _edges(low, high)
    at, size = (edges[:-1] + edges[1:]) / 2, np.diff(edges)
    inside = (at > low) & (at < high)
    miss = np.where(inside, 1.0 - clean, 1.0)
    here = np.exp(-0.5 * at**2) * size
    here /= here.sum()
    width = math.sqrt(max(1.0 - correlation**2, 1e-12))
    if width < float(size.max()):  # the hand hardly moves: every frame sees the same place
        return float(1.0 - here @ miss**frames)
    moved = np.exp(-0.5 * ((at[:, None] - correlation * at[None, :]) / width) ** 2)
    moved *= size[:, None]
    moved /= moved.sum(axis=0, keepdims=True)
    left = here * miss
    for _ in range(frames - 1):
        left = (moved @ left) * miss
    return float(1.0 - left.sum())


def _edges(low: float, high: float) -> Floats:
    """Cut the hand's way into cells, none of which lies half inside the depth."""
    ends = [-FARTHEST, low, high, FARTHEST]
    parts = [
        np.linspace(a, b, max(8, round(NUMBERS.cells * (b - a) / (2 * FARTHEST))) + 1)
        for a, b in pairwise(ends)
        if b - a > 1e-9
    ]
    return np.unique(np.concatenate(parts))


def plan_chance(dof_mm: float, frames: int, rate_fps: float) -> float:
    """Tell what the plan says with the hand that it assumes.

    Parameters
    ----------
    dof_mm : float
        Depth of field.
    frames : int
        Frames of the burst.
    rate_fps : float
        Frames a second.

    Returns
    -------
    float
        0 to 1.
    """
    alike = correlation_between_frames(rate_fps, NUMBERS.sway_s)
    return correlated_burst_hits(dof_mm, NUMBERS.spread_mm, frames, alike)


def score(
    predicted: Sequence[float],
    habit: Sequence[float],
    plan: Sequence[float],
    hits: Sequence[bool],
) -> Scored:
    """Score predictions against what came.

    Parameters
    ----------
    predicted, habit, plan : sequence of float
        Chances by this hand's statistics, by its rate so far, and by the plan.
    hits : sequence of bool
        What came.

    Returns
    -------
    Scored
        At least one burst is needed.
    """
    p, real = np.asarray(predicted), np.asarray(hits, float)

    def brier(of: Sequence[float]) -> float:
        return float(((np.asarray(of) - real) ** 2).mean())

    slope = None
    if len(p) > 2 and p.std() > 0.02:
        slope = float(np.polyfit(p, real, 1)[0])
    return Scored(len(p), slope, brier(predicted), brier(habit), brier(plan), _bins(p, real))


def _bins(p: Floats, real: Floats) -> tuple[Bin, ...]:
    found = []
    for number in range(5):
        here = (p >= number / 5) & ((p < (number + 1) / 5) | (number == 4))
        count = int(here.sum())
        if not count:
            continue
        hits = float(real[here].mean())
        low, high = wilson(round(hits * count), count)
        found.append(Bin(float(p[here].mean()), hits, low, high, count))
    return tuple(found)


def wilson(hits: int, tries: int) -> tuple[float, float]:
    """Give the interval of a share.

    Parameters
    ----------
    hits, tries : int
        Counted.

    Returns
    -------
    low, high : float
        E. Wilson, 1927.
    """
    from scipy.special import ndtri

    z = float(ndtri(0.5 + NUMBERS.level / 2))
    share = hits / tries
    middle = (share + z * z / (2 * tries)) / (1 + z * z / tries)
    reach = (
        z * math.sqrt(share * (1 - share) / tries + z * z / (4 * tries**2)) / (1 + z * z / tries)
    )
    return max(0.0, middle - reach), min(1.0, middle + reach)
