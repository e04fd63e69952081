"""Depth of field and the blur disc: by geometry, by waves, and by which circle of confusion."""

from __future__ import annotations

import math
from typing import Literal

from haltere.optics.diffraction import WAVELENGTH_MM


def depth_of_field_mm(coc_mm: float, effective: float, magnification: float) -> float:
    """Give the geometrical depth of field, 2 c Ne / m^2.

    Parameters
    ----------
    coc_mm : float
        Circle of confusion on the sensor, mm.
    effective : float
        Effective f-number.
    magnification : float
        Size on the sensor over size on the animal.

    Returns
    -------
    float
        Total depth on the animal's side, mm.
    """
    return 2.0 * coc_mm * effective / magnification**2


def exact_depth_mm(
    coc_mm: float, magnification: float, aperture_mm: float, distance_mm: float
) -> tuple[float, float]:
    """Give the exact near and far limits, c s / (m D + c) and c s / (m D - c).

    Parameters
    ----------
    coc_mm : float
        Circle of confusion on the sensor, mm.
    magnification : float
        Size on the sensor over size on the animal.
    aperture_mm : float
        Diameter of the entrance pupil, mm.
    distance_mm : float
        Plane of focus to entrance pupil, mm.

    Returns
    -------
    near_mm, far_mm : float
        Depth before and behind the plane of focus, mm; far is infinite when everything behind
        is sharp (paraxial; checked by ray trace).
    """
    cone = magnification * aperture_mm
    near = coc_mm * distance_mm / (cone + coc_mm)
    far = coc_mm * distance_mm / (cone - coc_mm) if cone > coc_mm else math.inf
    return near, far


def blur_disc_mm(
    magnification: float, aperture_mm: float, nearer_mm: float, distance_mm: float
) -> float:
    """Give the blur disc of a point off the plane of focus, m D |dz| / (s - dz).

    Parameters
    ----------
    magnification : float
        Size on the sensor over size on the animal.
    aperture_mm : float
        Diameter of the entrance pupil, mm.
    nearer_mm : float
        How much nearer than the plane the point lies, mm; negative behind it.
    distance_mm : float
        Plane of focus to entrance pupil, mm.

    Returns
    -------
    float
        Diameter on the sensor, mm (paraxial; checked by ray trace).
    """
    return magnification * aperture_mm * abs(nearer_mm) / (distance_mm - nearer_mm)


def blur_slope(magnification: float, effective: float) -> float:
    """Give how fast the blur disc grows close to the plane of focus, m D / s = m^2 / Ne.

    Parameters
    ----------
    magnification : float
        Size on the sensor over size on the animal.
    effective : float
        Effective f-number.

    Returns
    -------
    float
        Millimetres of diameter on the sensor a millimetre of depth.
    """
    return magnification**2 / effective


def defocus_waves(off_mm: float, aperture_na: float, wavelength_mm: float = WAVELENGTH_MM) -> float:
    """Give the wavefront error at the pupil's edge, dz NA^2 / (2 lambda).

    Parameters
    ----------
    off_mm : float
        Distance from the plane of focus, mm.
    aperture_na : float
        Numerical aperture on the animal's side.
    wavelength_mm : float, optional
        Wavelength, mm.

    Returns
    -------
    float
        Waves; +-0.25 is Rayleigh's limit.
    """
    return off_mm * aperture_na**2 / (2.0 * wavelength_mm)


def wave_depth_mm(
    aperture_na: float, wavelength_mm: float = WAVELENGTH_MM, refractive_index: float = 1.0
) -> float:
    """Give the total depth within a quarter wave of defocus, n lambda / NA^2.

    In camera symbols 4 lambda Ne^2 / m^2. The convention is the total, not plus or minus.

    Parameters
    ----------
    aperture_na : float
        Numerical aperture on the animal's side.
    wavelength_mm : float, optional
        Wavelength, mm.
    refractive_index : float, optional
        Of the medium before the lens.

    Returns
    -------
    float
        Total depth, mm (Keiser, Biophotonics, 2016, eq. 8.4).
    """
    return refractive_index * wavelength_mm / aperture_na**2


