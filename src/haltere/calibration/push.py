"""How fast and how evenly the camera was pushed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from haltere.calibration.numbers import NUMBERS

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Push:
    """A push along the axis.

    Attributes
    ----------
    mm_s, mm_s_sigma : float or None
        Mean speed from first to last frame; None when the pictures don't say when they were taken
        to a fraction of a second.
    mm_per_frame, mm_per_frame_sigma : float
        Mean step.
    unevenness : float
        Standard deviation of the steps over their mean.
    backward : int
        Steps against the direction of the push that are larger than their error.
    why_no_speed : str or None
        Why there is no speed.
    """

    mm_s: float | None
    mm_s_sigma: float | None
    mm_per_frame: float
    mm_per_frame_sigma: float
    unevenness: float
    backward: int
    why_no_speed: str | None


def measure_push(
    positions_mm: Floats,
    sigma_mm: Floats,
    scale_relative: float,
    times: Sequence[datetime | None],
    doubt_mm: float = 0.0,
) -> Push:
    """Measure a push from the places of the plane of focus.

    Parameters
    ----------
    positions_mm : ndarray of float64, shape (N,)
        Along the axis, in order of time.
    sigma_mm : ndarray of float64, shape (N,)
        Their errors, each for itself.
    scale_relative : float
        Relative error that all share (the tilt's).
    times : sequence of datetime or None
        Moments of exposure.
    doubt_mm : float
        What marks that may have been taken for their neighbours add to the error of the way.
    """
    steps = np.diff(positions_mm)
    way = float(positions_mm[-1] - positions_mm[0])
    mean = way / len(steps)
    ends = float(np.sqrt(sigma_mm[0] ** 2 + sigma_mm[-1] ** 2 + doubt_mm**2))
    relative = float(np.hypot(ends / max(abs(way), 1e-12), scale_relative))
    # what the error of measurement adds to the steps is taken off again
    step_error = sigma_mm[1:] ** 2 + sigma_mm[:-1] ** 2
    spread = float(np.sqrt(max(float(np.var(steps)) - float(step_error.mean()), 0.0)))
    back = steps * np.sign(way) < -2.0 * np.sqrt(step_error)
    seconds, error_s, why = _span_s(times)
    speed = None if seconds is None else abs(way) / seconds
    return Push(
        mm_s=speed,
        mm_s_sigma=None
        if speed is None or seconds is None
        else speed * float(np.hypot(relative, error_s / seconds)),
        mm_per_frame=abs(mean),
        mm_per_frame_sigma=abs(mean) * relative,
        unevenness=spread / max(abs(mean), 1e-12),
        backward=int(back.sum()),
        why_no_speed=why,
    )


def push_doubt(push: Push, steps: int) -> str | None:
    """Why a push is not worth remembering; None when it is.

    Parameters
    ----------
    push : Push
        What was measured.
    steps : int
        Steps between the frames that took part.
    """
    if push.mm_s is None or push.mm_s_sigma is None:
        return push.why_no_speed or "there is no speed"
    if steps < NUMBERS.push_steps:
        return f"{steps} steps are too few, {NUMBERS.push_steps} are needed"
    if not push.mm_s_sigma <= NUMBERS.push_relative * push.mm_s:
        return "its error is more than a third of it"
    if push.backward > NUMBERS.push_backward * steps:
        return f"{push.backward} of {steps} steps went backwards"
    if push.unevenness > NUMBERS.push_uneven:
        return "its steps spread more than they are long"
    return None


def _span_s(times: Sequence[datetime | None]) -> tuple[float | None, float, str | None]:
    """Seconds from first to last frame, their error, and why there are none."""
    first, last = times[0], times[-1]
    if first is None or last is None:
        return None, 0.0, "the pictures don't say when they were taken"
    aware = (first.tzinfo is None) == (last.tzinfo is None)
    seconds = (last - first).total_seconds() if aware else 0.0
    if seconds <= 0.0:
        return None, 0.0, "the pictures' times don't advance"
    fractions = {t.microsecond for t in times if t is not None}
    if fractions == {0}:
        # rounding a moment down to a second has a standard deviation of 0.29 s
        error = 0.29 * 2**0.5
        if error > 0.03 * seconds:
            return None, error, "the camera writes whole seconds only; the push was too short"
        return seconds, error, None
    tenths = all(f % 100_000 == 0 for f in fractions)
    hundredths = all(f % 10_000 == 0 for f in fractions)
    grain = 0.1 if tenths else (0.01 if hundredths else 0.001)
    return seconds, 0.29 * 2**0.5 * grain, None
