"""How far and how fast a hand wanders, from its places in the frames of bursts."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from haltere.hand.numbers import NUMBERS
from haltere.hand.seen import Estimate, Floats

ROUNDS, MOST_ROUNDS = 4, 12
"""Each round looks closer at where the last one found the weight; more where it lies at an edge."""
AXES = (21, 15, 13)
"""Steps for spread, time and tremor; finer ones move an interval by less than 2 %."""
WIDE, CLOSE = 3.0, 4.5
EDGE = 1e-3


@dataclass(frozen=True, slots=True)
class Series:
    """Places of a hand in one burst.

    Attributes
    ----------
    times_s, at_mm, error_mm : ndarray of float64, shape (N,)
        Moments, places and their errors; a place is NaN where it is not known.
    """

    times_s: Floats
    at_mm: Floats
    error_mm: Floats


@dataclass(frozen=True, slots=True)
class Prior:
    """What is believed of a hand before it was seen.

    Attributes
    ----------
    spread_mm, sway_s : float
        Middle of what hands do.
    tremor_mm : float or None
        The same; None where fast shaking can't be told from the error of a place.
    mean_mm : float
        How far the mean may lie from zero; infinite where every burst has a mean of its own that
        says nothing of the hand.
    """

    spread_mm: float
    sway_s: float
    tremor_mm: float | None
    mean_mm: float


@dataclass(frozen=True, slots=True)
class Wander:
    """What is known of a hand: many hands, each with its weight.

    Attributes
    ----------
    spread_mm, sway_s, tremor_mm, mean_mm, mean_sd_mm, weight : ndarray of float64, shape (K,)
        Standard deviation of the slow wandering, time after which it is forgotten, standard
        deviation of the fast shaking, mean and its own standard deviation, weights that sum to 1.
    shape : tuple of int
        Steps along spread, time and tremor, in which the arrays are ordered.
    """

    spread_mm: Floats
    sway_s: Floats
    tremor_mm: Floats
    mean_mm: Floats
    mean_sd_mm: Floats
    weight: Floats
    shape: tuple[int, int, int]

    def spread(self) -> Estimate:
        """Tell the standard deviation of the slow wandering, mm."""
        return self._along(0, self.spread_mm)

    def sway(self) -> Estimate:
        """Tell after which time the hand's place is forgotten, s."""
        return self._along(1, self.sway_s)

    def tremor(self) -> Estimate:
        """Tell the standard deviation of the fast shaking, mm."""
        return self._along(2, self.tremor_mm)

    def bias(self) -> Estimate:
        """Tell how far before (-) or behind (+) the eye the hand is on average, mm."""
        from scipy.special import ndtri

        middle = float(self.weight @ self.mean_mm)
        spread = float(self.weight @ (self.mean_sd_mm**2 + (self.mean_mm - middle) ** 2)) ** 0.5
        reach = float(ndtri(0.5 + NUMBERS.level / 2)) * spread
        return Estimate(middle, middle - reach, middle + reach)

    def drawn(self, count: int) -> tuple[Floats, Floats, Floats]:
        """Draw hands, the same ones each time.

        Parameters
        ----------
        count : int
            How many.

        Returns
        -------
        spread_mm, sway_s, mean_mm : ndarray of float64, shape (count,)
            Equally likely.
        """
        draw = np.random.default_rng(count)
        at = np.searchsorted(np.cumsum(self.weight), (np.arange(count) + 0.5) / count)
        at = np.minimum(at, len(self.weight) - 1)
        means = self.mean_mm[at] + self.mean_sd_mm[at] * draw.standard_normal(count)
        return self.spread_mm[at], self.sway_s[at], means

    def _along(self, axis: int, values: Floats) -> Estimate:
        """Median and interval of one axis, between whose steps the weight is spread evenly."""
        others = tuple(one for one in range(3) if one != axis)
        log = np.log(values).reshape(self.shape)
        steps: Floats = np.asarray(log.mean(axis=others))
        weight = self.weight.reshape(self.shape).sum(axis=others)
        if len(steps) < 2:
            only = float(np.exp(steps[0]))
            return Estimate(only, only, only)
        half = np.diff(steps) / 2
        edges = np.concatenate(([steps[0] - half[0]], steps[:-1] + half, [steps[-1] + half[-1]]))
        below = np.concatenate(([0.0], np.cumsum(weight)))
        tail = (1 - NUMBERS.level) / 2
        low, middle, high = np.exp(np.interp((tail, 0.5, 1 - tail), below, edges))
        return Estimate(float(middle), float(low), float(high))


