"""A plan as plain text for a person at a terminal."""

from __future__ import annotations

import json
import textwrap
from dataclasses import asdict
from typing import TYPE_CHECKING

from haltere.doors.cli.saying import say, say_json

if TYPE_CHECKING:
    import datetime as dt

    from haltere.hand import PlanNumbers
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
        f"  field {fields} mm, {1000 * start.pitch_mm / lens.magnification:.2g} µm a pixel, "
        f"{about}{lens.working_distance_mm:.0f} mm from glass to animal"
    )
    _say_single(plan)
    _say_sweep(plan)
    shown = [("one shot", plan.single), ("sweep", plan.sweep)]
    if start.wishes.f_number is not None:
        shown.append(("yours", plan.chosen))
        _say_yours(plan)
    _say_light(plan, shown)
    _say_motion(plan, shown)
    if plan.hours is not None:
        _say_hours(plan)
    spoken_of = {at.f_number for _name, at in shown}
    minded = [one for one in plan.warnings if one.f_number is None or one.f_number in spoken_of]
    if minded:
        say()
        say("Mind:")
        for warned in minded:
            _wrapped(warned.text, "  - ")
    if plan.assumed:
        say()
        _wrapped(f"Assumed, since nobody said: {'; '.join(plan.assumed)}.", "")
    say()
    say("haltere plan ... --why KEY explains any number; --json lists the keys.")
    if start.wishes.f_number is None and plan.chosen.f_number != plan.sweep.f_number:
        say(f"--json and --why speak of f/{plan.chosen.f_number:g}, as your kit says.")


def _say_single(plan: Plan) -> None:
    at = plan.single
    say()
    say(f"One shot   f/{at.f_number:g}   {_flash_words(plan, at)}")
    _wrapped(at.reason, "  ")
    _say_depth(at)
    _wrapped(_burst_words(at), "  ")


def _say_depth(at: At) -> None:
    sharp = at.sharpness
    say(
        f"  depth of field {sharp.geometric_mm:.2g} mm ({sharp.combined_mm:.2g} mm with "
        f"diffraction), {sharp.effective_megapixels:.2g} megapixels of detail"
    )


def _burst_words(at: At) -> str:
    chance, needed = at.burst.frame_chance, at.burst.frames_for_90
    if needed == 1:
        many = "a single frame is enough"
    else:
        many = f"{'more than 500' if needed is None else needed} frames"
    if chance > 0.95:
        hits = "nearly every frame"
    elif chance >= 0.45:
        hits = f"{10 * chance:.0f} frames in 10"
    else:
        hits = f"one frame in {1 / chance:.0f}"
    have = "have" if hits.endswith("10") and chance >= 0.45 else "has"
    return f"{hits} {have} the eyes sharp; {many} for a sharp one with 90 % certainty"


def _say_sweep(plan: Plan) -> None:
    at = plan.sweep
    say()
    say(f"Sweep      f/{at.f_number:g}   {_flash_words(plan, at)}")
    _wrapped(at.reason, "  ")
    _say_push(plan, at)


def _say_push(plan: Plan, at: At) -> None:
    from haltere.plan.aperture_words import TOO_MANY_FRAMES

    sweep, wishes = at.sweep, plan.given.wishes
    if sweep.frames == 1:
        say(f"  one frame covers it ({sweep.depth_of_field_mm:.2g} mm deep), no sweep needed")
        return
    if sweep.frames > TOO_MANY_FRAMES:
        say(f"  {sweep.frames} frames {sweep.step_mm:.2g} mm apart: too deep for a sweep")
        return
    passes = "more than a dozen passes" if sweep.passes is None else _counted(sweep.passes)
    say(
        f"  {sweep.frames} frames {sweep.step_mm:.2g} mm apart: push at {sweep.push_mm_s:.2g} mm/s "
        f"for {sweep.seconds:.1f} s"
    )
    since = ", since no hand is even" if plan.given.unevenness > 0 else ""
    say(f"  {passes} for no gap with {_percent(wishes.certainty)} certainty{since}")
    if sweep.passes != 1:
        say(
            f"  or one pass of {sweep.hand_frames} frames at {sweep.hand_push_mm_s:.2g} mm/s "
            f"(chance of a gap {_percent(wishes.gap_chance)})"
        )


