"""Numbers that bound the chances of sweeps and bursts, and the refusal of absurd input."""

from __future__ import annotations

import math
from dataclasses import dataclass

from haltere.errors import UsageError


@dataclass(frozen=True, slots=True)
class ChanceLimits:
    """Where the reckoning of chances stops, each number with its reason.

    Attributes
    ----------
    most_unevenness : float
        At 1 the frames come no more evenly than if they were thrown at random; twice that is
        no push any more (assumed).
    least_unevenness : float
        A steadier push than this counts as this one: no hand does better, and the reckoning of
        several passes would need a far finer ladder (assumed).
    most_passes : int
        An animal does not sit still for more pushes than this (assumed).
    most_frames : int
        No buffer holds a longer burst (assumed).
    same_frame : float
        Frames more alike than this are one frame to us; telling them apart costs more time than
        it moves the chance.
    most_spacings : int
        More parts than a photographer ever counts; a larger number is a slip of the finger.
    """

    most_unevenness: float = 2.0
    least_unevenness: float = 0.05
    most_passes: int = 12
    most_frames: int = 500
    same_frame: float = 0.9999
    most_spacings: int = 1000


LIMITS = ChanceLimits()


def refuse_unless_positive(**values: float) -> None:
    """Refuse a value that is not a finite number above zero.

    Parameters
    ----------
    **values : float
        The values under the names that the photographer is told.

    Raises
    ------
    UsageError
        For zero, a negative, an infinite or an undefined value.
    """
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0):
            raise UsageError(f"{_told(name)} can not be {value:g}: give a number above zero.")


def refuse_outside(low: float, high: float, **values: float) -> None:
    """Refuse a value that is not between two limits, both allowed.

    Parameters
    ----------
    low, high : float
        The limits, in the unit of the values.
    **values : float
        The values under the names that the photographer is told.

    Raises
    ------
    UsageError
        For a value beyond a limit or an undefined one.
    """
    for name, value in values.items():
        if not low <= value <= high:
            raise UsageError(
                f"{_told(name)} can not be {value:g}: give a number from {low:g} to {high:g}."
            )


def refuse_unless_chance(**values: float) -> None:
    """Refuse a chance that is impossible, or that no number of frames ever reaches.

    Parameters
    ----------
    **values : float
        The chances under the names that the photographer is told.

    Raises
    ------
    UsageError
        For a chance that does not lie between 0 and 1, or is one of them.
    """
    for name, value in values.items():
        if not 0.0 < value < 1.0:
            raise UsageError(
                f"{_told(name)} can not be {value:g}: give a chance between 0 and 1, as 0.9."
            )


def refuse_unless_count(most: int, **values: int) -> None:
    """Refuse a number of things that is not whole, below one, or beyond all reason.

    Parameters
    ----------
    most : int
        The largest number allowed.
    **values : int
        The counts under the names that the photographer is told.

    Raises
    ------
    UsageError
        For a count below 1, above the largest, or not whole.
    """
    for name, value in values.items():
        if not 1 <= value <= most or int(value) != value:
            raise UsageError(
                f"{_told(name)} can not be {value:g}: give a whole number from 1 to {most}."
            )


def _told(name: str) -> str:
    """Turn a name of the code into the words of a message, as 'the step (mm)'."""
    for unit, words in (("_mm", " (mm)"), ("_fps", " (frames a second)"), ("_s", " (s)")):
        if name.endswith(unit):
            return _told(name.removesuffix(unit)) + words
    return "the " + name.replace("_", " ").replace(" over ", " over the ")
