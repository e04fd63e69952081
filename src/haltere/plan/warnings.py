"""What the photographer should know before going out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from haltere.plan.aperture_words import TOO_MANY_FRAMES
from haltere.plan.aperture_words import told_um as two_digits
from haltere.plan.flash import FLASH_STANDINS
from haltere.plan.motion import told_s
from haltere.plan.plan import At, Warned
from haltere.plan.shading import GHOST, lower_iso

if TYPE_CHECKING:
    from collections.abc import Iterator

    from haltere.plan.aperture import Aperture
    from haltere.plan.flash import Flash
    from haltere.plan.given import Given


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
    off_stops : float
        A third of a stop: less is not seen, and dials are no finer.
    """

    beyond_useful: float = 1.42
    close_mm: float = 40.0
    slow_fps: float = 2.0
    off_stops: float = 0.32


LIMITS = WarningLimits()

Spoken = tuple[At, str, bool]
"""Chapters, what the f-number is called, and whether a sweep is made with it."""


def warnings_of(
    given: Given, aperture: Aperture, chosen: At, single: At, pushed: At
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

    Returns
    -------
    tuple of Warned
        Most urgent first; each that depends on an f-number names it.
    """
    spoken = _spoken(given, chosen, single, pushed)
    found = [
        *_reach(given),
        *_shutter(given),
        *_iso(given),
        *_f_number(given, aperture, chosen),
        *(one for each in spoken for one in _daylight(given, each)),
        *_eyes(given),
        *([] if pushed.flash is not None else [_UNKNOWN]),
        *(one for each in spoken for one in _flash(given, each)),
        *(one for each in spoken if each[2] for one in _sweep(given, each[0])),
        *_distance(given),
    ]
    return tuple(found)


def _spoken(given: Given, chosen: At, single: At, pushed: At) -> list[Spoken]:
    """Name each f-number once."""
    if single.f_number == pushed.f_number:
        found = [(pushed, f"f/{pushed.f_number:g} (one shot and sweep)", True)]
    else:
        found = [
            (single, f"f/{single.f_number:g} (one shot)", False),
            (pushed, f"f/{pushed.f_number:g} (sweep)", True),
        ]
    if all(chosen.f_number != at.f_number for at, _name, _sweeps in found):
        whose = "yours" if given.wishes.f_number is not None else "your kit's"
        found.append((chosen, f"f/{chosen.f_number:g} ({whose})", True))
    return found


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


def _iso(given: Given) -> list[Warned]:
    lowest = given.kit.iso_min
    if lowest is None or given.iso >= lowest * 0.999:
        return []
    return [
        Warned(
            "iso-below-camera",
            f"ISO {given.iso:g} is lower than this camera goes: plan again with --iso "
            f"{lowest:g} or more.",
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
                n,
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
                n,
            )
        )
    return found


def _daylight(given: Given, spoken: Spoken) -> Iterator[Warned]:
    at, name, _sweeps = spoken
    light = at.ambient
    cure = light.shading_words[:1].upper() + light.shading_words[1:]
    sunny = given.wishes.light in ("sun", "hazy")
    if light.stops >= 0:
        yield Warned(
            "ambient-overexposes",
            f"At {name} the daylight alone is {light.stops:.1f} stops over: the flash can't win. "
            f"{cure}.",
            at.f_number,
        )
    elif light.shading_needed_stops >= GHOST.worth_stops:
        what = "sun on the animal" if sunny else "the daylight"
        yield Warned(
            "sun-on-animal" if sunny else "ambient-ghost",
            f"At {name} {what} gives {100 * min(light.share, 0.99):.0f} % of the exposure and "
            f"leaves a ghost of {two_digits(light.ghost_px)} px beside the flash picture. {cure}.",
            at.f_number,
        )


def _eyes(given: Given) -> list[Warned]:
    if given.wishes.light not in ("sun", "hazy"):
        return []
    return [
        Warned(
            "sun-and-eyes",
            "Never aim at the sun through an optical finder, and don't leave the lens open to it: "
            "it burns eyes and shutters.",
        )
    ]


_UNKNOWN = Warned(
    "flash-unknown",
    "Without the flash's guide number its power and duration stay open; give it in metres at "
    "ISO 100 (--guide-number).",
)


def _flash(given: Given, spoken: Spoken) -> Iterator[Warned]:
    at, name, _sweeps = spoken
    flash = at.flash
    if flash is None:
        return
    ghost = at.ambient.shading_needed_stops >= GHOST.worth_stops
    if flash.power > 1:
        more = "" if ghost else ", or raise the ISO speed"  # which the daylight would gain from too
        yield Warned(
            "flash-too-weak",
            f"At {name} the flash is {flash.short_stops:.1f} stops short: bring it closer or take "
            f"off a layer of diffuser{more}.",
            at.f_number,
        )
    if flash.over_stops > LIMITS.off_stops:
        less = ", lower the ISO speed" if lower_iso(given) else ""
        yield Warned(
            "flash-too-strong",
            f"At {name} even the flash's smallest power is {flash.over_stops:.1f} stops too much: "
            f"add a layer of diffuser{less}, or move it away.",
            at.f_number,
        )
    if flash.duration_s > given.shutter_s:
        cure = "take a longer shutter time"
        if given.kit.flash_kind == "cut" and not at_smallest(given, flash):
            cure += " or less power"
        yield Warned(
            "flash-longer-than-shutter",
            f"At {name} the flash burns {told_s(flash.duration_s)}, longer than the shutter is "
            f"open, {told_s(given.shutter_s)}: a part of its light is cut off. Better {cure}.",
            at.f_number,
        )


def at_smallest(given: Given, flash: Flash) -> bool:
    """Tell whether a flash can't give less than it does.

    Parameters
    ----------
    given : Given
        Kit and wishes.
    flash : Flash
        As set.

    Returns
    -------
    bool
        At the end of its dial.
    """
    smallest = given.kit.smallest_power or FLASH_STANDINS.smallest_power
    return flash.power_step <= smallest * 1.01


def _sweep(given: Given, at: At) -> Iterator[Warned]:
    sweep, n = at.sweep, at.f_number
    if sweep.frames > TOO_MANY_FRAMES:
        yield Warned(
            "animal-too-deep",
            f"At f/{n:g} {given.wishes.depth_mm:g} mm would take {sweep.frames} frames, more than "
            "any hand pushes: choose a smaller magnification, or a part of the animal.",
            n,
        )
        return
    if sweep.frames == 1:  # nothing to push
        return
    # less power: only from a flash that can, and never by letting more daylight in
    less = at.flash is not None and not at_smallest(given, at.flash)
    if sweep.rate_limit == "flash":
        lower = ", or lower the power: bring the flash closer" if less else ""
        if less and at.ambient.shading_needed_stops < GHOST.worth_stops:
            lower += ", or raise the ISO speed"
        yield Warned(
            "recycle-too-slow",
            f"At f/{n:g} (sweep) the flash recycles only {sweep.rate_fps:.1f} times a second, the "
            f"camera takes {given.rate_fps:g} frames: frames will be dark. Set the camera slower"
            f"{lower}.",
            n,
        )
    buffer = given.kit.buffer_frames
    if buffer is not None and sweep.hand_frames > buffer:
        yield Warned(
            "buffer-too-small",
            f"At f/{n:g} one careful pass takes {sweep.hand_frames} frames, the camera slows down "
            f"after {buffer}: push in parts that overlap.",
            n,
        )
    if sweep.rate_fps < LIMITS.slow_fps:
        lower = (
            "; or bring the flash closer, so that it recycles faster"
            if less and sweep.rate_limit == "flash"
            else ""
        )
        yield Warned(
            "sweep-too-slow",
            f"At f/{n:g} and {sweep.rate_fps:.1f} frames a second a hand can't push steadily "
            f"({sweep.push_mm_s:.2g} mm/s): lean on something{lower}.",
            n,
        )


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
