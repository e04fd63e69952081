"""What is known of a hand, from everything that was seen of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from haltere.hand.groups import Group, PushGroup, groups_of, push_groups_of
from haltere.hand.numbers import NUMBERS
from haltere.hand.pooled import rates, share
from haltere.hand.predict import Scored, hit_chance, plan_chance, score
from haltere.hand.seen import BurstSeen, Estimate, SweepSeen
from haltere.hand.told import Causes, Moves, Pushes, causes_of, moves_of, pushes_of, wander_along
from haltere.hand.wander import Wander
from haltere.progress import Progress, silent


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
    push_groups : tuple of PushGroup
        Sweeps by magnification and support.
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
    push_groups: tuple[PushGroup, ...]
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
    moves = None if along is None else moves_of(counted, along)
    pushes = pushes_of(sweeps)
    groups = groups_of(counted, progress) if enough else ()
    causes = causes_of(counted) if enough else None
    rate = rates([(sum(one.hit for one in counted), len(counted))])[0] if enough else None
    plan = _plan_numbers(along, pushes)
    return HandReport(
        bursts=len(bursts),
        sweeps=len(sweeps),
        left_out=tuple(left_out),
        moves=moves,
        pushes=pushes,
        hit_rate=rate,
        groups=groups,
        push_groups=push_groups_of(sweeps),
        causes=causes,
        scored=scored(counted, progress),
        plan=plan,
        advice=advise(moves, pushes, causes, groups, len(counted)),
    )


def numbers_for_plan(bursts: Sequence[BurstSeen], sweeps: Sequence[SweepSeen]) -> PlanNumbers:
    """Tell what the plan should start from, and no more.

    Parameters
    ----------
    bursts : sequence of BurstSeen
        In order of time; the newest 200 count.
    sweeps : sequence of SweepSeen
        In order of time.

    Returns
    -------
    PlanNumbers
        The same as in a whole report.
    """
    counted = list(bursts)[-NUMBERS.newest :]
    along = wander_along(counted) if len(counted) >= NUMBERS.least_bursts else None
    return _plan_numbers(along, pushes_of(sweeps))


def _plan_numbers(along: Wander | None, pushes: Pushes) -> PlanNumbers:
    spread = None if along is None else float(np.hypot(along.spread().value, along.bias().value))
    return PlanNumbers(
        spread,
        None if along is None else along.sway().value,
        None if pushes.unevenness is None else pushes.unevenness.value,
        None if pushes.speed_mm_s is None else pushes.speed_mm_s.value,
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
