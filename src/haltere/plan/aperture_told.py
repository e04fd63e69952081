"""How the choice of f-number came about."""

from __future__ import annotations

from typing import TYPE_CHECKING

from haltere import optics
from haltere.plan.aperture_words import told_um
from haltere.plan.contrast import RESOLVES, sharp_limit
from haltere.plan.given import STANDINS
from haltere.plan.why import Explanation

if TYPE_CHECKING:
    from haltere.plan.plan import Plan


def _best(plan: Plan) -> str:
    a = plan.aperture
    return f"{a.exact_f_number:.3g}, on the ring f/{a.best_f_number:g}: {a.single_reason}"


def _exact(plan: Plan) -> str:
    a, g = plan.aperture, plan.given
    return (
        f"most contrast at {a.judged_lp_mm:.3g} lp/mm, {g.wishes.depth_mm / 2:g} mm off focus at "
        f"{g.lens.magnification:.3g}:1: N_eff {a.exact_f_number * g.lens.f_number_factor:.3g} "
        f"/ {g.lens.f_number_factor:.3g} = f/{a.exact_f_number:.3g}"
    )


def _closed(plan: Plan) -> str:
    a, g = plan.aperture, plan.given
    return (
        f"{g.lens.magnification:.3g} x sqrt({g.wishes.depth_mm:g} mm / (4.88 x 0.00055 mm)) / "
        f"{g.lens.f_number_factor:.3g} = f/{a.closed_form_f_number:.3g}"
    )


def _flat_told(plan: Plan) -> str:
    widest, flat = plan.given.f_numbers[0], plan.aperture.best_flat_f_number
    stops = STANDINS.sharp_stops_down
    return f"f/{widest:g} and {stops:g} stops: f/{flat:g}; {plan.aperture.flat_reason}"


def _sweep_told(plan: Plan) -> str:
    return f"f/{plan.aperture.sweep_f_number:g}: {plan.aperture.sweep_reason}"


def _full(plan: Plan) -> str:
    full, pitch = plan.aperture.full_detail_f_number, plan.given.pitch_mm
    found = "none on the ring" if full is None else f"f/{full:g}"
    most = sharp_limit(RESOLVES.last_trace)
    return (
        f"N_eff up to {most:.0f} / ({1 / (2 * pitch):.0f} lp/mm) = {most * 2 * pitch:.3g}, "
        f"/ {plan.given.lens.f_number_factor:.3g}: {found}"
    )


def _asked(plan: Plan) -> str:
    a, w, sensor = plan.aperture, plan.given.wishes, plan.given.sensor_mm[0]
    seen = optics.seen_size_mm(w.acuity_arcmin, w.viewing_mm)
    enlargement = w.print_width_mm / (sensor * w.crop)
    return (
        f"print: {enlargement:.3g}x / (2 x {seen:.3g} mm) = {enlargement / 2 / seen:.3g} lp/mm; "
        f"pixels: {1 / (2 * plan.given.pitch_mm):.3g} lp/mm; {a.asked_lp_mm:.3g} lp/mm is a hair "
        f"of {told_um(a.asked_um)} µm on the animal"
    )


def _detail(plan: Plan) -> str:
    a = plan.aperture
    return (
        f"at f/{a.best_f_number:g}: {told_um(a.detail_um)} µm at the ends, "
        f"{told_um(a.middle_detail_um)} µm in the middle; asked for {told_um(a.asked_um)} µm"
    )


def _sweep_detail(plan: Plan) -> str:
    a = plan.aperture
    return f"{a.sweep_frames} frames at f/{a.sweep_f_number:g}: {told_um(a.sweep_detail_um)} µm"


def _judged(plan: Plan) -> str:
    a = plan.aperture
    return f"{a.judged_lp_mm:.3g} lp/mm, asked for {a.asked_lp_mm:.3g} lp/mm"


