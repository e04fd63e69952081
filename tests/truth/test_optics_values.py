"""Every copied outside value is met within its own tolerance."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from haltere import optics
from haltere.frames.icc import SRGB
from tests.truth import light

ENTRIES: list[dict[str, Any]] = json.loads(
    Path(__file__).with_name("optics.json").read_text(encoding="utf-8")
)
# groups of outside values that wait for the room that will need them

Numbers = dict[str, Any]


def effective(i: Numbers) -> float:
    n = i.get("f_number_at_infinity", i.get("f_number"))
    return optics.effective_f_number(n, i["magnification"], i["pupil_magnification"])


def pupil(i: Numbers) -> float:
    return optics.plane_to_pupil_mm(
        i["focal_length_mm"], i["magnification"], i["pupil_magnification"]
    )


def bellows(i: Numbers) -> Numbers:
    if "image_distance_in" in i:
        m = optics.magnification_at(i["focal_length_in"], i["image_distance_in"])
    else:
        m = i.get("magnification") or i["image_size_in"] / i["object_size_in"]
    p = i.get("pupil_magnification", 1.0)
    return {"exposure_factor": optics.exposure_factor(m, p), "stops": optics.exposure_stops(m, p)}


def blur(i: Numbers) -> Numbers:
    aperture = optics.aperture_diameter_mm(i["focal_length_mm"], i["f_number_at_infinity"])
    near, far = (
        optics.blur_disc_mm(i["magnification"], aperture, sign * i["displacement_mm"], pupil(i))
        for sign in (1, -1)
    )
    return {"blur_nearer_mm": near, "blur_farther_mm": far}


def geometric(i: Numbers) -> Numbers:
    aperture = optics.aperture_diameter_mm(i["focal_length_mm"], i["f_number"])
    c, m = i["circle_of_confusion_mm"], i["magnification"]
    return {
        "depth_simple_mm": optics.depth_of_field_mm(c, effective(i), m),
        "depth_exact_mm": sum(optics.exact_depth_mm(c, m, aperture, pupil(i))),
    }


def wave_depth(i: Numbers) -> Numbers:
    wavelength = i["wavelength_um"] / 1000
    if "na" not in i:
        na = optics.numerical_aperture(i["magnification"], i["effective_f_number"])
        return {"depth_um": 1000 * optics.wave_depth_mm(na, wavelength)}
    index = i.get("refractive_index", 1.0)
    values = [1000 * optics.wave_depth_mm(na, wavelength, index) for na in np.atleast_1d(i["na"])]
    return {"depth_um": values if isinstance(i["na"], list) else values[0]}


def energy_within(radius: float, waves: float) -> float:
    """Energy inside a radius (in lambda N): the transfer function, integrated against a disc's."""

    def share(t: float) -> float:
        disc = float(optics.bessel_j1(2 * math.pi * radius * t))
        return float(optics.defocus_otf(t, waves)) * disc

    return 2 * math.pi * radius * quad(share, 0, 1)[0]


def total_depth(i: Numbers) -> Numbers:
    e, wavelength = i["resolvable_distance_um"] / 1000, i["wavelength_um"] / 1000
    ne, m = effective(i), i["magnification"]
    na = optics.numerical_aperture(m, ne)
    return {
        "wave_um": 1000 * optics.wave_depth_mm(na, wavelength),
        "geometrical_um": 1000 * optics.depth_of_field_mm(e, ne, m),
        "total_um": 1000 * optics.combined_depth_mm(e, ne, m, wavelength),
    }


def mtf_at(i: Numbers) -> Numbers:
    if "fraction_of_cutoff" in i:
        return {"mtf": float(optics.diffraction_mtf(i["fraction_of_cutoff"]))}
    cutoff = optics.cutoff_per_mm(i["effective_f_number"], i["wavelength_um"] / 1000)
    return {"mtf": float(optics.diffraction_mtf(i["frequency_cy_per_mm"] / cutoff))}


def fraction_of(contrast: float) -> float:
    return float(brentq(lambda t: float(optics.diffraction_mtf(t)) - contrast, 0, 1))


def airy_zero(low: float, high: float) -> float:
    return float(brentq(lambda r: float(optics.jinc(math.pi * r)), low, high))


def rule_1600(i: Numbers) -> Numbers:
    rayleigh = [1 / (optics.airy_diameter_mm(n) / 2) for n in i["f_number"]]
    return {"lp_per_mm": rayleigh}


def cutoffs(i: Numbers) -> Numbers:
    wavelength = i["wavelength_um"] / 1000
    values = [
        m * optics.cutoff_per_mm(optics.effective_f_number(i["f_number"], m), wavelength)
        for m in i["magnification"]
    ]
    return {"object_cutoff_cy_per_mm": values}


