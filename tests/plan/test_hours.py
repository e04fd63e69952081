"""Sun times against two ephemeris libraries, and the windows cut from them."""

from __future__ import annotations

import datetime as dt
from itertools import pairwise
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from haltere.errors import UsageError
from haltere.plan.hours import EXPLANATIONS, HOUR_LIMITS, Hours, Window, about, hours
from haltere.plan.sun import days_of, elevation_deg, sun_day
from haltere.plan.wishes import Wishes

HEIGHTS = (-50 / 60, -6.0, -12.0, -18.0)


def day(latitude: float, longitude: float, date: str, zone: str | None = "UTC") -> Hours:
    found = hours(
        Wishes(
            latitude_deg=latitude,
            longitude_deg=longitude,
            date=dt.date.fromisoformat(date),
            time_zone=zone,
        )
    )
    assert found is not None
    return found


def noon_of(number: int, longitude: float) -> dt.datetime:
    zone = dt.timezone(dt.timedelta(hours=round(longitude / 15)))
    return dt.datetime.combine(dt.date(2024, 1, 1) + dt.timedelta(days=number), dt.time(12), zone)


def by_ephem(
    latitude: float, longitude: float, begin: dt.datetime, height: float, rising: bool
) -> dt.datetime | None:
    """Next passing of a height within half a day, or None."""
    import ephem

    place = ephem.Observer()
    place.lat, place.lon, place.pressure, place.horizon = (
        str(latitude),
        str(longitude),
        0,
        str(height),
    )
    place.date = begin.astimezone(dt.UTC).replace(tzinfo=None)
    try:
        seek = place.next_rising if rising else place.next_setting
        moment = seek(ephem.Sun(), use_center=True).datetime().replace(tzinfo=dt.UTC)
    except (ephem.AlwaysUpError, ephem.NeverUpError):
        return None
    return moment if moment - begin <= dt.timedelta(hours=12) else None


@pytest.mark.parametrize("latitude", [-66.0, -34.0, 0.0, 35.0, 50.0, 59.0, 62.0, 66.0, 72.0, 80.0])
def test_every_event_of_a_year_agrees_with_another_library(latitude: float) -> None:
    limit = dt.timedelta(minutes=1 if abs(latitude) < 60 else 2)
    wrong = []
    for number in range(0, 366, 8):
        for longitude in (-150.0, 0.0, 155.0):
            course = sun_day(latitude, longitude, noon_of(number, longitude))
            for height in HEIGHTS:
                for rising in (True, False):
                    mine = course.rises_past(height) if rising else course.sinks_past(height)
                    begin = course.transit - dt.timedelta(hours=12 if rising else 0)
                    theirs = by_ephem(latitude, longitude, begin, height, rising)
                    if (mine is None) != (theirs is None) or (
                        mine and theirs and abs(mine - theirs) > limit
                    ):
                        wrong.append((number, longitude, height, rising, mine, theirs))
    assert wrong == []


def test_the_suns_height_agrees_with_a_numerical_ephemeris() -> None:
    import skyfield_data
    from skyfield import api

    # its own function for this path warns that a table for the Earth's turning is old
    planets = api.load_file(str(Path(skyfield_data.__file__).parent / "data" / "de421.bsp"))
    rng = np.random.default_rng(3)
    moments = [
        dt.datetime(2001, 1, 1, tzinfo=dt.UTC) + dt.timedelta(days=float(d))
        for d in np.sort(rng.uniform(0, 15000, 300))
    ]
    place = planets["earth"] + api.wgs84.latlon(63.0, 25.0)
    times = api.load.timescale(builtin=True).from_datetimes(moments)
    theirs = place.at(times).observe(planets["sun"]).apparent().altaz()[0].degrees
    mine = elevation_deg(np.array([days_of(moment) for moment in moments]), 63.0, 25.0)
    assert np.abs(mine - theirs).max() < 0.006
    planets.close()


def test_without_a_place_there_are_no_hours() -> None:
    assert hours(Wishes()) is None


