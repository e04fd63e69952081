"""Laws of close-up lenses, tubes and teleconverters, and of ordinary photography as their limit."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from haltere import optics

focals = st.floats(20, 200)
magnifications = st.floats(0, 4)
powers = st.floats(0.5, 20)
separations = st.floats(-30, 120)
f_numbers = st.floats(1.4, 32)
pupils = st.floats(0.5, 2)


@given(focals, magnifications, separations)
def test_a_close_up_lens_without_power_changes_nothing(f: float, m: float, d: float) -> None:
    assert optics.with_close_up(f, m, 0.0, d) == m
    assert optics.bare_magnification_for(f, m, 0.0, d) == m
    assert optics.pupil_through_close_up_mm(d, 0.0) == d


@given(focals, st.floats(0.05, 4), separations)
def test_without_power_the_animal_stays_where_it_was(f: float, m: float, d: float) -> None:
    assume(abs(f * (1 + m) - m * d) > 1e-3)
    before_principal_point = f * (1 + 1 / m)
    assert optics.subject_to_close_up_mm(f, m, 0.0, d) == pytest.approx(before_principal_point - d)


@given(focals, magnifications, powers, separations)
def test_the_setting_for_a_total_is_the_inverse_of_the_total(
    f: float, m: float, power: float, d: float
) -> None:
    assume(abs(1 + (f - d) * power / 1000) > 0.05)
    total = optics.with_close_up(f, m, power, d)
    assert optics.bare_magnification_for(f, total, power, d) == pytest.approx(m, abs=1e-9)


@given(focals, magnifications, powers, st.floats(0.1, 5), st.floats(-30, 15))
def test_a_stronger_close_up_lens_enlarges_more_and_brings_the_animal_nearer(
    f: float, m: float, power: float, more: float, d: float
) -> None:
    assert optics.with_close_up(f, m, power + more, d) > optics.with_close_up(f, m, power, d)
    nearer = optics.subject_to_close_up_mm(f, m, power + more, d)
    assert nearer < optics.subject_to_close_up_mm(f, m, power, d)


@given(focals, powers, separations)
def test_at_infinity_the_separation_drops_out(f: float, power: float, d: float) -> None:
    fc = optics.close_up_focal_mm(power)
    assert optics.with_close_up(f, 0.0, power, d) == pytest.approx(f / fc)
    assert optics.subject_to_close_up_mm(f, 0.0, power, d) == pytest.approx(fc)


def test_set_to_infinity_without_power_the_animal_is_infinitely_far() -> None:
    assert optics.subject_to_close_up_mm(60.0, 0.0, 0.0, 20.0) == math.inf


@given(focals, st.floats(0.05, 4), powers)
def test_a_close_up_lens_in_the_principal_plane_is_a_shorter_lens(
    f: float, m: float, power: float
) -> None:
    # the sensor stays, the focal lengths combine as those of two touching thin lenses
    both = optics.two_lens_focal(f, optics.close_up_focal_mm(power), 0.0)
    total = optics.magnification_at(both, optics.image_distance_mm(f, m))
    assert optics.with_close_up(f, m, power, 0.0) == pytest.approx(total)
    whole = both * (1 + 1 / total)
    assert optics.subject_to_close_up_mm(f, m, power, 0.0) == pytest.approx(whole)


@given(powers)
def test_power_and_focal_length_are_each_other_s_inverse(power: float) -> None:
    assert optics.close_up_power_dpt(optics.close_up_focal_mm(power)) == pytest.approx(power)


def test_a_pupil_in_the_focus_of_the_close_up_lens_is_seen_at_infinity() -> None:
    assert optics.pupil_through_close_up_mm(125.0, 8.0) == math.inf
    assert optics.pupil_through_close_up_mm(130.0, 8.0) < 0


@given(focals, magnifications, st.floats(0, 100))
def test_a_tube_adds_what_the_longer_image_distance_adds(f: float, m: float, x: float) -> None:
    longer = optics.image_distance_mm(f, m) + x
    assert optics.with_tube(m, x, f) == pytest.approx(optics.magnification_at(f, longer))


@given(st.floats(0, 0.9), st.floats(20, 200))
def test_the_two_ways_to_a_converter_s_factor_agree(share: float, f: float) -> None:
    before = share * f
    factor = optics.converter_factor(before, f)
    assert factor == pytest.approx(optics.converter_factor(before, -f))
    behind = optics.converter_extension(factor, f)
    assert behind == pytest.approx(factor * before)
    assert optics.converter_factor_at(behind, f) == pytest.approx(factor)


def test_two_lenses_at_the_sum_of_their_focal_lengths_have_no_focus() -> None:
    assert optics.two_lens_focal(50.0, 100.0, 150.0) == math.inf


@given(f_numbers, pupils)
def test_far_away_the_marked_f_number_holds(n: float, p: float) -> None:
    assert optics.effective_f_number(n, 1e-9, p) == pytest.approx(n)
    assert optics.exposure_stops(1e-9, p) == pytest.approx(0.0, abs=1e-8)


@given(focals, pupils)
def test_far_away_the_distance_is_the_focal_length_over_the_magnification(
    f: float, p: float
) -> None:
    m = 1e-6
    assert optics.plane_to_pupil_mm(f, m, p) * m == pytest.approx(f, rel=1e-4)
    assert optics.subject_to_sensor_mm(f, m) * m == pytest.approx(f, rel=1e-4)


@given(focals, f_numbers, st.floats(0.05, 5))
def test_a_symmetric_lens_turned_round_with_subject_and_sensor_is_the_same_lens(
    f: float, n: float, m: float
) -> None:
    # seen from the sensor the magnification is 1/m, the cone there the one at the animal
    forward = optics.effective_f_number(n, m)
    backward = optics.effective_f_number(n, 1 / m)
    assert forward / m == pytest.approx(backward)
    assert optics.subject_to_sensor_mm(f, m) == pytest.approx(optics.subject_to_sensor_mm(f, 1 / m))


@given(focals, f_numbers, st.floats(0.05, 5), pupils)
def test_any_lens_turned_round_swaps_its_pupils(f: float, n: float, m: float, p: float) -> None:
    # the entrance pupil of the turned lens is the old exit pupil: its f-number is N / p
    forward = optics.effective_f_number(n, m, p)
    backward = optics.effective_f_number(n / p, 1 / m, 1 / p)
    assert forward / m == pytest.approx(backward)


@given(f_numbers, st.floats(0.05, 5), pupils, st.floats(0.01, 1))
def test_closer_loses_light_and_depth(n: float, m: float, p: float, more: float) -> None:
    wide, close = (optics.effective_f_number(n, x, p) for x in (m, m + more))
    assert close > wide
    assert optics.depth_of_field_mm(0.01, close, m + more) < optics.depth_of_field_mm(0.01, wide, m)
    assert optics.airy_diameter_mm(close) > optics.airy_diameter_mm(wide)