def _say_yours(plan: Plan) -> None:
    at = plan.chosen
    say()
    say(f"Your f/{at.f_number:g}   {_flash_words(plan, at)}")
    _say_depth(at)
    _wrapped(_burst_words(at), "  ")
    _say_push(plan, at)


def _say_light(plan: Plan, shown: list[tuple[str, At]]) -> None:
    start = plan.given
    say()
    say(f"Light      ISO {start.iso:g}, {_time(start.shutter_s)}")
    for name, at in shown:
        light = at.ambient
        if light.stops >= 0:
            say(f"  {name}: the daylight alone is {light.stops:.1f} stops over")
        else:
            say(
                f"  {name}: the daylight is {-light.stops:.1f} stops under, {_share(light.share)} "
                "of the exposure"
            )


def _say_motion(plan: Plan, shown: list[tuple[str, At]]) -> None:
    from haltere.plan.aperture_words import told_um as two_digits

    say()
    if plan.sweep.flash is None:
        say("Motion     during the flash: unknown")
        words = {at.motion.blur_words: f"{name}, f/{at.f_number:g}: " for name, at in shown}
        for told, name in words.items():
            _wrapped(f"{name if len(words) > 1 else ''}{told}", "  ")
        return
    say("Motion")
    for name, at in shown:
        motion = at.motion
        _wrapped(
            f"{name}, f/{at.f_number:g}: {two_digits(motion.blur_px)} px of blur; "
            f"{motion.blur_words}",
            "  ",
        )


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


def _flash_words(plan: Plan, at: At) -> str:
    flash = at.flash
    if flash is None:
        return "flash power unknown"
    burns = _time(flash.duration_s)
    if flash.duration_s > plan.given.shutter_s:
        burns += f", longer than the shutter's {_time(plan.given.shutter_s)}"
    if flash.power > 1:
        return f"flash at full power, {burns}: {flash.short_stops:.1f} stops too weak"
    told = f"flash at {flash.power_name}, {burns}"
    if flash.over_stops > 0.05:
        return f"{told}: {flash.over_stops:.1f} stops too strong"
    return told


def _time(seconds: float) -> str:
    from haltere.plan.motion import told_s

    return told_s(seconds)


def _share(share: float) -> str:
    return "less than 1 %" if share < 0.01 else _percent(share, 2)


def _percent(share: float, digits: int = 3) -> str:
    """Write a share in percent without rounding it to all or nothing."""
    return (
        f"{min(100 * share, 99.9 if digits > 2 else 99):.{digits}g} %" if share < 1.0 else "100 %"
    )


def _counted(passes: int) -> str:
    return "one pass" if passes == 1 else f"{passes} passes"


def _wrapped(text: str, lead: str) -> None:
    say(textwrap.fill(text, _WIDE, initial_indent=lead, subsequent_indent=" " * len(lead)))


def say_why(why: Why, as_json: bool) -> None:
    """Print how one number came about."""
    if as_json:
        say_json(json.dumps(asdict(why), indent=2, ensure_ascii=False, default=str) + "\n")
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


def say_hand(answer: Plan, own: PlanNumbers) -> None:
    """Say what the plan took over of the photographer's own hand, and how they push."""
    from haltere.plan.sweep import at_push

    parts = []
    if own.hand_spread_mm is not None and own.sway_s is not None:
        parts.append(f"wanders by {own.hand_spread_mm:.2g} mm and forgets it in {own.sway_s:.2g} s")
    if own.unevenness is not None:
        parts.append(f"steps unevenly by {100 * own.unevenness:.0f} %")
    say()
    say(f"Your own hand {' and '.join(parts)}; haltere hand tells how sure that is.")
    if own.push_mm_s is not None:
        asked = answer.chosen.sweep.hand_push_mm_s
        say(f"You usually push at {own.push_mm_s:.2g} mm/s; this plan asks for {asked:.2g} mm/s.")
        usual = at_push(answer, own.push_mm_s)
        if usual is not None:
            enough = (
                "more than a dozen passes"
                if usual.passes is None
                else ("one pass" if usual.passes == 1 else f"{usual.passes} passes")
            )
            say(
                f"At your speed the planes lie {usual.step_mm:.2g} mm apart: one pass leaves a gap "
                f"in {100 * usual.gap_chance:.0f} % of cases, {enough} leave none."
            )
