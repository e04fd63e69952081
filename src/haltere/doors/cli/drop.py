"""haltere drop: dropped frames out of the way, and back."""

from __future__ import annotations

import sys
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from haltere.doors.cli.book_option import book_option, opened, outing_option
from haltere.doors.cli.options import OUT, json_option
from haltere.doors.cli.progress_line import ProgressLine
from haltere.doors.cli.run_given import outing_of
from haltere.errors import UsageError

if TYPE_CHECKING:
    from haltere.records.moving import Moved


@click.command(
    short_help="Move the frames you dropped into a folder of their own, or back.",
    epilog="Example: haltere drop --to dropped --outing 2031-05-20",
)
@click.option("--to", type=OUT, metavar="DIR", help="Folder that the dropped frames move to.")
@click.option("--back", is_flag=True, help="Move all dropped frames of the outing back.")
@outing_option
@book_option
@json_option
def drop(
    to: Path | None, back: bool, outing: str | None, book_folder: Path | None, as_json: bool
) -> None:
    """Move the frames you decided to drop, with raw file and sidecar; none is erased.

    Only frames that were unloaded move. Files in a folder adopted in place stay where you put
    them. Ends with exit code 1 when a frame can't be brought back.
    """
    from haltere.evening import as_json as written
    from haltere.records import bring_back, move_away

    if back == (to is not None):
        raise UsageError("say --to DIR to move dropped frames away, or --back to bring them back")
    with opened(book_folder) as book, ProgressLine(quiet=as_json) as progress:
        row = outing_of(book, outing)
        if to is not None:
            done = move_away(book, row, to, progress=progress)
        else:
            done = bring_back(book, row, progress=progress)
    if as_json:
        said = {"outing": row.id, "way": "back" if back else "away", **asdict(done)}
        click.echo(written(said), nl=False)
    else:
        _say(done, to, back=back)
    if back and done.skipped:
        sys.stdout.flush()
        raise click.exceptions.Exit(1)


def _say(done: Moved, to: Path | None, *, back: bool) -> None:
    count = f"{len(done.frames)} frame{'' if len(done.frames) == 1 else 's'}"
    files = f"{len(done.files)} file{'' if len(done.files) == 1 else 's'}"
    if not done.frames:
        click.echo("No frame was moved." + ("" if done.skipped or back else _why(done.already)))
    elif to is None:
        click.echo(f"Moved back: {count}, {files}.")
    else:
        click.echo(f"Moved to {to}: {count}, {files}. haltere drop --back brings them back.")
    for left in done.skipped:
        click.echo(f"  left where it is: {left.file}: {left.why}")


def _why(already: int) -> str:
    if already:
        return " All dropped frames of this outing were moved before."
    return " None of this outing is dropped: haltere decide drop FRAMES..."
