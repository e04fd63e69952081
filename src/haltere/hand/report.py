"""What is known of a hand, from everything that was seen of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from haltere.hand.numbers import NUMBERS
from haltere.hand.pooled import mean_of_logs, rates, share, shrunk
from haltere.hand.predict import Scored, hit_chance, plan_chance, score
from haltere.hand.seen import BurstSeen, Estimate, SweepSeen
from haltere.hand.wander import Prior, Series, Wander, fit_wander
from haltere.plan.chance_of_bursts import correlation_between_frames, frames_needed
from haltere.progress import Progress, silent


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
        pictures is unknown.
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
    sway_mm : float or None
        Median of how far the view strays sideways.
    """

    sweeps: int
    speed_mm_s: Estimate | None
    unevenness: Estimate | None
    step_dof: Estimate | None
    sway_mm: float | None


@dataclass(frozen=True, slots=True)
class Group:
    """Bursts that have something in common.

    Attributes
    ----------
    by, name : str
        What: "magnification", "support", "hour"; and its value in words.
    bursts, hits : int
        How many, and how many of them have a keeper.
    rate : Estimate
        Share of bursts with a keeper; small groups lean on the others.
    plan_rate : float
        What the plan with its assumed hand would have said for these bursts.
    spread_mm : Estimate or None
        Along the axis; None below three bursts.
    dof_mm : float
        Median depth of field.
    frames_for_95 : int or None
        Frames for a keeper in 95 of 100 bursts; None when even 500 are not enough.
    frames_low, frames_high : int or None
        The same for the ends of the spread's interval.
    """

    by: str
    name: str
    bursts: int
    hits: int
    rate: Estimate
    plan_rate: float
    spread_mm: Estimate | None
    dof_mm: float
    frames_for_95: int | None
    frames_low: int | None
    frames_high: int | None


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


@dataclass(frozen=True, slots=True)
class PlanNumbers:
    """What the plan should start from for this hand.

    Attributes
    ----------
    hand_spread_mm, sway_s : float or None
        Along the axis, the mean beside the eye put in.
    unevenness, push_mm_s : float or None
        Of pushes.
    """

    hand_spread_mm: float | None
    sway_s: float | None
    unevenness: float | None
    push_mm_s: float | None


@dataclass(frozen=True, slots=True)
class HandReport:
    """All that is said of a hand; every interval holds the truth in nine of ten cases.

    Attributes
    ----------
    bursts, sweeps : int
        How many were seen.
    left_out : tuple of str
        What was not counted, and why.
    moves : Moves or None
        None below three bursts.
    pushes : Pushes
        From sweeps.
    hit_rate : Estimate or None
        Share of bursts with a keeper.
    groups : tuple of Group
        The same by magnification, support and hour.
    causes : Causes or None
        What spoils frames.
    scored : Scored or None
        Predictions of later outings from earlier ones; None with a single outing.
    plan : PlanNumbers
        What the plan should start from.
    advice : tuple of str
        Two sentences.
    """

    bursts: int
    sweeps: int
    left_out: tuple[str, ...]
    moves: Moves | None
    pushes: Pushes
    hit_rate: Estimate | None
    groups: tuple[Group, ...]
    causes: Causes | None
    scored: Scored | None
    plan: PlanNumbers
    advice: tuple[str, ...]


def report_on(
    bursts: Sequence[BurstSeen],
    sweeps: Sequence[SweepSeen],
    left_out: Sequence[str] = (),
    progress: Progress = silent,
) -> HandReport:
    """Tell what is known of a hand.

    Parameters
    ----------
    bursts : sequence of BurstSeen
        In order of time; the newest 200 count.
    sweeps : sequence of SweepSeen
        In order of time.
    left_out : sequence of str, optional
        What was not counted, and why.
    progress : Progress, optional
        Told of each group and each outing that is predicted; may raise to cancel.

    Returns
    -------
    HandReport
        The same for the same input.
    """
    from haltere.hand.advice import advise

    counted = list(bursts)[-NUMBERS.newest :]
    enough = len(counted) >= NUMBERS.least_bursts
    along = wander_along(counted) if enough else None
    moves = None if along is None else _moves(counted, along)
    pushes = pushes_of(sweeps)
    groups = _groups(counted, progress) if enough else ()
    causes = causes_of(counted) if enough else None
    rate = rates([(sum(one.hit for one in counted), len(counted))])[0] if enough else None
    plan = PlanNumbers(
        None if moves is None else float(np.hypot(moves.spread_mm.value, moves.bias_mm.value)),
        None if moves is None else moves.sway_s.value,
        None if pushes.unevenness is None else pushes.unevenness.value,
        None if pushes.speed_mm_s is None else pushes.speed_mm_s.value,
    )
    return HandReport(
        bursts=len(bursts),
        sweeps=len(sweeps),
        left_out=tuple(left_out),
        moves=moves,
        pushes=pushes,
        hit_rate=rate,
        groups=groups,
        causes=causes,
        scored=scored(counted, progress),
        plan=plan,
        advice=advise(moves, pushes, causes, groups, len(counted)),
    )


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


