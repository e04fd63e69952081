"""What your own sightings say of the season: what flies when, and what to look for next week."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from haltere.fieldbook.sensitive import Sensitive
from haltere.fieldbook.sightings import SightingRow
from haltere.records.vague import Places, place_of

PERIODS = 36
"""Ten-day periods of a year: the 1st to 10th, 11th to 20th, and the rest of each month."""
HOURS = 24


@dataclass(frozen=True, slots=True)
class SeasonNumbers:
    """Numbers of the outlook.

    Attributes
    ----------
    ahead_days : int
        The week that is asked for.
    slack_days : int
        Seasons shift by days from year to year, so the week is taken wider on both sides
        (assumed).
    """

    ahead_days: int = 7
    slack_days: int = 3


NUMBERS = SeasonNumbers()


@dataclass(frozen=True, slots=True)
class Species:
    """One species, or whatever the name means, over the season.

    Attributes
    ----------
    name, vernacular, family : str
        The accepted name where a checklist has it, else your own word.
    sightings, animals : int
        Records, and animals in them.
    unsure : int
        Records whose name you were not sure of.
    first, last : str
        Earliest and latest day of a year, with its year, ISO 8601.
    years : tuple of int
        In which it was seen.
    periods, hours : tuple of int
        Records by ten-day period (36) and local hour (24).
    """

    name: str
    vernacular: str
    family: str
    sightings: int
    animals: int
    unsure: int
    first: str
    last: str
    years: tuple[int, ...]
    periods: tuple[int, ...]
    hours: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Spot:
    """A place as exactly as it may be told.

    Attributes
    ----------
    latitude_deg, longitude_deg : float
        Degrees.
    sightings : int
        Records there.
    grid_deg : float or None
        Side of the grid cell whose middle this is; None for the place itself.
    """

    latitude_deg: float
    longitude_deg: float
    sightings: int
    grid_deg: float | None


@dataclass(frozen=True, slots=True)
class Coming:
    """A species to look for in the days that come.

    Attributes
    ----------
    name, vernacular : str
        As in `Species`.
    years_seen, years_out : int
        In how many of the earlier years in which you were out about these days you saw it.
    sightings : int
        Records about these days in all of them.
    days : tuple of str
        Those days, ISO 8601.
    hours : tuple of int
        Local hours of those records.
    plants : tuple of str
        What it sat on then, commonest first.
    """

    name: str
    vernacular: str
    years_seen: int
    years_out: int
    sightings: int
    days: tuple[str, ...]
    hours: tuple[int, ...]
    plants: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Season:
    """A season of sightings.

    Attributes
    ----------
    title : str
        The year, or the years.
    sightings, animals, days : int
        Records, animals, days with a record.
    species : tuple of Species
        By the day of the year on which they are seen first.
    periods, hours : tuple of int
        All records by ten-day period (36) and local hour (24).
    no_hour : int
        Records that tell only the day.
    day, week_from, week_to : str
        The day asked from, and the days looked at in earlier years, ISO 8601.
    coming : tuple of Coming
        Most regular first.
    spots : tuple of Spot
        Places, only as exactly as was asked for.
    no_spot : int
        Records without a place here.
    """

    title: str
    sightings: int
    animals: int
    days: int
    species: tuple[Species, ...]
    periods: tuple[int, ...]
    hours: tuple[int, ...]
    no_hour: int
    day: str
    week_from: str
    week_to: str
    coming: tuple[Coming, ...]
    spots: tuple[Spot, ...]
    no_spot: int


def period_of(day: dt.date) -> int:
    """Give the ten-day period of a day.

    Parameters
    ----------
    day : date
        The day.

    Returns
    -------
    int
        0 to 35.
    """
    return 3 * (day.month - 1) + min(2, (day.day - 1) // 10)


def season_of(
    rows: Sequence[SightingRow],
    day: dt.date,
    *,
    year: int | None = None,
    days_out: Iterable[dt.date] = (),
    places: Places = "none",
    grid_deg: float = 0.1,
    things: Sequence[Sensitive] = (),
) -> Season:
    """Put a season together.

    Parameters
    ----------
    rows : sequence of SightingRow
        All sightings that stand.
    day : date
        From which the coming week is counted.
    year : int, optional
        Only this year; all years else. The outlook always looks at all earlier years.
    days_out : iterable of date, optional
        Days of outings, on which nothing may have been written down.
    places : {"none", "grid", "exact"}, optional
        How exactly places are told; asked for each time.
    grid_deg : float, optional
        Side of the grid, degrees.
    things : sequence of Sensitive, optional
        Species and places that are never told exactly.

    Returns
    -------
    Season
        The same for the same book and day.
    """
    shown = [row for row in rows if year is None or _day(row).year == year]
    by_name: dict[str, list[SightingRow]] = {}
    for row in shown:
        by_name.setdefault(name_of(row), []).append(row)
    species = [_species(name, group) for name, group in by_name.items()]
    species.sort(key=lambda one: (one.first[5:], one.name))
    years = sorted({_day(row).year for row in shown})
    span = [str(years[0])] if len(years) == 1 else [str(years[0]), str(years[-1])] if years else []
    first, last, coming = _coming(rows, day, days_out)
    spots, no_spot = _spots(shown, places, grid_deg, things)
    return Season(
        title=" to ".join(span) or ("" if year is None else str(year)),
        sightings=len(shown),
        animals=sum(row.said.count for row in shown),
        days=len({_day(row) for row in shown}),
        species=tuple(species),
        periods=_counts((period_of(_day(row)) for row in shown), PERIODS),
        hours=_counts(_hours(shown), HOURS),
        no_hour=sum(_hour(row) is None for row in shown),
        day=day.isoformat(),
        week_from=first.isoformat(),
        week_to=last.isoformat(),
        coming=coming,
        spots=spots,
        no_spot=no_spot,
    )


def name_of(row: SightingRow) -> str:
    """Give the name under which a sighting is counted.

    Parameters
    ----------
    row : SightingRow
        The sighting.

    Returns
    -------
    str
        The accepted name where a checklist has it, else the person's own word.
    """
    return row.said.name if row.said.named is None else row.said.named.accepted


def _day(row: SightingRow) -> dt.date:
    return dt.date.fromisoformat(row.said.when[:10])


def _hour(row: SightingRow) -> int | None:
    when = row.said.when
    return int(when[11:13]) if len(when) > 10 else None


def _hours(rows: Iterable[SightingRow]) -> list[int]:
    return [hour for row in rows if (hour := _hour(row)) is not None]


def _counts(values: Iterable[int], size: int) -> tuple[int, ...]:
    found = Counter(values)
    return tuple(found[at] for at in range(size))


def _species(name: str, rows: Sequence[SightingRow]) -> Species:
    named = next((row.said.named for row in rows if row.said.named is not None), None)
    days = sorted((_day(row) for row in rows), key=lambda day: (day.month, day.day, day.year))
    return Species(
        name=name,
        vernacular="" if named is None else named.vernacular,
        family="" if named is None else named.rest.get("family", ""),
        sightings=len(rows),
        animals=sum(row.said.count for row in rows),
        unsure=sum(row.said.certainty == "unsure" for row in rows),
        first=days[0].isoformat(),
        last=days[-1].isoformat(),
        years=tuple(sorted({day.year for day in days})),
        periods=_counts((period_of(day) for day in days), PERIODS),
        hours=_counts(_hours(rows), HOURS),
    )


def _coming(
    rows: Sequence[SightingRow], day: dt.date, days_out: Iterable[dt.date]
) -> tuple[dt.date, dt.date, tuple[Coming, ...]]:
    first = day - dt.timedelta(days=NUMBERS.slack_days)
    last = day + dt.timedelta(days=NUMBERS.ahead_days - 1 + NUMBERS.slack_days)

    def year_of(seen: dt.date) -> int | None:
        """Give the year whose week holds a day; a week may begin in one year and end in another."""
        for shift in (seen.year - day.year, seen.year - day.year + 1, seen.year - day.year - 1):
            if shift < 0 and _moved(first, shift) <= seen <= _moved(last, shift):
                return day.year + shift
        return None

    out = {year_of(one) for one in days_out} | {year_of(_day(row)) for row in rows}
    out.discard(None)
    groups: dict[str, list[SightingRow]] = {}
    for row in rows:
        if year_of(_day(row)) is not None and row.said.certainty != "unsure":
            groups.setdefault(name_of(row), []).append(row)
    found = []
    for name, group in groups.items():
        plants = Counter(row.said.plant for row in group if row.said.plant)
        named = next((row.said.named for row in group if row.said.named is not None), None)
        found.append(
            Coming(
                name,
                "" if named is None else named.vernacular,
                len({year_of(_day(row)) for row in group}),
                len(out),
                len(group),
                tuple(sorted({_day(row).isoformat() for row in group})),
                tuple(sorted(set(_hours(group)))),
                tuple(plant for plant, _ in plants.most_common(3)),
            )
        )
    found.sort(key=lambda one: (-one.years_seen, -one.sightings, one.name))
    return first, last, tuple(found)


def _moved(day: dt.date, years: int) -> dt.date:
    try:
        return day.replace(year=day.year + years)
    except ValueError:  # the 29th of February
        return dt.date(day.year + years, 3, 1)


def _spots(
    rows: Sequence[SightingRow], places: Places, grid_deg: float, things: Sequence[Sensitive]
) -> tuple[tuple[Spot, ...], int]:
    found: Counter[tuple[float, float, float | None]] = Counter()
    for row in rows:
        told = place_of(row.said, places, grid_deg, things)
        if told.latitude_deg:
            place = (float(told.latitude_deg), float(told.longitude_deg), told.precision_deg)
            found[place] += 1
    spots = [Spot(lat, lon, number, grid) for (lat, lon, grid), number in found.items()]
    spots.sort(key=lambda one: (-one.sightings, one.latitude_deg, one.longitude_deg))
    return tuple(spots), len(rows) - sum(found.values())
