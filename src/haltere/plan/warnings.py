"""What the photographer should know before going out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from haltere.plan.plan import At, Warned

if TYPE_CHECKING:
    from haltere.plan.aperture import Aperture
    from haltere.plan.given import Given
    from haltere.plan.hours import Hours


@dataclass(frozen=True, slots=True)
class WarningLimits:
    """When a warning is due, each with its reason.

    Attributes
    ----------
    beyond_useful : float
        f-number over the best for this depth: a whole stop further only costs detail (1.41).
    close_mm : float
        Nearer than this, many animals leave and the lens shades the flash (common practice, no
        source).
    slow_fps : float
        Below this a hand can't push steadily through an animal (assumed).
    """

    beyond_useful: float = 1.42
    close_mm: float = 40.0
    slow_fps: float = 2.0


LIMITS = WarningLimits()


def warnings_of(
    given: Given,
    aperture: Aperture,
    chosen: At,
    single: At,
    pushed: At,
    hours: Hours | None,
) -> tuple[Warned, ...]:
    """Collect what speaks against these settings.

    Parameters
    ----------
    given : Given
        Kit and wishes.
    aperture : Aperture
        Choice of f-number.
    chosen, single, pushed : At
        At the f-number asked for, for one shot, for a sweep.
    hours : Hours or None
        The day.

    Returns
    -------
    tuple of Warned
        Most urgent first.
    """
    found = [
        *_reach(given),
        *_shutter(given),
        *_f_number(given, aperture, chosen),
        *_sun(given, chosen, single, pushed, hours),
        *_flash(given, chosen),
        *_burst(given, pushed),
        *_distance(given),
    ]
    return tuple(found)


def _reach(given: Given) -> list[Warned]:
    high = given.reach[1]
    m = given.lens.magnification
    if math.isinf(high) or m <= high * 1.01:
        return []
    kit, focal = given.kit, given.lens.focal_mm
    dioptres, separation = kit.close_up_dpt or 0.0, kit.close_up_separation_mm or 0.0
    # a tube's gain is seen through the close-up lens and multiplied by the converter
    gain = (1.0 + (focal - separation) * dioptres / 1000.0) * (kit.converter or 1.0)
    cures = [f"{(m - high) * focal / gain:.0f} mm of tubes"]
    if kit.close_up_dpt is None and kit.converter is None:
        power = 1000.0 * (m - high) / (focal * (1.0 + high) - separation * high)
        cures.append(f"a close-up lens of about {power:.0f} dioptres")
    return [
        Warned(
            "magnification-not-reachable",
            f"{m:g}:1 is out of reach: this kit goes to {high:.3g}:1. {' or '.join(cures)} would "
            "get there; the numbers here are for a lens drawn out that far.",
        )
    ]


def _shutter(given: Given) -> list[Warned]:
    sync = given.kit.sync_s
    if sync is None or given.shutter_s >= sync * 0.999:
        return []
    return [
        Warned(
            "sync-speed",
            f"1/{1 / given.shutter_s:.0f} s is shorter than the camera can sync with flash: a part "
            f"of the frame stays dark. Use 1/{1 / sync:.0f} s or longer.",
        )
    ]


def _f_number(given: Given, aperture: Aperture, chosen: At) -> list[Warned]:
    found = []
    n = chosen.f_number
    low, high = given.f_numbers[0], given.f_numbers[-1]
    if not low * 0.97 <= n <= high * 1.03:
        found.append(
            Warned(
                "f-number-not-marked",
                f"f/{n:g} is not on this lens, which goes from f/{low:g} to f/{high:g}.",
            )
        )
    best = max(aperture.best_f_number, aperture.sweep_f_number)
    if n > best * LIMITS.beyond_useful:
        found.append(
            Warned(
                "aperture-beyond-useful",
                f"f/{n:g} is f/{given.effective(n):.0f} at the sensor: diffraction blurs more "
                f"than the depth gains. f/{best:g} shows finer detail over "
                f"{given.wishes.depth_mm:g} mm.",
            )
        )
    return found


def _sun(given: Given, chosen: At, single: At, pushed: At, hours: Hours | None) -> list[Warned]:
    found = []
    ghosted = max((chosen, single, pushed), key=lambda at: at.ambient.share)
    light = ghosted.ambient
    if light.stops > 0:
        found.append(
            Warned(
                "ambient-overexposes",
                f"At f/{ghosted.f_number:g} the daylight alone is {light.stops:.1f} stops over: "
                "the flash can't win. Shade the animal, close the aperture, or lower the ISO "
                "speed.",
            )
        )
    if light.shading_needed_stops > 0:
        what = "Sun on the animal" if given.wishes.light in ("sun", "hazy") else "The daylight"
        found.append(
            Warned(
                "sun-on-animal" if given.wishes.light in ("sun", "hazy") else "ambient-ghost",
                f"{what} gives {light.share:.0%} of the exposure at f/{ghosted.f_number:g} and "
                f"leaves a ghost of {light.ghost_px:.0f} px beside the flash picture; keep off "
                f"{light.shading_needed_stops:.1f} stops, with your body or a leaf.",
            )
        )
    if given.wishes.light in ("sun", "hazy"):
        found.append(
            Warned(
                "sun-and-eyes",
                "Never aim at the sun through an optical finder, and don't leave the lens open to "
                "it: it burns eyes and shutters.",
            )
        )
    return found


def _flash(given: Given, chosen: At) -> list[Warned]:
    flash = chosen.flash
    if flash is None:
        return [
            Warned(
                "flash-unknown",
                "Without the flash's guide number its power and duration stay open; give "
                "--guide-number, in metres at ISO 100.",
            )
        ]
    found = []
    if flash.power > 1:
        found.append(
            Warned(
                "flash-too-weak",
                f"The flash is {math.log2(flash.power):.1f} stops short at f/{chosen.f_number:g}: "
                "bring it closer, take off a layer of diffuser, or raise the ISO speed.",
            )
        )
    smallest = given.kit.smallest_power
    if smallest is not None and flash.power < smallest * 0.8:
        found.append(
            Warned(
                "flash-too-strong",
                f"Even its smallest power is {math.log2(smallest / flash.power):.1f} stops too "
                "much: add a layer of diffuser, lower the ISO speed, or move it away.",
            )
        )
    return found


def _burst(given: Given, pushed: At) -> list[Warned]:
    found = []
    sweep = pushed.sweep
    if sweep.rate_limit == "flash":
        found.append(
            Warned(
                "recycle-too-slow",
                f"The flash recycles only {sweep.rate_fps:.1f} times a second at this power, the "
                f"camera takes {given.rate_fps:g} frames: frames will be dark. Set the camera "
                "slower, or lower the power: closer, wider, or a higher ISO speed.",
            )
        )
    buffer = given.kit.buffer_frames
    if buffer is not None and sweep.hand_frames > buffer:
        found.append(
            Warned(
                "buffer-too-small",
                f"One careful pass takes {sweep.hand_frames} frames, the camera slows down after "
                f"{buffer}: push in parts that overlap.",
            )
        )
    if sweep.rate_fps < LIMITS.slow_fps:
        found.append(
            Warned(
                "sweep-too-slow",
                f"At {sweep.rate_fps:.1f} frames a second a hand can't push steadily "
                f"({sweep.push_mm_s:.2g} mm/s); lean on something, or use less flash power.",
            )
        )
    return found


def _distance(given: Given) -> list[Warned]:
    lens = given.lens
    if lens.working_distance_source == "thin lens":
        return [
            Warned(
                "working-distance-estimated",
                f"The working distance, some {lens.working_distance_mm:.0f} mm, is that of a thin "
                "lens; a real one may differ by half. Measure yours once and put it into the kit.",
            )
        ]
    if lens.working_distance_mm < LIMITS.close_mm:
        return [
            Warned(
                "very-close",
                f"Only {lens.working_distance_mm:.0f} mm from glass to animal: come slowly, mind "
                "the shade of the lens, and leave when the animal wants to.",
            )
        ]
    return []
