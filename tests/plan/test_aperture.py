"""The choice of f-number: exact optimum, closed form, limits of the ring, and reasons in words."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from haltere import optics
from haltere.kit import Kit
from haltere.plan import contrast
from haltere.plan.aperture import CHOOSING, aperture
from tests.plan.invented_kits import KITS, LARGE, MIDDLE, SMALL, start

GREEN = ((optics.WAVELENGTH_MM, 1.0),)
DEPTHS = st.floats(0.05, 30.0)
MAGNIFICATIONS = st.floats(0.1, 1.0)


@pytest.mark.parametrize(
    ("lp_mm", "effective", "left"), [(20, 21.5, 0.601), (50, 20.3, 0.228), (75, 17.3, 0.109)]
)
def test_the_exact_optimum_meets_the_published_search(
    lp_mm: float, effective: float, left: float
) -> None:
    found, contrast_left = contrast.sharpest_effective(lp_mm, 1.0, 1.0, GREEN)
    assert found == pytest.approx(effective, rel=0.01)
    assert contrast_left == pytest.approx(left, rel=0.01)


@settings(deadline=None, max_examples=30)
@given(st.floats(5, 60), st.floats(0.2, 3), st.floats(0.3, 2))
def test_no_other_f_number_keeps_more_contrast_at_the_ends(
    lp_mm: float, depth: float, m: float
) -> None:
    lp_mm = min(lp_mm, contrast.finest_over_depth_lp_mm(depth, m))
    best, left = contrast.sharpest_effective(lp_mm, depth, m)
    for factor in (0.5, 0.8, 0.95, 1.05, 1.25, 2.0):
        other = float(contrast.contrast_at(lp_mm, best * factor, depth / 2, m))
        assert other <= left + 1e-4


@settings(deadline=None, max_examples=20)
@given(DEPTHS, st.floats(0.1, 4))
def test_waves_and_rays_scale_alike_so_one_number_serves_every_depth(
    depth: float, m: float
) -> None:
    centre = optics.best_effective_f_number(depth, m)
    ne = centre * np.linspace(0.5, 1.6, 60)
    searched = float(contrast.finest_lp_mm(ne, depth / 2, m).max())
    assert contrast.finest_over_depth_lp_mm(depth, m) == pytest.approx(searched, rel=2e-3)


@settings(deadline=None, max_examples=20)
@given(st.floats(1.5, 30.0), st.floats(0.8, 4))
def test_the_exact_answer_for_hard_cases_is_near_the_short_rule(depth: float, m: float) -> None:
    best = aperture(start(replace(SMALL, magnification_max=None), magnification=m, depth_mm=depth))
    assert best.exact_f_number == pytest.approx(best.closed_form_f_number, rel=0.05)


@pytest.mark.parametrize("kit", KITS)
def test_a_deeper_animal_never_wants_a_wider_opening(kit: Kit) -> None:
    depths = np.geomspace(0.1, 20.0, 15)
    answers = [aperture(start(kit, magnification=1.0, depth_mm=float(d))) for d in depths]
    exact = [answer.exact_f_number for answer in answers]
    assert exact == sorted(exact)
    details = [answer.detail_um for answer in answers]
    assert details == sorted(details)


@settings(deadline=None, max_examples=30)
@given(DEPTHS, MAGNIFICATIONS, st.sampled_from(KITS))
def test_what_is_recommended_stands_on_the_ring(depth: float, m: float, kit: Kit) -> None:
    begin = start(kit, magnification=m, depth_mm=depth)
    answer = aperture(begin)
    for f_number in (answer.best_f_number, answer.best_flat_f_number, answer.sweep_f_number):
        assert f_number in begin.f_numbers
        assert f_number >= answer.best_flat_f_number
    assert [point.f_number for point in answer.curve] == list(begin.f_numbers)
    assert all(math.isfinite(point.ends_lp_mm) for point in answer.curve)


@settings(deadline=None, max_examples=30)
@given(st.floats(0.3, 4.0), st.sampled_from(KITS))
def test_the_recommended_single_shot_is_the_best_mark_of_the_curve(depth: float, kit: Kit) -> None:
    answer = aperture(start(kit, magnification=1.0, depth_mm=depth))
    corrected = [p for p in answer.curve if p.f_number >= answer.best_flat_f_number]
    best = max(corrected, key=lambda point: point.ends_contrast)
    at = next(p for p in corrected if p.f_number == answer.best_f_number)
    assert at.ends_contrast >= best.ends_contrast - 0.01


def test_a_close_up_lens_is_stopped_down_less_than_an_extension() -> None:
    # same N_eff on the sensor, but the lens alone stands nearer to infinity
    kit = replace(LARGE, close_up_dpt=8.0)
    attached = aperture(start(kit, magnification=1.8, depth_mm=1.0))
    longer = aperture(
        start(replace(LARGE, magnification_max=None), magnification=1.8, depth_mm=1.0)
    )
    assert attached.exact_f_number > longer.exact_f_number


def test_an_animal_too_deep_gets_the_last_mark_and_the_truth() -> None:
    answer = aperture(start(SMALL, magnification=1.0, depth_mm=20.0))
    assert answer.best_f_number == 22.0
    assert answer.exact_f_number > 22.0
    assert not answer.one_shot_enough
    assert "more than the ring has" in answer.single_reason
    assert "far from enough" in answer.one_shot_text


def test_a_shallow_thing_gets_the_corrected_opening_and_one_shot_does() -> None:
    answer = aperture(start(SMALL, magnification=1.0, depth_mm=0.05))
    assert answer.best_f_number == answer.best_flat_f_number == 5.6
    assert answer.one_shot_enough
    assert "One shot is enough" in answer.one_shot_text


def test_a_smaller_print_asks_for_less() -> None:
    large, small = (
        aperture(start(LARGE, magnification=0.5, depth_mm=3.0, print_width_mm=width))
        for width in (600, 90)
    )
    assert small.asked_um > large.asked_um
    assert small.one_shot_enough
    assert not large.one_shot_enough


def test_pixels_bound_what_a_huge_print_asks_for() -> None:
    answer = aperture(start(SMALL, magnification=1.0, print_width_mm=5000))
    assert answer.asked_lp_mm == pytest.approx(5184 / 17.3 / 2)


def test_a_sweep_shows_finer_detail_than_the_single_shot_of_a_deep_animal() -> None:
    for kit in KITS:
        answer = aperture(start(kit, magnification=1.0, depth_mm=3.0))
        assert answer.sweep_detail_um < answer.detail_um / 1.5


@pytest.mark.parametrize(("kit", "mark"), [(SMALL, 5.6), (MIDDLE, 5.6), (LARGE, 8.0)])
def test_a_sweep_is_stopped_down_as_far_as_the_pixels_lose_nothing(kit: Kit, mark: float) -> None:
    begin = start(kit, magnification=1.0, depth_mm=2.0)
    assert aperture(begin).sweep_f_number == mark


def test_a_sweep_too_long_for_the_buffer_is_stopped_down_and_says_so() -> None:
    kit = replace(LARGE, buffer_frames=12)
    free = aperture(start(LARGE, magnification=1.0, depth_mm=5.0))
    tight = aperture(start(kit, magnification=1.0, depth_mm=5.0))
    assert tight.sweep_f_number > free.sweep_f_number
    assert tight.sweep_frames <= 12 < free.sweep_frames
    assert "12 of one pass" in tight.sweep_reason


def test_a_sweep_is_never_stopped_down_by_more_than_a_stop_for_fewer_frames() -> None:
    short = aperture(start(SMALL, magnification=3.0, depth_mm=0.2))
    long = aperture(start(SMALL, magnification=3.0, depth_mm=12.0))
    assert long.sweep_frames > CHOOSING.most_frames
    assert short.sweep_f_number < long.sweep_f_number <= short.sweep_f_number * 1.46


def test_a_sweep_that_no_mark_can_do_in_one_pass_says_so() -> None:
    answer = aperture(start(SMALL, magnification=1.0, depth_mm=40.0))
    assert answer.sweep_frames > CHOOSING.most_frames
    parts = int(answer.sweep_reason.split("sweep the animal in ")[1].split(" parts")[0])
    assert (parts - 1) * CHOOSING.most_frames < answer.sweep_frames <= parts * CHOOSING.most_frames


def test_the_animal_at_a_tenth_of_life_size_is_ordinary_photography() -> None:
    answer = aperture(start(LARGE, magnification=0.05, depth_mm=10.0))
    assert answer.one_shot_enough
    assert answer.best_f_number == answer.best_flat_f_number