def test_a_sunrise_on_the_neighbour_date_of_utc_keeps_its_local_date() -> None:
    sydney = day(-33.8688, 151.2093, "2024-12-22", "Australia/Sydney")
    assert sydney.sunrise is not None
    assert sydney.sunrise.date() == dt.date(2024, 12, 22)
    assert sydney.sunrise.astimezone(dt.UTC).date() == dt.date(2024, 12, 21)


@pytest.mark.parametrize("zone", ["Pacific/Kiritimati", "Pacific/Honolulu"])
def test_both_sides_of_the_date_line_have_the_noon_of_their_own_date(zone: str) -> None:
    found = day(2.0, -157.4, "2024-03-10", zone)
    assert found.transit.date() == dt.date(2024, 3, 10)
    assert found.transit.tzinfo == ZoneInfo(zone)


@settings(max_examples=40)
@given(st.floats(-65, 65), st.floats(-180, 180), st.integers(0, 365))
def test_events_come_in_their_order(latitude: float, longitude: float, number: int) -> None:
    date = dt.date(2023, 1, 1) + dt.timedelta(days=number)
    found = day(latitude, longitude, date.isoformat())
    events = [
        found.astronomical_dawn, found.nautical_dawn, found.civil_dawn, found.sunrise,
        found.transit, found.sunset, found.civil_dusk, found.nautical_dusk, found.astronomical_dusk,
    ]  # fmt: skip
    there = [event for event in events if event is not None]
    assert there == sorted(there)
    assert found.transit.date() == date or abs(found.transit.hour - 12) == 12


@settings(max_examples=40)
@given(st.floats(-89.9, 89.9), st.floats(-180, 180), st.integers(0, 365))
def test_windows_never_overlap_and_lie_within_the_day(
    latitude: float, longitude: float, number: int
) -> None:
    date = dt.date(2023, 1, 1) + dt.timedelta(days=number)
    found = day(latitude, longitude, date.isoformat())
    spans = sorted((w.start, w.end) for w in found.sweep_windows + found.single_windows)
    assert all(start < end for start, end in spans)
    assert all(a[1] <= b[0] for a, b in pairwise(spans))
    half = dt.timedelta(hours=12, seconds=1)
    assert all(found.transit - half <= t <= found.transit + half for span in spans for t in span)


def test_a_dusk_after_midnight_belongs_to_the_evening_before() -> None:
    helsinki = day(60.17, 24.94, "2025-06-21", "Europe/Helsinki")
    assert helsinki.civil_dusk is not None
    assert helsinki.civil_dusk.date() == dt.date(2025, 6, 22)
    assert helsinki.nautical_dusk is None
    assert "never gets darker than nautical" in helsinki.note


@pytest.mark.parametrize(
    ("latitude", "date", "said"),
    [
        (69.6, "2025-06-21", "Midnight sun"),
        (69.6, "2025-12-21", "Polar night"),
        (65.0, "2025-06-10", "White night"),
        (50.5, "2025-06-21", "never gets fully dark"),
        (80.0, "2025-12-21", "no daylight to work by"),
    ],
)
def test_a_day_without_an_event_says_why(latitude: float, date: str, said: str) -> None:
    assert said in day(latitude, 19.0, date, "Europe/Oslo").note


def test_at_the_poles_there_is_a_day_too() -> None:
    pole = day(90.0, 0.0, "2025-06-21")
    assert (pole.sunrise, pole.sunset) == (None, None)
    assert pole.noon_elevation_deg == pytest.approx(23.44, abs=0.02)
    assert [w.words for w in pole.single_windows] == ["all day"]


def test_a_polar_night_has_neither_sunrise_nor_singles_but_a_twilight_to_work_in() -> None:
    found = day(69.6, 18.9, "2025-12-21", "Europe/Oslo")
    assert (found.sunrise, found.sunset, found.single_windows) == (None, None, ())
    (twilight,) = found.sweep_windows
    assert (twilight.start, twilight.end) == (found.civil_dawn, found.civil_dusk)