def combined_depth_mm(
    coc_mm: float, effective: float, magnification: float, wavelength_mm: float = WAVELENGTH_MM
) -> float:
    """Give wave and geometrical depth added, as microscopists do.

    Parameters
    ----------
    coc_mm : float
        Smallest distance the sensor resolves, mm.
    effective : float
        Effective f-number.
    magnification : float
        Size on the sensor over size on the animal.
    wavelength_mm : float, optional
        Wavelength, mm.

    Returns
    -------
    float
        Total depth, mm: 4 lambda Ne^2 / m^2 + 2 c Ne / m^2 (Inoue & Spring, 1997; a convention).
    """
    wave = 4.0 * wavelength_mm * (effective / magnification) ** 2
    return wave + depth_of_field_mm(coc_mm, effective, magnification)


def coc_by_pixels_mm(pixel_pitch_mm: float, pixels: float = 2.0) -> float:
    """Give the circle of confusion as so many pixels.

    Parameters
    ----------
    pixel_pitch_mm : float
        Pixel width on the sensor, mm.
    pixels : float, optional
        How many; a colour-filter sensor does not resolve one.

    Returns
    -------
    float
        Diameter on the sensor, mm.
    """
    return pixels * pixel_pitch_mm


def coc_by_diagonal_mm(width_mm: float, height_mm: float, parts: float = 1500.0) -> float:
    """Give the circle of confusion as a part of the sensor's diagonal.

    Parameters
    ----------
    width_mm, height_mm : float
        Sides of the sensor, mm.
    parts : float, optional
        Which part (Lyon, Depth of Field Outside the Box, 2006: 1500).

    Returns
    -------
    float
        Diameter on the sensor, mm.
    """
    return math.hypot(width_mm, height_mm) / parts


def coc_by_print_mm(blur_on_print_mm: float, enlargement: float) -> float:
    """Give the circle of confusion for a print.

    Parameters
    ----------
    blur_on_print_mm : float
        Blur that passes as sharp on the print, mm.
    enlargement : float
        Print size over sensor size.

    Returns
    -------
    float
        Diameter on the sensor, mm.
    """
    return blur_on_print_mm / enlargement


def seen_size_mm(acuity_arcmin: float, viewing_mm: float) -> float:
    """Give the size that an eye of given acuity resolves at a distance.

    Parameters
    ----------
    acuity_arcmin : float
        Angle resolved, minutes of arc.
    viewing_mm : float
        Viewing distance, mm.

    Returns
    -------
    float
        Size, mm.
    """
    return viewing_mm * math.tan(math.radians(acuity_arcmin / 60.0))


def pixels_per_degree(pixels_per_cm: float, viewing_cm: float) -> float:
    """Give how finely a print is sampled, as the eye sees it.

    Parameters
    ----------
    pixels_per_cm : float
        Pixels a centimetre of print.
    viewing_cm : float
        Viewing distance, cm.

    Returns
    -------
    float
        Pixels a degree (ISO 12232:2019, 6.3.2: 30 is just imperceptible).
    """
    return pixels_per_cm * viewing_cm * math.tan(math.radians(1.0))


def depth_of_focus_mm(coc_mm: float, effective: float, which: Literal["half", "total"]) -> float:
    """Give how far the sensor may stand from the image.

    Parameters
    ----------
    coc_mm : float
        Circle of confusion on the sensor, mm.
    effective : float
        Effective f-number.
    which : {"half", "total"}
        To one side, or in all.

    Returns
    -------
    float
        Distance, mm (Smith, Modern Optical Engineering, eq. 9.8).
    """
    return coc_mm * effective * (1.0 if which == "half" else 2.0)
