"""Depth of field and diffraction of a frame: published values, limits and honest definitions."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from haltere import optics
from haltere.kit import Kit
from haltere.plan import contrast
from haltere.plan.sharpness import EXPLANATIONS, MEANINGS, sharpness
from tests.plan.invented_kits import KITS, LARGE, SMALL, start

GREEN = ((optics.WAVELENGTH_MM, 1.0),)
F_NUMBERS = st.floats(2.0, 45.0)
MAGNIFICATIONS = st.floats(0.05, 1.0)


@settings(deadline=None)
@given(st.floats(1, 150), st.floats(3, 90), st.floats(0, 3), st.floats(0.1, 4))
def test_contrast_off_focus_agrees_with_the_exact_transfer(
    lp_mm: float, ne: float, off_mm: float, m: float
) -> None:
    lam = optics.WAVELENGTH_MM
    waves = off_mm * (m / ne) ** 2 / (8 * lam)
    exact = optics.defocus_otf(lp_mm * ne * lam, min(waves, 15.0))
    if waves < 15.0:
        found = contrast.contrast_at(lp_mm, ne, off_mm, m, GREEN)
        assert found == pytest.approx(float(exact), abs=1e-5)


def test_three_colours_stand_for_all_while_a_tenth_of_the_contrast_is_left() -> None:
    lp_mm, off_mm = np.linspace(1, 140, 60)[:, None], np.linspace(0, 0.6, 30)
    many = contrast.contrast_at(lp_mm, 14.0, off_mm, 1.0, optics.seen_colours(12))
    few = contrast.contrast_at(lp_mm, 14.0, off_mm, 1.0)
    assert np.abs(few - many)[many > 0.1].max() < 1e-4


@given(F_NUMBERS)
def test_the_finest_sharp_pattern_has_just_the_contrast_asked_for(ne: float) -> None:
    finest = contrast.sharp_limit(0.1) / ne
    assert optics.photopic_mtf(finest, ne) == pytest.approx(0.1, abs=1e-6)


@pytest.mark.parametrize("off_mm", [0.01, 0.1, 0.5, 3.0])
def test_the_finest_pattern_off_focus_has_just_the_contrast_that_counts(off_mm: float) -> None:
    ne = np.array([4.0, 8.0, 16.0, 32.0, 64.0])
    finest = contrast.finest_lp_mm(ne, off_mm, 1.0)
    left = contrast.contrast_at(finest, ne, off_mm, 1.0)
    assert left == pytest.approx(contrast.RESOLVES.seen, abs=2e-3)


def test_a_reversed_pattern_never_counts_as_resolved() -> None:
    lp_mm, off_mm = np.linspace(1, 120, 600)[:, None], np.linspace(0.3, 3.0, 60)
    left = contrast.contrast_at(lp_mm, 16.0, off_mm, 1.0)
    beyond = lp_mm > 1.3 * contrast.finest_lp_mm(16.0, 0.3, 1.0)
    assert np.abs(left[beyond[:, 0]]).max() < contrast.RESOLVES.seen


@pytest.mark.parametrize("kit", KITS)
@pytest.mark.parametrize("f_number", [4.0, 8.0, 16.0])
def test_the_depth_is_two_c_n_over_m_squared(kit: Kit, f_number: float) -> None:
    answer = sharpness(start(kit, magnification=1.0), f_number)
    assert answer.f_number_effective == 2 * f_number
    assert answer.exposure_stops == pytest.approx(2.0)
    assert answer.geometric_mm == pytest.approx(2 * 0.015 * 2 * f_number)
    assert answer.wave_mm == pytest.approx(4 * 0.00055 * (2 * f_number) ** 2)
    assert answer.combined_mm == pytest.approx(answer.geometric_mm + answer.wave_mm)


def test_a_close_up_lens_costs_no_light_and_its_depth_takes_the_whole_magnification() -> None:
    kit = replace(SMALL, close_up_dpt=5.0, close_up_separation_mm=20.0)
    answer = sharpness(start(kit, magnification=1.5), 8.0)
    assert answer.f_number_effective == pytest.approx(16.0, rel=1e-6)
    assert answer.exposure_stops == pytest.approx(2.0, rel=1e-6)
    assert answer.geometric_mm == pytest.approx(2 * 0.015 * 16.0 / 1.5**2, rel=1e-6)


def test_pupil_magnification_enters_the_depth_once() -> None:
    kit = replace(SMALL, pupil_magnification=0.734586, coc_mm=0.02)
    answer = sharpness(start(kit, magnification=1.0), 5.6)
    assert answer.geometric_mm == pytest.approx(0.5289, abs=5e-4)


@settings(deadline=None)
@given(F_NUMBERS, MAGNIFICATIONS)
def test_near_and_far_are_the_exact_limits(f_number: float, m: float) -> None:
    begin = start(LARGE, magnification=m)
    answer = sharpness(begin, f_number)
    lens = begin.lens
    diameter = optics.aperture_diameter_mm(lens.focal_mm, f_number)
    near, far = optics.exact_depth_mm(begin.coc_mm, m, diameter, lens.pupil_distance_mm)
    assert answer.near_mm == pytest.approx(near, rel=1e-9)
    assert (answer.far_mm or float("inf")) == pytest.approx(far, rel=1e-6)
    assert answer.near_mm < (answer.far_mm or float("inf"))


def test_far_away_everything_behind_is_sharp() -> None:
    wide_angle = replace(SMALL, focal_mm=20.0)
    assert sharpness(start(wide_angle, magnification=0.01), 16.0).far_mm is None


@pytest.mark.parametrize("kit", KITS)
def test_stopping_down_deepens_and_softens(kit: Kit) -> None:
    begin = start(kit, magnification=1.0)
    answers = [sharpness(begin, f_number) for f_number in begin.f_numbers]
    for before, after in pairwise(answers):
        assert after.combined_mm > before.combined_mm
        assert after.airy_um > before.airy_um
        assert after.nyquist_share < before.nyquist_share
        assert after.effective_megapixels <= before.effective_megapixels
        assert all(b[1] <= a[1] for a, b in zip(before.mtf, after.mtf, strict=True))


def test_white_light_leaves_a_little_less_than_green() -> None:
    answer = sharpness(start(SMALL, magnification=1.0), 8.0)
    assert 0.96 < answer.effective_megapixels_white / answer.effective_megapixels < 0.99


def test_no_megapixels_beyond_those_of_the_sensor() -> None:
    answer = sharpness(start(LARGE, magnification=0.2), 4.0)
    assert answer.effective_megapixels == pytest.approx(24.0)
    assert answer.nyquist_share > 1


def test_the_mtf_ends_at_the_finest_pattern_of_the_pixels() -> None:
    answer = sharpness(start(SMALL, magnification=1.0), 8.0)
    assert answer.mtf[-1][0] == pytest.approx(5184 / 17.3 / 2)
    shares = [
        both[1] / lens[1] for lens, both in zip(answer.mtf, answer.mtf_with_pixel, strict=True)
    ]
    assert shares[-1] == pytest.approx(2 / np.pi)


def test_the_blur_curve_is_the_airy_disc_in_focus_and_grows_to_both_sides() -> None:
    curve = sharpness(start(SMALL, magnification=1.0), 8.0).blur
    middle = len(curve) // 2
    assert curve[middle].defocus_mm == pytest.approx(0.0)
    assert curve[middle].blur_um == pytest.approx(21.5, abs=0.05)
    widths = [point.blur_um for point in curve]
    assert widths[middle:] == sorted(widths[middle:])
    assert widths[: middle + 1] == sorted(widths[: middle + 1], reverse=True)
    assert curve[-1].blur_um > curve[0].blur_um  # nearer things blur more


def test_half_a_millimetre_off_focus_costs_what_the_worked_example_says() -> None:
    # 1:1, effective f/16: disc 31 um, ruler 38 um, half the contrast left at 22 lp/mm
    curve = sharpness(start(SMALL, magnification=1.0), 8.0).blur
    at = np.interp(-0.5, [p.defocus_mm for p in curve], [p.blur_um for p in curve])
    assert at == pytest.approx(38.0, abs=0.7)
    assert contrast.contrast_at(22.0, 16.0, 0.5, 1.0, GREEN) == pytest.approx(0.5, abs=0.02)


def test_every_definition_is_told_in_one_sentence() -> None:
    assert {"geometric", "wave", "combined", "blur"} <= set(MEANINGS)
    assert all(text.endswith(".") and text.count(". ") == 0 for text in MEANINGS.values())


def test_every_depth_by_every_rule_is_there() -> None:
    begin = start(LARGE, magnification=1.0)
    by_rule = sharpness(begin, 8.0).geometric_by_rule_mm
    assert set(by_rule) == {"given", "pixels", "diagonal", "print"}
    assert by_rule["pixels"] == pytest.approx(2 * 0.012 * 16)


def test_no_number_is_explained_twice() -> None:
    keys = [explanation.key for explanation in EXPLANATIONS]
    assert len(keys) == len(set(keys))