def best(i: Numbers) -> Numbers:
    if "focus_spread_mm" in i:
        return {"effective_f_number": optics.best_effective_f_number(i["focus_spread_mm"], 1.0)}
    given = i["depth_mm"], i["magnification"], i["wavelength_um"] / 1000
    return {
        "neff_airy_model": optics.best_effective_f_number(*given),
        "neff_quarter_wave": optics.best_effective_f_number(*given, k=4.0),
    }


def extension(i: Numbers) -> Numbers:
    f = i["focal_length_mm"]
    if "image_distance_mm" in i:
        return {"magnification": optics.magnification_at(f, i["image_distance_mm"])}
    return {"image_distance_mm": optics.image_distance_mm(f, i["magnification"])}


def srgb(i: Numbers) -> Numbers:
    def both(values: Any) -> tuple[Any, bool]:
        return np.atleast_1d(np.asarray(values, float)), isinstance(values, list)

    key, other = ("linear", "encoded") if "linear" in i else ("encoded", "linear")
    values, many = both(i[key])
    got = SRGB.code(values) if key == "linear" else SRGB.light(values)
    return {other: got.tolist() if many else float(got[0])}


def close_up(i: Numbers) -> Numbers:
    given = (
        i["focal_length_mm"],
        i["magnification_without_closeup"],
        i["closeup_dioptre"],
        i["separation_mm"],
    )
    bare = {**i, "magnification": i["magnification_without_closeup"]}
    assert optics.close_up_focal_mm(i["closeup_dioptre"]) == i["closeup_focal_length_mm"]
    return {
        "magnification": optics.with_close_up(*given),
        "effective_f_number": effective(bare),
        "subject_to_closeup_lens_mm": optics.subject_to_close_up_mm(*given),
    }


def close_up_pupil(i: Numbers) -> Numbers:
    power = optics.close_up_power_dpt(i["closeup_focal_length_mm"])
    behind = optics.pupil_through_close_up_mm(i["closeup_to_bare_entrance_pupil_mm"], power)
    whole = i["subject_to_closeup_lens_mm"] + behind
    return {
        "entrance_pupil_behind_closeup_mm": behind,
        "plane_to_entrance_pupil_mm": whole,
        "scale_ratio": optics.scale_at(whole, i["camera_advance_mm"]),
    }


def converter(i: Numbers) -> Numbers:
    factor = optics.converter_factor(i["distance_before_image_mm"], i["converter_focal_length_mm"])
    bare = {**i, "magnification": i["magnification_without_converter"]}
    return {
        "converter_factor": factor,
        "magnification": factor * bare["magnification"],
        "effective_f_number": factor * effective(bare),
    }


