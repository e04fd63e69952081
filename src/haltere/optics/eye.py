"""What the eye makes of light: its sensitivity to colours, contrast in white light, lightness."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from haltere.optics.diffraction import Float, defocus_otf_fast, diffraction_mtf

# V(lambda) of the CIE's standard observer for day vision, CIE 1924 (the table in 5 nm steps, as
# printed with the 1931 observer; from memory, compared with a library's copy to its four digits).
_FIRST_NM, _STEP_NM = 380.0, 5.0
# fmt: off
_V = np.array([
    0.000039, 0.000064, 0.000120, 0.000217, 0.000396, 0.000640, 0.001210, 0.002180,  # 380
    0.004000, 0.007300, 0.011600, 0.016840, 0.023000, 0.029800, 0.038000, 0.048000,  # 420
    0.060000, 0.073900, 0.090980, 0.112600, 0.139020, 0.169300, 0.208020, 0.258600,  # 460
    0.323000, 0.407300, 0.503000, 0.608200, 0.710000, 0.793200, 0.862000, 0.914850,  # 500
    0.954000, 0.980300, 0.994950, 1.000000, 0.995000, 0.978600, 0.952000, 0.915400,  # 540
    0.870000, 0.816300, 0.757000, 0.694900, 0.631000, 0.566800, 0.503000, 0.441200,  # 580
    0.381000, 0.321000, 0.265000, 0.217000, 0.175000, 0.138200, 0.107000, 0.081600,  # 620
    0.061000, 0.044580, 0.032000, 0.023200, 0.017000, 0.011920, 0.008210, 0.005723,  # 660
    0.004102, 0.002929, 0.002091, 0.001484, 0.001047, 0.000740, 0.000520, 0.000361,  # 700
    0.000249, 0.000172, 0.000120, 0.000085, 0.000060, 0.000042, 0.000030, 0.000021,  # 740
    0.000015,                                                                        # 780
])
# fmt: on
_WAVELENGTHS_NM = _FIRST_NM + _STEP_NM * np.arange(len(_V))

_COLOURS = 6
"""Wavelengths that stand for white light; Gauss's rule for the weight V."""

_LINEAR_END = (6.0 / 29.0) ** 3
_LINEAR_SLOPE = (29.0 / 3.0) ** 3


def luminous_efficiency(wavelength_nm: ArrayLike) -> Float:
    """Give how strongly the eye sees a wavelength by day, V(lambda).

    Parameters
    ----------
    wavelength_nm : array_like of float
        Wavelength, nm.

    Returns
    -------
    ndarray of float64
        1 at 555 nm, 0 outside 380 to 780 nm (CIE, 1924; linear between steps of 5 nm).
    """
    wanted = np.asarray(wavelength_nm, np.float64)
    return np.asarray(np.interp(wanted, _WAVELENGTHS_NM, _V, left=0.0, right=0.0), np.float64)


@cache
def seen_colours(count: int = _COLOURS) -> tuple[tuple[float, float], ...]:
    """Give a few wavelengths and weights that stand for even white light as the eye weights it.

    Parameters
    ----------
    count : int, optional
        How many.

    Returns
    -------
    tuple of (float, float)
        Wavelength in mm and weight; weights add up to 1. They are the nodes of Gauss's rule for
        the weight V, after Golub & Welsch, Math. Comp. 23 (1969).
    """
    at = (_WAVELENGTHS_NM - 560.0) / 100.0
    weight = _V / _V.sum()
    # Lanczos' three-term recurrence for polynomials orthogonal under V
    before, now = np.zeros_like(at), np.sqrt(weight)
    diagonal, beside, link = [], [], 0.0
    for _ in range(count):
        diagonal.append(float(now @ (at * now)))
        ahead = at * now - diagonal[-1] * now - link * before
        link = float(np.linalg.norm(ahead))
        beside.append(link)
        before, now = now, ahead / link
    matrix = np.diag(diagonal) + np.diag(beside[:-1], 1) + np.diag(beside[:-1], -1)
    nodes, vectors = np.linalg.eigh(matrix)
    pairs = zip(nodes, vectors[0] ** 2, strict=True)
    return tuple(((560.0 + 100.0 * float(n)) * 1e-6, float(w)) for n, w in pairs)


def photopic_mtf(frequency_per_mm: ArrayLike, effective: ArrayLike) -> Float:
    """Give the contrast that a perfect round lens passes in white light, as the eye weights it.

    The contrast is averaged over the wavelengths, not the wavelength over the light.

    Parameters
    ----------
    frequency_per_mm : array_like of float
        Frequency on the sensor, cycles a millimetre.
    effective : array_like of float
        Effective f-number; broadcast against `frequency_per_mm`.

    Returns
    -------
    ndarray of float64
        Contrast, for light of equal energy at all wavelengths, weighted by V (81 wavelengths).
    """
    scale = np.asarray(frequency_per_mm, np.float64) * np.asarray(effective, np.float64)
    total = np.zeros(scale.shape)
    for wavelength, weight in zip(_WAVELENGTHS_NM * 1e-6, _V / _V.sum(), strict=True):
        total += weight * diffraction_mtf(scale * wavelength)
    return total


def photopic_otf(
    frequency_per_mm: ArrayLike,
    effective: ArrayLike,
    off_mm: ArrayLike,
    magnification: ArrayLike,
) -> Float:
    """Give the transfer of a defocused round lens in white light, as the eye weights it.

    Parameters
    ----------
    frequency_per_mm : array_like of float
        Frequency on the sensor, cycles a millimetre.
    effective : array_like of float
        Effective f-number.
    off_mm : array_like of float
        Distance from the plane of focus on the animal's side, mm.
    magnification : array_like of float
        Size on the sensor over size on the animal, all attachments included.

    Returns
    -------
    ndarray of float64
        Transfer, negative where contrast reverses; all arguments are broadcast. Within 0.018 of
        the average over all wavelengths of the exact transfer: 0.016 from Stokseth's product,
        0.0013 from the few wavelengths. 40 x 40 values take half a millisecond.
    """
    frequency, ne, off, m = (
        np.asarray(x, np.float64) for x in (frequency_per_mm, effective, off_mm, magnification)
    )
    scale = np.abs(frequency * ne)
    # waves at the pupil's edge times the wavelength: dz NA^2 / 2 with NA = m / (2 Ne)
    path = off * (m / ne) ** 2 / 8.0
    total = np.zeros(np.broadcast_shapes(scale.shape, path.shape))
    for wavelength, weight in seen_colours():
        total += weight * defocus_otf_fast(scale * wavelength, path / wavelength)
    return total


def lightness(luminance: float) -> float:
    """Give how light a grey looks, L* of CIE 1976.

    Parameters
    ----------
    luminance : float
        Luminance over that of white, 0 to 1.

    Returns
    -------
    float
        Lightness, 0 black to 100 white: 116 Y^(1/3) - 16, straight below 0.0089.
    """
    if luminance <= _LINEAR_END:
        return _LINEAR_SLOPE * luminance
    return 116.0 * math.cbrt(luminance) - 16.0


def luminance_of_lightness(level: float) -> float:
    """Give the luminance of a grey that looks so light, the inverse of L*.

    Parameters
    ----------
    level : float
        Lightness L*, 0 black to 100 white.

    Returns
    -------
    float
        Luminance over that of white, 0 to 1.
    """
    if level <= _LINEAR_SLOPE * _LINEAR_END:
        return level / _LINEAR_SLOPE
    return float(((level + 16.0) / 116.0) ** 3)
