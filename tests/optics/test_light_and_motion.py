"""Laws of exposure, flash, noise and motion."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from haltere import optics

evs = st.floats(-6, 18)
isos = st.floats(50, 25600)
f_numbers = st.floats(1.4, 64)
times = st.floats(1e-5, 10)
powers = st.floats(1 / 256, 1)
lengths = st.floats(5, 500)


@given(evs)
def test_exposure_value_and_light_are_each_other_s_inverse(ev: float) -> None:
    assert optics.ev_of_luminance(optics.luminance_cd_m2(ev)) == pytest.approx(ev)
    assert optics.ev_of_illuminance(optics.illuminance_lx(ev)) == pytest.approx(ev)


@given(f_numbers, times, isos)
def test_a_stop_of_anything_is_one_exposure_value(n: float, t: float, iso: float) -> None:
    here = optics.ev100(n, t, iso)
    assert optics.ev100(n * math.sqrt(2), t, iso) == pytest.approx(here + 1)
    assert optics.ev100(n, t / 2, iso) == pytest.approx(here + 1)
    assert optics.ev100(n, t, iso * 2) == pytest.approx(here - 1)


@given(f_numbers, times, isos)
def test_the_light_a_setting_asks_for_gives_the_exposure_it_asks_for(
    n: float, t: float, iso: float
) -> None:
    lux = optics.illuminance_lx(optics.ev100(n, t, iso))
    assert lux * t == pytest.approx(optics.subject_exposure_lx_s(n, iso))


@given(st.floats(2, 80), st.floats(0.1, 10), isos)
def test_the_f_number_of_a_flash_asks_for_the_light_it_gives(
    gn: float, d: float, iso: float
) -> None:
    n = optics.flash_f_number(gn, d, iso)
    given_light = optics.flash_exposure_lx_s(gn, d)
    assert given_light == pytest.approx(optics.subject_exposure_lx_s(n, iso))
    assert optics.guide_number(n, d) == pytest.approx(optics.guide_number_at_iso(gn, iso))


@given(st.floats(2, 80), st.floats(0.1, 10), powers)
def test_half_the_power_is_half_the_light(gn: float, d: float, power: float) -> None:
    full = optics.flash_exposure_lx_s(gn, d, power)
    assert optics.flash_exposure_lx_s(gn, d, power / 2) == pytest.approx(full / 2)


@given(st.floats(5, 100), st.floats(5, 300))
def test_a_diffuser_lights_as_the_sum_of_its_parts(r: float, h: float) -> None:
    # rings of a Lambertian disc: E / L = Int 2 pi x cos^2 / d^2 dx, cos = h / d
    rings = quad(lambda x: 2 * x * h * h / (x * x + h * h) ** 2, 0, r)[0]
    assert optics.disc_illuminance_share(r, h) == pytest.approx(rings, rel=1e-6)


@given(st.floats(5, 100), st.floats(5, 300), st.floats(0.1, 50))
def test_going_nearer_to_a_diffuser_gains_less_than_the_inverse_square(
    r: float, h: float, nearer: float
) -> None:
    near, far = (optics.disc_illuminance_share(r, x) for x in (h, h + nearer))
    assert 1 < near / far < ((h + nearer) / h) ** 2


@given(st.floats(5, 100), st.floats(5, 300))
def test_the_error_of_the_inverse_square_is_what_the_disc_says(r: float, h: float) -> None:
    promised = (r / h) ** 2
    true = optics.disc_illuminance_share(r, h)
    assert optics.disc_over_inverse_square(r, h) == pytest.approx(true / promised)


@given(st.floats(1e-5, 1e-2))
def test_the_two_durations_are_each_other_s_inverse(t: float) -> None:
    assert optics.t05_from_t01(optics.t01_from_t05(t)) == pytest.approx(t)
    # at a tenth of the peak a tenth of the light is still to come
    assert optics.flash_light_after(optics.t01_from_t05(t), t) == pytest.approx(0.1)


@given(st.floats(1e-5, 1e-2), st.floats(1 / 256, 0.89))
def test_a_cut_flash_has_given_its_share_when_it_is_cut(t: float, power: float) -> None:
    cut = optics.cut_flash_duration_s(t, power)
    assert 1 - optics.flash_light_after(cut, t) == pytest.approx(power)


@given(st.floats(1e-5, 1e-2), powers)
def test_less_power_is_shorter_on_a_cut_flash_and_not_on_a_voltage_flash(
    t: float, power: float
) -> None:
    full = optics.cut_flash_duration_s(t, 1.0)
    assert full == optics.t01_from_t05(t)
    assert optics.cut_flash_duration_s(t, power) <= full
    assert optics.cut_flash_duration_s(t, power / 2) < optics.cut_flash_duration_s(t, power)
    assert optics.voltage_flash_duration_s(t, power) == full


@given(isos)
def test_a_grey_meter_reading_is_the_iso_it_was_made_at(iso: float) -> None:
    assert optics.exposure_index(optics.grey_exposure_lx_s(iso)) == pytest.approx(iso)


def test_the_usual_lens_passes_65_hundredths() -> None:
    assert optics.exposure_q(0.9, 0.98, 10.0) == pytest.approx(optics.LENS_Q, abs=0.002)
    exposure = optics.focal_plane_exposure(100.0, 2.0, 0.1)
    assert exposure == pytest.approx(0.65 * 100.0 * 0.1 / 4.0)


@given(st.floats(10, 1e5), st.floats(0, 20))
def test_more_light_is_cleaner_and_read_noise_only_hurts(electrons: float, noise: float) -> None:
    assert optics.snr(2 * electrons, noise) > optics.snr(electrons, noise)
    assert optics.snr(electrons, noise) <= math.sqrt(electrons) * (1 + 1e-12)


def test_red_light_needs_more_photons_for_a_lux_than_green() -> None:
    green, red = optics.photons_per_um2_lx_s(), optics.photons_per_um2_lx_s(650.0)
    assert red / green == pytest.approx(650 / 555 / 0.107)


@given(st.floats(0.001, 0.1), st.floats(4, 15))
def test_tremor_turns_its_amplitude_once_round_a_period(g: float, hz: float) -> None:
    by_amplitude = optics.tremor_amplitude_um(g, hz) / 1000 * 2 * math.pi * hz
    assert optics.tremor_speed_mm_s(g, hz) == pytest.approx(by_amplitude)


@given(st.floats(0.1, 100), times, st.floats(0.1, 5), st.floats(0.002, 0.01))
def test_motion_blur_grows_with_speed_time_and_magnification(
    v: float, t: float, m: float, q: float
) -> None:
    here = optics.motion_blur_px(v, t, m, q)
    assert optics.motion_blur_px(2 * v, t, m, q) == pytest.approx(2 * here)
    assert optics.motion_blur_px(v, 2 * t, m, q) == pytest.approx(2 * here)
    assert optics.motion_blur_px(v, t, 2 * m, q) == pytest.approx(2 * here)
    assert optics.motion_blur_px(v, t, m, 2 * q) == pytest.approx(here / 2)
    assert here * q == pytest.approx(optics.image_shift_mm(v * t, m))


@given(lengths, st.floats(0.0001, 2))
def test_far_away_a_tilt_moves_the_picture_as_in_ordinary_photography(f: float, deg: float) -> None:
    assert optics.image_tilt_mm(f, 0.0, deg) == pytest.approx(f * math.tan(math.radians(deg)))
    assert optics.image_shift_mm(1.0, 0.0) == 0.0


@given(times, st.floats(-3, 8))
def test_stops_of_stabilisation_are_doublings_of_the_time(t: float, stops: float) -> None:
    assert optics.stabilisation_stops(t, t * 2**stops) == pytest.approx(stops, abs=1e-9)


@given(st.floats(1, 64), st.floats(0.0025, 0.008))
def test_a_smaller_aperture_never_resolves_more(effective: float, pitch: float) -> None:
    here = optics.resolved_megapixels(effective, 36.0, 24.0, pitch)
    assert optics.resolved_megapixels(effective * 1.1, 36.0, 24.0, pitch) <= here
    assert here <= 36.0 * 24.0 / pitch**2 / 1e6 * (1 + 1e-12)


def test_the_tenth_of_contrast_is_left_where_it_is_said() -> None:
    assert float(optics.diffraction_mtf(optics.MTF10_FRACTION)) == pytest.approx(0.1, abs=1e-5)