def fit_wander(series: Sequence[Series], prior: Prior) -> Wander:
    """Tell how a hand wanders, from its places in bursts.

    The place is a first-order Gauss-Markov process (G. Uhlenbeck and L. Ornstein, 1930, from
    memory) seen with errors; its likelihood is summed frame by frame (R. Kalman, 1960, from
    memory) for many hands at once, and weighed with what was believed before. Holds a number for
    each burst and hand.

    Parameters
    ----------
    series : sequence of Series
        Bursts, at least one with two known places.
    prior : Prior
        What is believed before.

    Returns
    -------
    Wander
        What is known now.
    """
    padded = _padded(series)
    middles = [np.log(prior.spread_mm), np.log(prior.sway_s), np.log(prior.tremor_mm or 1.0)]
    widths = [NUMBERS.prior_log_sd] * 3
    shape = (AXES[0], AXES[1], 1 if prior.tremor_mm is None else AXES[2])
    reach = WIDE
    axes: list[Floats] = []
    weight = means = errors = np.zeros(0)
    grid = np.zeros((3, 0))
    for number in range(1, MOST_ROUNDS + 1):
        axes = [
            middle + width * np.linspace(-reach, reach, count) if count > 1 else np.array([middle])
            for middle, width, count in zip(middles, widths, shape, strict=True)
        ]
        grid = np.array(list(itertools.product(*axes))).T
        tremor = np.zeros_like(grid[2]) if prior.tremor_mm is None else np.exp(grid[2])
        likelihood, means, errors = _likelihood(
            padded, np.exp(grid[0]), np.exp(grid[1]), tremor, prior.mean_mm
        )
        start = (np.log(prior.spread_mm), np.log(prior.sway_s), np.log(prior.tremor_mm or 1.0))
        for axis, centre in enumerate(start):
            likelihood = likelihood - 0.5 * ((grid[axis] - centre) / NUMBERS.prior_log_sd) ** 2
        weight = np.exp(likelihood - likelihood.max())
        weight /= weight.sum()
        reach = CLOSE
        for axis, count in enumerate(shape):
            if count > 1:
                middles[axis] = float(weight @ grid[axis])
                spread = float(weight @ (grid[axis] - middles[axis]) ** 2) ** 0.5
                # a peak between two steps looks narrower than it is
                step = float(axes[axis][1] - axes[axis][0])
                widths[axis] = max(spread, 0.4 * step)
        if number >= ROUNDS and _at_edges(weight.reshape(shape)) < EDGE:
            break
    spread_mm, sway_s, tremor_mm = np.exp(grid)
    return Wander(spread_mm, sway_s, tremor_mm, means, errors, weight, shape)


def _at_edges(weight: Floats) -> float:
    """Give the largest share of the weight that lies at the end of an axis."""
    shares = [0.0]
    for axis, count in enumerate(weight.shape):
        if count > 1:
            along = weight.sum(axis=tuple(one for one in range(3) if one != axis))
            shares += [float(along[0]), float(along[-1])]
    return max(shares)


def _padded(series: Sequence[Series]) -> tuple[Floats, Floats, Floats]:
    """Bursts as rows of one length: waits before each frame, places (NaN past the end), errors."""
    longest = max(len(one.times_s) for one in series)
    waits = np.ones((len(series), longest))
    places = np.full((len(series), longest), np.nan)
    errors = np.ones((len(series), longest))
    for row, one in enumerate(series):
        count = len(one.times_s)
        waits[row, 1:count] = np.maximum(np.diff(one.times_s), 1e-4)
        places[row, :count] = one.at_mm
        known = np.isfinite(one.at_mm)
        errors[row, :count] = np.where(known, one.error_mm, 1.0)
    return waits, places, errors


def _likelihood(
    padded: tuple[Floats, Floats, Floats],
    spread_mm: Floats,
    sway_s: Floats,
    tremor_mm: Floats,
    mean_mm: float,
) -> tuple[Floats, Floats, Floats]:
    """Log likelihood of each hand, its mean given the data, and the mean's standard deviation."""
    waits, places, errors = padded
    rows, longest = places.shape
    power = spread_mm[None, :] ** 2
    at = np.zeros((rows, len(spread_mm)))
    of_one = np.zeros_like(at)  # what a constant would have become: the mean is taken out with it
    doubt = np.broadcast_to(power, at.shape).copy()
    logs = np.zeros_like(at)
    yy, y1, ones = np.zeros_like(at), np.zeros_like(at), np.zeros_like(at)
    for frame in range(longest):
        if frame:
            kept = np.exp(-waits[:, frame, None] / sway_s[None, :])
            at *= kept
            of_one *= kept
            doubt = kept**2 * doubt + power * (1 - kept**2)
        known = np.isfinite(places[:, frame])
        if not known.any():
            continue
        y = places[known, frame, None]
        total = doubt[known] + errors[known, frame, None] ** 2 + tremor_mm[None, :] ** 2
        v, w = y - at[known], 1.0 - of_one[known]
        logs[known] -= 0.5 * np.log(total)
        yy[known] += v * v / total
        y1[known] += v * w / total
        ones[known] += w * w / total
        gain = doubt[known] / total
        at[known] += gain * v
        of_one[known] += gain * w
        doubt[known] -= gain * doubt[known]
    if np.isinf(mean_mm):  # a mean of its own for each burst, integrated out
        some = ones > 0
        safe = np.where(some, ones, 1.0)
        each = logs - 0.5 * yy + np.where(some, 0.5 * y1**2 / safe - 0.5 * np.log(safe), 0.0)
        zero = np.zeros(len(spread_mm))
        return each.sum(axis=0), zero, zero
    precision = ones.sum(axis=0) + 1.0 / mean_mm**2
    pull = y1.sum(axis=0)
    whole = logs.sum(axis=0) - 0.5 * yy.sum(axis=0)
    whole = whole + 0.5 * pull**2 / precision - 0.5 * np.log(precision)
    return whole, pull / precision, 1.0 / np.sqrt(precision)
