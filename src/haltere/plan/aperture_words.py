"""Why these f-numbers, in a photographer's words."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

from haltere import optics
from haltere.plan.given import STANDINS

if TYPE_CHECKING:
    from haltere.plan.given import Given

Enough = Literal["enough", "nearly", "far"]

TOO_MANY_FRAMES = 2000
"""A sweep of so many outlasts every animal and every buffer (assumed)."""


def told_um(value: float) -> str:
    """Round to two digits, without powers of ten.

    Parameters
    ----------
    value : float
        Any number above 0.

    Returns
    -------
    str
        As told to people.
    """
    return f"{value:.2g}" if value < 100.0 else f"{value:.0f}"


def _megapixels(given: Given, f_number: float) -> float:
    return optics.resolved_megapixels(given.effective(f_number), *given.sensor_mm, given.pitch_mm)


def single_reason(
    given: Given, single: float, exact: float, flat: float, details: dict[str, float]
) -> str:
    """Tell why an f-number is the one for a single shot.

    Parameters
    ----------
    given : Given
        Kit and wishes.
    single, exact, flat : float
        The choice, the optimum before rounding, and the choice for a flat thing.
    details : dict
        `detail_um`, `middle_detail_um` as in `Aperture`.

    Returns
    -------
    str
        In words, without a full stop.
    """
    depth, last = given.wishes.depth_mm, given.f_numbers[-1]
    if exact > last * 2.0 ** (1 / 6):
        return (
            f"f/{exact:.0f} would balance defocus and diffraction over {depth:g} mm, more than the "
            f"ring has; f/{single:g} comes closest. The ends stay soft, and diffraction leaves "
            f"{told_um(_megapixels(given, single))} megapixels of detail even in the middle: wider "
            "open with the focus on the eyes may please more"
        )
    if single == flat and exact < flat:
        return (
            f"{depth:g} mm is so shallow here that a perfect lens would want f/{exact:.2g}; a real "
            f"one is better corrected at f/{single:g}"
        )
    return (
        f"over {depth:g} mm, focused in the middle, it keeps most contrast at both ends: hairs of "
        f"{told_um(details['detail_um'])} µm there and {told_um(details['middle_detail_um'])} µm "
        f"in the middle ({told_um(_megapixels(given, single))} megapixels of detail). Wider open "
        "the ends blur, stopped down further diffraction softens everything"
    )


def flat_reason(given: Given, flat: float, full: float | None) -> str:
    """Tell why an f-number is the one for a flat thing.

    Parameters
    ----------
    given : Given
        Kit and wishes.
    flat : float
        The choice.
    full : float or None
        Smallest opening that costs the pixels nothing.

    Returns
    -------
    str
        In words, without a full stop.
    """
    widest = given.f_numbers[0]
    stops = f"{STANDINS.sharp_stops_down:g} stops below the widest, f/{widest:g}"
    if full is None:
        cost = (
            "diffraction alone would ask for the widest, even that costs your pixels detail: if "
            "your lens is good wider open, open it"
        )
    elif full < flat:
        cost = (
            f"diffraction costs your pixels detail from f/{full:g} on: if your lens is good wider "
            "open, open it"
        )
    else:
        cost = f"down to f/{full:g} diffraction takes no detail from your pixels, only contrast"
    return f"lenses are soft wide open and well corrected about {stops}; {cost}"


def sweep_reason(
    given: Given, f_number: float, start: float, free: bool, frames: tuple[int, int, int]
) -> str:
    """Tell why an f-number is the one for a pushed sweep.

    Parameters
    ----------
    given : Given
        Kit and wishes.
    f_number, start : float
        The choice, and what it would be if a pass could be as long as one likes.
    free : bool
        Whether diffraction takes nothing from the pixels at `start`.
    frames : tuple of int
        Of a pass at the choice, at `start`, and at most.

    Returns
    -------
    str
        In words, without a full stop.
    """
    needed, at_start, most = frames
    depth = given.wishes.depth_mm
    count = "1 frame covers" if needed == 1 else f"{needed} frames cover"
    if needed > TOO_MANY_FRAMES:
        return (
            f"even f/{f_number:g} needs {needed} frames for {depth:g} mm, more than any hand "
            "pushes: choose a smaller magnification, or a part of the animal"
        )
    if needed > most:
        parts = math.ceil(needed / most)
        said = "two parts" if parts == 2 else f"{parts} parts"
        return (
            f"even f/{f_number:g} needs {needed} frames for {depth:g} mm, more than the {most} of "
            f"one pass: sweep the animal in {said}, or less of it"
        )
    if f_number > start:
        return (
            f"f/{start:g} would be finer but needs {at_start} frames for {depth:g} "
            f"mm, more than the {most} of one pass; at f/{f_number:g} {count} it"
        )
    if free:
        return (
            f"the smallest opening at which diffraction takes no detail from your pixels; {count} "
            f"{depth:g} mm"
        )
    return (
        "the widest at which a lens is usually well corrected; stopping down would cost detail; "
        f"{count} {depth:g} mm"
    )


def one_shot_text(
    given: Given, verdict: Enough, frames: int, f_number: float, details: dict[str, float]
) -> str:
    """Tell whether one shot is enough, and what a sweep would bring.

    Parameters
    ----------
    given : Given
        Kit and wishes.
    verdict : {"enough", "nearly", "far"}
        How the detail at the ends compares with what is asked for.
    frames : int
        Of the sweep.
    f_number : float
        Of the sweep.
    details : dict
        `asked_um`, `detail_um`, `sweep_detail_um` as in `Aperture`.

    Returns
    -------
    str
        One or two sentences.
    """
    depth, asked, ends = given.wishes.depth_mm, details["asked_um"], details["detail_um"]
    if verdict == "enough":
        return (
            f"One shot is enough: it shows hairs of {told_um(ends)} µm from end to end of "
            f"{depth:g} mm, and your print or pixels ask for {told_um(asked)} µm."
        )
    far = "far from enough" if verdict == "far" else "not quite enough"
    found = details["sweep_detail_um"]
    if found >= ends:
        return (
            f"One shot is {far}: {told_um(ends)} µm at the ends of {depth:g} mm where print or "
            f"pixels ask for {told_um(asked)} µm; but a sweep brings no more at f/{f_number:g}."
        )
    count = "1 frame" if frames == 1 else f"{frames} frames"
    return (
        f"One shot is {far}: hairs of {told_um(ends)} µm at the ends of {depth:g} mm, where print "
        f"or pixels ask for {told_um(asked)} µm. A sweep of {count} at f/{f_number:g} shows "
        f"{told_um(found)} µm all over."
    )
