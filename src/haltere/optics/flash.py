"""How much light a flash gives, how it falls off near a diffuser, and how long it burns."""

from __future__ import annotations

import math

from haltere.optics.exposure import INCIDENT_C

TENTH_OVER_HALF = math.log2(10.0)
"""Time down to a tenth over time down to a half, for light that dies away exponentially: 3.32."""


def guide_number(f_number: float, distance: float) -> float:
    """Give the guide number by a correct exposure, N d.

    Parameters
    ----------
    f_number : float
        f-number that exposed well; the effective one in close-up.
    distance : float
        Flash to animal; in metres for a guide number in metres.

    Returns
    -------
    float
        Guide number in the unit of the distance, at the ISO of that exposure.
    """
    return f_number * distance


def guide_number_at_iso(guide_number_m: float, iso: float) -> float:
    """Give the guide number at another ISO, GN sqrt(ISO/100).

    Parameters
    ----------
    guide_number_m : float
        Guide number at ISO 100, m.
    iso : float
        ISO setting.

    Returns
    -------
    float
        Guide number, m.
    """
    return guide_number_m * math.sqrt(iso / 100.0)


def flash_f_number(guide_number_m: float, distance_m: float, iso: float = 100.0) -> float:
    """Give the f-number that a flash exposes well at full power, GN / d.

    Parameters
    ----------
    guide_number_m : float
        Guide number at ISO 100, m.
    distance_m : float
        Flash to animal, m; below half a metre the law is only a start for a test shot.
    iso : float, optional
        ISO setting.

    Returns
    -------
    float
        f-number that the sensor must see: the effective one in close-up.
    """
    return guide_number_at_iso(guide_number_m, iso) / distance_m


def flash_exposure_lx_s(guide_number_m: float, distance_m: float, power: float = 1.0) -> float:
    """Give the light that a bare flash lays on the animal, 2.5 GN^2 P / d^2.

    Parameters
    ----------
    guide_number_m : float
        Guide number at ISO 100, m.
    distance_m : float
        Flash to animal, m.
    power : float, optional
        Share of full power, above 0 and up to 1.

    Returns
    -------
    float
        Luminous exposure, lx s (from the incident-light relation with C = 250, ISO 2720:1974,
        excerpt seen).
    """
    return INCIDENT_C / 100.0 * guide_number_m**2 * power / distance_m**2


def disc_illuminance_share(radius_mm: float, distance_mm: float) -> float:
    """Give the illuminance before a round diffuser over that at its surface, r^2 / (r^2 + h^2).

    Parameters
    ----------
    radius_mm : float
        Radius of the diffuser, mm.
    distance_mm : float
        Diffuser to animal, along its axis, mm.

    Returns
    -------
    float
        E / (pi L), 1 at the surface (evenly bright Lambertian disc; Howell, Catalog of
        Configuration Factors, from memory; checked by integration).
    """
    return radius_mm**2 / (radius_mm**2 + distance_mm**2)


def disc_over_inverse_square(radius_mm: float, distance_mm: float) -> float:
    """Give the true light before a round diffuser over what the inverse square would promise.

    Parameters
    ----------
    radius_mm : float
        Radius of the diffuser, mm.
    distance_mm : float
        Diffuser to animal, mm.

    Returns
    -------
    float
        h^2 / (r^2 + h^2): 0.96 at five radii, a half at one.
    """
    return distance_mm**2 / (radius_mm**2 + distance_mm**2)


def ambient_share(ambient_lx: float, time_s: float, flash_lx_s: float) -> float:
    """Give the daylight in a flash picture over the flash light, E t / H.

    Both lights pass the same lens, so magnification and aperture drop out once the flash is set
    to expose well.

    Parameters
    ----------
    ambient_lx : float
        Daylight on the animal, lx.
    time_s : float
        Shutter time, s.
    flash_lx_s : float
        Light of the flash on the animal, lx s.

    Returns
    -------
    float
        Ratio; 0.125 is three stops under.
    """
    return ambient_lx * time_s / flash_lx_s


def t01_from_t05(half_time_s: float) -> float:
    """Give the flash duration down to a tenth of the peak from that down to a half.

    Blur is judged with the tenth: half of the light falls after the half.

    Parameters
    ----------
    half_time_s : float
        t0.5, s.

    Returns
    -------
    float
        t0.1 = 3.32 t0.5, s (light that dies away exponentially; common practice rounds to 3).
    """
    return half_time_s * TENTH_OVER_HALF


def t05_from_t01(tenth_time_s: float) -> float:
    """Give the flash duration down to a half of the peak from that down to a tenth.

    Parameters
    ----------
    tenth_time_s : float
        t0.1, s.

    Returns
    -------
    float
        t0.5, s.
    """
    return tenth_time_s / TENTH_OVER_HALF


def flash_light_after(time_s: float, full_t05_s: float) -> float:
    """Give the share of a full flash's light that comes after a time, 2^(-t/t0.5).

    Parameters
    ----------
    time_s : float
        Time from the peak, s.
    full_t05_s : float
        t0.5 at full power, s.

    Returns
    -------
    float
        Share; a half after t0.5.
    """
    return float(2.0 ** (-time_s / full_t05_s))


def cut_flash_duration_s(full_t05_s: float, power: float) -> float:
    """Give how long a flash burns that makes less light by being cut off, -tau ln(1 - P).

    That is how battery flashes work (thyristor or transistor switch): less power is shorter.

    Parameters
    ----------
    full_t05_s : float
        t0.5 at full power, s; tau = t0.5 / ln 2.
    power : float
        Share of full power, above 0 and up to 1. Below 1/32 the rise of the light, 20-50 us,
        comes on top (from memory).

    Returns
    -------
    float
        Time above a tenth of the peak, s; from 0.9 of the power on that of the full flash.
    """
    full = t01_from_t05(full_t05_s)
    return min(full, -full_t05_s * math.log2(1.0 - power)) if power < 1.0 else full


def voltage_flash_duration_s(full_t05_s: float, power: float = 1.0) -> float:
    """Give how long a flash burns that makes less light by a lower voltage: as long as ever.

    That is how many studio flashes work; less power is not shorter, on some even longer.

    Parameters
    ----------
    full_t05_s : float
        t0.5 at full power, s.
    power : float, optional
        Share of full power; it changes nothing and is taken so that both kinds are asked alike.

    Returns
    -------
    float
        Time above a tenth of the peak, s, at the least.
    """
    del power
    return t01_from_t05(full_t05_s)
