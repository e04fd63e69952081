"""The push is measured as it was made, and the advice fits."""

import numpy as np
import pytest

from haltere.sweeps.push import Counts, Pushed, Setting, aimed_step_dof, measure_push

COUNTS = Counts(20, 5, 0, 0, 0)
KNOWN = Setting(dof_mm=0.2, mm_per_px=0.002, f_number=8.0, shorter_px=1200)


def pushed(step, count=20, fps=8.0, uneven=0.0, whole=False, sway_px=0.0):
    rng = np.random.default_rng(4)
    steps = rng.gamma(1 / uneven**2, step * uneven**2, count - 1) if uneven else step
    at = np.concatenate([[0.0], np.cumsum(np.full(count - 1, steps))])
    times = np.arange(count) / fps + 0.25
    aside = np.column_stack([np.arange(count) * 3.0, rng.normal(0, 1, count) * sway_px])
    return Pushed(at, np.floor(times) if whole else times, aside)


def test_step_and_speed_come_out_in_mm():
    push = measure_push([pushed(0.5)], KNOWN, COUNTS)
    assert push.step_mm == pytest.approx(0.1)
    assert push.speed_mm_s == pytest.approx(0.8)
    assert push.frames_per_s == pytest.approx(8.0)
    assert push.wasted == 0.25


def test_without_a_scale_speed_is_in_depths_of_field():
    push = measure_push([pushed(0.5)], Setting(), COUNTS)
    assert push.step_mm is None
    assert push.speed_mm_s is None
    assert push.speed_dof_s == pytest.approx(4.0)
    assert "depths of field a second" in push.advice


def test_a_clock_of_whole_seconds_tells_no_speed_of_a_short_pass():
    push = measure_push([pushed(0.5, whole=True)], KNOWN, COUNTS)
    assert push.speed_mm_s is None
    assert "whole seconds" in push.why_no_speed


def test_a_long_pass_has_a_speed_even_by_whole_seconds():
    push = measure_push([pushed(0.5, count=80, whole=True)], KNOWN, COUNTS)
    assert push.speed_mm_s == pytest.approx(0.8, rel=0.1)
    assert push.why_no_speed is None


def test_pictures_without_a_time_say_so():
    one = pushed(0.5)
    push = measure_push([Pushed(one.at_dof, one.times_s * np.nan, one.aside_px)], KNOWN, COUNTS)
    assert push.why_no_speed == "the pictures carry no time"


def test_too_fast_a_push_is_told_to_go_slower_or_stop_down():
    advice = measure_push([pushed(1.2, uneven=0.3)], KNOWN, COUNTS).advice
    assert advice.startswith("You push at")
    assert "at 8 frames/s and f/8 that leaves holes" in advice
    assert "go at half the speed or use f/" in advice


def test_beyond_f16_no_stop_is_proposed():
    setting = Setting(dof_mm=0.2, mm_per_px=0.002, f_number=14.0, shorter_px=1200)
    advice = measure_push([pushed(1.6, uneven=0.3)], setting, COUNTS).advice
    assert "use f/" not in advice
    assert "push through" in advice


def test_too_slow_a_push_is_told_what_it_wastes():
    advice = measure_push([pushed(0.15, uneven=0.2)], KNOWN, COUNTS).advice
    assert "frames share each depth of field" in advice


def test_an_uneven_push_is_told_to_rest_the_arms():
    advice = measure_push([pushed(0.3, count=80, uneven=0.9)], KNOWN, COUNTS).advice
    assert "differ by" in advice or "leaves holes" in advice


def test_a_lone_hole_does_not_make_an_even_hand_uneven():
    even = pushed(0.5, count=30, uneven=0.2)
    holed = Pushed(
        even.at_dof + np.where(np.arange(30) > 14, 3.0, 0.0), even.times_s, even.aside_px
    )
    push, without = (measure_push([one], KNOWN, COUNTS) for one in (holed, even))
    assert push.unevenness == pytest.approx(without.unevenness, abs=0.03)
    assert push.step_dof == pytest.approx(without.step_dof, abs=0.03)
    assert "fits but for one jump" in push.advice


def test_a_hand_that_jumps_every_few_frames_stays_uneven():
    even = pushed(0.3, count=30)
    jumpy = Pushed(even.at_dof + 2.0 * (np.arange(30) // 5), even.times_s, even.aside_px)
    assert measure_push([jumpy], KNOWN, COUNTS).unevenness > 0.8


def test_sway_is_measured_beside_a_steady_drift():
    still = measure_push([pushed(0.5)], KNOWN, COUNTS)
    swaying = measure_push([pushed(0.5, count=60, sway_px=60.0)], KNOWN, COUNTS)
    assert still.sway_px == pytest.approx(0.0, abs=1e-6)
    assert swaying.sway_px == pytest.approx(60.0, rel=0.2)
    assert "sway" in swaying.advice


def test_an_even_push_that_fits_is_left_alone():
    assert "keep this pace" in measure_push([pushed(0.5, uneven=0.2)], KNOWN, COUNTS).advice


def test_a_push_back_toward_the_camera_has_the_same_step():
    one = pushed(0.5)
    back = Pushed(-one.at_dof, one.times_s, one.aside_px)
    assert measure_push([back], KNOWN, COUNTS).step_dof == pytest.approx(0.5)


def test_no_planes_are_no_push():
    none = Pushed(np.full(5, np.nan), np.full(5, np.nan), np.full((5, 2), np.nan))
    push = measure_push([none], Setting(), Counts(5, 5, 0, 0, 0))
    assert push.step_dof is None
    assert push.advice


def test_an_uneven_hand_should_aim_at_shorter_steps():
    assert aimed_step_dof(0.6) < aimed_step_dof(0.3) < aimed_step_dof(0.0)
