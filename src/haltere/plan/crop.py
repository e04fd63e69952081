"""What a crop leaves, how large it prints, and whether it can stand in for going closer."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from haltere import optics
from haltere.plan.contrast import RESOLVES
from haltere.plan.why import Explanation

if TYPE_CHECKING:
    from haltere.plan.given import Given
    from haltere.plan.plan import Plan

THIRD = 1.0 / 3.0
"""The crop that the trade is told for when none was asked for (a saying)."""


@dataclass(frozen=True, slots=True)
class Framing:
    """One way to have the animal as large in the picture.

    Attributes
    ----------
    magnification : float
        Size on the sensor over size on the animal.
    f_number_effective : float
        As the sensor sees it.
    f_number_factor : float
        Effective over marked f-number.
    finest_lp_mm : float
        Finest pattern with a tenth of its contrast left, line pairs a millimetre on the animal,
        at most what the pixels hold.
    megapixels : float
        Pixels of the picture.
    effective_megapixels : float
        Those that diffraction leaves something to see in (550 nm).
    depth_mm : float
        Depth of field of the finished picture: rays and waves added.
    light_stops : float
        Light lost against the crop.
    """

    magnification: float
    f_number_effective: float
    f_number_factor: float
    finest_lp_mm: float
    megapixels: float
    effective_megapixels: float
    depth_mm: float
    light_stops: float


@dataclass(frozen=True, slots=True)
class Trade:
    """Cropping against going closer, the animal equally large in the picture.

    Attributes
    ----------
    share : float
        Side of the crop over side of the frame.
    cropped : Framing
        This frame, cropped.
    closer : Framing
        The whole frame at 1/share times the magnification, at the same marked f-number.
    closer_as_deep : Framing
        The same, but opened up or stopped down to the depth of the crop.
    closer_as_deep_f_number : float
        The marked f-number for that.
    detail_gain, depth_gain : float
        What going closer at the same marked f-number does to detail and depth: factors.
    as_deep_detail_gain : float
        What is left of the gain when depth is kept: above 1 only where pixels were the limit.
    """

    share: float
    cropped: Framing
    closer: Framing
    closer_as_deep: Framing
    closer_as_deep_f_number: float
    detail_gain: float
    depth_gain: float
    as_deep_detail_gain: float


@dataclass(frozen=True, slots=True)
class Crop:
    """A crop, its print, and the trade against magnifying.

    Attributes
    ----------
    width_px, height_px : int
        What the crop leaves.
    megapixels, effective_megapixels : float
        Pixels left, and those that diffraction leaves something to see in (550 nm).
    print_width_mm : float
        Largest long side at the viewing distance without visible pixels, 30 to the degree.
    fine_print_width_mm : float
        The same for the sharpest look: a pixel for each angle that the eye resolves.
    detail_print_width_mm, fine_detail_print_width_mm : float
        The same two for the detail that diffraction leaves, instead of pixels.
    wished_px_per_degree : float
        Pixels to the degree of the print as wished.
    trade : Trade
        Cropping against going closer.
    trade_text : str
        The same in words.
    """

    width_px: int
    height_px: int
    megapixels: float
    effective_megapixels: float
    print_width_mm: float
    fine_print_width_mm: float
    detail_print_width_mm: float
    fine_detail_print_width_mm: float
    wished_px_per_degree: float
    trade: Trade
    trade_text: str


def crop(given: Given, f_number: float) -> Crop:
    """Tell what a crop leaves, and whether it can stand in for going closer.

    Parameters
    ----------
    given : Given
        Kit and wishes; `wishes.crop` is the crop.
    f_number : float
        As marked.

    Returns
    -------
    Crop
        Where no crop was asked for, the trade is told for a third of the frame.
    """
    w, ne = given.wishes, given.effective(f_number)
    width, height = (max(1, round(side * w.crop)) for side in given.picture_px)
    whole = optics.resolved_megapixels(ne, *given.sensor_mm, given.pitch_mm)
    detail = optics.detail_px_per_mm(ne, given.pitch_mm) * given.sensor_mm[0] * w.crop
    fine = 60.0 / w.acuity_arcmin
    told = trade(given, f_number, w.crop if w.crop < 1.0 else THIRD)
    return Crop(
        width_px=width,
        height_px=height,
        megapixels=width * height / 1e6,
        effective_megapixels=whole * w.crop**2,
        print_width_mm=optics.print_side_mm(width, w.viewing_mm),
        fine_print_width_mm=optics.print_side_mm(width, w.viewing_mm, fine),
        detail_print_width_mm=optics.print_side_mm(detail, w.viewing_mm),
        fine_detail_print_width_mm=optics.print_side_mm(detail, w.viewing_mm, fine),
        wished_px_per_degree=width / w.print_width_mm * optics.degree_mm(w.viewing_mm),
        trade=told,
        trade_text=trade_text(told),
    )


def trade(given: Given, f_number: float, share: float) -> Trade:
    """Compare cropping this frame with going closer until the animal is as large.

    Parameters
    ----------
    given : Given
        Kit and wishes.
    f_number : float
        As marked.
    share : float
        Side of the crop over side of the frame.

    Returns
    -------
    Trade
        Going closer is taken to be done by extension: N_eff grows with the magnification.
    """
    lens, m = given.lens, given.lens.magnification
    converter = given.kit.converter or 1.0
    grown = (lens.f_number_factor - converter) / share + converter
    # depth of the finished picture: what is enlarged more allows a smaller disc on the sensor
    c = _whole_frame_coc_mm(given)
    cropped = _framing(given, m, lens.f_number_factor, f_number, c, share)
    closer = _framing(given, m / share, grown, f_number, c, 1.0, cropped)
    # equal depth is equal cone on the animal's side: N_eff goes with m
    as_deep_f = f_number * lens.f_number_factor / share / grown
    as_deep = _framing(given, m / share, grown, as_deep_f, c, 1.0, cropped)
    return Trade(
        share=share,
        cropped=cropped,
        closer=closer,
        closer_as_deep=as_deep,
        closer_as_deep_f_number=as_deep_f,
        detail_gain=closer.finest_lp_mm / cropped.finest_lp_mm,
        depth_gain=closer.depth_mm / cropped.depth_mm,
        as_deep_detail_gain=as_deep.finest_lp_mm / cropped.finest_lp_mm,
    )


def trade_text(told: Trade) -> str:
    """Tell a trade in one or two sentences.

    Parameters
    ----------
    told : Trade
        Cropping against going closer.

    Returns
    -------
    str
        With the numbers that matter.
    """
    cropped, closer, deep = told.cropped, told.closer, told.closer_as_deep
    if told.as_deep_detail_gain > 1.1:
        equal = (
            f"at equal depth (f/{told.closer_as_deep_f_number:.2g}) it still shows "
            f"{told.as_deep_detail_gain:.2g} times finer detail, because here pixels are the limit"
        )
    else:
        equal = (
            f"at equal depth (f/{told.closer_as_deep_f_number:.2g}) it shows no finer detail at "
            f"all: {deep.megapixels:.2g} megapixels hold what {cropped.megapixels:.2g} held"
        )
    return (
        f"Cropping {cropped.magnification:.2g}:1 to {100 * told.share:.0f} % of the frame's side "
        f"leaves {cropped.megapixels:.2g} megapixels ({cropped.effective_megapixels:.2g} of "
        f"detail) and {cropped.depth_mm:.2g} mm of depth; {closer.magnification:.2g}:1 at the same "
        f"mark shows {told.detail_gain:.2g} times finer detail in {closer.depth_mm:.2g} mm and "
        f"costs {closer.light_stops:.1f} stops of light; {equal}."
    )


def _whole_frame_coc_mm(given: Given) -> float:
    """Disc that passes in the whole frame; the print's rule has the crop in it already."""
    return given.coc_mm / (given.wishes.crop if given.wishes.coc_rule == "print" else 1.0)