def _curve_told(plan: Plan) -> str:
    few = plan.aperture.curve[:: max(1, len(plan.aperture.curve) // 5)]
    return "lp/mm on the animal, middle and ends: " + ", ".join(
        f"f/{p.f_number:g} {p.middle_lp_mm:.0f} and {p.ends_lp_mm:.0f}" for p in few
    )


_ANIMAL = (
    "wishes.depth_mm",
    "wishes.magnification",
    "kit.pupil_magnification",
    "kit.close_up_dpt",
    "kit.converter",
)
_PRINT = ("wishes.print_width_mm", "wishes.viewing_mm", "wishes.crop")
_SWEEPS = (
    "wishes.depth_mm",
    "wishes.magnification",
    "kit.f_number_min",
    "kit.width_px",
    "kit.sensor_width_mm",
    "kit.coc_mm",
    "wishes.overlap",
    "kit.buffer_frames",
)
_PERFECT = "a lens without faults, sharpest in the middle of the animal"
_OTF = (
    "derived from Hopkins' integral (Proc. R. Soc. A 231, 1955, from memory) in white light; "
    "a fifth of the contrast as the limit is assumed"
)

EXPLANATIONS: tuple[Explanation, ...] = (
    Explanation(
        "best_f_number",
        "The f-number for a single shot of this animal",
        "the mark next to the N that keeps most contrast at both ends, not wider than for a flat "
        "thing",
        _best,
        (*_ANIMAL, *_PRINT),
        _PERFECT,
        _OTF,
    ),
    Explanation(
        "aperture.exact_f_number",
        "The same, before it is rounded to what the ring has",
        "the N that keeps most contrast of the finest pattern that is asked for or possible",
        _exact,
        (*_ANIMAL, *_PRINT),
        _PERFECT,
        _OTF,
    ),
    Explanation(
        "aperture.closed_form_f_number",
        "What the short rule says for a single shot",
        "m sqrt(d / (4.88 lambda)) / (N_eff / N)",
        _closed,
        _ANIMAL,
        "blur disc and Airy disc weigh alike; the exact answer differs where little is asked for",
        "P. Hansma, View Camera Focusing in Practice, Photo Techniques 1996, from memory",
    ),
    Explanation(
        "best_flat_f_number",
        "The sharpest f-number for a flat thing",
        "two stops below the widest",
        _flat_told,
        ("kit.f_number_min",),
        "your lens behaves as most do; a test picture of a wing tells more",
        "common practice, no source",
    ),
    Explanation(
        "sweep_f_number",
        "The f-number for a pushed sweep",
        "the smallest opening that costs no pixels, or else the sharpest; further closed only "
        "when a pass would take more frames than buffer and arm hold",
        _sweep_told,
        _SWEEPS,
        "the hand pushes evenly; what an uneven hand needs stands under the sweep",
        "derived; the longest pass is assumed",
    ),
    Explanation(
        "aperture.full_detail_f_number",
        "Where diffraction begins to cost you pixels",
        "largest N with a tenth of the contrast left at 1 / (2 pixel widths)",
        _full,
        ("wishes.magnification", "kit.width_px", "kit.sensor_width_mm", *_ANIMAL[2:]),
        _PERFECT,
        "J. Goodman, Introduction to Fourier Optics, from memory, averaged over white light",
    ),
    *(
        Explanation(
            key,
            "How fine a detail the photograph is to show",
            "the coarser of enlargement / (2 x size that the eye resolves) and 1 / (2 pixel "
            "widths), on the sensor; half of 1 / that / m on the animal",
            _asked,
            (*_PRINT, "wishes.acuity_arcmin", "kit.sensor_width_mm", "kit.width_px"),
            "how well the print is looked at",
            "derived",
        )
        for key in ("aperture.asked_um", "aperture.asked_lp_mm")
    ),
    Explanation(
        "aperture.judged_lp_mm",
        "By how fine a pattern the single shot is judged",
        "what is asked for, or the finest that any f-number brings to both ends: "
        "53 / (m sqrt(d)) lp/mm, d in mm",
        _judged,
        (*_ANIMAL[:2], *_PRINT),
        _PERFECT,
        _OTF,
    ),
    *(
        Explanation(
            key,
            "The finest hair that a single shot shows",
            "half of 1 / (m x finest pattern with a fifth of its contrast)",
            _detail,
            (*_ANIMAL, "kit.width_px"),
            _PERFECT,
            _OTF,
        )
        for key in ("aperture.detail_um", "aperture.middle_detail_um")
    ),
    *(
        Explanation(
            key,
            "What a sweep shows, and in how many frames",
            "half of 1 / (m x finest pattern with a fifth of its contrast, half a step off focus)",
            _sweep_detail,
            _SWEEPS,
            "no gap, and a merge that loses nothing",
            _OTF,
        )
        for key in ("aperture.sweep_detail_um", "aperture.sweep_frames")
    ),
    Explanation(
        "aperture.curve",
        "What every f-number of the lens does for this animal",
        "finest pattern with a fifth of its contrast, in the middle and at both ends",
        _curve_told,
        (*_ANIMAL, "kit.width_px"),
        _PERFECT,
        _OTF,
    ),
)
