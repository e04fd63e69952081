"""How deep and how fine a frame is sharp at one f-number."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from haltere import optics
from haltere.plan.contrast import RESOLVES, contrast_at, sharp_limit
from haltere.plan.sharpness_told import EXPLANATIONS

if TYPE_CHECKING:
    from haltere.plan.given import Given

__all__ = [
    "EXPLANATIONS",
    "MEANINGS",
    "BlurPoint",
    "Sharpness",
    "resolved_megapixels_white",
    "sharpness",
]


@dataclass(frozen=True, slots=True)
class BlurPoint:
    """How blurred a point is that lies off the plane of focus.

    Attributes
    ----------
    defocus_mm : float
        How much nearer than the plane of focus, mm; negative behind it.
    blur_um : float
        Blur disc and Airy disc together on the sensor, sqrt(b^2 + Airy^2): a ruler, not a
        measurement.
    contrast : float
        What a perfect lens leaves of stripes at `Sharpness.stripes_lp_mm`, exactly; negative
        where they come back reversed.
    """

    defocus_mm: float
    blur_um: float
    contrast: float


@dataclass(frozen=True, slots=True)
class Sharpness:
    """Depth of field and diffraction at one f-number.

    Attributes
    ----------
    f_number, f_number_effective : float
        As marked, and as the sensor sees it.
    exposure_stops : float
        Light lost at this closeness, stops.
    geometric_mm : float
        Depth of field by rays for the circle of confusion that counts, in all.
    near_mm, far_mm : float or None
        Its exact share before and behind the plane of focus; far is None when everything behind
        is sharp.
    wave_mm : float
        Depth within a quarter wave of defocus, in all, 550 nm.
    combined_mm : float
        The two added.
    geometric_by_rule_mm : dict
        Depth of field by rays for each way to choose the circle of confusion.
    airy_um : float
        Diameter of the Airy disc on the sensor, 550 nm.
    airy_white_um : float
        The same for the mean wavelength of white light as the eye weights it.
    airy_px : float
        The first in pixels.
    cutoff_lp_mm : float
        Finest pattern that passes at all, on the sensor, 550 nm.
    nyquist_lp_mm : float
        Finest pattern that the pixels can hold.
    finest_lp_mm : float
        Pattern with a tenth of its contrast left, white light, whatever the pixels.
    nyquist_share : float
        That pattern over the pixels' finest; above 1 diffraction takes nothing from them.
    effective_megapixels : float
        Two pixels for each line pair of the finest pattern with a tenth of its contrast, at most
        those of the sensor; 550 nm, as usual tables have it.
    effective_megapixels_white : float
        The same in white light.
    mtf : tuple of (float, float)
        Line pairs a millimetre on the sensor, and what a perfect lens leaves of their contrast in
        white light.
    mtf_with_pixel : tuple of (float, float)
        The same, blurred by the pixel too.
    stripes_lp_mm : float
        Stripes as wide as the circle of confusion: the frequency of the blur curve's contrast.
    blur : tuple of BlurPoint
        Blur against distance from the plane of focus.
    meanings : dict
        What each of these means, in one sentence.
    """

    f_number: float
    f_number_effective: float
    exposure_stops: float
    geometric_mm: float
    near_mm: float
    far_mm: float | None
    wave_mm: float
    combined_mm: float
    geometric_by_rule_mm: dict[str, float]
    airy_um: float
    airy_white_um: float
    airy_px: float
    cutoff_lp_mm: float
    nyquist_lp_mm: float
    finest_lp_mm: float
    nyquist_share: float
    effective_megapixels: float
    effective_megapixels_white: float
    mtf: tuple[tuple[float, float], ...]
    mtf_with_pixel: tuple[tuple[float, float], ...]
    stripes_lp_mm: float
    blur: tuple[BlurPoint, ...]
    meanings: dict[str, str]


MEANINGS: dict[str, str] = {
    "geometric": (
        "Within it a point is drawn as a disc no larger than the circle of confusion, as if light "
        "were rays."
    ),
    "wave": (
        "Within it you can hardly tell a point from one in perfect focus, because diffraction has "
        "widened both (a quarter wave of defocus; the whole depth, not plus or minus)."
    ),
    "combined": (
        "Rays and waves added, as microscopists do: the most generous of the three, about what "
        "looks sharp on a screen."
    ),
    "blur": (
        "Disc and Airy disc under one root: good to compare distances, but in focus it overstates "
        "what you see; the contrast beside it is exact."
    ),
    "airy_um": "Width of the spot that a perfect lens makes of a point, to its first dark ring.",
    "cutoff_lp_mm": "Stripes finer than this vanish altogether, whatever lens and sensor.",
    "mtf": (
        "Share of the contrast that a perfect lens keeps of stripes so fine, in white light; your "
        "lens keeps less."
    ),
    "nyquist_share": (
        "Finest stripes with a tenth of their contrast left, over the finest that your pixels can "
        "hold: below 1 the aperture, not the sensor, sets the detail."
    ),
    "effective_megapixels": (
        "How many pixels would be enough for the detail that is left; asking for half the contrast "
        "instead of a tenth would give a quarter as many."
    ),
}

_CURVE_POINTS = 21
_MTF_STEP_LP_MM = 10.0


def sharpness(given: Given, f_number: float) -> Sharpness:
    """Tell how deep and how fine a frame is sharp.

    Parameters
    ----------
    given : Given
        Kit and wishes.
    f_number : float
        As marked.

    Returns
    -------
    Sharpness
        Depth with the whole magnification, light with the effective f-number of the bare lens.
    """
    ne, m, c = given.effective(f_number), given.lens.magnification, given.coc_mm
    airy_mm = optics.airy_diameter_mm(ne)
    nyquist = 1.0 / (2.0 * given.pitch_mm)
    finest = sharp_limit(RESOLVES.last_trace) / ne
    near, far = _limits_mm(given, ne)
    white_mm = sum(weight * wavelength for wavelength, weight in optics.seen_colours())
    lp_mm = np.append(np.arange(_MTF_STEP_LP_MM, nyquist - 1e-6, _MTF_STEP_LP_MM), nyquist)
    lens = optics.photopic_mtf(lp_mm, ne)
    both = lens * optics.pixel_mtf(lp_mm * given.pitch_mm)
    return Sharpness(
        f_number=f_number,
        f_number_effective=ne,
        exposure_stops=2.0 * math.log2(given.lens.f_number_factor),
        geometric_mm=optics.depth_of_field_mm(c, ne, m),
        near_mm=near,
        far_mm=far,
        wave_mm=optics.wave_depth_mm(optics.numerical_aperture(m, ne)),
        combined_mm=optics.combined_depth_mm(c, ne, m),
        geometric_by_rule_mm={
            rule: optics.depth_of_field_mm(coc_mm, ne, m) for rule, coc_mm in given.cocs_mm.items()
        },
        airy_um=1000.0 * airy_mm,
        airy_white_um=1000.0 * optics.airy_diameter_mm(ne, white_mm),
        airy_px=airy_mm / given.pitch_mm,
        cutoff_lp_mm=optics.cutoff_per_mm(ne),
        nyquist_lp_mm=nyquist,
        finest_lp_mm=finest,
        nyquist_share=finest / nyquist,
        effective_megapixels=optics.resolved_megapixels(ne, *given.sensor_mm, given.pitch_mm),
        effective_megapixels_white=resolved_megapixels_white(given, ne),
        mtf=_pairs(lp_mm, lens),
        mtf_with_pixel=_pairs(lp_mm, both),
        stripes_lp_mm=1.0 / (2.0 * c),
        blur=_blur_curve(given, ne, airy_mm),
        meanings=MEANINGS,
    )


def resolved_megapixels_white(given: Given, effective: float) -> float:
    """Tell how many pixels' worth of detail diffraction leaves in white light.

    Parameters
    ----------
    given : Given
        For the sensor.
    effective : float
        Effective f-number.

    Returns
    -------
    float
        Millions of pixels, at most those of the sensor.
    """
    per_mm = min(2.0 * sharp_limit(RESOLVES.last_trace) / effective, 1.0 / given.pitch_mm)
    return per_mm**2 * given.sensor_mm[0] * given.sensor_mm[1] / 1e6


def _limits_mm(given: Given, ne: float) -> tuple[float, float | None]:
    """Depth before and behind: with D = s m / Ne, c s/(m D + c) becomes 1/(m^2/(c Ne) + 1/s)."""
    cone = given.lens.magnification**2 / (given.coc_mm * ne)
    pupil = 1.0 / given.lens.pupil_distance_mm
    return 1.0 / (cone + pupil), (1.0 / (cone - pupil) if cone > pupil else None)


def _blur_curve(given: Given, ne: float, airy_mm: float) -> tuple[BlurPoint, ...]:
    m, pupil = given.lens.magnification, given.lens.pupil_distance_mm
    # twice the combined depth shows the whole fall; half way to the pupil the picture ends
    most = min(optics.combined_depth_mm(given.coc_mm, ne, m), abs(pupil) / 2.0)
    nearer = np.linspace(-most, most, _CURVE_POINTS)
    off = np.abs(nearer) / (1.0 - nearer / pupil)
    ruler_um = 1000.0 * np.hypot(off * optics.blur_slope(m, ne), airy_mm)
    left = contrast_at(1.0 / (2.0 * given.coc_mm), ne, off, m)
    return tuple(
        BlurPoint(float(at), float(blur), float(contrast))
        for at, blur, contrast in zip(nearer, ruler_um, left, strict=True)
    )


def _pairs(lp_mm: np.ndarray, values: np.ndarray) -> tuple[tuple[float, float], ...]:
    return tuple((float(at), float(value)) for at, value in zip(lp_mm, values, strict=True))
