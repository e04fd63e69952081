"""Smear by hand and animal."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haltere.errors import UsageError
from haltere.kit import Kit
from haltere.plan.given import Given
from haltere.plan.given import given as ground_of
from haltere.plan.motion import EXPLANATIONS, Motion, motion, smear_px, told_s
from haltere.plan.tremor import hand_shift_mm, tremor_spectrum, wobble_mm
from haltere.plan.wishes import Wishes


def ground(stops: float | None = None, **wishes: Any) -> Given:
    kit = Kit(
        sensor_width_mm=17.3,
        sensor_height_mm=13.0,
        width_px=5184,
        focal_mm=60.0,
        stabilisation_stops=stops,
    )
    return ground_of(kit, Wishes(**{"magnification": 1.0, "shutter_s": 1 / 200, **wishes}))


def test_the_animal_alone_smears_speed_times_time_times_magnification() -> None:
    found = motion(ground(animal_speed_mm_s=10.0), None)
    assert found.animal_px == pytest.approx(10 / 200 / (17.3 / 5184))


@given(st.floats(1e-4, 1.0), st.floats(1.01, 10.0))
def test_a_longer_time_never_smears_less(time_s: float, times: float) -> None:
    assert smear_px(ground(), time_s * times) > smear_px(ground(), time_s)


@given(st.floats(0.1, 4.0), st.floats(1.05, 3.0))
def test_a_larger_magnification_smears_more(m: float, times: float) -> None:
    near, far = (motion(ground(magnification=x), None).shutter_px for x in (m * times, m))
    assert near > far


@given(st.floats(0.0, 50.0), st.floats(0.1, 50.0))
def test_a_faster_animal_smears_more(speed: float, more: float) -> None:
    slow, fast = (
        motion(ground(animal_speed_mm_s=v), None).shutter_px for v in (speed, speed + more)
    )
    assert fast > slow


@given(st.floats(0.0, 8.0), st.floats(0.05, 5.0))
def test_stabilisation_never_smears_more(m: float, stops: float) -> None:
    found = motion(ground(stops, magnification=0.05 + m), None)
    assert found.shutter_stabilised_px < found.shutter_px
    assert 0.0 < found.stabilisation_left_stops < stops


def test_far_away_nearly_all_stated_stops_are_left() -> None:
    assert motion(ground(4.0, magnification=0.01), None).stabilisation_left_stops > 3.7


def test_at_life_size_less_than_two_of_five_stops_are_left() -> None:
    assert motion(ground(5.0), None).stabilisation_left_stops < 2


def test_without_stabilisation_nothing_is_left_of_it() -> None:
    found = motion(ground(), None)
    assert found.stabilisation_left_stops == 0.0
    assert found.shutter_stabilised_px == found.shutter_px


def test_a_flash_that_makes_the_picture_freezes_it() -> None:
    found = motion(ground(), 1 / 8000, 0.1)
    assert found.blur_px == found.flash_px
    assert found.flash_px is not None
    assert found.flash_px < 0.1 * found.shutter_px
    assert "flash makes the picture" in found.blur_words


def test_daylight_that_makes_most_of_the_picture_blurs_it_in_spite_of_the_flash() -> None:
    found = motion(ground(), 1 / 8000, 0.8)
    assert found.blur_px == found.shutter_stabilised_px


@pytest.mark.parametrize(
    ("share", "says"),
    [
        (0.04, "the flash makes the picture"),
        (0.3, "both lights make the picture"),
        (0.99, "both lights make the picture"),
        (1.0, "daylight alone makes the picture"),
    ],
)
def test_only_light_that_reaches_the_exposure_alone_is_said_to_make_it(
    share: float, says: str
) -> None:
    assert motion(ground(), 1 / 8000, share).blur_words.startswith(says)


def test_daylight_that_reaches_the_exposure_needs_no_flash_to_be_told() -> None:
    assert motion(ground(), None, 1.0).blur_words.startswith("daylight alone makes the picture")


def test_of_an_unknown_flash_only_the_ghost_is_told() -> None:
    found = motion(ground(), None)
    assert (found.flash_px, found.flash_budget_mm_s) == (None, None)
    assert found.blur_px == found.shutter_px
    assert "no flash" not in found.blur_words
    assert "can't be told" in found.blur_words
    assert f"ghost moves {found.shutter_px:.2g} px" in found.blur_words


def test_a_flash_slower_than_the_shutter_smears_no_more_than_the_shutter() -> None:
    found = motion(ground(shutter_s=1 / 1000), 1 / 200)
    assert found.flash_px == pytest.approx(found.shutter_px)
    assert "longer than the shutter is open" in found.blur_words


def test_an_animal_at_the_budgets_speed_smears_one_pixel() -> None:
    budget = motion(ground(), None).shutter_budget_mm_s
    assert motion(ground(animal_speed_mm_s=budget), None).animal_px == pytest.approx(1.0)


def test_the_shift_is_the_average_of_simulated_swings() -> None:
    rng = np.random.default_rng(7)
    time_s = 1 / 50
    moved = np.zeros(20000)
    for swing in tremor_spectrum(1.5):
        phase = rng.uniform(0, 2 * np.pi, moved.size)
        turn = 2 * np.pi * swing.frequency_hz
        moved += swing.amplitude_um / 1000 * (np.sin(turn * time_s + phase) - np.sin(phase))
    assert hand_shift_mm(1.5, time_s) == pytest.approx(float(np.sqrt(np.mean(moved**2))), rel=0.02)


def test_the_hand_is_never_farther_than_its_swings_reach() -> None:
    reach = 2 * sum(s.amplitude_um for s in tremor_spectrum(1.5)) / 1000
    assert hand_shift_mm(1.5, 1000.0) < reach


def test_a_swing_that_turns_back_does_not_undo_the_smear() -> None:
    shifts = [hand_shift_mm(0.1, t) for t in np.geomspace(1e-4, 100, 200)]
    assert shifts == sorted(shifts)


def test_the_wobble_moves_the_picture_by_the_focal_length_and_its_extension() -> None:
    ground_now = ground()
    moved = wobble_mm(ground_now, 1e-3)
    assert moved == pytest.approx(60 * 2 * math.tan(0.029e-3), rel=1e-9)


def test_the_hands_speed_is_the_smear_of_a_short_time() -> None:
    found = motion(ground(animal_speed_mm_s=0.0), 1e-5)
    assert found.flash_px is not None
    assert found.flash_px * (17.3 / 5184) / 1e-5 == pytest.approx(found.hand_mm_s, rel=1e-3)


@pytest.mark.parametrize(
    ("time_s", "told"),
    [(1 / 200, "1/200 s"), (1 / 1250, "1/1250 s"), (1 / 12987, "1/13000 s"), (0.5, "0.5 s"),
     (2.0, "2 s"), (1 / 301, "1/300 s"), (1 / 15, "1/15 s")],
)  # fmt: skip
def test_a_time_is_told_as_photographers_write_it(time_s: float, told: str) -> None:
    assert told_s(time_s) == told


@pytest.mark.parametrize("absurd", [0.0, -1.0, math.nan, math.inf])
def test_an_absurd_spread_or_time_is_refused(absurd: float) -> None:
    with pytest.raises(UsageError):
        tremor_spectrum(absurd)
    with pytest.raises(UsageError):
        hand_shift_mm(1.5, absurd)
    with pytest.raises(UsageError):
        told_s(absurd)


def test_every_number_of_the_motion_explains_itself() -> None:
    numbers = {name for name, kind in Motion.__annotations__.items() if kind.startswith("float")}
    wanted = {name if name == "blur_px" else f"motion.{name}" for name in numbers}
    assert wanted == {one.key for one in EXPLANATIONS}
    assert all(len(one.inputs) <= 8 for one in EXPLANATIONS)