def _moves(bursts: Sequence[BurstSeen], along: Wander) -> Moves:
    aside = wander_aside(bursts)
    tremor = None
    if aside is not None:
        mm = aside.tremor()
        tremor = Estimate(1000 * mm.value, 1000 * mm.low, 1000 * mm.high)
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
        mean_of_logs(speeds, [0.02] * len(speeds)),
        mean_of_logs(uneven, doubts),
        mean_of_logs(steps, [0.02] * len(steps)),
        float(np.median(sways)) if sways else None,
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


def scored(bursts: Sequence[BurstSeen], progress: Progress = silent) -> Scored | None:
    """Score predictions of each outing from the outings before it.

    Parameters
    ----------
    bursts : sequence of BurstSeen
        In order of time.
    progress : Progress, optional
        Told of each outing.

    Returns
    -------
    Scored or None
        None when no outing comes after three bursts.
    """
    outings = list(dict.fromkeys(one.outing for one in bursts))
    predicted, habit, plan, hits = [], [], [], []
    for done, number in enumerate(outings[1:], 1):
        progress("predicting outings", done, len(outings) - 1)
        known = [one for one in bursts if outings.index(one.outing) < outings.index(number)]
        along = wander_along(known) if len(known) >= NUMBERS.least_bursts else None
        if along is None:
            continue
        clean = 1.0 - share([(one.spoilt, one.frames) for one in known]).value
        usual = (sum(one.hit for one in known) + 0.5) / (len(known) + 1)
        for one in bursts:
            if one.outing == number:
                predicted.append(hit_chance(one.dof_mm, one.frames, one.rate_fps, along, clean))
                habit.append(usual)
                plan.append(plan_chance(one.dof_mm, one.frames, one.rate_fps))
                hits.append(one.hit)
    return score(predicted, habit, plan, hits) if hits else None


def magnification_name(magnification: float) -> str:
    """Name the half stop of magnification that a burst belongs to.

    Parameters
    ----------
    magnification : float
        Size on the sensor over size on the animal.

    Returns
    -------
    str
        "about 1.4:1".
    """
    step = round(2 * float(np.log2(magnification))) / 2
    return f"about {2.0**step:.2g}:1"


def hour_name(hour: int) -> str:
    """Name the part of the day.

    Parameters
    ----------
    hour : int
        Local hour.

    Returns
    -------
    str
        In words.
    """
    if hour < 10:
        return "before 10 h"
    return "10 to 16 h" if hour < 16 else "after 16 h"


def _groups(bursts: Sequence[BurstSeen], progress: Progress) -> tuple[Group, ...]:
    ways: tuple[tuple[str, Callable[[BurstSeen], str | None]], ...] = (
        (
            "magnification",
            lambda one: (
                None if one.magnification is None else magnification_name(one.magnification)
            ),
        ),
        ("support", lambda one: one.support or None),
        ("hour", lambda one: None if one.hour is None else hour_name(one.hour)),
    )
    found: list[Group] = []
    for done, (by, name) in enumerate(ways, 1):
        progress("comparing groups", done, len(ways))
        parts: dict[str, list[BurstSeen]] = {}
        for one in bursts:
            called = name(one)
            if called is not None:
                parts.setdefault(called, []).append(one)
        found += _grouped(by, parts)
    return tuple(found)


def _grouped(by: str, parts: dict[str, list[BurstSeen]]) -> list[Group]:
    names = sorted(
        parts, key=lambda name: (float(np.median([b.dof_mm for b in parts[name]])), name)
    )
    counted = [(sum(one.hit for one in parts[name]), len(parts[name])) for name in names]
    shares = rates(counted) if counted else []
    fits = [
        wander_along(parts[name]) if len(parts[name]) >= NUMBERS.least_bursts else None
        for name in names
    ]
    spreads = iter(shrunk([fit.spread() for fit in fits if fit is not None]))
    found = []
    for name, (hits, tries), rate, fit in zip(names, counted, shares, fits, strict=True):
        group = parts[name]
        dof = float(np.median([one.dof_mm for one in group]))
        fps = float(np.median([one.rate_fps for one in group]))
        spread = next(spreads) if fit is not None else None
        needed: list[int | None] = [None] * 3
        if fit is not None and spread is not None:
            alike = correlation_between_frames(fps, fit.sway().value)
            bias = fit.bias().value
            needed = [
                frames_needed(dof, float(np.hypot(wide, bias)), (0.95,), alike)[0]
                for wide in (spread.value, spread.low, spread.high)
            ]
        expected = float(
            np.mean([plan_chance(one.dof_mm, one.frames, one.rate_fps) for one in group])
        )
        found.append(Group(by, name, tries, hits, rate, expected, spread, dof, *needed))
    return found
