"""How the outside values of light, flash, motion, noise, eye and craft are computed here."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
from scipy.optimize import minimize_scalar

from haltere import optics
from haltere.frames.icc import SRGB

Numbers = dict[str, Any]


def each(function: Callable[..., float], *columns: Any) -> list[float]:
    """Apply to parallel lists; a single number stands for a whole list."""
    length = max(len(c) for c in columns if isinstance(c, list))
    rows = zip(*(c if isinstance(c, list) else [c] * length for c in columns), strict=True)
    return [function(*row) for row in rows]


def photopic(i: Numbers) -> Numbers:
    nu, ne = i["frequency_cy_per_mm"], i["effective_f_number"]
    return {
        "mtf_weighted": float(optics.photopic_mtf(nu, ne)),
        "mtf_550nm": float(optics.diffraction_mtf(nu / optics.cutoff_per_mm(ne))),
    }


def best_at_a_frequency(i: Numbers) -> Numbers:
    m, wavelength = i["magnification"], i["wavelength_um"] / 1000

    def contrast(ne: float, nu: float) -> float:
        na = optics.numerical_aperture(m, ne)
        waves = optics.defocus_waves(i["depth_mm"] / 2, na, wavelength)
        return float(optics.defocus_otf(nu / optics.cutoff_per_mm(ne, wavelength), waves))

    neff = [
        float(
            minimize_scalar(lambda n, nu=nu: -contrast(n, nu), bounds=(12, 30), method="bounded").x
        )
        for nu in i["frequency_cy_per_mm"]
    ]
    return {"neff": neff, "mtf": each(contrast, neff, i["frequency_cy_per_mm"])}


def disc_gain(i: Numbers) -> Numbers:
    far, near = i["distance_mm"]
    true = [optics.disc_illuminance_share(i["radius_mm"], h) for h in (far, near)]
    wrong = [optics.disc_over_inverse_square(i["radius_mm"], h) for h in (far, near)]
    gain = true[1] / true[0]
    return {"true_gain": gain, "inverse_square_gain": gain * wrong[0] / wrong[1]}


def flash_dose(i: Numbers) -> Numbers:
    return {
        "subject_exposure_lx_s": optics.subject_exposure_lx_s(i["effective_f_number"], i["iso"]),
        "output_at_1m_lx_s": optics.flash_exposure_lx_s(i["guide_number_m_iso100"], 1.0),
    }


def flash_stop(i: Numbers) -> Numbers:
    given = i["guide_number_m"], i["distance_m"]
    if isinstance(i["iso"], list):
        return {"f_number": each(lambda iso: optics.flash_f_number(*given, iso), i["iso"])}
    return {"f_number": optics.flash_f_number(*given, i["iso"])}


def ambient(i: Numbers) -> Numbers:
    """Both lights as they reach the sensor, so that the lens could have made a difference."""

    def ratio(m: float) -> float:
        ne = optics.effective_f_number(8.0, m)
        share = optics.ambient_share(i["ambient_lx"], i["shutter_s"], 1.0)
        return (share / ne**2) / (i["flash_subject_exposure_lx_s"] / ne**2)

    flash = i["flash_subject_exposure_lx_s"]
    plain = optics.ambient_share(i["ambient_lx"], i["shutter_s"], flash)
    ratios = [ratio(m) for m in i["magnification"]]
    assert all(math.isclose(r, plain) for r in ratios)
    return {"ratio": ratios}


def settings(i: Numbers) -> tuple[Any, Any, Any]:
    return i["f_number"], i["time_s"], i["iso"]


def grey(i: Numbers) -> Numbers:
    exposure = optics.grey_exposure_lx_s(i["iso"])
    area = i["pixel_pitch_um"] ** 2
    return {
        "exposure_lx_s": exposure,
        "photons_per_pixel": exposure * area * optics.photons_per_um2_lx_s(),
    }


def tilt_and_shift(i: Numbers) -> Numbers:
    f, m = i["focal_length_mm"], i["magnification"]
    return {
        "shift_image_um": 1000 * optics.image_shift_mm(i["shift_um"] / 1000, m),
        "tilt_image_um": 1000 * optics.image_tilt_mm(f, m, i["tilt_deg"]),
    }


def eye(i: Numbers) -> Numbers:
    even = np.arange(380.0, 781.0)
    weight = optics.luminous_efficiency(even)
    return {
        "V": optics.luminous_efficiency(i["wavelength_nm"]).tolist(),
        "mean_wavelength_nm": float(even @ weight / weight.sum()),
    }


def saying(i: Numbers) -> Numbers:
    m, wavelength = i["magnification"], i["wavelength_um"] / 1000
    ne = optics.effective_f_number(i["f_number"], m, i["pupil_magnification"])
    pitches = [w / n for (w, _), (n, _) in zip(i["sensors_mm"], i["pixels"], strict=True)]
    detail = [
        optics.resolved_megapixels(ne, *sides, pitch, wavelength)
        for sides, pitch in zip(i["sensors_mm"], pitches, strict=True)
    ]
    airy = optics.airy_diameter_mm(ne, wavelength)
    na = optics.numerical_aperture(m, ne)
    # the depth whose best aperture this is: Ne grows with its square root
    for_one_mm = optics.best_effective_f_number(1.0, m, wavelength)
    return {
        "effective_megapixels": detail,
        "airy_px": [airy / pitch for pitch in pitches],
        "depth_for_which_optimal_mm": (ne / for_one_mm) ** 2,
        "wave_depth_mm": optics.wave_depth_mm(na, wavelength),
    }


def daylight(i: Numbers) -> Numbers:
    def stops(ev: float) -> list[float]:
        lux = optics.illuminance_lx(ev)
        needed = [
            optics.subject_exposure_lx_s(optics.effective_f_number(n, i["magnification"]), i["iso"])
            for n in i["f_number"]
        ]
        return [math.log2(optics.ambient_share(lux, i["time_s"], h)) for h in needed]

    sun, shade = i["ev100"]
    return {"stops_sun": stops(sun), "stops_shade": stops(shade)}


CALCULATORS: dict[str, Callable[[Numbers], Numbers]] = {
    "mtf-photopic": photopic,
    "mtf-aperture-03": best_at_a_frequency,
    "flash-gn-01": flash_stop,
    "flash-gn-02": lambda i: {
        "guide_number_ft": each(optics.guide_number, i["f_number"], i["distance_ft"])
    },
    "flash-gn-03": lambda i: {
        "factor": each(lambda iso: optics.guide_number_at_iso(1.0, iso), i["iso"])
    },
    "flash-gn-04": flash_stop,
    "flash-gn-05": lambda i: {"guide_number_ft": i["guide_number_m"] / optics.METRES_PER_FOOT},
    "flash-gn-06": flash_dose,
    "flash-disc-01": lambda i: {
        "fraction_of_pi_L": optics.disc_illuminance_share(i["radius_mm"], i["distance_mm"])
    },
    "flash-disc-02": lambda i: {
        "true_over_inverse_square": each(
            lambda h: optics.disc_over_inverse_square(1.0, h), i["distance_over_radius"]
        )
    },
    "flash-disc-03": disc_gain,
    "flash-dur-01": lambda i: {
        "t01_over_t05": optics.t01_from_t05(1.0),
        "light_outside_t05_window": optics.flash_light_after(1.0, 1.0),
    },
    "flash-dur-02": lambda i: {
        "duration_ms": each(
            optics.cut_flash_duration_s, i["full_power_t05_ms"], i["power_fraction"]
        )
    },
    "flash-ambient": ambient,
    "exp-lum": lambda i: {
        "luminance_cd_m2": each(lambda *s: optics.luminance_cd_m2(optics.ev100(*s)), *settings(i))
    },
    "exp-ill": lambda i: {
        "illuminance_lx": each(lambda *s: optics.illuminance_lx(optics.ev100(*s)), *settings(i))
    },
    "exp-ev-01": lambda i: {
        "ev": each(optics.ev_of_luminance, i["luminance_cd_m2"], i["iso"], i["K"])
    },
    "exp-ev-02": lambda i: {
        "ev": each(optics.ev_of_illuminance, i["illuminance_lx"], i["iso"], i["C"])
    },
    "exp-ev-03": lambda i: {"ev100": each(optics.ev100, *settings(i))},
    "exp-q": lambda i: {
        "q": each(optics.exposure_q, i["transmittance"], i["vignetting"], i["angle_deg"])
    },
    "exp-h": lambda i: {
        "exposure_lx_s": each(
            optics.focal_plane_exposure, i["luminance_cd_m2"], i["f_number"], i["time_s"], i["q"]
        )
    },
    "exp-ei": lambda i: {"exposure_index": each(optics.exposure_index, i["exposure_lx_s"])},
    "exp-lux-01": lambda i: {"illuminance_lx": each(optics.illuminance_lx, i["ev"])},
    "exp-lux-02": lambda i: {"luminance_cd_m2": each(optics.luminance_cd_m2, i["ev"])},
    "exp-sunny": lambda i: {"ev100": optics.ev100(*settings(i))},
    "exp-fc": lambda i: {"lux": optics.LUX_PER_FOOTCANDLE},
    "motion-tremor": lambda i: {
        "displacement_um": optics.tremor_amplitude_um(i["peak_acceleration_g"], i["frequency_hz"]),
        "speed_mm_s": optics.tremor_speed_mm_s(i["peak_acceleration_g"], i["frequency_hz"]),
    },
    "motion-blur": lambda i: {
        "blur_px": optics.motion_blur_px(
            i["speed_mm_s"], i["time_s"], i["magnification"], i["pixel_pitch_um"] / 1000
        )
    },
    "motion-is-02": lambda i: {
        "stops": optics.stabilisation_stops(i["time_without_s"], i["time_with_s"])
    },
    "motion-is-03": tilt_and_shift,
    "noise-iso-02": lambda i: {
        "grey_over_saturation": optics.grey_exposure_lx_s(200)
        / optics.saturation_exposure_lx_s(200)
    },
    "noise-photon": lambda i: {
        "photons_per_um2_per_lx_s": optics.photons_per_um2_lx_s(i["wavelength_nm"])
    },
    "noise-snr": lambda i: {"snr": each(optics.snr, i["electrons"], i["read_noise_e"])},
    "noise-grey": grey,
    "col-l-01": lambda i: {
        "L_of_18": optics.lightness(i["Y"] / 100),
        "Y_of_50": 100 * optics.luminance_of_lightness(i["L"]),
    },
    "col-l-02": lambda i: {
        "L": optics.lightness(float(SRGB.light(np.asarray([i["code_value"] / 255]))[0]))
    },
    "col-v": eye,
    "craft-0": saying,
    "craft-06": daylight,
    "craft-07": lambda i: {
        "magnification": each(
            optics.with_close_up,
            i["focal_length_at_1to1_mm"],
            i["magnification_without_closeup"],
            i["closeup_dioptre"],
            i["separation_mm"],
        )
    },
}
