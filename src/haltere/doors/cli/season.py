"""haltere season: what your sightings say of the year, and of next week."""

from __future__ import annotations

import datetime as dt
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from haltere.doors.cli.book_option import book_option, opened
from haltere.doors.cli.options import json_option
from haltere.errors import UsageError

if TYPE_CHECKING:
    from haltere.records.season import Season

_LEVELS = " .:-=+*#%@"


@click.command(
    short_help="What you saw when, and what to look for next week.",
    epilog="Example: haltere season --year 2031 --page season.html",
)
@click.option("--year", type=int, metavar="YEAR", help="Only this year; all of them else.")
@click.option("--day", metavar="DAY", help="Look ahead from here; today unless you say.")
@click.option(
    "--page",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Draw it as a page (HTML).",
)
@click.option(
    "--places", metavar="WORD", default="none", help="none (unless you say), grid, exact."
)
@click.option("--grid", type=float, metavar="DEG", default=0.1, help="Side; 0.1 unless you say.")
@book_option
@json_option
def season(
    year: int | None,
    day: str | None,
    page: Path | None,
    places: str,
    grid: float,
    book_folder: Path | None,
    as_json: bool,
) -> None:
    """Answer from your own sightings what is seen when, and what to look for next week.

    Places stand in it only as exactly as you ask for this time.
    """
    from haltere.doors.cli.saying import say, say_json
    from haltere.evening import as_json as written
    from haltere.fieldbook import outings
    from haltere.fieldbook.sensitive import sensitive_things
    from haltere.fieldbook.sightings import sightings
    from haltere.records import refuse_grid
    from haltere.records.season import season_of

    if places not in ("none", "grid", "exact"):
        raise UsageError(f"--places {places}: expected none, grid or exact")
    refuse_grid(grid)
    try:
        start = dt.date.today() if day is None else dt.date.fromisoformat(day)
    except ValueError:
        raise UsageError(f"--day {day}: give a day as 2031-06-14") from None
    if not 1990 <= start.year <= 2100:
        raise UsageError(f"--day {day}: give a day from 1990 to 2100")
    with opened(book_folder) as book:
        days = [dt.date.fromisoformat(one.day) for one in outings(book) if one.day and one.frames]
        found = season_of(
            sightings(book),
            start,
            year=year,
            days_out=days,
            places=places,  # type: ignore[arg-type]
            grid_deg=grid,
            things=sensitive_things(book),
        )
    if page is not None:
        from haltere.show import draw_season

        draw_season(found, page)
    if as_json:
        say_json(written(asdict(found)))
        return
    _say(found)
    if page is not None:
        say()
        say(f"The page: {page}")


def _say(found: Season) -> None:
    from haltere.doors.cli.saying import say
    from haltere.show.words import counted

    if not found.sightings:
        say("No sighting yet; haltere sight writes one down.")
        return
    kinds = counted(len(found.species), "species", "species")
    say(
        f"{found.title}: {counted(found.sightings, 'sighting')} of {kinds} on "
        f"{counted(found.days, 'day')}."
    )
    wide = min(32, max(len(one.name) for one in found.species))
    say()
    say(f"{'':<{wide}}  J  F  M  A  M  J  J  A  S  O  N  D    first   last     n")
    for one in found.species:
        most = max(one.periods)
        bars = "".join(_LEVELS[round(9 * (count / most) ** 0.5)] for count in one.periods)
        span = f"{one.first[5:]}   {one.last[5:]}"
        say(f"{one.name[:wide]:<{wide}}  {bars}  {span}  {one.sightings:>4}")
    hours = "  ".join(f"{hour} h: {n}" for hour, n in enumerate(found.hours) if n)
    if hours:
        say()
        say(f"By the hour: {hours}")
    say()
    if not found.coming:
        say(f"Nothing was seen from {found.week_from[5:]} to {found.week_to[5:]} in earlier years.")
        return
    say(f"To look for in the week from {found.day}:")
    for one_more in found.coming:
        plants = f"; on {', '.join(one_more.plants)}" if one_more.plants else ""
        say(f"  {one_more.name}: {one_more.years_seen} of {one_more.years_out} years{plants}")
