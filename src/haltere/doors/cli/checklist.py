"""haltere checklist: the names that you may write a sighting under."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from haltere.doors.cli.book_option import book_option, opened
from haltere.doors.cli.options import FILE, json_option
from haltere.errors import UsageError

if TYPE_CHECKING:
    from haltere.fieldbook.sightings import Named


@click.command(
    short_help="Load a list of species, and find names in it while you type.",
    epilog="Example: haltere checklist --complete ara-dia",
)
@click.argument("file", required=False, type=FILE, metavar="[FILE]")
@click.option("--title", metavar="TEXT", help="What the list is called; the file's name else.")
@click.option("--complete", "text", metavar="TEXT", help="Names whose words begin so.")
@click.option("--forget", metavar="TITLE", help="Forget a list; sightings keep what it said.")
@book_option
@json_option
def checklist(
    file: Path | None,
    title: str | None,
    text: str | None,
    forget: str | None,
    book_folder: Path | None,
    as_json: bool,
) -> None:
    """Load a table of names (Darwin Core columns, or name, author, family, synonym of ...).

    Nothing is fetched: the list is the file that you give. Without one, the lists are named.
    """
    from dataclasses import asdict

    from haltere.doors.cli.saying import say, say_json
    from haltere.doors.cli.sighting_saying import say_name
    from haltere.evening import as_json as written
    from haltere.fieldbook.checklists import checklists, complete, drop_checklist, keep_checklist
    from haltere.records import read_checklist

    if sum(one is not None for one in (file, text, forget)) > 1:
        raise UsageError("give a file, --complete or --forget, one at a time")
    if title is not None and file is None:
        raise UsageError("--title belongs to a file")
    found: tuple[Named, ...] = ()
    with opened(book_folder) as book:
        if file is not None:
            sha256, taxa = read_checklist(file)
            keep_checklist(book, title or file.stem, file.name, sha256, taxa)
        if forget is not None:
            drop_checklist(book, forget)
        if text is not None:
            found = complete(book, text.replace("-", " "))
        known = checklists(book)
    if as_json:
        names = [asdict(one) for one in found]
        say_json(written({"checklists": [asdict(one) for one in known], "names": names}))
        return
    if text is not None:
        for one in found:
            say_name(one)
        if not found:
            say("No name begins so." if known else "No checklist is loaded yet.")
        return
    for row in known:
        say(f"{row.title}: {row.names} names, from {row.file}, since {row.loaded[:10]}")
    if not known:
        say("No checklist is loaded yet; haltere checklist FILE loads one.")
