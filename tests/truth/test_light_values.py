"""Copied tables of daylight and of the hand's tremor, and what is made of them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from haltere.plan.light import DAYLIGHT
from haltere.plan.tremor import HAND, tremor_spectrum

BY_ID: dict[str, dict[str, Any]] = {
    entry["id"]: entry["expected"]
    for entry in json.loads(Path(__file__).with_name("light.json").read_text(encoding="utf-8"))
}


@pytest.mark.parametrize(
    ("light", "row"),
    [
        ("sun", "full_sun"),
        ("hazy", "hazy_sun_soft_shadows"),
        ("bright-overcast", "cloudy_bright"),
        ("overcast", "heavy_overcast"),
        ("shade", "open_shade"),
    ],
)
def test_a_daylight_has_the_exposure_value_of_the_table(light: Any, row: str) -> None:
    assert DAYLIGHT[light].ev100 == BY_ID["exp-table-01"][row]


def test_full_sun_lies_within_the_table_of_illuminance() -> None:
    table = BY_ID["exp-table-02"]
    assert table["direct_sun_min"] <= DAYLIGHT["sun"].illuminance_lx <= table["direct_sun_max"]


def test_open_shade_lies_between_both_tables_of_illuminance() -> None:
    lux = DAYLIGHT["shade"].illuminance_lx
    assert lux == pytest.approx(BY_ID["exp-table-03"]["under_a_tree"], rel=0.03)
    assert lux >= BY_ID["exp-table-02"]["full_daylight_not_direct_min"]


def test_dusk_is_the_clear_sunset_of_the_table_of_illuminance() -> None:
    expected = BY_ID["exp-table-02"]["sunrise_or_sunset_clear"]
    assert DAYLIGHT["dusk"].illuminance_lx == pytest.approx(expected, rel=0.05)


def test_the_preset_of_an_overcast_sky_says_that_other_tables_are_darker() -> None:
    lux = DAYLIGHT["overcast"].illuminance_lx
    assert lux / BY_ID["exp-table-03"]["heavily_overcast"] == pytest.approx(2, rel=0.05)
    assert lux / BY_ID["exp-table-02"]["overcast_day"] == pytest.approx(10, rel=0.05)
    assert "5 klx" in DAYLIGHT["overcast"].source
    assert "1 klx" in DAYLIGHT["overcast"].source


def test_the_tremor_is_the_one_that_was_measured() -> None:
    measured = BY_ID["motion-tremor-01"]
    assert measured["peak_acceleration_g"] == HAND.tremor_g
    assert measured["frequency_hz"] == HAND.tremor_hz


def test_the_hand_without_the_body_trembles_as_much_as_surgeons_hands_do() -> None:
    band = BY_ID["motion-tremor-04"]
    quick = [s for s in tremor_spectrum() if s.frequency_hz > 1]
    rms_um = sum(s.amplitude_um**2 / 2 for s in quick) ** 0.5
    assert BY_ID["motion-tremor-03"]["rms_other_um"] <= rms_um <= band["rms_high_um"]


def test_the_fast_swings_lie_in_the_published_band() -> None:
    band = BY_ID["motion-tremor-04"]
    fast = [s.frequency_hz for s in tremor_spectrum() if "tremor" in s.name]
    assert all(band["peak_low_hz"] <= hz <= band["peak_high_hz"] for hz in fast)
