"""The flash of a plan: how much, how long, how often."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from haltere import optics
from haltere.errors import UsageError
from haltere.kit import Kit
from haltere.plan.flash import (
    EXPLANATIONS,
    FLASH_STANDINS,
    Flash,
    flash,
    frames_before_lag,
    power_step_for,
)
from haltere.plan.given import given as ground_of
from haltere.plan.wishes import Wishes


def a_flash(f_number: float = 8.0, iso: float = 200.0, **kit: Any) -> Flash:
    """Flash of an invented kit at 1:1."""
    numbers: dict[str, Any] = {
        "sensor_width_mm": 17.3,
        "sensor_height_mm": 13.0,
        "width_px": 5184,
        "focal_mm": 60.0,
        "guide_number_m": 12.0,
        "flash_distance_mm": 100.0,
        "diffuser_stops": 1.5,
        "diffuser_radius_mm": 50.0,
        "t05_s": 1 / 1000,
        "recycle_s": 2.0,
        "smallest_power": 1 / 128,
        **kit,
    }
    found = flash(ground_of(Kit(**numbers), Wishes(magnification=1.0, iso=iso)), f_number)
    assert found is not None
    return found


def test_a_kit_without_guide_number_has_no_flash() -> None:
    kit = Kit(sensor_width_mm=17.3, sensor_height_mm=13.0, width_px=5184, focal_mm=60.0)
    assert flash(ground_of(kit, Wishes(magnification=1.0)), 8.0) is None


def test_f8_at_life_size_and_iso_200_needs_320_lux_seconds() -> None:
    assert a_flash().needed_lx_s == pytest.approx(320)


def test_a_bare_flash_a_metre_away_gives_what_its_guide_number_says() -> None:
    bare = a_flash(diffuser_stops=0.0, diffuser_radius_mm=None, flash_distance_mm=1000.0)
    assert bare.full_power_lx_s == pytest.approx(360)


def test_a_diffuser_of_60_mm_gains_two_and_a_half_times_from_120_to_60_mm() -> None:
    far, near = (
        a_flash(diffuser_radius_mm=60.0, flash_distance_mm=d).full_power_lx_s for d in (120.0, 60.0)
    )
    assert near / far == pytest.approx(2.5)


def test_a_stop_of_diffuser_halves_the_light() -> None:
    one, two = (a_flash(diffuser_stops=s).full_power_lx_s for s in (1.0, 2.0))
    assert one / two == pytest.approx(2)


@given(st.floats(2.8, 16.0), st.floats(1.05, 3.0))
def test_a_smaller_aperture_needs_more_power(f_number: float, times: float) -> None:
    assert a_flash(f_number * times).power > a_flash(f_number).power


@given(st.floats(50.0, 1600.0), st.floats(1.05, 4.0))
def test_a_higher_iso_needs_less_power(iso: float, times: float) -> None:
    assert a_flash(iso=iso * times).power < a_flash(iso=iso).power


@given(st.floats(20.0, 500.0), st.floats(1.05, 4.0))
def test_a_farther_flash_needs_more_power(distance_mm: float, times: float) -> None:
    near = a_flash(flash_distance_mm=distance_mm)
    assert a_flash(flash_distance_mm=distance_mm * times).power > near.power


@given(st.floats(2.8, 22.0), st.floats(1.05, 3.0))
def test_more_power_never_burns_shorter_or_recycles_faster(f_number: float, times: float) -> None:
    less, more = a_flash(f_number), a_flash(f_number * times)
    assert more.duration_s >= less.duration_s
    assert more.recycle_s >= less.recycle_s
    assert more.frames_per_s <= less.frames_per_s


@given(st.floats(1 / 128, 1.0), st.sampled_from([1.0, 0.5, 1 / 3]))
def test_the_dial_is_set_to_the_next_step_up(power: float, step: float) -> None:
    up = power_step_for(power, step, 1 / 128)
    assert power * (1 - 1e-5) <= up <= power * 2**step
    assert -math.log2(up) / step == pytest.approx(round(-math.log2(up) / step), abs=1e-6)


def test_a_power_that_is_on_the_dial_stays() -> None:
    assert power_step_for(1 / 8, 1 / 3, 1 / 128) == pytest.approx(1 / 8)


@pytest.mark.parametrize(
    ("f_number", "name"),
    [(8.0, "1/8"), (8.0 * 2 ** (1 / 6), "1/8 +1/3"), (8.0 * 2 ** (1 / 3), "1/8 +2/3")],
)
def test_a_step_is_named_as_on_the_dial(f_number: float, name: str) -> None:
    full = a_flash().full_power_lx_s
    guide = 12.0 * math.sqrt(8 * 320 / full)  # so that f/8 takes an eighth
    assert a_flash(f_number, guide_number_m=guide, power_step_stops=1 / 3).power_name == name


def test_a_weak_flash_says_by_how_much_it_falls_short_and_what_to_do() -> None:
    weak = a_flash(22.0, guide_number_m=2.0)
    assert weak.short_stops == pytest.approx(math.log2(weak.power))
    assert weak.power_step == 1.0
    assert "too little" in weak.verdict
    assert "nearer" in weak.verdict


def test_a_strong_flash_says_by_how_much_its_least_is_too_much() -> None:
    strong = a_flash(2.8, guide_number_m=60.0)
    assert strong.over_stops == pytest.approx(math.log2(1 / 128 / strong.power))
    assert strong.power_step == 1 / 128
    assert "too much" in strong.verdict


def test_full_power_burns_down_to_a_tenth_not_to_a_half() -> None:
    weak = a_flash(22.0, guide_number_m=2.0)
    assert weak.duration_s == pytest.approx(3.3219e-3, rel=1e-3)


def test_a_given_tenth_wins_over_a_given_half() -> None:
    weak = a_flash(22.0, guide_number_m=2.0, t05_s=1 / 1000, t01_s=1 / 200)
    assert weak.duration_s == pytest.approx(1 / 200)


def test_half_a_cut_flash_burns_as_long_as_its_half_time() -> None:
    guide = 12.0 * math.sqrt(2 * 320 / a_flash().full_power_lx_s)
    assert a_flash(guide_number_m=guide).duration_s == pytest.approx(1e-3)


def test_a_cut_flash_is_never_shorter_than_its_light_takes_to_rise() -> None:
    assert a_flash(2.8, guide_number_m=60.0).duration_s >= FLASH_STANDINS.shortest_s


@given(st.floats(2.8, 22.0))
def test_a_flash_with_less_voltage_is_not_shorter(f_number: float) -> None:
    assert a_flash(f_number, flash_kind="voltage").duration_s == pytest.approx(
        optics.t01_from_t05(1 / 1000)
    )


@settings(max_examples=60)
@given(st.floats(0.01, 1.0), st.floats(0.5, 10.0), st.floats(1.0, 60.0))
def test_a_burst_lags_exactly_when_the_capacitor_is_too_empty(
    power: float, recycle_s: float, fps: float
) -> None:
    gain = 1 / (fps * recycle_s)
    assume(abs(power - gain) > 1e-3)
    told = frames_before_lag(power, recycle_s, fps)
    held, lit = 1.0, 0
    while held >= power - 1e-9 and lit < 20000:
        lit += 1
        held = min(1.0, held - power + gain)
    if told is None:
        assert lit == 20000
    else:
        assert abs(told - lit) <= (0 if abs((1 - power) / (power - gain) % 1 - 0.5) < 0.49 else 1)


def test_recycling_takes_the_share_of_power_of_the_full_time() -> None:
    eighth = a_flash(guide_number_m=12.0 * math.sqrt(8 * 320 / a_flash().full_power_lx_s))
    assert eighth.recycle_s == pytest.approx(2.0 / 8)
    assert eighth.frames_per_s == pytest.approx(4.0)


def test_what_the_kit_does_not_say_is_told_as_assumed() -> None:
    silent = a_flash(
        diffuser_stops=None,
        diffuser_radius_mm=None,
        flash_distance_mm=None,
        t05_s=None,
        recycle_s=None,
        smallest_power=None,
    )
    assert len(silent.assumed) == 6
    assert silent.distance_mm == pytest.approx(120.0)
    assert a_flash().assumed == ()


@pytest.mark.parametrize("power", [0.0, -1.0, math.nan, 1.5])
def test_an_absurd_power_is_refused(power: float) -> None:
    with pytest.raises(UsageError, match="power"):
        power_step_for(power, 1.0, 1 / 128)
    with pytest.raises(UsageError, match="power"):
        frames_before_lag(power, 2.0, 10.0)


def test_every_number_of_the_flash_explains_itself() -> None:
    numbers = {f"flash.{name}" for name, kind in Flash.__annotations__.items() if kind[0] in "fi"}
    assert numbers == {one.key for one in EXPLANATIONS}
