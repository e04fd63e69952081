"""A pushed sweep: its step, its frames, how fast to push, and how many passes make it sure."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from haltere import optics
from haltere.plan.chance_limits import LIMITS
from haltere.plan.chance_of_gaps import any_gap, frames_at, step_for
from haltere.plan.chance_of_passes import passes_needed
from haltere.plan.why import Explanation

if TYPE_CHECKING:
    from haltere.plan.flash import Flash
    from haltere.plan.given import Given
    from haltere.plan.plan import Plan

Limit = Literal["camera", "flash"]


@dataclass(frozen=True, slots=True)
class Sweep:
    """A series pushed by hand through the animal.

    Attributes
    ----------
    depth_of_field_mm : float
        Depth of one frame: the geometrical one, for the circle of confusion that counts.
    step_mm : float
        From plane to plane, at the overlap asked for, if the hand were even.
    frames : int
        For the animal's depth at that step.
    push_mm_s : float
        How fast to push, at the rate that camera and flash keep up.
    seconds : float
        How long one pass takes.
    rate_fps : float
        Frames a second, the slower of camera and flash.
    rate_limit : {"camera", "flash"}
        Which of the two it is.
    gap_chance : float
        That this step leaves a gap in one uneven pass.
    passes : int or None
        Passes at this step that leave no gap with the certainty asked for; None when even a dozen
        don't.
    hand_step_mm : float
        Step that keeps the chance of a gap in a single uneven pass below the one accepted.
    hand_frames : int
        Frames of that pass.
    hand_push_mm_s : float
        How fast to push for it.
    """

    depth_of_field_mm: float
    step_mm: float
    frames: int
    push_mm_s: float
    seconds: float
    rate_fps: float
    rate_limit: Limit
    gap_chance: float
    passes: int | None
    hand_step_mm: float
    hand_frames: int
    hand_push_mm_s: float


def sweep(given: Given, f_number: float, flash: Flash | None) -> Sweep:
    """Plan a pushed series through the animal's depth.

    Parameters
    ----------
    given : Given
        Kit and wishes.
    f_number : float
        As marked.
    flash : Flash or None
        At this f-number; it may be slower than the camera.

    Returns
    -------
    Sweep
        At the overlap asked for, and as the hand's unevenness demands.
    """
    wishes = given.wishes
    depth = optics.depth_of_field_mm(
        given.coc_mm, given.effective(f_number), given.lens.magnification
    )
    step = depth * (1.0 - wishes.overlap)
    beyond = max(wishes.depth_mm - depth, 0.0)
    frames = math.ceil(beyond / step * (1.0 - 1e-12)) + 1
    rate, limit = given.rate_fps, "camera"
    if flash is not None and flash.frames_per_s < rate:
        rate, limit = flash.frames_per_s, "flash"
    uneven = given.unevenness
    one = frames == 1  # it covers the animal: nothing to push, and no gap
    hand_step = step
    if not one:
        hand_step = min(step_for(depth, wishes.depth_mm, uneven, wishes.gap_chance), step)
    hand_frames = frames if hand_step == step else frames_at(hand_step, wishes.depth_mm)
    return Sweep(
        depth_of_field_mm=depth,
        step_mm=step,
        frames=frames,
        push_mm_s=step * rate,
        seconds=(frames - 1) / rate,
        rate_fps=rate,
        rate_limit="flash" if limit == "flash" else "camera",
        gap_chance=0.0 if one else any_gap(depth / step, wishes.depth_mm / step + 1.0, uneven),
        passes=1 if one else passes_needed(depth, step, wishes.depth_mm, uneven, wishes.certainty),
        hand_step_mm=hand_step,
        hand_frames=hand_frames,
        hand_push_mm_s=hand_step * rate,
    )


@dataclass(frozen=True, slots=True)
class OwnPush:
    """What a photographer's usual push gives with a plan.

    Attributes
    ----------
    step_mm : float
        From plane to plane.
    gap_chance : float
        That one pass leaves a gap.
    passes : int or None
        Passes that leave none with the certainty asked for; None when even a dozen don't.
    """

    step_mm: float
    gap_chance: float
    passes: int | None


def at_push(plan: Plan, push_mm_s: float) -> OwnPush | None:
    """Tell what a push of some speed gives, at the rate that camera and flash keep up.

    Parameters
    ----------
    plan : Plan
        The plan.
    push_mm_s : float
        Speed of the push.

    Returns
    -------
    OwnPush or None
        None where one frame covers the animal, and for a speed that is none.
    """
    planned, wishes = plan.chosen.sweep, plan.given.wishes
    if planned.frames == 1 or not (math.isfinite(push_mm_s) and push_mm_s > 0.0):
        return None
    depth, uneven = planned.depth_of_field_mm, plan.given.unevenness
    step = push_mm_s / planned.rate_fps
    return OwnPush(
        step,
        any_gap(depth / step, wishes.depth_mm / step + 1.0, uneven),
        passes_needed(depth, step, wishes.depth_mm, uneven, wishes.certainty),
    )


_STEP_INPUTS = ("wishes.overlap", "wishes.f_number", "kit.coc_mm", "wishes.magnification")
_STEPS_OF_A_HAND = (
    "steps of a push do not know each other and follow a gamma law with the spread of your hand; "
    "that spread matters most"
)
_GAMMA = "derived; gamma law of the steps assumed, compared with seeded simulation in the tests"


def _step(plan: Plan) -> str:
    s = plan.chosen.sweep
    return (
        f"{s.depth_of_field_mm:.3g} mm x (1 - {plan.given.wishes.overlap:g}) = {s.step_mm:.3g} mm"
    )


def _frames(plan: Plan) -> str:
    s, depth = plan.chosen.sweep, plan.given.wishes.depth_mm
    return (
        f"({depth:g} - {s.depth_of_field_mm:.3g}) / {s.step_mm:.3g}, rounded up, + 1 = {s.frames}"
    )


def _push(plan: Plan) -> str:
    s = plan.chosen.sweep
    return f"{s.step_mm:.3g} mm x {s.rate_fps:.3g}/s = {s.push_mm_s:.3g} mm/s"


def _seconds(plan: Plan) -> str:
    s = plan.chosen.sweep
    return f"({s.frames} - 1) / {s.rate_fps:.3g} per s = {s.seconds:.2g} s"


def _gap(plan: Plan) -> str:
    s = plan.chosen.sweep
    if s.frames == 1:
        return _one_covers(plan)
    return (
        f"1 - F({s.depth_of_field_mm:.3g} mm)^n, F the gamma law with mean {s.step_mm:.3g} mm and "
        f"spread {100 * plan.given.unevenness:.0f} %, n = "
        f"{plan.given.wishes.depth_mm / s.step_mm + 1:.0f} steps: {100 * s.gap_chance:.0f} %"
    )


def _one_covers(plan: Plan) -> str:
    s, depth = plan.chosen.sweep, plan.given.wishes.depth_mm
    return f"one frame of {s.depth_of_field_mm:.3g} mm covers {depth:g} mm: no sweep, no gap"


def _passes(plan: Plan) -> str:
    s, w = plan.chosen.sweep, plan.given.wishes
    if s.frames == 1:
        return _one_covers(plan)
    many = f"more than {LIMITS.most_passes}" if s.passes is None else str(s.passes)
    return (
        f"fewest passes at {s.step_mm:.3g} mm with P(no gap) >= {100 * w.certainty:.3g} %: {many}"
    )


def _hand(plan: Plan) -> str:
    s, w = plan.chosen.sweep, plan.given.wishes
    if s.frames == 1:
        return _one_covers(plan)
    return (
        f"longest step with P(a step > {s.depth_of_field_mm:.3g} mm in {w.depth_mm:g} mm) <= "
        f"{100 * w.gap_chance:.3g} %, spread {100 * plan.given.unevenness:.0f} %: "
        f"{s.hand_step_mm:.3g} mm"
    )


def _hand_frames(plan: Plan) -> str:
    s = plan.chosen.sweep
    depth = plan.given.wishes.depth_mm
    if s.hand_frames == s.frames:
        return f"the same {s.frames} as of an even push"
    return f"{depth:g} mm / {s.hand_step_mm:.3g} mm, rounded up, + 1 = {s.hand_frames}"


def _hand_push(plan: Plan) -> str:
    s = plan.chosen.sweep
    return f"{s.hand_step_mm:.3g} mm x {s.rate_fps:.3g}/s = {s.hand_push_mm_s:.3g} mm/s"


def _rate(plan: Plan) -> str:
    s = plan.chosen.sweep
    slower = "the flash recycles slower" if s.rate_limit == "flash" else "the camera sets it"
    return f"{s.rate_fps:.3g} frames a second: {slower}"


_RATE_INPUTS = ("kit.burst_fps", "kit.recycle_s", "kit.guide_number_m")
_HAND_INPUTS = ("wishes.unevenness", "wishes.depth_mm", "wishes.gap_chance", *_STEP_INPUTS[1:])

EXPLANATIONS: tuple[Explanation, ...] = (
    Explanation(
        "step_mm",
        "How far the camera may move from frame to frame",
        "depth of field x (1 - overlap)",
        _step,
        _STEP_INPUTS,
        "the hand is even; yours is not, see sweep.hand_step_mm",
        "derived",
    ),
    Explanation(
        "frames",
        "Frames that cover the animal's depth at this step",
        "(depth - depth of field) / step, rounded up, + 1",
        _frames,
        ("wishes.depth_mm", *_STEP_INPUTS),
        "the hand is even, and the sweep begins and ends at the animal",
        "derived",
    ),
    Explanation(
        "push_mm_s",
        "How fast to push the camera",
        "step x frames a second",
        _push,
        (*_RATE_INPUTS, *_STEP_INPUTS),
        "camera and flash keep up their rate to the last frame",
        "derived",
    ),
    Explanation(
        "sweep.seconds",
        "How long one pass takes",
        "(frames - 1) / frames a second",
        _seconds,
        ("wishes.depth_mm", *_RATE_INPUTS, *_STEP_INPUTS),
        "camera and flash keep up their rate to the last frame",
        "derived",
    ),
    Explanation(
        "sweep.rate_fps",
        "Frames a second that camera and flash keep up",
        "the smaller of burst rate and 1 / recycling time at the power needed",
        _rate,
        _RATE_INPUTS,
        "recycling takes time in proportion to the light given off",
        "assumed",
    ),
    Explanation(
        "sweep.depth_of_field_mm",
        "Depth of one frame of the sweep",
        "2 c N_eff / m^2",
        lambda plan: (
            f"2 x {plan.given.coc_mm:.4g} x {plan.given.effective(plan.chosen.f_number):.3g} / "
            f"{plan.given.lens.magnification:g}^2 = {plan.chosen.sweep.depth_of_field_mm:.3g} mm"
        ),
        _STEP_INPUTS[1:],
        "the circle of confusion: a smaller one asks for more frames",
        "S. Ray, Applied Photographic Optics, 2002, from memory; ray-traced",
    ),
    Explanation(
        "sweep.gap_chance",
        "Chance that one uneven pass at this step leaves a gap",
        "1 - F(depth of field)^n over n steps",
        _gap,
        ("wishes.unevenness", "wishes.overlap", "wishes.depth_mm", *_STEP_INPUTS[1:]),
        _STEPS_OF_A_HAND,
        _GAMMA,
    ),
    Explanation(
        "sweep.passes",
        "Passes that leave no gap with the certainty you asked for",
        "fewest k with P(no gap in k uneven passes) >= certainty",
        _passes,
        ("wishes.unevenness", "wishes.certainty", "wishes.overlap", "wishes.depth_mm"),
        "passes start anywhere and do not know each other; the animal sits still between them",
        "renewal theory (D. R. Cox, 1962, from memory); compared with seeded simulation",
    ),
    Explanation(
        "sweep.hand_step_mm",
        "Step that your uneven hand may take in a single pass",
        "longest mean step with P(a gap) <= the chance accepted",
        _hand,
        _HAND_INPUTS,
        _STEPS_OF_A_HAND,
        _GAMMA,
    ),
    Explanation(
        "sweep.hand_frames",
        "Frames of that single pass",
        "depth / step, rounded up, + 1",
        _hand_frames,
        _HAND_INPUTS,
        _STEPS_OF_A_HAND,
        _GAMMA,
    ),
    Explanation(
        "sweep.hand_push_mm_s",
        "How fast to push in that single pass",
        "step x frames a second",
        _hand_push,
        (*_RATE_INPUTS, *_HAND_INPUTS[:3]),
        _STEPS_OF_A_HAND,
        _GAMMA,
    ),
)
