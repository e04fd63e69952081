"""Exposure values, the light a setting asks for, and the noise it leaves."""

from __future__ import annotations

import math

from haltere.optics.eye import luminous_efficiency

REFLECTED_K = 12.5
"""Reflected-light constant, cd s/m^2 (ISO 2720:1974, excerpt seen; makers use 10.6-14)."""

INCIDENT_C = 250.0
"""Incident-light constant for a flat receptor, lx s (ISO 2720:1974, excerpt seen)."""

LENS_Q = 0.65
"""Share of the scene's luminance that reaches the sensor at f/1 (ISO 12232:2019)."""

GREY_LX_S = 10.0
"""Mean exposure of the sensor at ISO 1 (ISO 12232:2019: index = 10 / H)."""

SATURATION_LX_S = 78.0
"""Exposure that saturates at ISO 1; half a stop above white (ISO 12232, from memory)."""

LUX_PER_FOOTCANDLE = 1.0 / 0.3048**2
"""Square feet in a square metre (definition of the foot); tables with 10.752 are wrong."""

METRES_PER_FOOT = 0.3048
"""Definition of the foot."""

MAX_EFFICACY_LM_W = 683.0
"""Lumens a watt at the peak of the eye (definition of the candela, 1979)."""

_PLANCK_J_S = 6.62607015e-34  # exact by definition of the SI, 2019
_LIGHT_NM_S = 2.99792458e17  # exact by definition of the metre, 1983


def ev100(f_number: float, time_s: float, iso: float) -> float:
    """Give the exposure value of a setting, taken to ISO 100: log2(N^2/t * 100/S).

    Parameters
    ----------
    f_number : float
        f-number that the sensor sees: the effective one in close-up.
    time_s : float
        Exposure time, s.
    iso : float
        ISO setting.

    Returns
    -------
    float
        Exposure value.
    """
    return math.log2(f_number**2 / time_s * 100.0 / iso)


def luminance_cd_m2(ev: float, k: float = REFLECTED_K) -> float:
    """Give the luminance that an exposure value suits, K 2^EV / 100.

    Parameters
    ----------
    ev : float
        Exposure value at ISO 100.
    k : float, optional
        Reflected-light constant, cd s/m^2.

    Returns
    -------
    float
        Mean luminance of the scene, cd/m^2: 2^(EV - 3) with K = 12.5.
    """
    return float(k / 100.0 * 2.0**ev)


def illuminance_lx(ev: float, c: float = INCIDENT_C) -> float:
    """Give the illuminance that an exposure value suits, C 2^EV / 100.

    Parameters
    ----------
    ev : float
        Exposure value at ISO 100.
    c : float, optional
        Incident-light constant, lx s.

    Returns
    -------
    float
        Light on the animal, lx: 2.5 * 2^EV with C = 250.
    """
    return float(c / 100.0 * 2.0**ev)


def ev_of_luminance(scene_cd_m2: float, iso: float = 100.0, k: float = REFLECTED_K) -> float:
    """Give the exposure value that suits a luminance, log2(L S / K).

    Parameters
    ----------
    scene_cd_m2 : float
        Mean luminance of the scene, cd/m^2.
    iso : float, optional
        ISO setting that the value is for.
    k : float, optional
        Reflected-light constant, cd s/m^2.

    Returns
    -------
    float
        Exposure value at that ISO.
    """
    return math.log2(scene_cd_m2 * iso / k)


def ev_of_illuminance(light_lx: float, iso: float = 100.0, c: float = INCIDENT_C) -> float:
    """Give the exposure value that suits an illuminance, log2(E S / C).

    Parameters
    ----------
    light_lx : float
        Light on the animal, lx.
    iso : float, optional
        ISO setting that the value is for.
    c : float, optional
        Incident-light constant, lx s.

    Returns
    -------
    float
        Exposure value at that ISO.
    """
    return math.log2(light_lx * iso / c)


