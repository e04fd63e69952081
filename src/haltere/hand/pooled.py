"""Rates and means over groups in which a few cases do not shout."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from haltere.hand.numbers import NUMBERS
from haltere.hand.seen import Estimate, Floats

_TAIL = (1 - NUMBERS.level) / 2


def share(counts: Sequence[tuple[int, int]]) -> Estimate:
    """Tell a share from cases that come in clusters, as smeared frames do in bursts.

    Parameters
    ----------
    counts : sequence of (int, int)
        Cases and frames of each cluster.

    Returns
    -------
    Estimate
        Mean share of a beta-binomial law, all of its clusterings weighed (flat prior on the mean
        and on the logarithm of how much clusters differ).
    """
    from scipy.special import betaln

    middle = (np.arange(250) + 0.5) / 250
    alike = np.exp(np.linspace(np.log(0.5), np.log(500.0), 16))
    m, size = (one.ravel() for one in np.meshgrid(middle, alike, indexing="ij"))
    a, b = m * size, (1 - m) * size
    whole = np.zeros_like(m)
    kinds, often = np.unique(np.array(list(counts) or [(0, 0)]), axis=0, return_counts=True)
    for (cases, frames), number in zip(kinds, often, strict=True):
        whole += number * (betaln(a + cases, b + frames - cases) - betaln(a, b))
    weight = np.exp(whole - whole.max())
    along = weight.reshape(len(middle), len(alike)).sum(axis=1)
    return _quantiles(middle, along / along.sum())


def rates(counts: Sequence[tuple[int, int]]) -> list[Estimate]:
    """Tell the rates of groups; small groups lean on the others.

    Parameters
    ----------
    counts : sequence of (int, int)
        Hits and tries of each group.

    Returns
    -------
    list of Estimate
        Empirical Bayes (H. Robbins, 1956; B. Efron and C. Morris, 1973, from memory): a beta law
        of the groups' rates, its mean and width weighed by what all groups say.
    """
    from scipy.special import betaln

    middle = (np.arange(60) + 0.5) / 60
    alike = np.exp(np.linspace(np.log(1.0), np.log(300.0), 20))
    m, size = (one.ravel() for one in np.meshgrid(middle, alike, indexing="ij"))
    a, b = m * size, (1 - m) * size
    whole = np.zeros_like(m)
    for hits, tries in counts:
        whole += betaln(a + hits, b + tries - hits) - betaln(a, b)
    weight = np.exp(whole - whole.max())
    weight /= weight.sum()
    rate = (np.arange(800) + 0.5) / 800
    logs = np.log(rate)[None, :], np.log1p(-rate)[None, :]
    keep = weight > 1e-6
    found = []
    for hits, tries in counts:
        up, down = (a + hits)[keep, None], (b + tries - hits)[keep, None]
        density = np.exp((up - 1) * logs[0] + (down - 1) * logs[1] - betaln(up, down))
        along = weight[keep] @ density
        found.append(_quantiles(rate, along / along.sum()))
    return found


def _quantiles(values: Floats, weight: Floats) -> Estimate:
    step = float(values[1] - values[0])
    edges = np.concatenate(([values[0] - step / 2], values + step / 2))
    below = np.concatenate(([0.0], np.cumsum(weight)))
    low, high = np.interp((_TAIL, 1 - _TAIL), below, edges)
    return Estimate(float(weight @ values), float(low), float(high))


def mean_of_logs(values: Sequence[float], errors: Sequence[float]) -> Estimate | None:
    """Tell the middle of positive numbers that each have an error and differ beyond it.

    Parameters
    ----------
    values : sequence of float
        Above zero.
    errors : sequence of float
        Standard deviations of their logarithms.

    Returns
    -------
    Estimate or None
        Random effects: spread between them after R. Paule and J. Mandel (1982), interval after J.
        Hartung and G. Knapp (2001), both from memory. None below three.
    """
    if len(values) < NUMBERS.least_sweeps:
        return None
    from scipy.stats import t as student

    logs, doubts = np.log(np.asarray(values)), np.asarray(errors) ** 2
    between = _between(logs, doubts)
    weight = 1.0 / np.maximum(doubts + between, 1e-12)
    middle = float(weight @ logs / weight.sum())
    spread = float(weight @ (logs - middle) ** 2 / weight.sum() / (len(logs) - 1))
    reach = float(student.ppf(1 - _TAIL, len(logs) - 1)) * spread**0.5
    low, value, high = np.exp([middle - reach, middle, middle + reach])
    return Estimate(float(value), float(low), float(high))


def spread_of_logs(values: Sequence[float], error: float) -> Estimate | None:
    """Tell how much positive numbers differ from each other, as a share of themselves.

    Parameters
    ----------
    values : sequence of float
        Above zero.
    error : float
        Standard deviation of each one's logarithm that is its own error, and is taken off.

    Returns
    -------
    Estimate or None
        Standard deviation of the logarithms, its interval by the chi-square law of a normal
        sample's variance (R. A. Fisher, 1924, from memory). None below three.
    """
    if len(values) < NUMBERS.least_sweeps:
        return None
    from scipy.stats import chi2

    free = len(values) - 1
    squares = float(np.var(np.log(np.asarray(values)), ddof=1)) * free
    value, low, high = (
        max(squares / float(chi2.ppf(at, free)) - error**2, 0.0) ** 0.5
        for at in (0.5, 1 - _TAIL, _TAIL)
    )
    return Estimate(value, low, high)


def _between(logs: Floats, doubts: Floats) -> float:
    """Variance between groups at which the weighed squares are as large as they should be."""

    def squares(between: float) -> float:
        weight = 1.0 / np.maximum(doubts + between, 1e-12)
        middle = weight @ logs / weight.sum()
        return float(weight @ (logs - middle) ** 2) - (len(logs) - 1)

    if squares(0.0) <= 0:
        return 0.0
    low, high = 0.0, float(logs.var()) * 2 + 1e-9
    while squares(high) > 0:
        high *= 2
    for _ in range(60):
        half = (low + high) / 2
        low, high = (half, high) if squares(half) > 0 else (low, half)
    return high


def shrunk(values: Sequence[Estimate]) -> list[Estimate]:
    """Let groups' positive numbers lean on each other, the less is known of one the more.

    Parameters
    ----------
    values : sequence of Estimate
        One a group.

    Returns
    -------
    list of Estimate
        Normal in the logarithm; the same numbers for a single group.
    """
    from scipy.special import ndtri

    reach = float(ndtri(1 - _TAIL))
    logs = np.array([np.log(one.value) for one in values])
    doubts = np.array([((np.log(one.high) - np.log(one.low)) / 2 / reach) ** 2 for one in values])
    if len(values) < 2:
        return list(values)
    between = _between(logs, doubts)
    weight = 1.0 / (doubts + between)
    middle = float(weight @ logs / weight.sum())
    error = 1.0 / float(weight.sum())
    found = []
    for log, doubt in zip(logs, doubts, strict=True):
        own = between / (between + doubt)
        centre = middle + own * (log - middle)
        # the common middle is known with an error of its own
        sd = float(np.sqrt(own * doubt + (1 - own) ** 2 * error))
        found.append(Estimate(*(float(np.exp(centre + k * sd)) for k in (0.0, -reach, reach))))
    return found
