"""How the hand pushed: step, speed, evenness and sway, and what to do another time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class PushNumbers:
    """Numbers that steer the advice.

    Attributes
    ----------
    spread_kept : float
        Steps this many standard deviations longer than the mean should still leave no hole; with
        gamma-like steps about one in twenty is longer.
    wished_dof : float
        Longest mean step for an even hand.
    short_dof : float
        A mean step below this wastes frames.
    tolerated : float
        Steps that leave a hole are mentioned from this share on.
    uneven : float
        A spread above this share of the mean is called uneven (assumed).
    lone, lone_dof, lone_share : float
        A step this many times the median one, and longer than this, is a hole by itself and says
        nothing of how evenly the hand went, if at most this share of the steps are so (assumed):
        it is told as a gap already. Of the steps of a hand uneven by 60 %, 1.7 in a hundred are.
    sway_share : float
        Sway above this share of the picture's shorter side is called so (assumed): it costs
        that much at every edge of a merged picture.
    whole_seconds : float
        Clocks without fractions need a pass this long, or the speed is a guess.
    least_f, most_f : float
        Marked stops that are proposed; beyond f/16 diffraction eats what is won.
    """

    spread_kept: float = 1.7
    wished_dof: float = 0.8
    short_dof: float = 0.3
    tolerated: float = 0.03
    uneven: float = 0.65
    lone: float = 3.0
    lone_dof: float = 1.5
    lone_share: float = 0.1
    sway_share: float = 0.03
    whole_seconds: float = 5.0
    least_f: float = 2.8
    most_f: float = 16.0


NUMBERS = PushNumbers()

STOPS = (2.8, 3.5, 4.0, 5.0, 5.6, 6.3, 7.1, 8.0, 9.0, 10.0, 11.0, 13.0, 14.0, 16.0)
"""Third stops as lenses are marked (common practice)."""


@dataclass(frozen=True, slots=True)
class Push:
    """What the hand did, for its statistics and for the next push.

    Attributes
    ----------
    step_mm, step_spread_mm : float or None
        Mean way from plane to plane within passes, and its standard deviation, lone holes left
        out; None without scale.
    step_dof, step_spread_dof : float or None
        The same in depths of field; None when no two planes of a pass were placed.
    unevenness : float or None
        Spread over mean.
    speed_mm_s, speed_dof_s : float or None
        Median over the passes; None where the clock or the scale does not tell.
    frames_per_s : float or None
        Pace within passes.
    why_no_speed : str or None
        Why it is not known, None where it is.
    sway_mm, sway_px : float or None
        How far the view strays sideways from a smooth way, root mean square; full-size pixels.
    wasted : float
        Share of the frames that are faulty or not needed.
    jumps, back, still : int
        Frames that left a hole, fell back, or stood still.
    advice : str
        One sentence.
    """

    step_mm: float | None
    step_spread_mm: float | None
    step_dof: float | None
    step_spread_dof: float | None
    unevenness: float | None
    speed_mm_s: float | None
    speed_dof_s: float | None
    frames_per_s: float | None
    why_no_speed: str | None
    sway_mm: float | None
    sway_px: float | None
    wasted: float
    jumps: int
    back: int
    still: int
    advice: str


@dataclass(frozen=True, slots=True)
class Pushed:
    """Frames of one pass, in order of time.

    Attributes
    ----------
    at_dof : ndarray of float64, shape (N,)
        Planes, NaN where unknown.
    times_s : ndarray of float64, shape (N,)
        Moments of exposure, NaN where unknown.
    aside_px : ndarray of float64, shape (N, 2)
        Where the middle of the reference frame's plane is seen, full-size pixels, NaN unknown.
    """

    at_dof: Floats
    times_s: Floats
    aside_px: Floats


@dataclass(frozen=True, slots=True)
class Setting:
    """What is known of scale and lens.

    Attributes
    ----------
    dof_mm, mm_per_px : float or None
        Depth of field and size of a full-size pixel on the animal; None without a scale.
    f_number : float or None
        Marked f-number.
    shorter_px : int or None
        Shorter side of the picture.
    """

    dof_mm: float | None = None
    mm_per_px: float | None = None
    f_number: float | None = None
    shorter_px: int | None = None


@dataclass(frozen=True, slots=True)
class Counts:
    """Frames by what came of them; see `Push`."""

    frames: int
    wasted: int
    jumps: int
    back: int
    still: int


def measure_push(passes: Sequence[Pushed], setting: Setting, counts: Counts) -> Push:
    """Measure how a sweep was pushed.

    Parameters
    ----------
    passes : sequence of Pushed
        Passes in order of time.
    setting : Setting
        Scale and lens.
    counts : Counts
        Frames by what came of them.

    Returns
    -------
    Push
        Measures, None where they are not known, and one sentence of advice.
    """
    steps = np.concatenate([_steps(one.at_dof) for one in passes] or [np.zeros(0)])
    usual = _without_lone_holes(steps)
    mean = float(usual.mean()) if usual.size else None
    spread = float(usual.std(ddof=1)) if usual.size > 1 else None
    uneven = spread / mean if spread is not None and mean is not None and mean > 0.05 else None
    speed, pace, why = _speed(passes)
    sway = _sway(passes)
    dof, per_px = setting.dof_mm, setting.mm_per_px
    push = Push(
        step_mm=_times(mean, dof),
        step_spread_mm=_times(spread, dof),
        step_dof=mean,
        step_spread_dof=spread,
        unevenness=uneven,
        speed_mm_s=_times(speed, dof),
        speed_dof_s=speed,
        frames_per_s=pace,
        why_no_speed=why,
        sway_mm=_times(sway, per_px),
        sway_px=sway,
        wasted=counts.wasted / max(1, counts.frames),
        jumps=counts.jumps,
        back=counts.back,
        still=counts.still,
        advice="",
    )
    holes = float((steps > 1.0).mean()) if steps.size else 0.0
    lone = steps.size - usual.size
    return replace(push, advice=_advice(push, setting, holes, len(passes), lone))


def _times(value: float | None, unit: float | None) -> float | None:
    return None if value is None or unit is None else value * unit


def _steps(at_dof: Floats) -> Floats:
    """Way from frame to frame along the pass; frames without a plane share the way across them."""
    known = np.flatnonzero(np.isfinite(at_dof))
    if len(known) < 2:
        return np.zeros(0)
    z = at_dof[known]
    sign = 1.0 if z[-1] >= z[0] else -1.0
    apart = np.diff(known)
    return np.repeat(sign * np.diff(z) / apart, apart)


def _without_lone_holes(steps: Floats) -> Floats:
    """Leave out the few steps that are holes by themselves."""
    if not steps.size:
        return steps
    least = max(NUMBERS.lone * float(np.median(steps)), NUMBERS.lone_dof)
    lone = steps > least
    return steps if lone.mean() > NUMBERS.lone_share else steps[~lone]


def _speed(passes: Sequence[Pushed]) -> tuple[float | None, float | None, str | None]:
    """Depths of field a second and frames a second, medians over passes, or why not."""
    times = np.concatenate([one.times_s for one in passes] or [np.zeros(0)])
    known = times[np.isfinite(times)]
    if known.size < 2:
        return None, None, "the pictures carry no time"
    fine = bool((np.abs(known - np.round(known)) > 1e-6).any())
    speeds, paces = [], []
    for one in passes:
        both = np.isfinite(one.times_s) & np.isfinite(one.at_dof)
        if both.sum() < 3:
            continue
        t, z = one.times_s[both], one.at_dof[both]
        lasted = float(t[-1] - t[0])
        if lasted <= 0 or (not fine and lasted < NUMBERS.whole_seconds):
            continue
        clocked: Floats = np.asarray(one.times_s[np.isfinite(one.times_s)])
        waits = np.diff(clocked)
        usual = float(np.median(waits))
        each = usual if fine and usual > 0 else float(clocked[-1] - clocked[0]) / (clocked.size - 1)
        paces.append(1.0 / each)
        speeds.append(abs(float(np.polyfit(t - t[0], z, 1)[0])))
    if not speeds:
        if not fine:
            return None, None, "the camera's clock gives whole seconds: too coarse for short passes"
        return None, None, "too few frames of a pass have both a time and a plane"
    return float(np.median(speeds)), float(np.median(paces)), None


def _sway(passes: Sequence[Pushed]) -> float | None:
    """Root mean square of the sideways way beside a smooth one, pixels."""
    left: list[Floats] = []
    for one in passes:
        known = np.isfinite(one.aside_px[:, 0]) & np.isfinite(one.aside_px[:, 1])
        order = np.linspace(-1.0, 1.0, one.aside_px.shape[0])
        count = int(known.sum())
        if count < 5:
            continue
        t = order[known]
        # leaning and turning along the way are slow: a parabola takes them out
        smooth = np.polynomial.polynomial.polyfit(t, one.aside_px[known], 2)
        off = one.aside_px[known] - np.polynomial.polynomial.polyval(t, smooth).T
        left.append((off**2).sum(axis=1) * count / (count - 3))
    return float(np.sqrt(np.concatenate(left).mean())) if left else None


def aimed_step_dof(unevenness: float | None) -> float:
    """Mean step that leaves hardly a hole for a hand as uneven as this, in depths of field.

    Parameters
    ----------
    unevenness : float or None
        Spread of the steps over their mean; None counts as 0.3.
    """
    kept = 1.0 + NUMBERS.spread_kept * (0.3 if unevenness is None else unevenness)
    return min(NUMBERS.wished_dof, 1.0 / kept)


def _advice(push: Push, setting: Setting, holes: float, passes: int, lone: int) -> str:
    if push.step_dof is None:
        return "Too few planes were placed to say anything about the push."
    how = _how(push, setting)
    aim = aimed_step_dof(push.unevenness)
    much = push.step_dof / aim
    if holes > NUMBERS.tolerated and much > 1.15:
        cures = [_slower(much)]
        stop = _stop(setting.f_number, much)
        if stop is not None:
            cures.append(f"use f/{stop:g}")
        if len(cures) < 2 or much > 2.0:
            cures.append("push through " + ("twice more" if much > 2.0 else "once more"))
        leaves = "leaves holes" if passes < 2 else "leaves holes in each pass"
        return f"{how} that {leaves}: {_either(cures)}."
    if push.unevenness is not None and push.unevenness > NUMBERS.uneven and push.step_dof > 0.15:
        percent = round(100 * push.unevenness)
        return (
            f"Your steps differ by {percent} % of their mean: rest the elbows or a hand on the "
            "ground and lean forward, rather than reach."
        )
    shorter = setting.shorter_px
    if push.sway_px is not None and shorter and push.sway_px > NUMBERS.sway_share * shorter:
        size = f"{push.sway_px:.0f} px"
        if push.sway_mm is not None:
            size = f"{push.sway_mm:.1f} mm"
        return (
            f"You sway sideways by {size}, which a merge cuts off at every edge: hold a stem or "
            "the ground together with the lens."
        )
    if push.step_dof < NUMBERS.short_dof:
        shared = max(2, round(1.0 / max(push.step_dof, 0.02)))
        faster = NUMBERS.wished_dof * aim / max(push.step_dof, 0.02)
        speed = "twice as fast" if faster < 2.6 else "three times as fast"
        return f"{how} {shared} frames share each depth of field: you may go {speed}."
    if lone:
        where = "one jump" if lone == 1 else f"{lone} jumps"
        return f"{how} that fits but for {where}: keep this pace and go there once more."
    return f"{how} that fits: keep this pace."


def _how(push: Push, setting: Setting) -> str:
    """Say the push in the units that are known, up to a semicolon."""
    at = []
    if push.frames_per_s is not None:
        at.append(f"{push.frames_per_s:.{0 if push.frames_per_s >= 3 else 1}f} frames/s")
    if setting.f_number is not None:
        at.append(f"f/{setting.f_number:g}")
    with_ = f"at {' and '.join(at)} " if at else ""
    if push.speed_mm_s is not None:
        return f"You push at {push.speed_mm_s:.1f} mm/s; {with_}".rstrip()
    if push.speed_dof_s is not None:
        return f"You push at {push.speed_dof_s:.1f} depths of field a second; {with_}".rstrip()
    if push.step_mm is not None:
        return f"You move {push.step_mm:.2f} mm from frame to frame; {with_}".rstrip()
    return f"You move {push.step_dof:.1f} depths of field from frame to frame; {with_}".rstrip()


def _slower(much: float) -> str:
    if much < 1.4:
        return "go at three quarters of the speed"
    if much < 1.7:
        return "go at two thirds of the speed"
    if much < 2.6:
        return "go at half the speed"
    if much < 3.6:
        return "go at a third of the speed"
    return "go at a quarter of the speed"


def _stop(f_number: float | None, much: float) -> float | None:
    """Next marked stop that makes the depth of field as deep as needed, None beyond f/16."""
    if f_number is None or not NUMBERS.least_f <= f_number < NUMBERS.most_f:
        return None
    # a tenth of a stop short is not worth another click
    fits = [stop for stop in STOPS if stop >= 0.95 * f_number * much]
    return fits[0] if fits else None


def _either(cures: Sequence[str]) -> str:
    if len(cures) < 2:
        return "".join(cures)
    return ", ".join(cures[:-1]) + " or " + cures[-1]
