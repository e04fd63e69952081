"""How finely each colour of a picture is drawn: diffraction weighted by what the colour sees."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from haltere.optics.diffraction import Float, diffraction_mtf

# Lobes (height, middle nm, width below nm, width above nm) of the CIE's observer of 1931, after
# Wyman, Sloan & Shirley, J. Computer Graphics Techniques 2(2), 2013 (from memory; the tests hold
# the second one against the table of V).
_LOBES = (
    ((1.056, 599.8, 37.9, 31.0), (0.362, 442.0, 16.0, 26.7), (-0.065, 501.1, 20.4, 26.2)),
    ((0.821, 568.8, 46.9, 40.5), (0.286, 530.9, 16.3, 31.1)),
    ((1.217, 437.0, 11.8, 36.0), (0.681, 459.0, 26.0, 13.8)),
)
# XYZ to linear light of IEC 61966-2-1
_TO_SRGB = np.array(
    [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]]
)
_NM = np.arange(400.0, 701.0, 5.0)


def colour_matching(wavelength_nm: ArrayLike) -> Float:
    """Give what the standard observer sees of a wavelength.

    Parameters
    ----------
    wavelength_nm : array_like of float, shape (W,)
        Wavelength, nm.

    Returns
    -------
    ndarray of float64, shape (3, W)
        x, y and z of the CIE's observer of 1931, within 0.03 (lobes by Wyman, Sloan & Shirley,
        2013).
    """
    wanted = np.asarray(wavelength_nm, np.float64)
    rows = []
    for lobes in _LOBES:
        row = np.zeros(wanted.shape)
        for height, middle, below, above in lobes:
            width = np.where(wanted < middle, below, above)
            row += height * np.exp(-0.5 * ((wanted - middle) / width) ** 2)
        rows.append(row)
    return np.array(rows)


@cache
def channel_weights() -> tuple[tuple[tuple[float, float], ...], ...]:
    """Give how red, green and blue of an sRGB picture weigh the wavelengths of even white light.

    Returns
    -------
    tuple of 3 tuples of (float, float)
        Wavelength in mm and weight, which may be negative; a channel's weights add up to 1.
    """
    seen = _TO_SRGB @ colour_matching(_NM)
    seen /= seen.sum(axis=1, keepdims=True)
    return tuple(
        tuple((float(nm) * 1e-6, float(w)) for nm, w in zip(_NM, row, strict=True)) for row in seen
    )


def channel_mtf(frequency_per_mm: ArrayLike, effective: float) -> Float:
    """Give the contrast that a perfect round lens leaves in red, green and blue of a picture.

    The contrast is averaged over the wavelengths as the picture's primaries weigh them (grey
    subject, light of equal energy at all wavelengths, a camera that sees colours as the eye does).

    Parameters
    ----------
    frequency_per_mm : array_like of float
        Frequency on the sensor, cycles a millimetre.
    effective : float
        Effective f-number.

    Returns
    -------
    ndarray of float64, shape (3, ...)
        Contrast in red, green and blue; 1 at zero. Blue keeps most.
    """
    scale = np.abs(np.asarray(frequency_per_mm, np.float64)) * effective
    out = np.zeros((3, *scale.shape))
    for channel, weights in enumerate(channel_weights()):
        for wavelength, weight in weights:
            out[channel] += weight * diffraction_mtf(scale * wavelength)
    return np.clip(out, 0.0, 1.0)
