"""haltere sight: write down one animal of one visit."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from haltere.doors.cli.book_option import book_option, opened, outing_option
from haltere.doors.cli.clock import seconds_of
from haltere.doors.cli.options import FILE, json_option
from haltere.doors.cli.run_given import outing_of
from haltere.errors import UsageError

if TYPE_CHECKING:
    from haltere.fieldbook import Book
    from haltere.fieldbook.sightings import SightingRow


@click.command(
    short_help="Write down a sighting: one animal, one visit, one record.",
    epilog="Example: haltere sight run-03 --name hoverfly --observer Ana --gpx walk.gpx",
)
@click.argument("names", nargs=-1, metavar="[FRAMES or RUNS]...")
@click.option("--name", metavar="TEXT", help="What it was, as you would say it.")
@click.option("--certainty", metavar="WORD", help="certain (unless you say), likely or unsure.")
@click.option("--observer", metavar="NAME", help="Who saw it.")
@click.option("--determined-by", metavar="NAME", help="Who named it; the observer unless you say.")
@click.option("--life-stage", metavar="WORD", help="As adult, nymph, larva, egg.")
@click.option("--sex", metavar="WORD", help="As female or male.")
@click.option("--count", type=int, metavar="N", help="How many animals; 1 unless you say.")
@click.option("--behaviour", metavar="TEXT", help="What it did.")
@click.option("--plant", metavar="TEXT", help="The plant it sat on.")
@click.option("--note", metavar="TEXT", help="Anything else.")
@click.option("--locality", metavar="TEXT", help="The place in words.")
@click.option("--country", metavar="XX", help="The country's two letters.")
@click.option("--gpx", type=FILE, metavar="FILE", help="Your track; gives the place by the time.")
@click.option("--exif-place", is_flag=True, help="Take the place that a picture holds.")
@click.option("--at", metavar="LAT,LON", help="The place by hand, in degrees, south negative.")
@click.option("--within", type=float, metavar="METRES", help="How well --at is known.")
@click.option("--datum", metavar="WORD", help="What --at counts from; WGS84 unless you say.")
@click.option("--when", metavar="TIME", help="As 2031-06-14T18:04+02:00; else from the pictures.")
@click.option("--time-zone", metavar="NAME", help="As Europe/Lisbon; else this computer's.")
@click.option("--clock", metavar="[-]H:MM:SS", help="What to add to the pictures' time.")
@click.option("--merged", multiple=True, metavar="RUN", help="A run's merged picture shows it.")
@click.option(
    "--sensitive/--not-sensitive", default=None, help="Never let its exact place leave the book."
)
@click.option("--another", is_flag=True, help="A second animal on a picture already used.")
@click.option("--change", type=int, metavar="N", help="Change sighting N; the old words are kept.")
@click.option("--withdraw", type=int, metavar="N", help="Take sighting N out of every export.")
@click.option("--why", metavar="TEXT", help="Why it is withdrawn.")
@click.option("--restore", type=int, metavar="N", help="Let a withdrawn sighting stand again.")
@outing_option
@book_option
@json_option
def sight(
    names: tuple[str, ...],
    gpx: Path | None,
    exif_place: bool,
    at: str | None,
    within: float | None,
    datum: str | None,
    when: str | None,
    time_zone: str | None,
    clock: str | None,
    merged: tuple[str, ...],
    another: bool,
    change: int | None,
    withdraw: int | None,
    why: str | None,
    restore: int | None,
    outing: str | None,
    book_folder: Path | None,
    as_json: bool,
    **words: Any,
) -> None:
    """Write down one animal of one visit, with its pictures, place and time.

    The record gets its number once and keeps it through every change and export. Nothing is
    deleted: earlier versions and withdrawn sightings stay in the book.
    """
    from haltere.doors.cli.saying import say, say_json, say_wrapped
    from haltere.doors.cli.sighting_saying import row_said, say_whole
    from haltere.evening import as_json as written
    from haltere.fieldbook.sightings import restore_sighting, withdraw_sighting
    from haltere.records import Asked, cautions

    if sum(one is not None for one in (change, withdraw, restore)) > 1:
        raise UsageError("--change, --withdraw and --restore exclude each other; give one")
    if why is not None and withdraw is None:
        raise UsageError("--why belongs to --withdraw")
    asked = Asked(
        when,
        None if time_zone is None else zone_named(time_zone),
        0.0 if clock is None else seconds_of(clock, "--clock"),
        gpx,
        exif_place,
        None if at is None else point_of(at, "--at"),
        within,
        datum,
    )
    with opened(book_folder) as book:
        if withdraw is not None:
            row = withdraw_sighting(book, withdraw, why or "")
        elif restore is not None:
            row = restore_sighting(book, restore)
        else:
            row = _written(book, names, merged, words, asked, outing, change, another)
    if as_json:
        say_json(written({**row_said(row), "caution": cautions.SIGHTING}))
        return
    say_whole(row)
    if withdraw is None and restore is None:
        say()
        say_wrapped(cautions.SIGHTING)


def _written(
    book: Book,
    names: tuple[str, ...],
    merged: tuple[str, ...],
    words: dict[str, Any],
    asked: Any,
    outing: str | None,
    change: int | None,
    another: bool,
) -> SightingRow:
    from haltere.fieldbook.sightings import change_sighting, keep_sighting, sighting_numbered
    from haltere.records import evidence_named, same_animal, sighting_from

    before = None if change is None else sighting_numbered(book, change).said
    evidence = None
    if names or merged:
        evidence = evidence_named(book, outing_of(book, outing), names, merged)
    said = sighting_from(book, words, asked, evidence, before)
    shared = None if another or evidence is None else same_animal(book, said, change)
    if shared is not None:
        row, picture = shared
        raise UsageError(
            f"{picture.kind} {picture.name} already shows sighting {row.id} ({row.said.name}); "
            f"--change {row.id} adds to it, --another is for a second animal"
        )
    return keep_sighting(book, said) if change is None else change_sighting(book, change, said)


def zone_named(name: str) -> dt.tzinfo:
    """Read a time zone: a name of the world's list, or hours as +02:00.

    Raises
    ------
    UsageError
        When it is neither.
    """
    from zoneinfo import ZoneInfo

    if name[:1] in ("+", "-"):
        try:
            offset = dt.datetime.fromisoformat(f"2000-01-01T00:00{name}").tzinfo
        except ValueError:
            offset = None
        if offset is not None:
            return offset
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise UsageError(f"--time-zone {name}: give it as Europe/Lisbon or +02:00") from None


def point_of(text: str, option: str) -> tuple[float, float]:
    """Read latitude and longitude.

    Raises
    ------
    UsageError
        When they are none.
    """
    import math

    try:
        latitude, longitude = (float(part) for part in text.split(","))
    except ValueError:
        raise UsageError(f"{option} {text}: give degrees as 38.7,-9.1") from None
    if not (math.isfinite(latitude) and math.isfinite(longitude)):
        raise UsageError(f"{option} {text}: give degrees as 38.7,-9.1")
    return latitude, longitude