def subject_exposure_lx_s(effective: float, iso: float) -> float:
    """Give the light that the animal must get for a correct exposure, 250 Ne^2 / S.

    Parameters
    ----------
    effective : float
        Effective f-number.
    iso : float
        ISO setting.

    Returns
    -------
    float
        Luminous exposure on the animal, lx s, by flash and daylight together.
    """
    return INCIDENT_C * effective**2 / iso


def exposure_q(transmittance: float, vignetting: float, angle_deg: float) -> float:
    """Give the share of a luminance that reaches the sensor at f/1, (pi/4) T v cos^4(theta).

    Parameters
    ----------
    transmittance : float
        Of the lens, 0 to 1.
    vignetting : float
        Light left after vignetting, 0 to 1.
    angle_deg : float
        Angle off the axis, degrees.

    Returns
    -------
    float
        q (ISO 12232:2019).
    """
    return math.pi / 4.0 * transmittance * vignetting * math.cos(math.radians(angle_deg)) ** 4


def focal_plane_exposure(
    scene_cd_m2: float, f_number: float, time_s: float, q: float = LENS_Q
) -> float:
    """Give the light that a luminance lays on the sensor, q L t / N^2.

    Parameters
    ----------
    scene_cd_m2 : float
        Mean luminance of the scene, cd/m^2.
    f_number : float
        f-number that the sensor sees: the effective one in close-up.
    time_s : float
        Exposure time, s.
    q : float, optional
        Share that passes the lens.

    Returns
    -------
    float
        Luminous exposure on the sensor, lx s (ISO 12232:2019).
    """
    return q * scene_cd_m2 * time_s / f_number**2


def exposure_index(exposure_lx_s: float) -> float:
    """Give the ISO setting that a mean exposure of the sensor is correct for, 10 / H.

    Parameters
    ----------
    exposure_lx_s : float
        Luminous exposure on the sensor, lx s.

    Returns
    -------
    float
        Exposure index (ISO 12232:2019).
    """
    return GREY_LX_S / exposure_lx_s


def grey_exposure_lx_s(iso: float) -> float:
    """Give the light that a middle grey lays on the sensor, 10 / S.

    Parameters
    ----------
    iso : float
        ISO setting.

    Returns
    -------
    float
        Luminous exposure on the sensor, lx s (ISO 12232:2019).
    """
    return GREY_LX_S / iso


def saturation_exposure_lx_s(iso: float) -> float:
    """Give the light that fills the sensor, 78 / S.

    Parameters
    ----------
    iso : float
        Saturation-based ISO speed.

    Returns
    -------
    float
        Luminous exposure on the sensor, lx s; a middle grey sits at an eighth of it.
    """
    return SATURATION_LX_S / iso


def photons_per_um2_lx_s(wavelength_nm: float = 555.0) -> float:
    """Give the photons that a lux second brings to a square micrometre.

    Parameters
    ----------
    wavelength_nm : float, optional
        Wavelength of the light, nm, 400 to 700: where the eye sees little, a lux needs much light.

    Returns
    -------
    float
        Photons; 4091 at 555 nm.
    """
    joules_per_um2 = 1e-12 / (MAX_EFFICACY_LM_W * float(luminous_efficiency(wavelength_nm)))
    return joules_per_um2 * wavelength_nm / (_PLANCK_J_S * _LIGHT_NM_S)


def snr(electrons: float, read_noise_e: float = 0.0) -> float:
    """Give the signal over the noise of a pixel, S / sqrt(S + r^2).

    Parameters
    ----------
    electrons : float
        Electrons collected, above 0.
    read_noise_e : float, optional
        Read noise, electrons.

    Returns
    -------
    float
        Ratio (EMVA 1288; 10 is the first acceptable, 40 the first excellent one of ISO 12232).
    """
    return electrons / math.sqrt(electrons + read_noise_e**2)
