"""Daylight beside the flash."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from haltere.kit import Kit
from haltere.plan.ambient import EXPLANATIONS, GHOST, Ambient, ambient
from haltere.plan.given import given as ground_of
from haltere.plan.light import DAYLIGHT
from haltere.plan.wishes import LIGHTS, Wishes

STILL: dict[str, Any] = {"animal_speed_mm_s": 0.0, "hand_spread_mm": 0.01}


def daylight(f_number: float = 8.0, sync_s: float | None = 1 / 200, **wishes: Any) -> Ambient:
    """Daylight at 1:1, ISO 200 and 1/200 s with an invented kit."""
    kit = Kit(
        sensor_width_mm=17.3, sensor_height_mm=13.0, width_px=5184, focal_mm=60.0, sync_s=sync_s
    )
    said = {"magnification": 1.0, "iso": 200.0, "shutter_s": 1 / 200, **wishes}
    return ambient(ground_of(kit, Wishes(**said)), f_number)


@pytest.mark.parametrize(
    ("light", "f_number", "stops"),
    [("sun", 8, 0.36), ("sun", 13, -1.04), ("shade", 8, -2.64), ("shade", 13, -4.04)],
)
def test_sun_and_shade_at_life_size_are_as_reckoned_by_hand(
    light: str, f_number: float, stops: float
) -> None:
    assert daylight(f_number, light=light).stops == pytest.approx(stops, abs=0.01)


def test_only_full_sun_overexposes_at_f8() -> None:
    assert [name for name in LIGHTS if daylight(light=name).overexposes] == ["sun"]


def test_daylight_never_makes_more_than_the_whole_picture() -> None:
    found = daylight(4.0, light="sun")
    assert found.share == 1.0
    assert {row.share for row in found.table if row.light == "sun"} == {1.0}


def test_every_light_that_can_be_asked_for_has_a_number_and_a_source() -> None:
    assert tuple(DAYLIGHT) == LIGHTS
    assert all(light.source for light in DAYLIGHT.values())


def test_a_shade_at_f8_leaves_a_sixth_of_the_picture_to_daylight() -> None:
    found = daylight(light="shade")
    assert found.share == pytest.approx(0.16, abs=0.005)
    assert found.ghost_words == "a plain ghost beside every edge"


@given(st.floats(0.1, 5.0))
def test_at_one_effective_f_number_magnification_does_not_matter(m: float) -> None:
    marked = 32.0 / (1.0 + m)
    assert daylight(marked, magnification=m).share == pytest.approx(daylight(16.0).share)


@given(st.floats(0.0, 8.0))
def test_shading_takes_off_exactly_its_stops(stops: float) -> None:
    assert daylight(shading_stops=stops).stops == pytest.approx(daylight().stops - stops)


@given(st.floats(2.8, 20.0), st.floats(1.01, 2.0))
def test_a_smaller_aperture_lets_less_daylight_in(f_number: float, times: float) -> None:
    assert daylight(f_number * times).stops < daylight(f_number).stops


@given(st.floats(1 / 4000, 1 / 30), st.floats(1.01, 4.0))
def test_a_longer_shutter_time_gives_more_and_longer_ghost(time_s: float, times: float) -> None:
    short, long = (daylight(shutter_s=t) for t in (time_s, time_s * times))
    assert long.stops > short.stops
    assert long.ghost_px > short.ghost_px


@pytest.mark.parametrize("light", LIGHTS)
def test_shading_by_the_number_told_hides_the_ghost(light: str) -> None:
    found = daylight(light=light)
    shaded = daylight(light=light, shading_stops=found.shading_needed_stops + 1e-9)
    assert shaded.share <= GHOST.unseen_share
    assert shaded.shading_needed_stops == pytest.approx(0.0, abs=1e-6)
    assert shaded.ghost_words == "no ghost to be seen"


def test_the_told_shutter_time_and_iso_hide_the_ghost_as_well() -> None:
    found = daylight(light="sun")
    shorter = daylight(light="sun", shutter_s=found.shutter_needed_s)
    lower = daylight(light="sun", iso=found.iso_needed)
    assert shorter.share == pytest.approx(GHOST.unseen_share)
    assert lower.share == pytest.approx(GHOST.unseen_share)


@pytest.mark.parametrize("sync_s", [1 / 200, None])
def test_a_time_that_the_flash_does_not_go_with_is_told(sync_s: float | None) -> None:
    assert daylight(sync_s=sync_s, light="sun").beyond_sync
    assert not daylight(sync_s=sync_s, light="dark").beyond_sync


def test_daylight_alone_exposes_well_at_its_own_shutter_time() -> None:
    found = daylight(light="overcast")
    assert daylight(light="overcast", shutter_s=found.daylight_shutter_s).stops == pytest.approx(0)


def test_a_ghost_that_did_not_move_does_no_harm() -> None:
    still = daylight(4.0, magnification=0.1, light="shade", shutter_s=1 / 2000, **STILL)
    assert still.share > GHOST.faint_share
    assert still.ghost_px < GHOST.still_px
    assert "no harm" in still.ghost_words


def test_the_sun_is_too_much_for_the_body_alone_at_f8() -> None:
    assert "close the aperture" in daylight(light="sun").shading_words
    assert "off the sun" not in daylight(light="shade").shading_words


def test_the_small_table_shows_four_lights_unshaded() -> None:
    rows = daylight(light="sun", shading_stops=5.0).table
    assert [row.light for row in rows] == ["sun", "shade", "overcast", "dusk"]
    assert [row.stops for row in rows] == [daylight(light=row.light).stops for row in rows]


def test_every_number_of_the_daylight_explains_itself() -> None:
    numbers = {f"ambient.{k}" for k, kind in Ambient.__annotations__.items() if kind == "float"}
    assert numbers | {"ambient_stops", "ambient.table"} == {one.key for one in EXPLANATIONS}
    assert all(len(one.inputs) <= 8 for one in EXPLANATIONS)
