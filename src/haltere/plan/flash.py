"""How much flash a close-up needs, how long that flash burns, and how often it can."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from haltere import optics
from haltere.plan.chance_limits import refuse_outside, refuse_unless_positive
from haltere.plan.given import Given
from haltere.plan.light import three_digits
from haltere.plan.motion import told_s
from haltere.plan.shading import lower_iso
from haltere.plan.why import Explanation

if TYPE_CHECKING:
    from haltere.plan.plan import Plan


@dataclass(frozen=True, slots=True)
class FlashStandins:
    """Numbers that stand in where the kit says nothing about the flash, each with its reason.

    Attributes
    ----------
    diffuser_stops : float
        A diffuser eats one to two stops (common practice, no source).
    diffuser_radius_mm : float
        Half the width of a diffuser as large as a hand (assumed). Without any width, the light
        of a flash at arm's length from a fly would seem endless.
    t05_s : float
        Battery flashes burn about a thousandth of a second at full power (assumed).
    shortest_s : float
        No battery flash is shorter: its light takes 20 to 50 us to rise (from memory).
    recycle_s : float
        With fresh batteries (assumed).
    power_step_stops : float
        Dials have at least whole stops (common practice, no source).
    smallest_power : float
        Common on battery flashes (common practice, no source).
    """

    diffuser_stops: float = 1.5
    diffuser_radius_mm: float = 40.0
    t05_s: float = 1 / 1000
    shortest_s: float = 25e-6
    recycle_s: float = 2.5
    power_step_stops: float = 1.0
    smallest_power: float = 1 / 128


FLASH_STANDINS = FlashStandins()


@dataclass(frozen=True, slots=True)
class Flash:
    """What the flash must do.

    Attributes
    ----------
    needed_lx_s : float
        Light that the animal must get.
    full_power_lx_s : float
        Light that it gets at full power, through the diffuser.
    power : float
        Share of full power that is needed; above 1 the flash is too weak.
    power_step : float
        Step of the dial that is just enough, or the nearest one that it has.
    power_name : str
        As the dial shows it: "1/8", "1/8 +1/3".
    short_stops : float
        Stops by which full power is too little; 0 if it is enough.
    over_stops : float
        Stops by which the smallest power is too much; 0 if it is not.
    verdict : str
        Whether it is enough, with the cure if not.
    duration_s : float
        Time above a tenth of the peak at that power.
    recycle_s : float
        After a flash of that power.
    frames_per_s : float
        Flashes a second that recycling allows for ever.
    frames_before_lag : int or None
        Frames of a burst at the camera's rate that are well lit; None if it never lags.
    distance_mm : float
        Flash or diffuser to the animal.
    assumed : tuple of str
        What the kit did not say.
    """

    needed_lx_s: float
    full_power_lx_s: float
    power: float
    power_step: float
    power_name: str
    short_stops: float
    over_stops: float
    verdict: str
    duration_s: float
    recycle_s: float
    frames_per_s: float
    frames_before_lag: int | None
    distance_mm: float
    assumed: tuple[str, ...]


def flash(given: Given, f_number: float) -> Flash | None:
    """Tell what the flash must do at an f-number.

    Parameters
    ----------
    given : Given
        Kit, lens, magnification and ISO.
    f_number : float
        As marked.

    Returns
    -------
    Flash or None
        None when the kit has no guide number. Daylight is left out: it is reckoned that the
        flash makes the whole exposure.
    """
    kit = given.kit
    if kit.guide_number_m is None:
        return None
    assumed: list[str] = []
    needed = optics.subject_exposure_lx_s(given.effective(f_number), given.iso)
    distance = kit.flash_distance_mm
    if distance is None:
        distance = given.lens.working_distance_mm
        assumed.append(f"the flash is as far from the animal as the lens, {distance:.0f} mm")
    full = _full_power_lx_s(given, kit.guide_number_m, distance, assumed)
    power = needed / full
    smallest = kit.smallest_power or FLASH_STANDINS.smallest_power
    if kit.smallest_power is None:
        assumed.append(f"smallest power {power_named(smallest)}")
    set_power = min(max(power, smallest), 1.0)
    step = power_step_for(
        set_power, kit.power_step_stops or FLASH_STANDINS.power_step_stops, smallest
    )
    short = max(0.0, math.log2(power))
    over = max(0.0, math.log2(smallest / power))
    recycle = kit.recycle_s or FLASH_STANDINS.recycle_s
    if kit.recycle_s is None:
        assumed.append(f"{recycle:g} s to recycle after full power")
    return Flash(
        needed_lx_s=needed,
        full_power_lx_s=full,
        power=power,
        power_step=step,
        power_name=power_named(step),
        short_stops=short,
        over_stops=over,
        verdict=_verdict(short, over, step, lower_iso(given)),
        duration_s=_duration_s(given, set_power, assumed),
        recycle_s=recycle * set_power,
        frames_per_s=1.0 / (recycle * set_power),
        frames_before_lag=frames_before_lag(set_power, recycle, given.rate_fps),
        distance_mm=distance,
        assumed=tuple(assumed),
    )


def power_step_for(power: float, step_stops: float, smallest: float) -> float:
    """Give the step of the dial that is just enough.

    Parameters
    ----------
    power : float
        Share of full power that is needed, up to 1.
    step_stops : float
        Step of the dial, stops.
    smallest : float
        Smallest power on the dial.

    Returns
    -------
    float
        Share of full power, from the smallest to 1.

    Raises
    ------
    UsageError
        For a power beyond full, or values that are not above zero.
    """
    refuse_unless_positive(power=power, step_stops=step_stops, smallest=smallest)
    refuse_outside(0.0, 1.0, power=power)
    steps = math.floor(-math.log2(power) / step_stops + 1e-6)  # down from full power
    step: float = 2.0 ** (-steps * step_stops)
    return min(1.0, max(smallest, step))


def frames_before_lag(power: float, recycle_s: float, rate_fps: float) -> int | None:
    """Tell how many frames of a burst a charged flash lights well.

    A full capacitor holds 1. Each flash takes its power out; between two frames the charger puts
    1 / (rate * recycle time) back. The flash lags once less is left than it must give.

    Parameters
    ----------
    power : float
        Share of full power, up to 1.
    recycle_s : float
        Time to recycle after full power, s; the charger is taken to work evenly.
    rate_fps : float
        Frames a second.

    Returns
    -------
    int or None
        Frames; None if it never lags.

    Raises
    ------
    UsageError
        For a power beyond full, or values that are not above zero.
    """
    refuse_unless_positive(power=power, recycle_s=recycle_s, rate_fps=rate_fps)
    refuse_outside(0.0, 1.0, power=power)
    lost = power - 1.0 / (rate_fps * recycle_s)
    if lost <= 1e-12:
        return None
    return 1 + math.floor((1.0 - power) / lost + 1e-9)


def _full_power_lx_s(
    given: Given, guide_number_m: float, distance_mm: float, assumed: list[str]
) -> float:
    kit = given.kit
    stops, radius = kit.diffuser_stops, kit.diffuser_radius_mm
    if stops is None:
        stops = FLASH_STANDINS.diffuser_stops
        assumed.append(f"the diffuser eats {stops:g} stops")
    if radius is None and stops > 0:
        radius = FLASH_STANDINS.diffuser_radius_mm
        assumed.append(f"the diffuser is {2 * radius:g} mm wide")
    kept: float = 2.0**-stops
    light = optics.flash_exposure_lx_s(guide_number_m, distance_mm / 1000.0) * kept
    if radius:
        # near a wide diffuser coming closer gains little: most of it already shines from the side
        light *= optics.disc_over_inverse_square(radius, distance_mm)
    return light


def _duration_s(given: Given, power: float, assumed: list[str]) -> float:
    kit = given.kit
    if kit.t01_s is not None:  # blur is judged by the tenth, so that one wins
        half = optics.t05_from_t01(kit.t01_s)
    elif kit.t05_s is not None:
        half = kit.t05_s
    else:
        half = FLASH_STANDINS.t05_s
        assumed.append(f"the flash burns {told_s(half)} (to half its peak) at full power")
    if kit.flash_kind == "voltage":
        return optics.voltage_flash_duration_s(half, power)
    return max(FLASH_STANDINS.shortest_s, optics.cut_flash_duration_s(half, power))


_PARTS = {0.0: "", 1 / 3: " +1/3", 0.5: " +1/2", 2 / 3: " +2/3"}


def power_named(power: float) -> str:
    """Name a power as dials do: a whole stop, and what is added to it.

    Parameters
    ----------
    power : float
        Share of full power.

    Returns
    -------
    str
        "1/8", "1/8 +1/3", "full".
    """
    stops = math.log2(power)
    whole = math.floor(stops + 0.02)
    base = "full" if whole >= 0 else f"1/{2**-whole}"
    for part, name in _PARTS.items():
        if abs(stops - whole - part) < 0.04:
            return base + name
    return f"1/{1 / power:.0f}" if power < 0.4 else f"{power:.2f}"


def _verdict(short: float, over: float, step: float, lower: bool) -> str:
    if short > 0.05:
        return (
            f"full power is {short:.1f} stops too little: bring the flash nearer, open the "
            "aperture, raise the ISO or take a thinner diffuser"
        )
    if over > 0.05:
        return (
            f"the smallest power is {over:.1f} stops too much: move the flash back, thicken the "
            f"diffuser{', lower the ISO' if lower else ''} or close the aperture"
        )
    return f"enough at {power_named(step)} power"


def _tell(tell: Callable[[Plan, Flash], str]) -> Callable[[Plan], str]:
    def filled(plan: Plan) -> str:
        chosen = plan.chosen.flash
        if chosen is None:
            return "no guide number was given, so no flash is reckoned with"
        return tell(plan, chosen)

    return filled


def _needed(plan: Plan, f: Flash) -> str:
    effective = plan.given.effective(plan.chosen.f_number)
    return f"250 * {effective:.3g}^2 / {plan.given.iso:.0f} = {three_digits(f.needed_lx_s)} lx s"


def _full(plan: Plan, f: Flash) -> str:
    kit = plan.given.kit
    stops = FLASH_STANDINS.diffuser_stops if kit.diffuser_stops is None else kit.diffuser_stops
    radius = kit.diffuser_radius_mm or (FLASH_STANDINS.diffuser_radius_mm if stops else 0.0)
    return (
        f"2.5 * {kit.guide_number_m:.3g}^2 / ({f.distance_mm / 1000:.3g}^2 + "
        f"{radius / 1000:.3g}^2) m^2 / 2^{stops:.2g} = {three_digits(f.full_power_lx_s)} lx s"
    )


def _duration(plan: Plan, f: Flash) -> str:
    kit = plan.given.kit
    burns = f"{told_s(f.duration_s)} at {min(f.power, 1.0):.2g} of full power"
    if kit.flash_kind == "voltage":
        return f"{burns}; this kind burns as long at any power"
    return f"{burns}; this kind is cut off, so less power is shorter"


def _lag(plan: Plan, f: Flash) -> str:
    fps = plan.given.rate_fps
    if f.frames_before_lag is None:
        return f"recycling keeps up with {fps:.2g} frames a second"
    return f"{f.frames_before_lag} frames at {fps:.2g} frames a second, then the flash lags"


_NEED_IN = ("wishes.f_number", "wishes.magnification", "wishes.iso", "kit.pupil_magnification")
_LIGHT_IN = (
    "kit.guide_number_m",
    "kit.flash_distance_mm",
    "kit.diffuser_radius_mm",
    "kit.diffuser_stops",
)
_ALL_IN = (*_LIGHT_IN[:3], *_NEED_IN[:3])
_INCIDENT = "ISO 2720:1974, incident light, C = 250 (excerpt seen)"
_NEAR = (
    "a guide number is measured at metres without a diffuser: one test shot in your set-up beats it"
)
_LINEAR = "recycling time falls with the power (assumed); batteries run down"


EXPLANATIONS: tuple[Explanation, ...] = (
    Explanation(
        key="flash.needed_lx_s",
        title="How much light the animal must get",
        formula="H = 250 * effective f-number^2 / ISO",
        filled=_tell(_needed),
        inputs=_NEED_IN,
        assumption="the flash makes the whole exposure, and the animal is of a middle grey",
        source=_INCIDENT,
    ),
    Explanation(
        key="flash.full_power_lx_s",
        title="How much light the flash gives at full power",
        formula="2.5 * guide number^2 / (distance^2 + diffuser's half width^2) / 2^diffuser's loss",
        filled=_tell(_full),
        inputs=(*_LIGHT_IN, "wishes.magnification", "kit.working_distance_mm"),
        assumption=_NEAR,
        source=f"{_INCIDENT}; wide source: Howell, Catalog of Configuration Factors, from memory",
    ),
    Explanation(
        key="flash.power",
        title="Which share of full power is needed",
        formula="light needed / light at full power",
        filled=_tell(
            lambda _plan, f: (
                f"{three_digits(f.needed_lx_s)} / {three_digits(f.full_power_lx_s)} = {f.power:.2g}"
            )
        ),
        inputs=(*_ALL_IN, "kit.diffuser_stops"),
        assumption=_NEAR,
        source=f"derived; {_INCIDENT}",
    ),
    Explanation(
        key="flash.power_step",
        title="Which step of the dial to set",
        formula="the next step up, from the smallest power to full",
        filled=_tell(lambda _plan, f: f"{f.power:.2g} needed; {f.power_name}: {f.verdict}"),
        inputs=(*_ALL_IN[:6], "kit.power_step_stops", "kit.smallest_power"),
        assumption=_NEAR,
        source="derived",
    ),
    Explanation(
        key="flash.short_stops",
        title="By how much the flash is too weak",
        formula="log2(power needed), if above 0",
        filled=_tell(lambda _plan, f: f"log2({f.power:.2g}) gives {f.short_stops:.1f} stops short"),
        inputs=(*_ALL_IN, "kit.diffuser_stops"),
        assumption=_NEAR,
        source="derived",
    ),
    Explanation(
        key="flash.over_stops",
        title="By how much the smallest power is too strong",
        formula="log2(smallest power / power needed), if above 0",
        filled=_tell(lambda _plan, f: f"{f.power:.2g} needed: {f.over_stops:.1f} stops too much"),
        inputs=(*_ALL_IN, "kit.diffuser_stops", "kit.smallest_power"),
        assumption=_NEAR,
        source="derived",
    ),
    Explanation(
        key="flash.duration_s",
        title="How long the flash burns",
        formula="cut off: -t0.5 / ln 2 * ln(1 - power), at most 3.32 t0.5; by voltage: 3.32 t0.5",
        filled=_tell(_duration),
        inputs=("kit.t05_s", "kit.t01_s", *_ALL_IN),
        assumption="the light dies away exponentially; a cut flash takes at least 1/40000 s",
        source="derived; t0.5 and t0.1 by ISO 2827:1988, its text from memory",
    ),
    Explanation(
        key="flash.recycle_s",
        title="How long the flash recycles after each frame",
        formula="recycling time after full power * power",
        filled=_tell(
            lambda _plan, f: f"{f.recycle_s:.2g} s at {min(f.power, 1.0):.2g} of full power"
        ),
        inputs=("kit.recycle_s", *_ALL_IN),
        assumption=_LINEAR,
        source="assumed",
    ),
    Explanation(
        key="flash.frames_per_s",
        title="How many frames a second the flash keeps up with",
        formula="1 / recycling time at this power",
        filled=_tell(lambda _plan, f: f"1 / {f.recycle_s:.2g} s = {f.frames_per_s:.2g} a second"),
        inputs=("kit.recycle_s", *_ALL_IN),
        assumption=_LINEAR,
        source="assumed",
    ),
    Explanation(
        key="flash.frames_before_lag",
        title="How many frames of a burst come out lit",
        formula="1 + (1 - P) / (P - 1 / (rate * recycling time)), P the power, rounded down",
        filled=_tell(_lag),
        inputs=("kit.burst_fps", "kit.recycle_s", *_ALL_IN),
        assumption="the flash begins fully charged, and its charger works evenly",
        source="assumed",
    ),
    Explanation(
        key="flash.distance_mm",
        title="How far the flash is from the animal",
        formula="as the kit says, or else the working distance of the lens",
        filled=_tell(lambda _plan, f: f"{f.distance_mm:.0f} mm"),
        inputs=("kit.flash_distance_mm", "kit.working_distance_mm", "wishes.magnification"),
        assumption="a diffuser that reaches as far forward as the lens",
        source="assumed",
    ),
)
