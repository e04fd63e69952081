"""haltere sightings: what was written down."""

from __future__ import annotations

from pathlib import Path

import click

from haltere.doors.cli.book_option import book_option, opened
from haltere.doors.cli.options import json_option


@click.command(
    short_help="List your sightings, or show one with its earlier versions.",
    epilog="Example: haltere sightings --find aglais --withdrawn",
)
@click.option("--show", type=int, metavar="N", help="All that is known of sighting N.")
@click.option("--find", "text", metavar="TEXT", help="Part of a name, plant, locality or note.")
@click.option("--withdrawn", is_flag=True, help="List withdrawn ones, too.")
@book_option
@json_option
def sightings(
    show: int | None, text: str | None, withdrawn: bool, book_folder: Path | None, as_json: bool
) -> None:
    """List your sightings in order of time, or show one with everything said of it earlier."""
    from haltere.doors.cli.saying import say, say_json
    from haltere.doors.cli.sighting_saying import row_said, say_row, say_whole
    from haltere.evening import as_json as written
    from haltere.fieldbook.sightings import sighting_numbered, sightings, versions_of
    from haltere.records import speaks_of

    with opened(book_folder) as book:
        if show is not None:
            last = sighting_numbered(book, show)
            rows = versions_of(book, show)
        else:
            last = None
            rows = sightings(book, withdrawn=withdrawn)
            rows = tuple(row for row in rows if text is None or speaks_of(row.said, text))
    if as_json:
        say_json(written({"sightings": [row_said(row) for row in rows]}))
        return
    if last is not None:
        say_whole(last)
        for row in rows[:-1]:
            say()
            say(f"Earlier, version {row.version}, written {row.written}:")
            say_row(row)
        return
    for row in rows:
        say_row(row)
    if not rows:
        say("No sighting yet." if text is None else "Nothing found.")
