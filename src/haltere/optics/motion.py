"""How far the picture moves while the shutter is open or the flash burns."""

from __future__ import annotations

import math

STANDARD_GRAVITY_M_S2 = 9.80665
"""Acceleration of free fall (3rd CGPM, 1901)."""


def motion_blur_px(
    speed_mm_s: float, time_s: float, magnification: float, pixel_pitch_mm: float
) -> float:
    """Give how many pixels a moving animal smears over, v t m / q.

    Parameters
    ----------
    speed_mm_s : float
        Speed across the view, mm/s, of animal and hand together.
    time_s : float
        Exposure time, s; of the flash where it alone makes the picture, down to a tenth of its
        peak.
    magnification : float
        Size on the sensor over size on the animal.
    pixel_pitch_mm : float
        Pixel width on the sensor, mm.

    Returns
    -------
    float
        Pixels.
    """
    return speed_mm_s * time_s * magnification / pixel_pitch_mm


def tremor_amplitude_um(acceleration_g: float, frequency_hz: float) -> float:
    """Give how far a trembling hand swings to each side, a / (2 pi F)^2.

    Parameters
    ----------
    acceleration_g : float
        Peak acceleration in units of free fall.
    frequency_hz : float
        Frequency of the tremor, Hz; 6-12 for hands (Lakie et al., J. Physiol. 593, 2015).

    Returns
    -------
    float
        Amplitude, um; a sine is assumed.
    """
    return 1e6 * acceleration_g * STANDARD_GRAVITY_M_S2 / (2.0 * math.pi * frequency_hz) ** 2


def tremor_speed_mm_s(acceleration_g: float, frequency_hz: float) -> float:
    """Give the greatest speed of a trembling hand, a / (2 pi F).

    Parameters
    ----------
    acceleration_g : float
        Peak acceleration in units of free fall.
    frequency_hz : float
        Frequency of the tremor, Hz.

    Returns
    -------
    float
        Speed, mm/s; a sine is assumed.
    """
    return 1e3 * acceleration_g * STANDARD_GRAVITY_M_S2 / (2.0 * math.pi * frequency_hz)


def image_shift_mm(shift_mm: float, magnification: float) -> float:
    """Give how far the picture moves when the camera shifts sideways, m x.

    No gyroscope senses it, so stabilisation built on one does not correct it.

    Parameters
    ----------
    shift_mm : float
        Sideways shift of the camera, mm.
    magnification : float
        Size on the sensor over size on the animal.

    Returns
    -------
    float
        Movement on the sensor, mm.
    """
    return magnification * shift_mm


def image_tilt_mm(focal_mm: float, magnification: float, tilt_deg: float) -> float:
    """Give how far the picture moves when the camera tilts, f (1 + m) tan(theta).

    Parameters
    ----------
    focal_mm : float
        Focal length at this focus setting, mm.
    magnification : float
        Size on the sensor over size on the animal.
    tilt_deg : float
        Tilt about the front principal point, degrees.

    Returns
    -------
    float
        Movement on the sensor, mm, in the middle of the frame.
    """
    return focal_mm * (1.0 + magnification) * math.tan(math.radians(tilt_deg))


def stabilisation_stops(time_without_s: float, time_with_s: float) -> float:
    """Give the stops that stabilisation gains, log2 of the two longest good times.

    Parameters
    ----------
    time_without_s : float
        Longest exposure time without it at some blur, s.
    time_with_s : float
        Longest exposure time with it at the same blur, s.

    Returns
    -------
    float
        Stops (CIPA DC-X011); measured far away, they do not carry over to life size.
    """
    return math.log2(time_with_s / time_without_s)
