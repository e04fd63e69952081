"""haltere decide and haltere undo: what you think of a frame, and second thoughts."""

from __future__ import annotations

from pathlib import Path

import click

from haltere.doors.cli.book_option import book_option, opened, outing_option
from haltere.doors.cli.options import json_option
from haltere.doors.cli.run_given import outing_of


@click.command(
    short_help="Write down what you think of frames: keep, maybe or drop.",
    epilog="Example: haltere decide drop M_0012.JPG M_0013.JPG --outing 2031-05-20",
)
@click.argument("verdict", type=click.Choice(["keep", "maybe", "drop", "undecided"]))
@click.argument("names", nargs=-1, required=True, metavar="FRAMES...")
@outing_option
@book_option
@json_option
def decide(
    verdict: str,
    names: tuple[str, ...],
    outing: str | None,
    book_folder: Path | None,
    as_json: bool,
) -> None:
    """Write down your verdict on frames of the field book; no file is touched.

    A run's id stands for all of its frames. `haltere undo` takes it back.
    """
    from haltere.evening import as_json as written
    from haltere.fieldbook import decide as write_down
    from haltere.fieldbook import runs_in

    with opened(book_folder) as book:
        row = outing_of(book, outing)
        runs = {run.id: run.frames for run in runs_in(book, row.id)}
        frames = [frame for name in names for frame in runs.get(name, (name,))]
        act = write_down(book, row.id, frames, verdict)  # type: ignore[arg-type]
    if as_json:
        said = {"outing": row.id, "verdict": verdict, "frames": list(dict.fromkeys(frames))}
        click.echo(written({**said, "what": act.what, "done": act.done}), nl=False)
        return
    click.echo(f"Written down: {act.what}, outing {row.title}. haltere undo takes it back.")


@click.command(
    short_help="Take back your last decision.", epilog="Example: haltere undo --book fieldbook"
)
@book_option
@json_option
def undo(book_folder: Path | None, as_json: bool) -> None:
    """Take back the last act of deciding that still stands; again for the one before."""
    from haltere.evening import as_json as written
    from haltere.fieldbook import undo as take_back

    with opened(book_folder) as book:
        act = take_back(book)
    if as_json:
        back = None if act is None else {"what": act.what, "done": act.done}
        click.echo(written({"taken_back": back}), nl=False)
        return
    if act is None:
        click.echo("There is nothing to take back.")
        return
    click.echo(f"Taken back: {act.what}, of {act.done}.")
