"""Plain text and JSON for what a calibration found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from haltere.doors.cli import saying
from haltere.show import words

if TYPE_CHECKING:
    from haltere.calibration import RuleScale, SweepScale
    from haltere.frames.frame import Skipped
    from haltere.kit import Kit
    from haltere.kit.capture import Capture

FAR_OFF = 1.5  # factor between kit and rule beyond which one of them is not what was meant


def thin_lens_mm(taken: Capture, magnification: float) -> float | None:
    """Pupil distance by the thin-lens formula at the measured magnification, None if unknown."""
    from haltere.optics import plane_to_pupil_mm

    if taken.focal_mm is None:
        return None
    return plane_to_pupil_mm(taken.focal_mm, magnification, taken.pupil_magnification)


def formula_f_number(taken: Capture, magnification: float) -> float | None:
    """Effective f-number by N (1 + m/p) at the measured magnification, None if unknown."""
    from haltere.optics import effective_f_number

    if taken.f_number is None:
        return None
    return effective_f_number(taken.f_number, magnification, taken.pupil_magnification)


def say(
    kit: Kit,
    taken: Capture,
    rule: RuleScale | None,
    sweep: SweepScale | None,
    skipped: Sequence[Skipped],
) -> None:
    """Print what was measured, and what it changes."""
    if sweep is None and rule is not None:
        say_rule(kit, rule)
        saying.say_skipped(skipped)
    if sweep is not None:
        _say_sweep(kit, taken, rule, sweep)
        saying.say_skipped([*skipped, *sweep.skipped])


def say_rule(kit: Kit, rule: RuleScale) -> None:
    """Print what a flat picture says."""
    saying.say(
        f"Magnification {_told(rule.magnification, rule.magnification_sigma)} "
        f"({_ratio(rule.magnification)}), from {rule.marks} marks of the rule in {rule.frame}."
    )
    _compare_magnification(kit, rule.magnification)
    saying.say(f"A pixel covers {1000 * rule.mm_per_px:.3g} µm of the subject.")
    if rule.finer:
        saying.say(
            "Two scales were seen, one twice as fine; the finer was taken for what --rule says."
        )


def _compare_magnification(kit: Kit, measured: float) -> None:
    """Print how a measured magnification changes lengths measured with the kit's."""
    if kit.magnification is None:
        return
    change = measured / kit.magnification - 1.0
    saying.say(
        f"  Your kit says {kit.magnification:g}; lengths measured with it were "
        f"{_percent(change, 'too long', 'too short')}."
    )
    if not 1.0 / FAR_OFF <= measured / kit.magnification <= FAR_OFF:
        saying.say(
            "  That is far off: is --rule right, or was the lens at another focus setting or with "
            "other tubes?"
        )


def _compare_pupil(kit: Kit, measured_mm: float) -> None:
    """Print how a measured pupil distance moves the planes of sweeps against the kit's."""
    if kit.pupil_distance_mm is None:
        return
    change = measured_mm / kit.pupil_distance_mm - 1.0
    saying.say(
        f"  Your kit says {kit.pupil_distance_mm:g} mm; the planes of your sweeps lie "
        f"{_percent(change, 'farther apart', 'closer together')} than with it."
    )