CALCULATORS: dict[str, Callable[[Numbers], Numbers]] = {
    **light.CALCULATORS,
    "lens-closeup": close_up,
    "lens-cupupil": close_up_pupil,
    "lens-twothin": lambda i: {
        "focal_length_cm": optics.two_lens_focal(
            i["focal_length_1_cm"], i["focal_length_2_cm"], i["separation_cm"]
        )
    },
    "lens-tele-01": lambda i: {
        "extension_in": optics.converter_extension(
            i["magnification"], i["negative_focal_length_in"]
        )
    },
    "lens-tele-02": lambda i: {
        "magnification": optics.converter_factor_at(
            i["extension_in"], i["negative_focal_length_in"]
        )
    },
    "lens-dioptre": lambda i: {"dioptre": optics.close_up_power_dpt(1000 * i["focal_length_m"])},
    "lens-tc": converter,
    "lens-neff": lambda i: {"effective_f_number": effective(i)},
    "lens-dep": lambda i: {"plane_to_entrance_pupil_mm": pupil(i)},
    "lens-na": lambda i: {
        "object_side_na": optics.numerical_aperture(i["magnification"], effective(i))
    },
    "lens-track": lambda i: {
        "subject_to_sensor_mm": optics.subject_to_sensor_mm(
            i["focal_length_mm"], i["magnification"], i["principal_plane_separation_mm"]
        )
    },
    "lens-wd": lambda i: {
        "working_distance_mm": optics.working_distance_mm(
            i["focal_length_mm"], i["magnification"], i["front_focal_point_from_front_vertex_mm"]
        )
    },
    "lens-scale": lambda i: {"scale_ratio": optics.scale_at(pupil(i), i["camera_advance_mm"])},
    "lens-bellows": bellows,
    "lens-ext": extension,
    "lens-fov": lambda i: {
        "field_width_mm": optics.field_mm(i["sensor_width_mm"], i["magnification"]),
        "field_height_mm": optics.field_mm(i["sensor_height_mm"], i["magnification"]),
        "um_per_px": 1000
        * optics.field_mm(i["sensor_width_mm"], i["magnification"])
        / i["pixels_wide"],
    },
    "depth-blur": blur,
    "depth-geo": geometric,
    "depth-wave-03": lambda i: {"strehl": float(optics.strehl(i["defocus_edge_waves"]))},
    "depth-wave-04": lambda i: {
        "perfect": energy_within(optics.AIRY_ZERO, 0.0),
        "quarter_wave": energy_within(optics.AIRY_ZERO, 0.25),
    },
    "depth-wave": wave_depth,
    "depth-total": total_depth,
    "depth-coc-01": lambda i: {
        "circle_of_confusion_mm": optics.coc_by_print_mm(i["print_blur_mm"], i["enlargement"])
    },
    "depth-coc-02": lambda i: {
        "circle_of_confusion_mm": optics.coc_by_diagonal_mm(
            i["sensor_width_mm"], i["sensor_height_mm"]
        )
    },
    "depth-coc-03": lambda i: {
        "pixels_per_degree": optics.pixels_per_degree(i["pixels_per_cm"], i["viewing_distance_cm"])
    },
    "depth-coc-04": lambda i: {
        "size_mm": optics.seen_size_mm(i["acuity_arcmin"], i["viewing_distance_mm"])
    },
    "depth-focus": lambda i: {
        "half_depth_mm": optics.depth_of_focus_mm(i["blur_mm"], i["effective_f_number"], "half")
    },
    "diff-airy-01": lambda i: {"radius_factor": airy_zero(1.0, 1.5)},
    "diff-airy-02": lambda i: {
        "second_zero": airy_zero(2.0, 2.5),
        "energy_first": energy_within(airy_zero(1.0, 1.5), 0.0),
        "energy_second": energy_within(airy_zero(2.0, 2.5), 0.0),
    },
    "diff-airy-03": lambda i: {
        "airy_diameter_um": 1000
        * optics.airy_diameter_mm(i["effective_f_number"], i["wavelength_um"] / 1000)
    },
    "diff-fwhm": lambda i: {"fwhm_factor": optics.AIRY_FWHM},
    "diff-rayleigh-01": lambda i: {
        "aperture_mm": optics.AIRY_ZERO
        * i["wavelength_um"]
        / 1000
        / math.radians(i["angle_arcmin"] / 60)
    },
    "diff-rayleigh-02": lambda i: {
        "angle_rad": optics.AIRY_ZERO * i["wavelength_um"] * 1e-6 / i["aperture_m"]
    },
    "diff-1600": rule_1600,
    "diff-abbe": cutoffs,
    "mtf-diff": mtf_at,
    "mtf-rule-01": lambda i: {
        "mtf50_fraction": fraction_of(0.5),
        "mtf10_fraction": fraction_of(0.1),
    },
    "mtf-rule-02": mtf_at,
    "mtf-defocus-sign": lambda i: {
        "otf": float(optics.defocus_otf(i["fraction_of_cutoff"], i["defocus_edge_waves"]))
    },
    "mtf-defocus": lambda i: {
        "mtf": abs(float(optics.defocus_otf(i["fraction_of_cutoff"], i["defocus_edge_waves"])))
    },
    "mtf-pixel": lambda i: {"mtf": optics.pixel_mtf(i["frequency_cy_per_px"]).tolist()},
    "mtf-aperture": best,
    "col-srgb": srgb,
}


def calculator(entry_id: str) -> Callable[[Numbers], Numbers]:
    return CALCULATORS[max((k for k in CALCULATORS if entry_id.startswith(k)), key=len)]


@pytest.mark.parametrize("entry", ENTRIES, ids=[entry["id"] for entry in ENTRIES])
def test_an_outside_value_is_met_within_its_tolerance(entry: dict[str, Any]) -> None:
    got = calculator(entry["id"])(entry["inputs"])
    kind, size = next(iter(entry["tolerance"].items()))
    slack = {"abs": {"abs": size, "rel": 0}, "rel": {"rel": size, "abs": 0}}[kind]
    for key, expected in entry["expected"].items():
        assert got[key] == pytest.approx(expected, **slack), key


def test_every_copied_value_says_its_source() -> None:
    assert all(len(entry["source"]) > 5 for entry in ENTRIES)
    assert len({entry["id"] for entry in ENTRIES}) == len(ENTRIES) > 130