def _framing(
    given: Given,
    m: float,
    factor: float,
    f_number: float,
    c: float,
    share: float,
    against: Framing | None = None,
) -> Framing:
    ne = f_number * factor
    per_mm = min(optics.sharp_limit(RESOLVES.last_trace) / ne, 1.0 / (2.0 * given.pitch_mm))
    whole = optics.resolved_megapixels(ne, *given.sensor_mm, given.pitch_mm)
    return Framing(
        magnification=m,
        f_number_effective=ne,
        f_number_factor=factor,
        finest_lp_mm=per_mm * m,
        megapixels=given.picture_px[0] * given.picture_px[1] * share**2 / 1e6,
        effective_megapixels=whole * share**2,
        depth_mm=optics.combined_depth_mm(c * share, ne, m),
        light_stops=0.0 if against is None else 2.0 * math.log2(ne / against.f_number_effective),
    )


def _degree(plan: Plan) -> str:
    return f"{optics.degree_mm(plan.given.wishes.viewing_mm):.3g} mm a degree"


def _pixels(plan: Plan) -> str:
    c, (wide, high) = plan.crop, plan.given.picture_px
    return (
        f"{wide} x {high} px x {plan.given.wishes.crop:g} = {c.width_px} x {c.height_px} px "
        f"= {c.megapixels:.2g} megapixels"
    )


