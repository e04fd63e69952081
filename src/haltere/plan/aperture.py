"""Which f-number: for a flat thing, for an animal in a single shot, and for a pushed sweep."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from haltere import optics
from haltere.plan.aperture_told import EXPLANATIONS
from haltere.plan.aperture_words import (
    Enough,
    flat_reason,
    one_shot_text,
    single_reason,
    sweep_reason,
)
from haltere.plan.contrast import (
    RESOLVES,
    contrast_at,
    finest_lp_mm,
    finest_over_depth_lp_mm,
    sharp_limit,
    sharpest_effective,
)
from haltere.plan.given import STANDINS

if TYPE_CHECKING:
    from haltere.plan.given import Given

__all__ = [
    "CHOOSING",
    "EXPLANATIONS",
    "Aperture",
    "CurvePoint",
    "aperture",
    "asked_lp_mm",
]


@dataclass(frozen=True, slots=True)
class Choosing:
    """Numbers that decide on an f-number, each with its reason.

    Attributes
    ----------
    most_frames : int
        A pass longer than this outlasts a steady arm and the animal's patience (assumed); a
        smaller buffer counts instead.
    most_stops : float
        A sweep is not stopped down further than this for the sake of fewer frames: a stop costs
        half of the megapixels that diffraction leaves, and an animal can be pushed in two parts.
    airy_k : float
        Closed form m sqrt(d / (K lambda)) with disc and Airy disc alike; 4.88 is twice 2.44.
    beyond_use : float
        Single shots that bring less than this share of the detail asked for are called hopeless
        (assumed: half the detail is a print of half the size).
    """

    most_frames: int = 40
    most_stops: float = 1.0
    airy_k: float = 4.88
    beyond_use: float = 0.5


CHOOSING = Choosing()


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """What one marked f-number does for an animal of this depth, focused in its middle.

    Attributes
    ----------
    f_number, f_number_effective : float
        As marked, and as the sensor sees it.
    middle_lp_mm, ends_lp_mm, sweep_lp_mm : float
        Finest pattern that shows in the middle, at both ends, and anywhere in an even sweep (half
        a step off its nearest plane); line pairs a millimetre on the animal, at most what the
        pixels hold.
    middle_contrast, ends_contrast : float
        Contrast left at `Aperture.judged_lp_mm`; negative where stripes come back reversed.
    ends_blur_um : float
        Blur disc and Airy disc at the ends, on the sensor.
    frames : int
        Of an even sweep at this f-number.
    """

    f_number: float
    f_number_effective: float
    middle_lp_mm: float
    ends_lp_mm: float
    sweep_lp_mm: float
    middle_contrast: float
    ends_contrast: float
    ends_blur_um: float
    frames: int


@dataclass(frozen=True, slots=True)
class Aperture:
    """The f-numbers to use, and why.

    Attributes
    ----------
    best_f_number : float
        Marked f-number for a single shot of the animal, focused in its middle.
    single_reason : str
        Why.
    best_flat_f_number : float
        Marked f-number for a flat thing that lies in the plane of focus.
    flat_reason : str
        Why.
    sweep_f_number : float
        Marked f-number for a pushed sweep.
    sweep_reason : str
        Why.
    exact_f_number : float
        Marked f-number that keeps most contrast at both ends, not rounded to what the ring has,
        and not bound to its range.
    closed_form_f_number : float
        The rule m sqrt(d / (4.88 lambda)) as a marked f-number, for comparison.
    full_detail_f_number : float or None
        Smallest opening at which diffraction takes nothing from the pixels; None when even the
        widest does.
    judged_lp_mm : float
        Line pairs a millimetre on the sensor by which the single shot is judged.
    asked_lp_mm : float
        Finest pattern on the sensor that print or pixels ask for, the coarser of the two.
    asked_um, detail_um, middle_detail_um, sweep_detail_um : float
        Width of the finest hair that shows on the animal: as asked for; in a single shot at both
        ends and in the middle; in a sweep anywhere.
    one_shot_enough : bool
        Whether the single shot shows what is asked for from end to end.
    one_shot_text : str
        The same in words.
    sweep_frames : int
        Frames of an even sweep at `sweep_f_number`.
    curve : tuple of CurvePoint
        Every marked f-number of the lens.
    """

    best_f_number: float
    single_reason: str
    best_flat_f_number: float
    flat_reason: str
    sweep_f_number: float
    sweep_reason: str
    exact_f_number: float
    closed_form_f_number: float
    full_detail_f_number: float | None
    judged_lp_mm: float
    asked_lp_mm: float
    asked_um: float
    detail_um: float
    middle_detail_um: float
    sweep_detail_um: float
    one_shot_enough: bool
    one_shot_text: str
    sweep_frames: int
    curve: tuple[CurvePoint, ...]


def aperture(given: Given) -> Aperture:
    """Choose the f-numbers for a flat thing, a single shot and a sweep.

    Parameters
    ----------
    given : Given
        Kit and wishes.

    Returns
    -------
    Aperture
        With the whole curve. The single shot is judged by the finest pattern that print or pixels
        ask for; where no f-number brings that to both ends, by the finest that any brings.
    """
    m, depth = given.lens.magnification, given.wishes.depth_mm
    factor = given.lens.f_number_factor
    asked = asked_lp_mm(given)
    judged = min(asked, finest_over_depth_lp_mm(depth, m))
    exact = sharpest_effective(judged, depth, m)[0] / factor
    flat = _flat(given)
    single = max(_nearest(given, exact), flat)
    full = _full_detail(given)
    start = flat if full is None else max(flat, full)
    pushed, frames = _for_sweep(given, start)
    curve = _curve(given, judged)
    shot = next(point for point in curve if point.f_number == single)
    push = next(point for point in curve if point.f_number == pushed)
    details = {
        "asked_um": _hair_um(asked * m),
        "detail_um": _hair_um(shot.ends_lp_mm),
        "middle_detail_um": _hair_um(shot.middle_lp_mm),
        "sweep_detail_um": _hair_um(push.sweep_lp_mm),
    }
    verdict: Enough = "enough"
    if shot.ends_lp_mm < asked * m * (1.0 - 1e-3):
        far = shot.ends_lp_mm < CHOOSING.beyond_use * asked * m
        verdict = "far" if far else "nearly"
    return Aperture(
        best_f_number=single,
        single_reason=single_reason(given, single, exact, flat, details),
        best_flat_f_number=flat,
        flat_reason=flat_reason(given, flat, full),
        sweep_f_number=pushed,
        sweep_reason=sweep_reason(
            given,
            pushed,
            start,
            start == full,
            (frames, _frames(given, start), _most_frames(given)),
        ),
        exact_f_number=exact,
        closed_form_f_number=optics.best_effective_f_number(depth, m, k=CHOOSING.airy_k) / factor,
        full_detail_f_number=full,
        judged_lp_mm=judged,
        asked_lp_mm=asked,
        one_shot_enough=verdict == "enough",
        one_shot_text=one_shot_text(given, verdict, frames, pushed, details),
        sweep_frames=frames,
        curve=curve,
        **details,
    )


def asked_lp_mm(given: Given) -> float:
    """Tell the finest pattern that the photograph is to show.

    Parameters
    ----------
    given : Given
        Kit and wishes.

    Returns
    -------
    float
        Line pairs a millimetre on the sensor: what the eye resolves on the print as wished,
        or the finest that the pixels hold, whichever is coarser.
    """
    w = given.wishes
    enlargement = w.print_width_mm / (given.sensor_mm[0] * w.crop)
    seen_mm = optics.seen_size_mm(w.acuity_arcmin, w.viewing_mm)
    return min(enlargement / (2.0 * seen_mm), 1.0 / (2.0 * given.pitch_mm))


def _hair_um(lp_mm: float) -> float:
    """Width of one line of a pattern."""
    return 1000.0 / (2.0 * lp_mm)


def _one_frame_mm(given: Given, f_number: float) -> float:
    return optics.depth_of_field_mm(
        given.coc_mm, given.effective(f_number), given.lens.magnification
    )


def _frames(given: Given, f_number: float) -> int:
    one = _one_frame_mm(given, f_number)
    beyond = max(given.wishes.depth_mm - one, 0.0)
    return math.ceil(beyond / (one * (1.0 - given.wishes.overlap)) * (1.0 - 1e-12)) + 1


def _nearest(given: Given, f_number: float) -> float:
    """Give the marked f-number of the lens next to one, in stops."""
    return min(given.f_numbers, key=lambda marked: abs(math.log(marked / f_number)))


def _flat(given: Given) -> float:
    """Widest f-number at which a usual lens is well corrected."""
    corrected = given.f_numbers[0] * 2.0 ** (STANDINS.sharp_stops_down / 2.0)
    return _nearest(given, corrected)


def _full_detail(given: Given) -> float | None:
    """Smallest opening that still brings a tenth of the contrast to the pixels' finest pattern."""
    most = sharp_limit(RESOLVES.last_trace) * 2.0 * given.pitch_mm
    good = [n for n in given.f_numbers if given.effective(n) <= most]
    return good[-1] if good else None


