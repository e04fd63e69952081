"""Addresses of what the book says looking back: the season, and the hand."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import Annotated

from fastapi import APIRouter, Query, Request
from pydantic import Field

from haltere.doors.bench.drawn import DrawingSaid, drawn
from haltere.doors.bench.hand_kept import HandKept
from haltere.doors.bench.outings import shelf_of
from haltere.doors.bench.page_words import on_page
from haltere.doors.bench.said import ActSaid
from haltere.doors.bench.sightings_said import Line, PlacesWord
from haltere.errors import UsageError
from haltere.fieldbook import outing_numbered, outings, run_named
from haltere.fieldbook.sensitive import sensitive_things
from haltere.fieldbook.sightings import sightings
from haltere.fieldbook.supports import set_support, supports
from haltere.hand import HandReport
from haltere.records import cautions, refuse_grid
from haltere.records.season import Season, season_of
from haltere.show.hand_drawn import calibration, rates_drawn
from haltere.show.hand_page import BY, rows_of
from haltere.show.season_drawn import calendar, place_map

WIDE, MIDDLE, SLIM = 1040.0, 760.0, 343.0
"""Widths of the drawings, in the page's pixels: a laptop's page, half of it, and a phone's."""

routes = APIRouter(prefix="/api", tags=["looking back"])


@dataclass(frozen=True, slots=True)
class SeasonSaid:
    """What the sightings say of the year.

    Attributes
    ----------
    season : Season
        With the keys of the command line.
    years : tuple of int
        In which something was seen, or somebody was out.
    calendar, map : tuple of DrawingSaid
        For a wide page and for a slim one; empty where there is nothing to draw.
    caution : str
        What to think of before places are shown to anybody.
    """

    season: Season
    years: tuple[int, ...]
    calendar: tuple[DrawingSaid, ...]
    map: tuple[DrawingSaid, ...]
    caution: str


@dataclass(frozen=True, slots=True)
class NumberSaid:
    """One number of the hand in words: what it is, most likely, nine times in ten within."""

    words: str
    value: str
    within: str


@dataclass(frozen=True, slots=True)
class RatesSaid:
    """Bursts with a keeper by one thing that they have in common."""

    words: str
    drawings: tuple[DrawingSaid, ...]


@dataclass(frozen=True, slots=True)
class SupportSaid:
    """What the hand rested on in an outing, or in one run of it."""

    outing: int
    title: str
    run: str
    word: str


@dataclass(frozen=True, slots=True)
class HandSaid:
    """How the hand moves.

    Attributes
    ----------
    report : HandReport or None
        With the keys of the command line; None while the first one is reckoned.
    current : bool
        Whether it is of the book as it stands; else a newer one is being reckoned: ask again.
    numbers : tuple of NumberSaid
        The same in words.
    rates : tuple of RatesSaid
        Predicted and real shares of bursts with a keeper.
    came_true : DrawingSaid or None
        Predictions against what came.
    supports : tuple of SupportSaid
        What was said that the hand rested on.
    outings : tuple of (int, str)
        Outings to say it of: number and title.
    """

    report: HandReport | None
    current: bool
    numbers: tuple[NumberSaid, ...]
    rates: tuple[RatesSaid, ...]
    came_true: DrawingSaid | None
    supports: tuple[SupportSaid, ...]
    outings: tuple[tuple[int, str], ...]


@dataclass(frozen=True, slots=True)
class SupportAsked:
    """What the hand rested on in an outing, or in one run of it; empty takes the word away."""

    outing: Annotated[int, Field(strict=True, ge=1, le=2**53)]
    word: Line
    run: Annotated[str, Field(pattern=r"^[a-z0-9-]{0,40}$")] = ""


@routes.get("/season")
def season(
    request: Request,
    year: Annotated[int | None, Query(ge=1990, le=2100)] = None,
    day: Annotated[str, Query(max_length=10)] = "",
    places: PlacesWord = "none",
    grid_deg: Annotated[float, Query(ge=0, le=400, allow_inf_nan=False)] = 0.1,
) -> SeasonSaid:
    """Tell what is seen when, and what to look for in the week from a day."""
    try:
        start = dt.date.fromisoformat(day) if day else dt.date.today()
    except ValueError:
        raise UsageError(f"{day}: is no day; give it as 2031-06-14") from None
    if not 1990 <= start.year <= 2100:
        raise UsageError(f"{day}: give a day from 1990 to 2100")
    with shelf_of(request).book() as book:
        refuse_grid(grid_deg)
        rows = sightings(book)
        days = [dt.date.fromisoformat(one.day) for one in outings(book) if one.day and one.frames]
        found = season_of(
            rows, start, year=year, days_out=days, places=places, grid_deg=grid_deg,
            things=sensitive_things(book),
        )  # fmt: skip
    years = {int(row.said.when[:4]) for row in rows} | {one.year for one in days}
    return SeasonSaid(
        found,
        tuple(sorted(years)),
        tuple(drawn(calendar(found, width)) for width in (WIDE, SLIM) if found.species),
        tuple(drawn(place_map(found.spots, width)) for width in (MIDDLE, SLIM) if found.spots),
        cautions.EXPORT,
    )


@routes.get("/hand")
def hand(request: Request) -> HandSaid:
    """Tell how the hand moves, from every judged burst and sweep."""
    kept: HandKept = request.app.state.hand
    report, current = kept.report()
    with shelf_of(request).book() as book:
        known = outings(book)
        titles = {one.id: one.title for one in known}
        said = tuple(
            SupportSaid(number, titles.get(number, ""), run, word)
            for (number, run), word in sorted(supports(book).items())
            if word
        )
    listed = tuple((one.id, one.title) for one in known if one.frames)
    if report is None:
        return HandSaid(None, False, (), (), None, said, listed)
    report = replace(report, left_out=on_page(report.left_out))
    rates = []
    for by, words in BY.items():
        groups = [one for one in report.groups if one.by == by]
        if groups:
            drawings = tuple(drawn(rates_drawn(groups, width)) for width in (MIDDLE, SLIM))
            rates.append(RatesSaid(words, drawings))
    scored = report.scored
    return HandSaid(
        report,
        current,
        tuple(NumberSaid(*row) for row in rows_of(report)),
        tuple(rates),
        None if scored is None else drawn(calibration(scored.bins, 400.0)),
        said,
        listed,
    )


@routes.post("/support")
def support(request: Request, said: SupportAsked) -> ActSaid:
    """Write down what the hand rested on."""
    with shelf_of(request).book() as book:
        row = outing_numbered(book, said.outing)
        if said.run:
            run_named(book, row.id, said.run)
        set_support(book, row.id, said.run, said.word)
    where = f"outing {row.title}" + (f", {said.run}" if said.run else "")
    return ActSaid(f"{said.word or 'nothing'} under the hand, {where}")
