"""How large a picture prints before pixels or missing detail show."""

from __future__ import annotations

import math
from functools import cache

from haltere.optics.eye import photopic_mtf

JUST_SEEN_PX_PER_DEGREE = 30.0
"""A print of fewer pixels to the degree shows them (ISO 12232:2019: just imperceptible)."""

READING_MM = 400.0
"""From how far a print in the hand is looked at, mm (common practice, no source)."""

LAST_TRACE = 0.1
"""Contrast of the finest pattern that a sharp lens still brings (Rayleigh's two stars leave about
as much; a convention)."""


@cache
def sharp_limit(contrast: float) -> float:
    """Tell how fine a pattern a sharp perfect lens brings at f/1 with so much contrast left.

    Parameters
    ----------
    contrast : float
        Between 0 and 1.

    Returns
    -------
    float
        Line pairs a millimetre in white light; divide by the effective f-number.
    """
    low, high = 0.0, 1.0 / 0.00038
    for _ in range(40):
        middle = (low + high) / 2.0
        enough = float(photopic_mtf(middle, 1.0)) >= contrast
        low, high = (middle, high) if enough else (low, middle)
    return low


def detail_px_per_mm(effective: float, pixel_pitch_mm: float) -> float:
    """Tell how many pixels a millimetre of sensor would hold the detail that diffraction leaves.

    Parameters
    ----------
    effective : float
        Effective f-number.
    pixel_pitch_mm : float
        Pixel width, mm.

    Returns
    -------
    float
        Two a line pair of the finest pattern with a tenth of its contrast in white light, at most
        those that the sensor has.
    """
    return 2.0 * min(sharp_limit(LAST_TRACE) / effective, 1.0 / (2.0 * pixel_pitch_mm))


def degree_mm(viewing_mm: float) -> float:
    """Give the length on a print that fills one degree of sight.

    Parameters
    ----------
    viewing_mm : float
        From how far the print is looked at, mm.

    Returns
    -------
    float
        Millimetres.
    """
    return viewing_mm * math.tan(math.radians(1.0))


def print_side_mm(
    pixels: float, viewing_mm: float, px_per_degree: float = JUST_SEEN_PX_PER_DEGREE
) -> float:
    """Give the longest side of a print of so many pixels.

    Parameters
    ----------
    pixels : float
        Pixels along the side; those that hold all detail where detail is the limit.
    viewing_mm : float
        From how far the print is looked at, mm.
    px_per_degree : float, optional
        Pixels to the degree of sight below which they show.

    Returns
    -------
    float
        Millimetres.
    """
    return pixels / px_per_degree * degree_mm(viewing_mm)
