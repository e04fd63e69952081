"""haltere book: what the field book holds."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from haltere.doors.cli.book_option import book_option, opened, outing_option
from haltere.doors.cli.options import json_option

if TYPE_CHECKING:
    from haltere.fieldbook import Book


@click.command(
    short_help="List outings, one outing's frames, or search.",
    epilog="Example: haltere book --find pond --verdict keep",
)
@outing_option
@click.option("--find", "text", metavar="TEXT", help="Part of a frame's or an outing's name.")
@click.option(
    "--verdict",
    type=click.Choice(["keep", "maybe", "drop", "undecided"]),
    help="Only frames on which you decided so.",
)
@book_option
@json_option
def book(
    outing: str | None,
    text: str | None,
    verdict: str | None,
    book_folder: Path | None,
    as_json: bool,
) -> None:
    """List the outings of your field book, the frames of one, or those that a search finds."""
    from haltere.evening import as_json as written
    from haltere.fieldbook import kits, outing_named, outings, search

    with opened(book_folder) as opened_book:
        if text is not None or verdict is not None:
            within = None if outing is None else outing_named(opened_book, outing).id
            found = search(
                opened_book,
                text or "",
                verdict=verdict,  # type: ignore[arg-type]
                outing_id=within,
            )
            said: dict[str, Any] = {
                "frames": [
                    {"outing": one.outing_id, "frame": one.name, "taken": one.taken}
                    for one in found
                ]
            }
            lines = [f"{one.outing_id:>4}  {one.name}  {one.taken or ''}" for one in found]
        elif outing is not None:
            said, lines = _one_outing(opened_book, outing)
        else:
            rows, known = outings(opened_book), kits(opened_book)
            said = {
                "outings": [
                    {
                        "id": row.id,
                        "day": row.day,
                        "name": row.name,
                        "folder": str(row.folder),
                        "frames": row.frames,
                    }
                    for row in rows
                ],
                "kits": [{"name": kit.name, "added": kit.added, "toml": kit.text} for kit in known],
            }
            lines = [
                f"{row.id:>4}  {row.day:<10}  {row.name:<20}  {row.frames:>5} frames  {row.folder}"
                for row in rows
            ]
            lines += [f"   -  kit         {kit.name}, since {kit.added[:10]}" for kit in known]
    if as_json:
        click.echo(written(said), nl=False)
        return
    empty = "Nothing found." if text is not None or verdict is not None else "Nothing here yet."
    for line in lines or [empty]:
        click.echo(line)


def _one_outing(opened_book: Book, word: str) -> tuple[dict[str, Any], list[str]]:
    from haltere.fieldbook import decisions_in, frames_in, outing_named, runs_in

    row = outing_named(opened_book, word)
    decided = decisions_in(opened_book, row.id)
    of_frame = {name: run.id for run in runs_in(opened_book, row.id) for name in run.frames}
    frames = [
        {
            "frame": frame.name,
            "run": of_frame.get(frame.name),
            "verdict": decided.get(frame.name, "undecided"),
        }
        for frame in frames_in(opened_book, row.id)
    ]
    lines = [f"{one['run'] or '-':<8} {one['verdict']:<9} {one['frame']}" for one in frames]
    return {"outing": row.id, "frames": frames}, lines
