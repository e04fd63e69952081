"""haltere sidecars: what you decided, beside the pictures, where other programs look."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from haltere.doors.cli.book_option import book_option, opened, outing_option
from haltere.doors.cli.options import json_option
from haltere.doors.cli.progress_line import ProgressLine
from haltere.doors.cli.run_given import outing_of

if TYPE_CHECKING:
    from haltere.fieldbook import OutingRow
    from haltere.records import Exchange

SHOWN = 12


@click.command(
    short_help="Write your verdicts into sidecars, and read what another program changed.",
    epilog="Example: haltere sidecars --outing 2031-05-20",
)
@outing_option
@click.option(
    "--beside",
    is_flag=True,
    help="For a folder adopted in place: write beside your own files, not into the book's folder.",
)
@book_option
@json_option
def sidecars(outing: str | None, beside: bool, book_folder: Path | None, as_json: bool) -> None:
    """Write your verdicts into sidecars, and read what another program changed there.

    No picture is opened for writing. Keep is one star, drop is "rejected", maybe is the keyword
    "maybe"; stars and other things that a sidecar holds are left as they are. What is read can be
    taken back with haltere undo.
    """
    from haltere.evening import as_json as written
    from haltere.records import exchange

    with opened(book_folder) as book, ProgressLine(quiet=as_json) as progress:
        row = outing_of(book, outing)
        done = exchange(book, row, beside=beside, progress=progress)
    if as_json:
        said: dict[str, Any] = {"outing": row.id, **asdict(done)}
        click.echo(written(said), nl=False)
        return
    _say(row, done)


def _say(row: OutingRow, done: Exchange) -> None:
    click.echo(
        f"Outing {row.title}: {_counted(len(done.written), 'sidecar')} written, "
        f"{_counted(len(done.read), 'verdict')} read, {done.unchanged} unchanged."
    )
    for one in done.read[:SHOWN]:
        click.echo(f"  read: {one.frame} is {one.verdict} now")
    if len(done.read) > SHOWN:
        click.echo(f"  read: and {len(done.read) - SHOWN} more")
    for clash in done.conflicts:
        stands = clash.book if clash.stands == "book" else clash.sidecar
        click.echo(
            f"  changed on both sides: {clash.frame} is {clash.book} in haltere and "
            f"{clash.sidecar} in its sidecar; the later stands: {stands}"
        )
    if done.read:
        click.echo("haltere undo takes back what was read.")
    for left in done.skipped:
        click.echo(f"  left alone: {left.file}: {left.why}")


def _counted(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
