"""A burst at fixed focus: the chance that one frame has the eyes sharp."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from haltere.plan.chance_of_bursts import (
    correlated_burst_hits,
    correlation_between_frames,
    frame_hits,
    frames_needed,
)
from haltere.plan.why import Explanation

if TYPE_CHECKING:
    from haltere.plan.given import Given
    from haltere.plan.plan import Plan

USUAL_FRAMES = 15
"""Frames of a usual burst, 10 to 20 (common practice, no source)."""

CERTAINTIES = (0.9, 0.95, 0.99)


@dataclass(frozen=True, slots=True)
class Burst:
    """What a burst may hope for.

    Attributes
    ----------
    frame_chance : float
        That one frame has the eyes within its depth of field.
    burst_chance : float
        That at least one of fifteen has.
    frames_for_90, frames_for_95, frames_for_99 : int or None
        Frames for these certainties; None beyond 500.
    correlation : float
        How much one frame's place says about the next.
    """

    frame_chance: float
    burst_chance: float
    frames_for_90: int | None
    frames_for_95: int | None
    frames_for_99: int | None
    correlation: float


def burst(given: Given, depth_of_field_mm: float, rate_fps: float) -> Burst:
    """Tell what a burst may hope for.

    Parameters
    ----------
    given : Given
        Kit and wishes.
    depth_of_field_mm : float
        Of one frame.
    rate_fps : float
        Frames a second.

    Returns
    -------
    Burst
        For a hand that wanders about the right distance, forgetting where it was.
    """
    spread = given.wishes.hand_spread_mm
    alike = correlation_between_frames(rate_fps, given.wishes.sway_s)
    needed = frames_needed(depth_of_field_mm, spread, CERTAINTIES, alike)
    return Burst(
        frame_chance=frame_hits(depth_of_field_mm, spread),
        burst_chance=correlated_burst_hits(depth_of_field_mm, spread, USUAL_FRAMES, alike),
        frames_for_90=needed[0],
        frames_for_95=needed[1],
        frames_for_99=needed[2],
        correlation=alike,
    )


_INPUTS = (
    "wishes.hand_spread_mm",
    "wishes.f_number",
    "wishes.magnification",
    "kit.coc_mm",
)
_ALIKE = (*_INPUTS, "wishes.sway_s", "kit.burst_fps")
_HAND = "how far your hand wanders along the axis; your own bursts will tell it better"
_KERNEL = (
    "derived (a wandering that forgets: Ornstein-Uhlenbeck), checked with scipy and simulation"
)


def _frame(plan: Plan) -> str:
    b, w = plan.chosen.burst, plan.given.wishes
    depth = plan.chosen.sweep.depth_of_field_mm
    return f"erf({depth:.3g} / (2 sqrt 2 x {w.hand_spread_mm:g})) = {100 * b.frame_chance:.0f} %"


def _burst(plan: Plan) -> str:
    b = plan.chosen.burst
    alone = 1 - (1 - b.frame_chance) ** USUAL_FRAMES
    return (
        f"{USUAL_FRAMES} frames, neighbours alike by {b.correlation:.2f}: "
        f"{100 * b.burst_chance:.0f} % (if they were not alike, "
        f"1 - (1 - {b.frame_chance:.2g})^{USUAL_FRAMES} = {100 * alone:.0f} %)"
    )


def _needed(which: int) -> Explanation:
    percent = (90, 95, 99)[which]

    def filled(plan: Plan) -> str:
        b = plan.chosen.burst
        n = (b.frames_for_90, b.frames_for_95, b.frames_for_99)[which]
        many = "more than 500" if n is None else f"{n}"
        return f"fewest frames with P(one sharp) >= {percent} %: {many}"

    return Explanation(
        f"burst.frames_for_{percent}",
        f"Frames for a sharp eye with {percent} % certainty",
        "fewest n with P(at least one of n within the depth of field) >= the certainty",
        filled,
        _ALIKE,
        _HAND,
        _KERNEL,
    )


EXPLANATIONS: tuple[Explanation, ...] = (
    Explanation(
        "burst.frame_chance",
        "Chance that a single frame has the eyes sharp",
        "erf(T / (2 sqrt 2 sigma)), T depth of field, sigma the hand's spread",
        _frame,
        _INPUTS,
        _HAND,
        "derived; normal law assumed",
    ),
    Explanation(
        "burst.burst_chance",
        f"Chance that at least one of {USUAL_FRAMES} frames has the eyes sharp",
        "1 - P(every frame misses), frames that follow each other being alike",
        _burst,
        _ALIKE,
        _HAND,
        _KERNEL,
    ),
    _needed(0),
    _needed(1),
    _needed(2),
    Explanation(
        "burst.correlation",
        "How alike two frames in a row are",
        "exp(-1 / (rate x time after which the hand's place is forgotten))",
        lambda plan: (
            f"exp(-1 / ({plan.chosen.sweep.rate_fps:.3g} x {plan.given.wishes.sway_s:g})) = "
            f"{plan.chosen.burst.correlation:.2f}"
        ),
        ("wishes.sway_s", "kit.burst_fps"),
        "the time after which a swaying body has forgotten where it was",
        "assumed; most power of standing sway lies below 0.5 Hz (D. Winter 1995, from memory)",
    ),
)
