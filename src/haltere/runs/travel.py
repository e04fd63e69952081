"""Whether the camera was pushed along its axis or only wandered, and where it turned."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from haltere.runs.numbers import NUMBERS
from haltere.runs.run import Direction

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Leg:
    """Frames `first` to `last` (inclusive) between two turning points."""

    first: int
    last: int
    direction: Direction


@dataclass(frozen=True, slots=True)
class Course:
    """What the camera did along its axis.

    Attributes
    ----------
    pushed : bool
        True for sustained travel, False for wandering.
    legs : tuple of Leg
        Passes when pushed; empty otherwise.
    reason : str
        In words.
    """

    pushed: bool
    legs: tuple[Leg, ...]
    reason: str


def course_of(along: Floats) -> Course:
    """Tell a push from wandering by travel along the axis, its turns and its evenness.

    Parameters
    ----------
    along : ndarray of float64, shape (N,)
        Position of each frame along the axis, relative to the distance of the plane of focus;
        grows towards the subject. NaN where unknown.

    Returns
    -------
    Course
        Whether it was a push, its passes and why.
    """
    known = np.isfinite(along)
    if int(known.sum()) < NUMBERS.pass_frames:
        return Course(False, (), f"only {along.size} frames follow each other: too few for a push")
    places = np.arange(along.size)
    filled = np.interp(places, places[known], along[known])
    travel = float(np.ptp(filled))
    percent = f"{100 * travel:.2g} %"
    if travel < NUMBERS.travel:
        return Course(False, (), f"the camera stayed within {percent} of its distance")
    bounds = _turns(filled, NUMBERS.turn * travel)
    if len(bounds) - 1 > NUMBERS.passes:
        said = f"the camera wandered to and fro {len(bounds) - 1} times within {percent}"
        return Course(False, (), f"{said} of its distance")
    legs: list[Leg] = []
    for number, (a, b) in enumerate(pairwise(bounds)):
        first = a if number == 0 else a + 1
        direction: Direction = "away" if filled[b] > filled[a] else "toward"
        if b - first + 1 < NUMBERS.pass_frames:
            return Course(
                False, (), f"the camera wandered within {percent} of its distance, soon turning"
            )
        share, uneven = _steadiness(filled[a : b + 1])
        if share < NUMBERS.steady or uneven > NUMBERS.uneven:
            return Course(
                False, (), f"the camera drifted by {percent} of its distance in uneven steps"
            )
        legs.append(Leg(first, b, direction))
    times = "once" if len(legs) == 1 else f"{len(legs)} times, there and back,"
    reason = f"the camera was pushed {times} over {percent} of its distance in even steps"
    return Course(True, tuple(legs), reason)


def _turns(along: Floats, least: float) -> list[int]:
    """List ends and turning points; a turn counts when the way back is at least `least`."""
    found = [0]
    low = high = 0
    way = 0
    for k in range(1, along.size):
        if along[k] > along[high]:
            high = k
        if along[k] < along[low]:
            low = k
        if way >= 0 and along[high] - along[k] >= least and high < k:
            if way > 0 or high > 0:
                found.append(high)
            way, low = -1, k
            high = k
        elif way <= 0 and along[k] - along[low] >= least and low < k:
            if way < 0 or low > 0:
                found.append(low)
            way, high = 1, k
            low = k
    end = along.size - 1
    if found[-1] != end:
        found.append(end)
    return _without_short_ends(found)


def _without_short_ends(bounds: list[int]) -> list[int]:
    """Bounds with a settling-in or letting-go of a few frames joined to its pass."""
    short = NUMBERS.pass_frames - 1
    if len(bounds) > 2 and bounds[1] - bounds[0] < short and bounds[-1] >= 4 * short:
        bounds = [bounds[0], *bounds[2:]]
    if len(bounds) > 2 and bounds[-1] - bounds[-2] < short and bounds[-1] >= 4 * short:
        bounds = [*bounds[:-2], bounds[-1]]
    return bounds


def _steadiness(along: Floats) -> tuple[float, float]:
    """Share of steps that go the pass's way, and how uneven they are.

    Steps span about a twelfth of the pass, so that a hand's tremble between frames taken close
    together does not count.
    """
    span = max(1, along.size // 12)
    steps = along[span:] - along[:-span]
    steps = steps * np.sign(along[-1] - along[0])
    middle = float(np.median(steps))
    share = float((steps > 0).mean())
    if middle <= 0:
        return share, float("inf")
    return share, float(np.median(np.abs(steps - middle))) / middle