def test_sweeps_begin_at_dawn_and_end_when_the_sun_has_warmed() -> None:
    found = day(38.7, -9.1, "2025-05-10", "Europe/Lisbon")
    morning, evening = found.sweep_windows
    assert morning.start == found.civil_dawn
    assert (evening.start, evening.end) == (found.sunset, found.civil_dusk)
    height = elevation_deg(np.array([days_of(morning.end)]), 38.7, -9.1)[0]
    assert height == pytest.approx(HOUR_LIMITS.warmed_deg, abs=0.01)
    (singles,) = found.single_windows
    assert morning.end < singles.start < found.transit < singles.end < evening.start


def test_summer_time_moves_the_clock_by_an_hour_and_not_the_sun() -> None:
    before, after = (
        day(52.5, 13.4, date, "Europe/Berlin") for date in ("2025-03-29", "2025-03-30")
    )
    assert before.sunrise is not None
    assert after.sunrise is not None
    elapsed = after.sunrise.astimezone(dt.UTC) - before.sunrise.astimezone(dt.UTC)
    assert abs(elapsed - dt.timedelta(days=1)) < dt.timedelta(minutes=4)
    clock = after.sunrise.replace(tzinfo=None) - before.sunrise.replace(tzinfo=None)
    assert abs(clock - dt.timedelta(days=1, hours=1)) < dt.timedelta(minutes=4)


def test_the_height_now_is_told_for_today_only() -> None:
    now = dt.datetime(2025, 5, 10, 12, 0, tzinfo=dt.UTC)
    place: dict[str, Any] = {"latitude_deg": 38.7, "longitude_deg": -9.1, "time_zone": "UTC"}
    today = hours(Wishes(**place), now)
    other = hours(Wishes(**place, date=dt.date(2025, 5, 11)), now)
    assert today is not None
    assert other is not None
    assert today.date == now.date()
    assert today.elevation_deg is not None
    assert 60 < today.elevation_deg <= today.noon_elevation_deg
    assert other.elevation_deg is None


def test_without_a_zone_the_computers_own_is_taken() -> None:
    there, here = (day(38.7, -9.1, "2025-05-10", zone) for zone in ("UTC", None))
    assert here.sunrise == there.sunrise


@pytest.mark.parametrize("name", ["Middle/Earth", "", "../etc", "Europe"])
def test_an_unknown_zone_is_refused_with_an_example(name: str) -> None:
    with pytest.raises(UsageError, match="Europe/Lisbon"):
        day(38.7, -9.1, "2025-05-10", name)


@pytest.mark.parametrize("date", ["0001-01-01", "9999-12-31"])
def test_a_year_too_far_away_is_refused(date: str) -> None:
    with pytest.raises(UsageError, match="year"):
        day(38.7, -9.1, date)


@pytest.mark.parametrize(
    ("clock", "told"),
    [((6, 42, 29), "06:40"), ((6, 42, 31), "06:45"), ((23, 58, 0), "00:00"), ((0, 2, 0), "00:00")],
)
def test_a_time_is_told_to_five_minutes(clock: tuple[int, int, int], told: str) -> None:
    moment = dt.datetime(2025, 5, 10, *clock, tzinfo=dt.UTC)
    assert about(moment) == told
    assert Window(moment, moment).words.startswith(told)


def test_the_noon_is_as_high_as_latitude_and_season_say() -> None:
    found = day(40.0, 0.0, "2024-06-20")
    assert found.noon_elevation_deg == pytest.approx(90 - 40 + 23.44, abs=0.02)
    assert found.lowest_elevation_deg == pytest.approx(40 + 23.44 - 90, abs=0.02)


def test_every_number_of_the_hours_explains_itself() -> None:
    wanted = {f"sun.{name}" for name in Hours.__annotations__ if name not in ("date", "note")}
    assert wanted == {one.key for one in EXPLANATIONS}
