"""How a hand moves and pushes, and what spoils its frames: each from what was seen of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from haltere.hand.numbers import NUMBERS
from haltere.hand.pooled import mean_of_logs, share, spread_of_logs
from haltere.hand.seen import BurstSeen, Estimate, SweepSeen
from haltere.hand.wander import Prior, Series, Wander, fit_wander

_LOG_ERROR = 0.02  # of a sweep's mean speed or step, as a share (assumed)


@dataclass(frozen=True, slots=True)
class Moves:
    """How the hand moves in bursts.

    Attributes
    ----------
    spread_mm, sway_s : Estimate
        Standard deviation along the axis, and the time after which the place is forgotten.
    bias_mm : Estimate
        Where the plane of focus lies on average: + = behind the eye.
    aside_mm, tremor_um : Estimate or None
        Slow wandering and fast shaking of the view, across the axis; None where the scale of the
        pictures is unknown, or shaking can't be told from wandering.
    """

    spread_mm: Estimate
    sway_s: Estimate
    bias_mm: Estimate
    aside_mm: Estimate | None
    tremor_um: Estimate | None


@dataclass(frozen=True, slots=True)
class Pushes:
    """How the hand pushes sweeps.

    Attributes
    ----------
    sweeps : int
        How many.
    speed_mm_s, unevenness, step_dof : Estimate or None
        Speed, spread of the steps over their mean, mean step in depths of field; None below three
        sweeps, or where the clocks do not tell.
    speed_spread : Estimate or None
        How much the speed differs from sweep to sweep, one sigma as a share of it.
    sway_mm : float or None
        Median of how far the view strays sideways.
    """

    sweeps: int
    speed_mm_s: Estimate | None
    unevenness: Estimate | None
    step_dof: Estimate | None
    sway_mm: float | None
    speed_spread: Estimate | None


@dataclass(frozen=True, slots=True)
class Causes:
    """What spoils frames beside focus.

    Attributes
    ----------
    motion, misfire, spoilt : Estimate
        Share of frames smeared by movement, without flash, and with any such fault.
    """

    motion: Estimate
    misfire: Estimate
    spoilt: Estimate


def wander_along(bursts: Sequence[BurstSeen]) -> Wander | None:
    """Tell how the hand wanders along the axis.

    Parameters
    ----------
    bursts : sequence of BurstSeen
        Those with too few placed frames are left out: they would tell of the near ones only.

    Returns
    -------
    Wander or None
        None when no burst is left.
    """
    series = [
        Series(one.times_s, one.offset_mm, one.error_mm)
        for one in bursts
        if np.isfinite(one.offset_mm).sum() >= max(2.0, NUMBERS.least_placed * one.frames)
    ]
    if not series:
        return None
    return fit_wander(series, Prior(NUMBERS.spread_mm, NUMBERS.sway_s, None, NUMBERS.bias_mm))


def wander_aside(bursts: Sequence[BurstSeen]) -> Wander | None:
    """Tell how the view wanders and shakes across the axis.

    Parameters
    ----------
    bursts : sequence of BurstSeen
        Each has a middle of its own, where the animal was put in the picture.

    Returns
    -------
    Wander or None
        None when no eye was followed.
    """
    series = []
    for one in bursts:
        known = np.isfinite(one.aside_mm).all(axis=1)
        if known.sum() < 4:
            continue
        error = np.full(one.frames, NUMBERS.aside_error_mm)
        for axis in range(2):
            # near its own middle, so that the sums keep their digits
            at = one.aside_mm[:, axis] - float(np.nanmean(one.aside_mm[:, axis]))
            series.append(Series(one.times_s, at, error))
    if not series:
        return None
    prior = Prior(NUMBERS.aside_mm, NUMBERS.sway_s, NUMBERS.tremor_mm, float("inf"))
    return fit_wander(series, prior)


def moves_of(bursts: Sequence[BurstSeen], along: Wander) -> Moves:
    """Tell how the hand moves in bursts.

    Parameters
    ----------
    bursts : sequence of BurstSeen
        All that count.
    along : Wander
        How it wanders along the axis.

    Returns
    -------
    Moves
        With what is seen across the axis.
    """
    aside = wander_aside(bursts)
    tremor = None if aside is None else aside.tremor()
    # a span hardly narrower than what was believed before tells nothing of this hand
    if tremor is not None and tremor.high > NUMBERS.told_span * tremor.low:
        tremor = None
    if tremor is not None:
        tremor = Estimate(1000 * tremor.value, 1000 * tremor.low, 1000 * tremor.high)
    return Moves(
        along.spread(),
        along.sway(),
        along.bias(),
        None if aside is None else aside.spread(),
        tremor,
    )


def pushes_of(sweeps: Sequence[SweepSeen]) -> Pushes:
    """Tell how the hand pushes.

    Parameters
    ----------
    sweeps : sequence of SweepSeen
        As measured.

    Returns
    -------
    Pushes
        The errors of the planes are taken out of the unevenness.
    """
    speeds = [one.speed_mm_s for one in sweeps if one.speed_mm_s]
    uneven, doubts = [], []
    for one in sweeps:
        # each step has the errors of two planes
        own = one.step_spread_dof**2 - 2 * one.step_error_dof**2
        if one.steps >= 5 and one.step_dof > 0 and own > 0.05 * one.step_spread_dof**2:
            u = own**0.5 / one.step_dof
            # of a gamma law's variance: kurtosis 3 + 6 u^2; more where errors are taken out of it
            loose = (2 + 6 * u * u) / one.steps * (one.step_spread_dof**2 / own) ** 2
            uneven.append(u * float(np.exp(loose / 4)))  # the logarithm of a spread is too small
            doubts.append((loose / 4 + u * u / one.steps) ** 0.5)
    steps = [one.step_dof for one in sweeps if one.step_dof > 0]
    sways = [one.sway_mm for one in sweeps if one.sway_mm is not None]
    return Pushes(
        len(sweeps),
        mean_of_logs(speeds, [_LOG_ERROR] * len(speeds)),
        mean_of_logs(uneven, doubts),
        mean_of_logs(steps, [_LOG_ERROR] * len(steps)),
        float(np.median(sways)) if sways else None,
        spread_of_logs(speeds, _LOG_ERROR),
    )


def causes_of(bursts: Sequence[BurstSeen]) -> Causes:
    """Tell what spoils frames beside focus.

    Parameters
    ----------
    bursts : sequence of BurstSeen
        At least one.

    Returns
    -------
    Causes
        Shares of frames.
    """
    return Causes(
        share([(one.motion, one.frames) for one in bursts]),
        share([(one.misfire, one.frames) for one in bursts]),
        share([(one.spoilt, one.frames) for one in bursts]),
    )
