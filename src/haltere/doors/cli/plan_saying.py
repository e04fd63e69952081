"""A plan as plain text for a person at a terminal."""

from __future__ import annotations

import json
import textwrap
from dataclasses import asdict
from typing import TYPE_CHECKING

from haltere.doors.cli.saying import say

if TYPE_CHECKING:
    import datetime as dt

    from haltere.plan import At, Plan, Why

_WIDE = 92


def say_plan(plan: Plan) -> None:
    """Print settings for one shot and for a sweep, each with its reason, then what to mind."""
    start, lens = plan.given, plan.given.lens
    fields = " x ".join(f"{side / lens.magnification:.3g}" for side in start.sensor_mm)
    about = "about " if lens.working_distance_source == "thin lens" else ""
    say(
        f"{lens.magnification:g}:1, an animal {start.wishes.depth_mm:g} mm deep, "
        f"light: {start.wishes.light}"
    )
    say(
        f"  field {fields} mm, {1000 * start.pitch_mm / lens.magnification:.2g} um a pixel, "
        f"{about}{lens.working_distance_mm:.0f} mm from glass to animal"
    )
    _say_single(plan)
    _say_sweep(plan)
    _say_light(plan)
    _say_motion(plan.chosen)
    if plan.hours is not None:
        _say_hours(plan)
    if plan.warnings:
        say()
        say("Mind:")
        for warned in plan.warnings:
            _wrapped(warned.text, "  - ")
    if start.assumed:
        say()
        _wrapped(f"Assumed, since nobody said: {'; '.join(start.assumed)}.", "")
    say()
    say("haltere plan ... --why KEY explains any number; --json lists the keys.")


def _say_single(plan: Plan) -> None:
    at = plan.single
    burst = at.burst
    say()
    say(f"One shot   f/{at.f_number:g}   {_flash_words(at)}")
    _wrapped(at.reason, "  ")
    sharp = at.sharpness
    say(
        f"  depth of field {sharp.geometric_mm:.2g} mm ({sharp.combined_mm:.2g} mm with "
        f"diffraction), {sharp.effective_megapixels:.2g} megapixels of detail"
    )
    needed = "more than 500" if burst.frames_for_90 is None else f"{burst.frames_for_90}"
    say(
        f"  one frame in {1 / burst.frame_chance:.0f} has the eyes sharp; {needed} frames for a "
        "sharp one with 90 % certainty"
    )


def _say_sweep(plan: Plan) -> None:
    at = plan.sweep
    sweep = at.sweep
    say()
    say(f"Sweep      f/{at.f_number:g}   {_flash_words(at)}")
    _wrapped(at.reason, "  ")
    passes = "more than a dozen passes" if sweep.passes is None else _counted(sweep.passes)
    say(
        f"  {sweep.frames} frames {sweep.step_mm:.2g} mm apart: push at {sweep.push_mm_s:.2g} mm/s "
        f"for {sweep.seconds:.1f} s"
    )
    certain = f"{plan.given.wishes.certainty:.0%}"
    say(f"  {passes} for no gap with {certain} certainty, since no hand is even;")
    say(
        f"  or one pass of {sweep.hand_frames} frames at {sweep.hand_push_mm_s:.2g} mm/s "
        f"(chance of a gap {plan.given.wishes.gap_chance:.0%})"
    )


def _say_light(plan: Plan) -> None:
    start = plan.given
    light = plan.single.ambient
    say()
    say(f"Light      ISO {start.iso:g}, 1/{1 / start.shutter_s:.0f} s")
    for name, at in (("one shot", plan.single), ("sweep", plan.sweep)):
        stops = at.ambient.stops
        if stops > 0:
            say(f"  {name}: the daylight alone is {stops:.1f} stops over")
        else:
            share = at.ambient.share
            say(f"  {name}: the daylight is {-stops:.1f} stops under, a ghost of {share:.0%}")
    if light.shading_needed_stops > 0:
        say(f"  shade the animal by {light.shading_needed_stops:.1f} stops for one shot")


def _say_motion(at: At) -> None:
    say()
    say(f"Motion     {at.motion.blur_px:.1f} px of blur at f/{at.f_number:g}")
    _wrapped(at.motion.blur_words, "  ")


def _say_hours(plan: Plan) -> None:
    hours = plan.hours
    if hours is None:
        return
    say()
    events = [("sunrise", hours.sunrise), ("sunset", hours.sunset)]
    told = [f"{name} {_clock(moment)}" for name, moment in events if moment is not None]
    top = f"sun at most {hours.noon_elevation_deg:.0f} degrees high"
    say(f"Hours      {', '.join([*told, top])} ({hours.date.isoformat()})")
    for what, windows in (("sweeps", hours.sweep_windows), ("bursts", hours.single_windows)):
        if windows:
            said = ", ".join(one.words for one in windows)
            say(f"  {what}: {said}")
    _wrapped(hours.note, "  ")


def _clock(moment: dt.datetime) -> str:
    from haltere.plan.hours import about

    return about(moment)


def _flash_words(at: At) -> str:
    flash = at.flash
    if flash is None:
        return "flash power unknown"
    if flash.power > 1:
        return "flash too weak"
    return f"flash at {flash.power_name}, {_time(flash.duration_s)}"


def _time(seconds: float) -> str:
    return f"1/{1 / seconds:.0f} s" if seconds < 0.5 else f"{seconds:.1f} s"


def _counted(passes: int) -> str:
    return "one pass" if passes == 1 else f"{passes} passes"


def _wrapped(text: str, lead: str) -> None:
    say(textwrap.fill(text, _WIDE, initial_indent=lead, subsequent_indent=" " * len(lead)))


def say_why(why: Why, as_json: bool) -> None:
    """Print how one number came about."""
    if as_json:
        say(json.dumps(asdict(why), indent=2, ensure_ascii=False, default=str))
        return
    say(f"{why.key}: {why.title}")
    say()
    _wrapped(why.formula, "  ")
    _wrapped(why.filled, "  ")
    say()
    _wrapped(f"Matters most: {why.assumption}.", "")
    _wrapped(f"Source: {why.source}.", "")
    if not why.moves:
        return
    say()
    say("If one input is a tenth larger, or smaller, the number becomes:")
    for move in why.moves:
        say(f"  {move.name:<32} {move.value:>9.4g}   {_number(move.up)}, {_number(move.down)}")


def _number(value: float | None) -> str:
    return f"{'can not be':>10}" if value is None else f"{value:>10.4g}"


def say_sayings(plan: Plan) -> None:
    """Answer what the craft says, one by one."""
    from haltere.plan import sayings

    for one in sayings(plan.given):
        say(f'"{one.saying}"')
        _wrapped(f"{one.verdict}: {one.text}", "  ")
        say()
