"""What one's own sightings say of the season."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from haltere.fieldbook.sensitive import Sensitive
from haltere.fieldbook.sightings import Named, Sighting, SightingRow, Where
from haltere.records.season import PERIODS, Season, period_of, season_of

WHERE = Where(38.713942, -9.140617, 12.0, "WGS84", "hand", "")
DAY = dt.date(2032, 6, 10)


def seen(when: str, name: str = "Inventa", **words: object) -> SightingRow:
    said = Sighting(name, "certain", "Ana", "Ana", when)
    return SightingRow(1, "urn:uuid:x", 1, when, None, replace(said, **words))  # type: ignore[arg-type]


def names(season: Season) -> list[str]:
    return [one.name for one in season.coming]


@pytest.mark.parametrize(
    ("day", "period"),
    [
        (dt.date(2031, 1, 1), 0),
        (dt.date(2031, 1, 10), 0),
        (dt.date(2031, 1, 11), 1),
        (dt.date(2031, 1, 31), 2),
        (dt.date(2032, 2, 29), 5),
        (dt.date(2031, 12, 31), 35),
    ],
)
def test_ten_day_periods_end_with_the_month(day: dt.date, period: int) -> None:
    assert period_of(day) == period


@given(st.lists(st.dates(dt.date(2025, 1, 1), dt.date(2031, 12, 31)), min_size=1, max_size=30))
def test_every_sighting_is_counted_once(days: list[dt.date]) -> None:
    season = season_of([seen(day.isoformat()) for day in days], DAY)
    assert sum(season.periods) == season.sightings == season.no_hour == len(days)
    (one,) = season.species
    assert one.periods == season.periods
    assert len(one.periods) == PERIODS


def test_hours_are_those_of_the_place() -> None:
    rows = [seen("2031-06-14T18:59:59+01:00"), seen("2031-06-14T06:00:00-05:00")]
    season = season_of(rows, DAY)
    assert [hour for hour, n in enumerate(season.hours) if n] == [6, 18]


def test_first_and_last_go_by_the_day_of_the_year() -> None:
    rows = [seen("2029-09-02"), seen("2031-05-01"), seen("2030-07-01")]
    (one,) = season_of(rows, DAY).species
    assert (one.first, one.last, one.years) == ("2031-05-01", "2029-09-02", (2029, 2030, 2031))


def test_a_synonym_is_counted_with_its_accepted_name() -> None:
    named = Named("l", "2", "Alia", "Inventa", "", {"family": "Inventidae"})
    rows = [seen("2031-06-14"), seen("2031-06-15", "Alia", named=named)]
    assert [(one.name, one.sightings) for one in season_of(rows, DAY).species] == [("Inventa", 2)]


def test_next_week_is_told_from_earlier_years_only() -> None:
    rows = [
        seen("2032-06-11", "This year"),
        seen("2031-06-11", "Last year"),
        seen("2031-07-11", "Another week"),
        seen("2030-06-18", "Day after, by the slack"),
        seen("2031-06-12", "Doubtful", certainty="unsure"),
    ]
    assert names(season_of(rows, DAY)) == ["Day after, by the slack", "Last year"]


def test_the_more_regular_comes_first() -> None:
    rows = [seen(f"{year}-06-12", "Often") for year in (2029, 2030, 2031)]
    rows += [seen("2031-06-12", "Once, many") for _ in range(9)]
    season = season_of(rows, DAY)
    assert [(c.name, c.years_seen, c.years_out) for c in season.coming] == [
        ("Often", 3, 3),
        ("Once, many", 1, 3),
    ]


def test_a_walk_without_a_sighting_counts_as_a_year_out() -> None:
    season = season_of([seen("2031-06-12")], DAY, days_out=[dt.date(2030, 6, 9)])
    assert season.coming[0].years_out == 2


def test_the_outlook_crosses_new_year() -> None:
    rows = [seen("2031-01-02", "January"), seen("2030-12-29", "December")]
    season = season_of(rows, dt.date(2031, 12, 30))
    assert names(season) == ["December", "January"]
    assert {one.years_out for one in season.coming} == {1}


def test_leap_days_have_a_place_in_every_year() -> None:
    assert names(season_of([seen("2031-03-01")], dt.date(2032, 2, 29))) == ["Inventa"]
    assert names(season_of([seen("2028-02-29")], dt.date(2031, 2, 27))) == ["Inventa"]


def test_places_are_told_only_as_was_asked() -> None:
    rows = [seen("2031-06-14", where=WHERE), seen("2031-06-15", "Rare", where=WHERE)]
    rare = Sensitive(1, "Rare", None, None, None, 0.5, "")
    assert season_of(rows, DAY, things=[rare]).spots == ()
    exact = season_of(rows, DAY, places="exact", things=[rare]).spots
    assert {(spot.latitude_deg, spot.grid_deg) for spot in exact} == {
        (38.713942, None),
        (38.75, 0.5),
    }


def test_one_year_may_be_shown_while_all_tell_what_comes() -> None:
    rows = [seen("2031-06-14"), seen("2030-06-14", "Earlier")]
    season = season_of(rows, DAY, year=2031)
    assert (season.title, season.sightings, len(season.coming)) == ("2031", 1, 2)