def _say_sweep(kit: Kit, taken: Capture, rule: RuleScale | None, sweep: SweepScale) -> None:
    from haltere.calibration import push_doubt

    say = saying.say
    total = len(sweep.frames) + len(sweep.skipped)
    say(
        f"Measured on {len(sweep.frames)} of {words.counted(total, 'frame')} of a rule tilted by "
        f"{_told(sweep.tilt_deg, sweep.tilt_sigma_deg)} degrees."
    )
    say()
    say(
        f"Magnification {_told(sweep.magnification, sweep.magnification_sigma)} "
        f"({_ratio(sweep.magnification)})"
        + ("." if rule is None else f", with {rule.marks} marks of the flat rule in {rule.frame}.")
    )
    _compare_magnification(kit, sweep.magnification)
    s = sweep.pupil_distance_mm
    say(f"Entrance pupil {_told(s, sweep.pupil_distance_sigma_mm)} mm from the plane of focus.")
    _compare_pupil(kit, s)
    thin = thin_lens_mm(taken, sweep.magnification)
    if thin is not None:
        say(
            f"  The thin-lens formula gives {thin:.1f} mm for {taken.focal_mm:g} mm. With the "
            f"measured distance, the planes of your sweeps lie "
            f"{_percent(s / thin - 1.0, 'farther apart', 'closer together')} than it says."
        )
    effective = sweep.effective_f_number
    say(f"Effective f-number {_told(effective, sweep.effective_f_number_sigma)}.")
    formula = formula_f_number(taken, sweep.magnification)
    if formula is not None:
        say(f"  The formula gives {formula:.3g} for a marked f/{taken.f_number:g}.")
    say(
        f"Depth of field {_told(sweep.depth_of_field_mm, sweep.depth_of_field_sigma_mm)} mm for a "
        f"circle of confusion of {sweep.coc_mm:g} mm."
    )
    push = sweep.push
    step = f"{_told(push.mm_per_frame, push.mm_per_frame_sigma)} mm a frame"
    uneven = f"steps uneven by {100 * push.unevenness:.0f} %"
    if push.mm_s is not None and push.mm_s_sigma is not None:
        say(f"Push {_told(push.mm_s, push.mm_s_sigma)} mm/s, {step}, {uneven}.")
    else:
        say(f"Push {step}, {uneven}; no speed, since {push.why_no_speed}.")
    if push.backward:
        say(f"  {words.counted(push.backward, 'step')} went backwards.")
    doubt = push_doubt(push, len(sweep.frames) - 1)
    if push.mm_s is not None and doubt is not None:
        say(f"  The push is left out of the kit: {doubt}.")
    if sweep.numbered_by_steadiness:
        many = words.counted(sweep.numbered_by_steadiness, "frame")
        say(
            f"  In {many} nothing but a steady push told one mark from its neighbour; if the push "
            "looks wrong, have numbers or longer marks in the picture, or push more slowly."
        )


def say_kit(lines: str, written: Path | None) -> None:
    """Print where the new kit lies, or the lines to add to it."""
    saying.say()
    if written is not None:
        saying.say(f"The new kit is in {written}.")
    elif lines:
        saying.say("For your kit file:")
        saying.say()
        saying.say(lines.rstrip("\n"))


def say_json(
    taken: Capture,
    rule: RuleScale | None,
    sweep: SweepScale | None,
    lines: str,
    skipped: Sequence[Skipped],
) -> None:
    """Print everything as JSON."""
    from haltere.evening import as_json, with_skipped

    said: dict[str, Any] = {
        "kind": "flat" if sweep is None else "sweep",
        "magnification": None,
        "magnification_sigma": None,
        "mm_per_px": None,
        "flat": None if rule is None else asdict(rule),
        "sweep": None,
        "kit_lines": lines,
    }
    best = sweep or rule
    if best is not None and taken.pixel_pitch_mm is not None:
        said["magnification"] = best.magnification
        said["magnification_sigma"] = best.magnification_sigma
        said["mm_per_px"] = taken.pixel_pitch_mm / best.magnification
    left = list(skipped)
    if sweep is not None:
        told = asdict(sweep)
        left += sweep.skipped
        del told["skipped"]
        told["thin_lens_pupil_distance_mm"] = thin_lens_mm(taken, sweep.magnification)
        told["formula_effective_f_number"] = formula_f_number(taken, sweep.magnification)
        said["sweep"] = told
    saying.say_json(as_json(with_skipped(said, left)))


def _told(value: float, sigma: float) -> str:
    """Write a number with its error, to the digits that the error leaves."""
    import math

    if not sigma > 0.0:
        return f"{value:.4g}"
    digits = max(0, 1 - math.floor(math.log10(sigma)) - (1 if f"{sigma:.0e}"[0] > "2" else 0))
    return f"{value:.{digits}f} ± {sigma:.{digits}f}"


def _ratio(magnification: float) -> str:
    if magnification >= 1.0:
        return f"{magnification:.3g}:1"
    return f"1:{1.0 / magnification:.3g}"


def _percent(change: float, more: str, less: str) -> str:
    return f"{100.0 * abs(change):.1f} % {more if change >= 0.0 else less}"
