"""How far hand and animal smear the picture, while the flash burns and while the shutter is open.

The hand is taken as a few slow and fast swings of known size (`tremor_spectrum`) and a wobble of
the camera's direction. Stabilisation senses the wobble only: a sideways shift, which at life size
moves the picture just as much, passes it by. So the stops that a maker states melt away in
close-up, and here they do so by themselves.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from haltere import optics
from haltere.plan.chance_limits import refuse_outside
from haltere.plan.given import Given
from haltere.plan.motion_words import blur_words, told_s
from haltere.plan.tremor import HAND, hand_shift_mm, tremor_spectrum, wobble_mm
from haltere.plan.why import Explanation

if TYPE_CHECKING:
    from haltere.plan.plan import Plan

__all__ = ["EXPLANATIONS", "MOTION_LIMITS", "Motion", "motion", "smear_px", "told_s"]


@dataclass(frozen=True, slots=True)
class MotionLimits:
    """Numbers that steer what is said, each with its reason.

    Attributes
    ----------
    bearable_px : float
        A smear as wide as a pixel is lost among the pixels (common practice, no source).
    daylight_rules : float
        From this share of daylight on its smear is the picture's: it is the stronger light.
    """

    bearable_px: float = 1.0
    daylight_rules: float = 0.5


MOTION_LIMITS = MotionLimits()


@dataclass(frozen=True, slots=True)
class Motion:
    """Smear of the picture, in pixels, by hand and animal.

    Attributes
    ----------
    blur_px : float
        In the picture that these settings make.
    blur_words : str
        What that comes from.
    flash_px : float or None
        While the flash burns; None without a flash.
    shutter_px : float
        While the shutter is open, without stabilisation.
    shutter_stabilised_px : float
        The same with the kit's stabilisation, as far as it works in close-up.
    animal_px : float
        The animal's part of `shutter_px`.
    hand_px : float
        The hand's part of `shutter_px`.
    hand_mm_s : float
        Speed of the hand's movement across the animal.
    stabilisation_left_stops : float
        What is left of the stated stops at this magnification and shutter time.
    flash_budget_mm_s : float or None
        Fastest animal that the flash still stops to a pixel; None without a flash.
    shutter_budget_mm_s : float
        The same for the shutter alone.
    """

    blur_px: float
    blur_words: str
    flash_px: float | None
    shutter_px: float
    shutter_stabilised_px: float
    animal_px: float
    hand_px: float
    hand_mm_s: float
    stabilisation_left_stops: float
    flash_budget_mm_s: float | None
    shutter_budget_mm_s: float


def smear_px(given: Given, time_s: float, stabilised: bool = False) -> float:
    """Tell over how many pixels hand and animal smear the picture within a time.

    Parameters
    ----------
    given : Given
        Lens, sensor, stabilisation, speed of the animal.
    time_s : float
        Exposure time, s.
    stabilised : bool, optional
        With the kit's stabilisation.

    Returns
    -------
    float
        Pixels; hand and animal go their own ways, so their squares add.
    """
    return math.hypot(_animal_px(given, time_s), _hand_px(given, time_s, stabilised))


def motion(given: Given, flash_duration_s: float | None, daylight_share: float = 0.0) -> Motion:
    """Tell how far hand and animal smear the picture.

    Parameters
    ----------
    given : Given
        Kit, lens, magnification and shutter time.
    flash_duration_s : float or None
        Time that the flash burns, down to a tenth of its peak; None without a flash.
    daylight_share : float, optional
        Daylight's share of the exposure beside the flash, 0 to 1.

    Returns
    -------
    Motion
        Pixels and speeds.

    Raises
    ------
    UsageError
        When the flash's time is not above zero, or the share none.
    """
    refuse_outside(0.0, 1.0, daylight_share=daylight_share)
    shutter = given.shutter_s
    bare = smear_px(given, shutter)
    stabilised = smear_px(given, shutter, stabilised=True)
    hand, hand_left = _hand_px(given, shutter, False), _hand_px(given, shutter, True)
    if flash_duration_s is not None:  # the shutter cuts a slow flash short
        flash_duration_s = min(flash_duration_s, shutter)
    flash_px = None if flash_duration_s is None else smear_px(given, flash_duration_s)
    rules = flash_px is None or daylight_share >= MOTION_LIMITS.daylight_rules
    blur = stabilised if flash_px is None or rules else flash_px
    words = blur_words(given, flash_duration_s, flash_px, stabilised, daylight_share)
    return Motion(
        blur_px=blur,
        blur_words=words,
        flash_px=flash_px,
        shutter_px=bare,
        shutter_stabilised_px=stabilised,
        animal_px=_animal_px(given, shutter),
        hand_px=hand,
        hand_mm_s=_hand_mm_s(given),
        stabilisation_left_stops=math.log2(hand / hand_left),
        flash_budget_mm_s=None if flash_duration_s is None else _budget(given, flash_duration_s),
        shutter_budget_mm_s=_budget(given, shutter),
    )


def _animal_px(given: Given, time_s: float) -> float:
    return _px(given, given.wishes.animal_speed_mm_s * time_s)


def _hand_px(given: Given, time_s: float, stabilised: bool) -> float:
    wobble = wobble_mm(given, time_s)
    if stabilised:
        wobble *= 2.0 ** -(given.kit.stabilisation_stops or 0.0)
    return _px(given, math.hypot(hand_shift_mm(given.wishes.hand_spread_mm, time_s), wobble))


def _px(given: Given, moved_mm: float) -> float:
    return optics.motion_blur_px(moved_mm, 1.0, given.lens.magnification, given.pitch_mm)


def _hand_mm_s(given: Given) -> float:
    swings = tremor_spectrum(given.wishes.hand_spread_mm)
    return math.hypot(
        *(swing.speed_mm_s for swing in swings),
        given.lens.pupil_distance_mm * HAND.wobble_mrad_s / 1000.0,
    )


def _budget(given: Given, time_s: float) -> float:
    one_px = _px(given, time_s)  # what 1 mm/s smears
    return MOTION_LIMITS.bearable_px / one_px


def _blur(plan: Plan) -> str:
    m = plan.chosen.motion
    return f"{m.blur_px:.2g} px: {m.blur_words}"


def _speed_sum(plan: Plan) -> str:
    g, m = plan.given, plan.chosen.motion
    swings = tremor_spectrum(g.wishes.hand_spread_mm)
    parts = " + ".join(f"{swing.speed_mm_s:.1f}^2" for swing in swings)
    wobble = g.lens.pupil_distance_mm * HAND.wobble_mrad_s / 1000
    return f"sqrt({parts} + {wobble:.1f}^2) = {m.hand_mm_s:.1f} mm/s"


def _smear(plan: Plan, px: float, time_s: float) -> str:
    g = plan.given
    moved = px * g.pitch_mm / g.lens.magnification
    return (
        f"{1000 * moved:.3g} µm on the animal in {told_s(time_s)} * {g.lens.magnification:.2g} / "
        f"{1000 * g.pitch_mm:.3g} µm = {px:.2g} px"
    )


def _flash(plan: Plan) -> str:
    flash, px = plan.chosen.flash, plan.chosen.motion.flash_px
    if flash is None or px is None:
        return "no guide number was given, so no flash is reckoned with"
    return _smear(plan, px, min(flash.duration_s, plan.given.shutter_s))


def _flash_budget(plan: Plan) -> str:
    flash, speed = plan.chosen.flash, plan.chosen.motion.flash_budget_mm_s
    if flash is None or speed is None:
        return "no guide number was given, so no flash is reckoned with"
    return _fastest(plan, speed, min(flash.duration_s, plan.given.shutter_s))


def _fastest(plan: Plan, speed: float, time_s: float) -> str:
    g = plan.given
    return (
        f"1 px * {1000 * g.pitch_mm:.3g} µm / {g.lens.magnification:.2g} / {told_s(time_s)} = "
        f"{speed:.2g} mm/s"
    )


def _left(plan: Plan) -> str:
    m, stated = plan.chosen.motion, plan.given.kit.stabilisation_stops
    if not stated:
        return "the kit states no stabilisation: 0 stops"
    return (
        f"{stated:.2g} stops stated, but only the wobble is sensed, not the shift: the hand's "
        f"{m.hand_px:.2g} px shrink by {m.stabilisation_left_stops:.1f} stops"
    )


_TIME = ("wishes.shutter_s", "kit.sync_s")
_SCALE = ("wishes.magnification", "kit.sensor_width_mm", "kit.width_px")
_HAND_IN = ("wishes.hand_spread_mm", "kit.focal_mm")
_FLASH_TIME = ("kit.t05_s", "kit.t01_s", "kit.guide_number_m")
_HAND_SOURCE = (
    "tremor: Arch. Neurol. 39 (1982) 358; sway: Winter 1995, from memory; wobble: the rule "
    "1/focal length, common practice, no source"
)


def _explained(
    key: str,
    title: str,
    formula: str,
    filled: Callable[[Plan], str],
    inputs: tuple[str, ...],
    assumption: str,
    source: str = _HAND_SOURCE,
) -> Explanation:
    return Explanation(key, title, formula, filled, inputs, assumption, source)


EXPLANATIONS: tuple[Explanation, ...] = (
    _explained(
        "blur_px",
        "How far the picture is smeared at these settings",
        "the smear during the flash, or during the shutter time where daylight makes the picture",
        _blur,
        (*_SCALE, "wishes.animal_speed_mm_s", *_FLASH_TIME[:2], *_TIME),
        "the flash makes the picture as long as more than half of the light is its own",
    ),
    _explained(
        "motion.flash_px",
        "How far hand and animal move while the flash burns",
        "(speed of animal and hand) * t0.1 * m / pixel",
        _flash,
        (*_SCALE, *_FLASH_TIME, "wishes.animal_speed_mm_s", "wishes.hand_spread_mm"),
        "the time down to a tenth of the flash's peak counts, not the shorter one to a half",
    ),
    _explained(
        "motion.shutter_px",
        "How far hand and animal move while the shutter is open",
        "sqrt(animal^2 + shift^2 + wobble^2) * m / pixel",
        lambda plan: _smear(plan, plan.chosen.motion.shutter_px, plan.given.shutter_s),
        (*_SCALE, *_TIME, "wishes.animal_speed_mm_s", *_HAND_IN),
        "a hand like the average of those measured; a leaf in the wind moves far more",
    ),
    _explained(
        "motion.shutter_stabilised_px",
        "The same with stabilisation",
        "sqrt(animal^2 + shift^2 + (wobble / 2^stops)^2) * m / pixel",
        lambda plan: _smear(plan, plan.chosen.motion.shutter_stabilised_px, plan.given.shutter_s),
        (*_SCALE, *_TIME, "kit.stabilisation_stops", "wishes.animal_speed_mm_s", *_HAND_IN)[:8],
        "only the wobble is sensed; some cameras sense part of the shift as well",
        f"derived; {_HAND_SOURCE}",
    ),
    _explained(
        "motion.animal_px",
        "The animal's own part of the smear while the shutter is open",
        "speed * shutter time * m / pixel",
        lambda plan: _smear(plan, plan.chosen.motion.animal_px, plan.given.shutter_s),
        ("wishes.animal_speed_mm_s", *_SCALE, *_TIME),
        "the animal's speed is assumed: a limb or a swaying stem, 2 mm/s if you say nothing",
        "derived",
    ),
    _explained(
        "motion.hand_px",
        "The hand's part of the smear while the shutter is open",
        "sqrt(shift^2 + wobble^2) * m / pixel",
        lambda plan: _smear(plan, plan.chosen.motion.hand_px, plan.given.shutter_s),
        (*_SCALE, *_TIME, *_HAND_IN),
        "a hand like the average of those measured",
    ),
    _explained(
        "motion.hand_mm_s",
        "How fast your hand moves the view across the animal",
        "sqrt of the sum of squares: sway, pulse, tremor, fast tremor, wobble * distance",
        _speed_sum,
        (*_HAND_IN, "wishes.magnification", "kit.pupil_magnification"),
        "sway and wobble are guesses; only the tremor was measured on many people",
    ),
    _explained(
        "motion.stabilisation_left_stops",
        "What is left of the stabilisation in close-up",
        "log2(hand's smear without it / with it)",
        _left,
        ("kit.stabilisation_stops", "wishes.magnification", *_HAND_IN),
        "a shift is not sensed at all, and it moves the picture by m times itself",
        f"derived; {_HAND_SOURCE}",
    ),
    _explained(
        "motion.flash_budget_mm_s",
        "The fastest limb that the flash stops",
        "1 px * pixel / m / t0.1",
        _flash_budget,
        (*_SCALE, *_FLASH_TIME),
        "a pixel of smear is put up with",
        "derived",
    ),
    _explained(
        "motion.shutter_budget_mm_s",
        "The fastest limb that the shutter stops",
        "1 px * pixel / m / shutter time",
        lambda plan: _fastest(plan, plan.chosen.motion.shutter_budget_mm_s, plan.given.shutter_s),
        (*_SCALE, *_TIME),
        "a pixel of smear is put up with",
        "derived",
    ),
)
