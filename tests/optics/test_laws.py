"""Laws that the formulas keep at every setting."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.special
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from haltere import optics

magnifications = st.floats(0.1, 10)
pupils = st.floats(0.5, 2)
f_numbers = st.floats(1.4, 32)
focals = st.floats(10, 300)


@given(f_numbers, magnifications, pupils, focals)
def test_numerical_aperture_is_the_pupil_over_twice_its_distance(
    n: float, m: float, p: float, f: float
) -> None:
    effective = optics.effective_f_number(n, m, p)
    by_pupil = optics.aperture_diameter_mm(f, n) / (2 * optics.plane_to_pupil_mm(f, m, p))
    assert optics.numerical_aperture(m, effective) == pytest.approx(by_pupil)


@given(f_numbers, magnifications, pupils, focals)
def test_the_blur_disc_starts_with_the_stated_slope(n: float, m: float, p: float, f: float) -> None:
    s = optics.plane_to_pupil_mm(f, m, p)
    d = optics.aperture_diameter_mm(f, n)
    tiny = s * 1e-6
    slope = optics.blur_slope(m, optics.effective_f_number(n, m, p))
    assert optics.blur_disc_mm(m, d, tiny, s) / tiny == pytest.approx(slope, rel=1e-5)
    assert optics.blur_disc_mm(m, d, -tiny, s) / tiny == pytest.approx(slope, rel=1e-5)


@given(f_numbers, magnifications, pupils, focals, st.floats(0.002, 0.05))
def test_at_the_limits_of_depth_the_blur_is_the_circle_of_confusion(
    n: float, m: float, p: float, f: float, c: float
) -> None:
    s = optics.plane_to_pupil_mm(f, m, p)
    d = optics.aperture_diameter_mm(f, n)
    near, far = optics.exact_depth_mm(c, m, d, s)
    assert optics.blur_disc_mm(m, d, near, s) == pytest.approx(c)
    if math.isfinite(far):
        assert optics.blur_disc_mm(m, d, -far, s) == pytest.approx(c)


def test_behind_the_last_sharp_plane_everything_is_sharp() -> None:
    assert optics.exact_depth_mm(0.05, 0.01, 4.0, 1000.0)[1] == math.inf


@given(st.floats(20, 500), st.floats(-10, 10))
def test_scale_falls_with_distance(s: float, dz: float) -> None:
    scale = optics.scale_at(s, dz)
    assert (scale > 1) == (dz > 0) or dz == pytest.approx(0, abs=1e-12)
    assert scale * (s - dz) == pytest.approx(s)


def test_life_size_costs_two_stops() -> None:
    assert optics.exposure_stops(1.0) == 2.0


@given(st.floats(-60, 60))
def test_bessel_agrees_with_scipy(x: float) -> None:
    assert float(optics.bessel_j1(x)) == pytest.approx(scipy.special.j1(x), abs=1e-7)


@given(st.floats(0, 1), st.floats(-6, 6))
def test_the_defocused_transfer_agrees_with_adaptive_integration(t: float, w: float) -> None:
    def height(x: float) -> float:
        return math.cos(8 * math.pi * w * t * x) * math.sqrt(max(0.0, 1 - (x + t) ** 2))

    expected = 4 / math.pi * quad(height, 0, 1 - t, limit=300)[0]
    assert float(optics.defocus_otf(t, w)) == pytest.approx(expected, abs=1e-6)


def test_without_defocus_the_transfer_is_the_lens_alone() -> None:
    t = np.linspace(0, 1.5, 301)
    assert np.allclose(optics.defocus_otf(t, 0.0), optics.diffraction_mtf(t), atol=1e-12)
    assert np.allclose(optics.defocus_otf_fast(t, 0.0), optics.diffraction_mtf(t), atol=1e-12)


def test_the_fast_transfer_stays_within_its_stated_error() -> None:
    t, w = np.meshgrid(np.linspace(0, 1, 201), np.linspace(0.05, 3, 60))
    assert (
        np.abs(optics.defocus_otf_fast(t, w) - optics.defocus_otf(t, w)).max() < 0.017
    )  # 0.0164 measured


def test_the_airy_disc_is_dark_at_its_rim_and_half_bright_at_half_its_width() -> None:
    rim = optics.airy_diameter_mm(16.0) / 2
    half = optics.AIRY_FWHM * optics.WAVELENGTH_MM * 16.0 / 2
    rim_light, half_light = optics.airy_intensity([rim, half], 16.0)
    assert rim_light == pytest.approx(0, abs=1e-12)
    assert half_light == pytest.approx(0.5, abs=1e-6)


@given(magnifications, f_numbers)
def test_combined_depth_is_more_than_either_part(m: float, n: float) -> None:
    effective = optics.effective_f_number(n, m)
    wave = optics.wave_depth_mm(optics.numerical_aperture(m, effective))
    geometry = optics.depth_of_field_mm(0.015, effective, m)
    assert optics.combined_depth_mm(0.015, effective, m) == pytest.approx(wave + geometry)


def test_a_quarter_wave_of_defocus_is_half_the_wave_depth_away() -> None:
    na = optics.numerical_aperture(1.0, 16.0)
    assert optics.defocus_waves(optics.wave_depth_mm(na) / 2, na) == pytest.approx(0.25)


def test_two_pixels_are_the_proposed_circle() -> None:
    assert optics.coc_by_pixels_mm(0.0033) == pytest.approx(0.0066)
