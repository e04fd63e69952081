"""Bursts and sweeps by what they have in common; small groups lean on the others."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from haltere.hand.numbers import NUMBERS
from haltere.hand.pooled import rates, shrunk
from haltere.hand.predict import plan_chance
from haltere.hand.seen import BurstSeen, Estimate, SweepSeen
from haltere.hand.told import pushes_of, wander_along
from haltere.plan.chance_of_bursts import correlation_between_frames, frames_needed
from haltere.progress import Progress, silent


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
class PushGroup:
    """Sweeps that have something in common.

    Attributes
    ----------
    by, name : str
        What: "magnification", "support"; and its value in words.
    sweeps : int
        How many.
    speed_mm_s, unevenness : Estimate or None
        As in `Pushes`; small groups lean on the others. None below three sweeps.
    """

    by: str
    name: str
    sweeps: int
    speed_mm_s: Estimate | None
    unevenness: Estimate | None


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


def groups_of(bursts: Sequence[BurstSeen], progress: Progress = silent) -> tuple[Group, ...]:
    """Tell bursts apart by magnification, support and hour.

    Parameters
    ----------
    bursts : sequence of BurstSeen
        All that count.
    progress : Progress, optional
        Told of each way.

    Returns
    -------
    tuple of Group
        Those of one way after the other, the shallowest first.
    """
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


def push_groups_of(sweeps: Sequence[SweepSeen]) -> tuple[PushGroup, ...]:
    """Tell sweeps apart by magnification and support.

    Parameters
    ----------
    sweeps : sequence of SweepSeen
        All of them.

    Returns
    -------
    tuple of PushGroup
        By name.
    """
    found: list[PushGroup] = []
    for by in ("magnification", "support"):
        parts: dict[str, list[SweepSeen]] = {}
        for one in sweeps:
            known = one.support if by == "support" else one.magnification
            if known:
                name = known if isinstance(known, str) else magnification_name(known)
                parts.setdefault(name, []).append(one)
        names = sorted(parts)
        told = [pushes_of(parts[name]) for name in names]
        speeds = iter(shrunk([one.speed_mm_s for one in told if one.speed_mm_s is not None]))
        uneven = iter(shrunk([one.unevenness for one in told if one.unevenness is not None]))
        found += [
            PushGroup(
                by,
                name,
                one.sweeps,
                next(speeds) if one.speed_mm_s is not None else None,
                next(uneven) if one.unevenness is not None else None,
            )
            for name, one in zip(names, told, strict=True)
        ]
    return tuple(found)
