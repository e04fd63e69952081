"""How the numbers of depth of field and diffraction came about."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from haltere.plan.why import Explanation

if TYPE_CHECKING:
    from haltere.plan.plan import Plan


def _ne(plan: Plan) -> str:
    return f"{plan.chosen.sharpness.f_number_effective:.3g}"


def _m(plan: Plan) -> str:
    return f"{plan.given.lens.magnification:.3g}"


def _geometric(plan: Plan) -> str:
    s, c = plan.chosen.sharpness, plan.given.coc_mm
    return f"2 x {c:.3g} mm x {_ne(plan)} / {_m(plan)}^2 = {s.geometric_mm:.2g} mm"


def _wave(plan: Plan) -> str:
    s = plan.chosen.sharpness
    return f"4 x 0.00055 mm x {_ne(plan)}^2 / {_m(plan)}^2 = {s.wave_mm:.2g} mm"


def _combined(plan: Plan) -> str:
    s = plan.chosen.sharpness
    return f"{s.wave_mm:.2g} mm + {s.geometric_mm:.2g} mm = {s.combined_mm:.2g} mm"


def _near(plan: Plan) -> str:
    s, pupil = plan.chosen.sharpness, plan.given.lens.pupil_distance_mm
    return (
        f"1 / ({_m(plan)}^2 / ({plan.given.coc_mm:.3g} x {_ne(plan)}) + 1 / {pupil:.4g}) "
        f"= {s.near_mm:.3g} mm before the plane of focus"
    )


def _far(plan: Plan) -> str:
    s, pupil = plan.chosen.sharpness, plan.given.lens.pupil_distance_mm
    reached = "everything" if s.far_mm is None else f"{s.far_mm:.3g} mm"
    return (
        f"1 / ({_m(plan)}^2 / ({plan.given.coc_mm:.3g} x {_ne(plan)}) - 1 / {pupil:.4g}) "
        f"= {reached} behind the plane of focus"
    )


def _by_rule(plan: Plan) -> str:
    s = plan.chosen.sharpness
    rows = (
        f"{rule} (c = {1000 * plan.given.cocs_mm[rule]:.2g} µm): {depth:.2g} mm"
        for rule, depth in s.geometric_by_rule_mm.items()
    )
    return "; ".join(rows)


def _airy(plan: Plan) -> str:
    s = plan.chosen.sharpness
    return (
        f"2.44 x 0.55 µm x {_ne(plan)} = {s.airy_um:.3g} µm = {s.airy_px:.2g} px "
        f"({s.airy_white_um:.3g} µm for the mean of white light, 0.56 µm)"
    )


def _cutoff(plan: Plan) -> str:
    return f"1 / (0.00055 mm x {_ne(plan)}) = {plan.chosen.sharpness.cutoff_lp_mm:.3g} lp/mm"


def _mtf(plan: Plan) -> str:
    s = plan.chosen.sharpness
    every = max(1, len(s.mtf) // 4)
    few = zip(s.mtf[::every], s.mtf_with_pixel[::every], strict=True)
    return f"at N_eff {_ne(plan)}, by lens and with the pixel: " + ", ".join(
        f"{at:.0f} lp/mm {lens:.2f} and {both:.2f}" for (at, lens), (_, both) in few
    )


def _share(plan: Plan) -> str:
    s = plan.chosen.sharpness
    return (
        f"{s.finest_lp_mm:.3g} lp/mm with a tenth of the contrast / {s.nyquist_lp_mm:.3g} lp/mm "
        f"of the pixels = {s.nyquist_share:.2g}"
    )


def _megapixels(plan: Plan) -> str:
    s, (wide, high) = plan.chosen.sharpness, plan.given.sensor_mm
    per_mm = math.sqrt(1e6 * s.effective_megapixels / (wide * high))
    return (
        f"({per_mm:.3g} px/mm)^2 x {wide:g} mm x {high:g} mm = {s.effective_megapixels:.2g} "
        f"megapixels ({s.effective_megapixels_white:.2g} in white light)"
    )


def _curve(plan: Plan) -> str:
    s = plan.chosen.sharpness
    middle, end = s.blur[len(s.blur) // 2], s.blur[0]
    return (
        f"in focus {middle.blur_um:.0f} µm, {middle.contrast:.2f} of the contrast at "
        f"{s.stripes_lp_mm:.0f} lp/mm; {-end.defocus_mm:.2g} mm behind it {end.blur_um:.0f} µm, "
        f"{end.contrast:.2f}"
    )


_LENS = (
    "wishes.f_number",
    "wishes.magnification",
    "kit.pupil_magnification",
    "kit.close_up_dpt",
    "kit.converter",
)
_DEPTH = (*_LENS, "kit.coc_mm")
_SENSOR = (*_LENS, "kit.sensor_width_mm", "kit.width_px")
_PERFECT = "a lens without faults; a real one is softer, most of all wide open"
_RAYS = "S. Ray, Applied Photographic Optics, 2002, from memory; checked by ray trace"
_GOODMAN = "J. Goodman, Introduction to Fourier Optics, from memory; compared with two libraries"
_CIE = "J. Goodman, from memory, averaged over the CIE's V(lambda), 1924"

_OWN: tuple[Explanation, ...] = (
    Explanation(
        "depth_of_field_mm.geometric",
        "How deep the animal is sharp, by rays",
        "2 c N_eff / m^2, m with everything attached",
        _geometric,
        _DEPTH,
        "which circle of confusion you accept: pixels, diagonal and print differ by a factor of 3",
        _RAYS,
    ),
    Explanation(
        "depth_of_field_mm.wave",
        "How deep diffraction hides the defocus",
        "4 lambda N_eff^2 / m^2, the whole depth within a quarter wave",
        _wave,
        _LENS,
        "a quarter wave as the limit; books that allow half a wave print twice as much",
        "G. Keiser, Biophotonics, 2016, eq. 8.4 (quarter wave: Rayleigh)",
    ),
    Explanation(
        "depth_of_field_mm.combined",
        "How deep the animal looks sharp, rays and waves together",
        "wave depth + geometric depth",
        _combined,
        _DEPTH,
        "that the two simply add; it is a convention, the root of squares is smaller",
        "Inoue & Spring, Video Microscopy, 1997, from memory",
    ),
    Explanation(
        "sharpness.near_mm",
        "How much is sharp before the plane of focus",
        "1 / (m^2 / (c N_eff) + 1 / s), s from plane of focus to entrance pupil",
        _near,
        (*_DEPTH, "kit.focal_mm", "kit.pupil_distance_mm"),
        "the circle of confusion",
        _RAYS,
    ),
    Explanation(
        "sharpness.far_mm",
        "How much is sharp behind the plane of focus",
        "1 / (m^2 / (c N_eff) - 1 / s), s from plane of focus to entrance pupil",
        _far,
        (*_DEPTH, "kit.focal_mm", "kit.pupil_distance_mm"),
        "the circle of confusion",
        _RAYS,
    ),
    Explanation(
        "sharpness.geometric_by_rule_mm",
        "Depth of field for each way to choose the circle of confusion",
        "2 c N_eff / m^2 with c = the kit's; 2 pixels; diagonal / 1500; what the print hides",
        _by_rule,
        (
            *_LENS[:3],
            "kit.width_px",
            "kit.sensor_width_mm",
            "wishes.print_width_mm",
            "wishes.viewing_mm",
            "wishes.acuity_arcmin",
        ),
        "none of them is right or wrong: each belongs to a way of looking at the picture",
        "R. Lyon, Depth of Field Outside the Box, 2006 (diagonal); derived (pixels, print)",
    ),
    Explanation(
        "airy_um",
        "How wide diffraction spreads a point on the sensor",
        "2.44 lambda N_eff, lambda 0.55 µm",
        _airy,
        _SENSOR,
        "green light; red spreads by a fifth more. The effective f-number counts, not the marked",
        _GOODMAN,
    ),
    Explanation(
        "cutoff_lp_mm",
        "Stripes on the sensor finer than this vanish",
        "1 / (lambda N_eff), lambda 0.55 µm",
        _cutoff,
        _LENS,
        "green light",
        _GOODMAN,
    ),
    Explanation(
        "mtf",
        "How much contrast of fine stripes diffraction leaves",
        "(2/pi) (acos t - t sqrt(1 - t^2)), t = nu lambda N_eff, averaged over white light",
        _mtf,
        _LENS,
        _PERFECT,
        _CIE,
    ),
    Explanation(
        "nyquist_share",
        "Share of your pixels' finest stripes that still arrives",
        "finest stripes with a tenth of their contrast / (1 / (2 pixel widths))",
        _share,
        _SENSOR,
        _PERFECT,
        _CIE,
    ),
    Explanation(
        "effective_megapixels",
        "How many megapixels diffraction leaves",
        "(2 nu10)^2 x width x height, nu10 = 0.805 / (lambda N_eff), at most the sensor's own",
        _megapixels,
        _SENSOR,
        "a tenth of the contrast counts as resolved; with a half it would be a quarter as many",
        "derived (a definition); " + _GOODMAN,
    ),
    Explanation(
        "sharpness.blur",
        "How blurred things are off the plane of focus",
        "sqrt(b^2 + Airy^2), b = m^2 dz / N_eff / (1 - dz / s); contrast by Hopkins' integral",
        _curve,
        (*_DEPTH, "kit.focal_mm"),
        _PERFECT,
        "H. H. Hopkins, Proc. R. Soc. A 231, 1955, from memory; compared with a library",
    ),
)

_ALSO = {
    "depth_of_field_mm.geometric": ("sharpness.geometric_mm",),
    "depth_of_field_mm.wave": ("sharpness.wave_mm",),
    "depth_of_field_mm.combined": ("sharpness.combined_mm",),
    "airy_um": ("sharpness.airy_um", "sharpness.airy_white_um", "sharpness.airy_px"),
    "cutoff_lp_mm": ("sharpness.cutoff_lp_mm",),
    "mtf": ("sharpness.mtf", "sharpness.mtf_with_pixel"),
    "nyquist_share": (
        "sharpness.nyquist_share",
        "sharpness.nyquist_lp_mm",
        "sharpness.finest_lp_mm",
    ),
    "effective_megapixels": (
        "sharpness.effective_megapixels",
        "sharpness.effective_megapixels_white",
    ),
    "sharpness.blur": ("sharpness.stripes_lp_mm",),
}

EXPLANATIONS: tuple[Explanation, ...] = tuple(
    Explanation(key, e.title, e.formula, e.filled, e.inputs, e.assumption, e.source)
    for e in _OWN
    for key in (e.key, *_ALSO.get(e.key, ()))
)