def _effective(plan: Plan) -> str:
    c, s = plan.crop, plan.chosen.sharpness
    return (
        f"{s.effective_megapixels:.2g} x {plan.given.wishes.crop:g}^2 = "
        f"{c.effective_megapixels:.2g} megapixels"
    )


def _print(plan: Plan) -> str:
    c, fine = plan.crop, 60.0 / plan.given.wishes.acuity_arcmin
    return (
        f"{c.width_px} px, {_degree(plan)}: / 30 = {c.print_width_mm:.0f} mm just without visible "
        f"pixels, / {fine:.0f} = {c.fine_print_width_mm:.0f} mm as sharp as the eye can see"
    )


def _detail_print(plan: Plan) -> str:
    c, fine = plan.crop, 60.0 / plan.given.wishes.acuity_arcmin
    return (
        f"by the detail that diffraction leaves, {_degree(plan)}: / 30 = "
        f"{c.detail_print_width_mm:.0f} mm, / {fine:.0f} = {c.fine_detail_print_width_mm:.0f} mm"
    )


def _wished(plan: Plan) -> str:
    c, width = plan.crop, plan.given.wishes.print_width_mm
    return (
        f"{c.width_px} px / {width:g} mm x {_degree(plan)} = {c.wished_px_per_degree:.0f} pixels "
        "a degree; from 30 on none is seen, 60 is all that a good eye resolves"
    )


_CROP = ("wishes.crop", "kit.width_px", "kit.height_px")
_LENS = (
    "wishes.crop",
    "wishes.f_number",
    "wishes.magnification",
    "kit.pupil_magnification",
    "kit.close_up_dpt",
    "kit.width_px",
    "kit.sensor_width_mm",
)
_EYE = "ISO 12232:2019: 30 pixels a degree are just imperceptible; 1 arcmin: usual acuity"

EXPLANATIONS: tuple[Explanation, ...] = (
    *(
        Explanation(
            f"crop.{key}",
            "What the crop leaves of the pixels",
            "sides x crop",
            _pixels,
            _CROP,
            "the crop keeps the frame's shape",
            "derived",
        )
        for key in ("width_px", "height_px", "megapixels")
    ),
    Explanation(
        "crop.effective_megapixels",
        "What the crop leaves of the detail",
        "effective megapixels of the frame x crop^2",
        _effective,
        _LENS,
        "a tenth of the contrast counts as resolved",
        "derived; J. Goodman, Introduction to Fourier Optics, from memory",
    ),
    *(
        Explanation(
            f"crop.{key}",
            "How large the crop prints before pixels show",
            "pixels / (pixels a degree) x viewing distance x tan(1 degree)",
            _print,
            (*_CROP[:2], "wishes.viewing_mm", "wishes.acuity_arcmin"),
            "how far the print is looked at; 300 dots an inch is a habit, not a law",
            _EYE,
        )
        for key in ("print_width_mm", "fine_print_width_mm")
    ),
    *(
        Explanation(
            f"crop.{key}",
            "How large the crop prints before it looks soft",
            "2 x finest pattern x width / (pixels a degree) x viewing distance x tan(1 degree)",
            _detail_print,
            (*_LENS, "wishes.viewing_mm"),
            "a lens without faults and an animal in focus",
            _EYE,
        )
        for key in ("detail_print_width_mm", "fine_detail_print_width_mm")
    ),
    Explanation(
        "crop.wished_px_per_degree",
        "How finely the print you wish is drawn for the eye",
        "pixels / print width x viewing distance x tan(1 degree)",
        _wished,
        (*_CROP[:2], "wishes.print_width_mm", "wishes.viewing_mm"),
        "from how far the print is looked at",
        _EYE,
    ),
    *(
        Explanation(
            f"crop.{key}",
            title,
            "finest pattern on the animal = min(nu10, 1 / (2 pixel widths)) x m; equal depth is "
            "equal m / N_eff, and that is equal nu10 x m",
            lambda plan: plan.crop.trade_text,
            _LENS,
            "going closer is done by extension; a close-up lens costs less light and as much depth",
            "derived",
        )
        for key, title in (
            ("trade", "Whether cropping can stand in for going closer"),
            ("trade.detail_gain", "How much finer going closer at the same f-number draws"),
            ("trade.depth_gain", "What going closer at the same f-number leaves of the depth"),
            ("trade.as_deep_detail_gain", "How much finer going closer draws at equal depth"),
            ("trade.closer_as_deep_f_number", "The f-number at which going closer is as deep"),
        )
    ),
)
