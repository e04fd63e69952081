"""What daylight does to a flash picture: how strong its ghost is, and how to get rid of it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from haltere import optics
from haltere.plan.flash import flash
from haltere.plan.given import STANDINS, Given
from haltere.plan.light import DAYLIGHT, SHOWN, daylight_over_needed, three_digits
from haltere.plan.motion import smear_px, told_s
from haltere.plan.shading import GHOST, keep_off
from haltere.plan.why import Explanation
from haltere.plan.wishes import Light

if TYPE_CHECKING:
    from haltere.plan.plan import Plan

__all__ = ["EXPLANATIONS", "GHOST", "Ambient", "LightRow", "ambient"]


@dataclass(frozen=True, slots=True)
class LightRow:
    """Daylight beside the flash in one kind of light, unshaded.

    Attributes
    ----------
    light : Light
        As asked for.
    words : str
        As told to people.
    ev100 : float
        Exposure value at ISO 100.
    stops : float
        Exposure by daylight alone; 0 is right, negative is under.
    share : float
        Daylight's share of the picture, 0 to 1.
    """

    light: Light
    words: str
    ev100: float
    stops: float
    share: float


@dataclass(frozen=True, slots=True)
class Ambient:
    """Daylight beside the flash.

    Attributes
    ----------
    light : Light
        The one asked for.
    source : str
        Where its brightness comes from.
    illuminance_lx : float
        Light on the animal, after shading.
    stops : float
        Exposure by daylight alone, after shading; 0 is right, negative is under.
    share : float
        Daylight's share of a well exposed picture, 0 to 1, the flash filling the rest.
    ghost_px : float
        How far the ghost is smeared while the shutter is open.
    ghost_words : str
        How it shows.
    shading_needed_stops : float
        Stops that the light must still lose so that the ghost is not seen.
    shading_words : str
        The same in a photographer's doings.
    overexposes : bool
        Daylight alone is already too much: no flash setting helps.
    shutter_needed_s : float
        Shutter time at which the ghost is not seen, if the flash goes with it.
    beyond_sync : bool
        That time is shorter than the flash allows.
    iso_needed : float
        ISO at which the ghost is not seen; the flash must give that much more.
    daylight_shutter_s : float
        Shutter time that exposes well by this daylight alone, without flash.
    table : tuple of LightRow
        Sun, shade, overcast and dusk at these settings.
    """

    light: Light
    source: str
    illuminance_lx: float
    stops: float
    share: float
    ghost_px: float
    ghost_words: str
    shading_needed_stops: float
    shading_words: str
    overexposes: bool
    shutter_needed_s: float
    beyond_sync: bool
    iso_needed: float
    daylight_shutter_s: float
    table: tuple[LightRow, ...]


def ambient(given: Given, f_number: float) -> Ambient:
    """Tell what daylight does to a flash picture at an f-number.

    Parameters
    ----------
    given : Given
        Lens, ISO, shutter time, light and shading.
    f_number : float
        As marked.

    Returns
    -------
    Ambient
        Strength and smear of the ghost, and the cures. Neither magnification nor sensor changes
        its strength at one effective f-number: flash and daylight pass the same lens.
    """
    wishes = given.wishes
    sync = given.kit.sync_s or STANDINS.shutter_s
    light = DAYLIGHT[wishes.light]
    passed = 2.0**-wishes.shading_stops
    ratio = daylight_over_needed(given, f_number, wishes.light) * passed
    share = min(1.0, ratio)
    ghost_px = smear_px(given, given.shutter_s, stabilised=True)
    too_much = max(1.0, ratio / GHOST.unseen_share)
    shading = math.log2(too_much)
    shutter = given.shutter_s / too_much
    return Ambient(
        light=wishes.light,
        source=light.source,
        illuminance_lx=light.illuminance_lx * passed,
        stops=math.log2(ratio),
        share=share,
        ghost_px=ghost_px,
        ghost_words=_ghost(share, ghost_px),
        shading_needed_stops=shading,
        shading_words=keep_off(given, f_number, shading, flash(given, f_number)),
        overexposes=ratio > 1.0,
        shutter_needed_s=shutter,
        beyond_sync=shutter < sync * (1 - 1e-9),
        iso_needed=given.iso / too_much,
        daylight_shutter_s=given.shutter_s / ratio,
        table=tuple(_row(given, f_number, name) for name in SHOWN),
    )


def _row(given: Given, f_number: float, light: Light) -> LightRow:
    ratio = daylight_over_needed(given, f_number, light)
    preset = DAYLIGHT[light]
    return LightRow(light, preset.words, preset.ev100, math.log2(ratio), min(1.0, ratio))


def _ghost(share: float, ghost_px: float) -> str:
    if share <= GHOST.unseen_share:
        return "no ghost to be seen"
    if share >= 1.0:
        return "daylight alone makes the picture, or burns it out"
    if share >= GHOST.rules_share:
        return "daylight makes most of the picture: the flash does not freeze it"
    if ghost_px <= GHOST.still_px:
        return "a ghost that lies on the picture and does no harm"
    if share <= GHOST.faint_share:
        return "a faint ghost along bright edges"
    return "a plain ghost beside every edge"


def _ratio(plan: Plan) -> str:
    g, a = plan.given, plan.chosen.ambient
    needed = optics.subject_exposure_lx_s(g.effective(plan.chosen.f_number), g.iso)
    return f"{three_digits(a.illuminance_lx)} lx * {told_s(g.shutter_s)} / {needed:.3g} lx s"


def _stops(plan: Plan) -> str:
    return f"log2({_ratio(plan)}) = {plan.chosen.ambient.stops:+.2f} stops"


def _lux(plan: Plan) -> str:
    a, g = plan.chosen.ambient, plan.given
    light = DAYLIGHT[a.light]
    return (
        f"{light.words}: 2.5 * 2^{light.ev100:.3g} / 2^{g.wishes.shading_stops:.2g} = "
        f"{three_digits(a.illuminance_lx)} lx"
    )


def _smeared(plan: Plan) -> str:
    a, g = plan.chosen.ambient, plan.given
    return f"{a.ghost_px:.2g} px in {told_s(g.shutter_s)}: {a.ghost_words}"


def _need(plan: Plan) -> str:
    a = plan.chosen.ambient
    return f"{a.stops:+.1f} stops now, {GHOST.unseen_stops:.1f} wanted: {a.shading_words}"


def _shutter(plan: Plan) -> str:
    a = plan.chosen.ambient
    text = f"{told_s(a.shutter_needed_s)} instead of {told_s(plan.given.shutter_s)}"
    return f"{text}, which the flash does not go with" if a.beyond_sync else text


def _iso(plan: Plan) -> str:
    needed, g = plan.chosen.ambient.iso_needed, plan.given
    text = f"ISO {needed:.0f} instead of {g.iso:.0f}, the flash giving that much more"
    lowest = g.kit.iso_min
    return f"{text}; this camera stops at {lowest:.0f}" if lowest and needed < lowest else text


def _rows(plan: Plan) -> str:
    return "; ".join(
        f"{row.words}: {row.stops:+.1f} stops, {100 * row.share:.0f} %"
        for row in plan.chosen.ambient.table
    )


_SET = ("wishes.f_number", "wishes.shutter_s", "kit.sync_s", "wishes.iso", "wishes.magnification")
_IN = ("wishes.shading_stops", *_SET, "kit.pupil_magnification")
_METER = "the preset of the light; tables differ by up to ten times, a meter on the spot is better"
_TABLE = "ANSI PH2.7-1986 as an encyclopedia's table gives it; ISO 2720:1974, C = 250"
_SEEN = f"a ghost below {100 * GHOST.unseen_share:.0f} % of the exposure is not seen"
_FROM_MEMORY = f"{_TABLE}; what is seen: common practice, from memory"


def _explained(
    key: str,
    title: str,
    formula: str,
    filled: Callable[[Plan], str],
    assumption: str = _METER,
    source: str = _TABLE,
    inputs: tuple[str, ...] = _IN,
) -> Explanation:
    return Explanation(key, title, formula, filled, inputs, assumption, source)


_STOPS = (
    "How bright daylight alone would make the picture",
    "log2(lux * shutter time / (250 * effective f-number^2 / ISO))",
    _stops,
)

EXPLANATIONS: tuple[Explanation, ...] = (
    _explained("ambient_stops", *_STOPS),
    _explained("ambient.stops", *_STOPS),
    _explained(
        "ambient.illuminance_lx",
        "How much daylight falls on the animal",
        "2.5 * 2^EV / 2^shading",
        _lux,
        inputs=("wishes.shading_stops",),
    ),
    _explained(
        "ambient.table",
        "What daylight would do in sun, shade, under cloud and at dusk, without shading",
        "log2(lux * shutter time / light needed), and its share of the picture",
        _rows,
        inputs=_IN[1:],
    ),
    _explained(
        "ambient.share",
        "How much of the picture daylight makes",
        "lux * shutter time / light needed, at most 1",
        lambda plan: f"{_ratio(plan)} = {100 * plan.chosen.ambient.share:.0f} %",
        "the flash fills up what daylight leaves, as it does after a test shot",
    ),
    _explained(
        "ambient.ghost_px",
        "How far the ghost is smeared",
        "smear by hand and animal while the shutter is open",
        _smeared,
        "a hand like the average of those measured, and the animal's assumed speed",
        "derived, see motion.shutter_stabilised_px",
        (
            "wishes.shutter_s",
            "kit.sync_s",
            "wishes.magnification",
            "kit.sensor_width_mm",
            "kit.width_px",
            "wishes.animal_speed_mm_s",
            "wishes.hand_spread_mm",
            "kit.focal_mm",
        ),
    ),
    _explained(
        "ambient.shading_needed_stops",
        "How much you must shade the animal",
        f"stops of daylight alone - log2({GHOST.unseen_share:g}), if above 0",
        _need,
        _SEEN,
        _FROM_MEMORY,
    ),
    _explained(
        "ambient.shutter_needed_s",
        "Which shutter time would hide the ghost",
        f"shutter time * {GHOST.unseen_share:g} / share of daylight, if shorter",
        _shutter,
        _SEEN,
        _FROM_MEMORY,
    ),
    _explained(
        "ambient.iso_needed",
        "Which ISO would hide the ghost",
        f"ISO * {GHOST.unseen_share:g} / share of daylight, if lower",
        _iso,
        _SEEN,
        _FROM_MEMORY,
    ),
    _explained(
        "ambient.daylight_shutter_s",
        "Which shutter time daylight alone needs, without flash",
        "250 * effective f-number^2 / ISO / lux",
        lambda plan: f"{told_s(plan.chosen.ambient.daylight_shutter_s)} for a right exposure",
        inputs=(
            "wishes.shading_stops",
            "wishes.f_number",
            "wishes.iso",
            "wishes.magnification",
            "kit.pupil_magnification",
        ),
    ),
)