def _for_sweep(given: Given, start: float) -> tuple[float, int]:
    """Stop down from where the pixels lose nothing only if a pass gets too long."""
    most = _most_frames(given)
    end = start * 2.0 ** (CHOOSING.most_stops / 2.0) * 1.03  # engraved marks are rounded
    marks = [n for n in given.f_numbers if start <= n <= end]
    short = (n for n in marks if _frames(given, n) <= most)
    chosen = next(short, marks[-1])
    return chosen, _frames(given, chosen)


def _most_frames(given: Given) -> int:
    return min(CHOOSING.most_frames, given.kit.buffer_frames or CHOOSING.most_frames)


def _curve(given: Given, judged: float) -> tuple[CurvePoint, ...]:
    m, half = given.lens.magnification, given.wishes.depth_mm / 2.0
    ne = np.array([given.effective(n) for n in given.f_numbers])
    nyquist = 1.0 / (2.0 * given.pitch_mm)
    middle = np.minimum(sharp_limit(RESOLVES.seen) / ne, nyquist) * m
    ends = np.minimum(finest_lp_mm(ne, half, m), nyquist) * m
    one = np.array([_one_frame_mm(given, n) for n in given.f_numbers])
    steps = np.minimum(one * (1.0 - given.wishes.overlap), given.wishes.depth_mm)
    swept = np.minimum(finest_lp_mm(ne, steps / 2.0, m), nyquist) * m
    sharp, off = (contrast_at(judged, ne, at, m) for at in (0.0, half))
    discs = half * m**2 / ne
    blurs = 1000.0 * np.hypot(discs, [optics.airy_diameter_mm(float(n)) for n in ne])
    return tuple(
        CurvePoint(
            f_number=f_number,
            f_number_effective=float(ne[i]),
            middle_lp_mm=float(middle[i]),
            ends_lp_mm=float(ends[i]),
            sweep_lp_mm=float(swept[i]),
            middle_contrast=float(sharp[i]),
            ends_contrast=float(off[i]),
            ends_blur_um=float(blurs[i]),
            frames=_frames(given, f_number),
        )
        for i, f_number in enumerate(given.f_numbers)
    )
