"""haltere verify: is everything still what it was."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from haltere.doors.cli.book_option import book_option, opened
from haltere.doors.cli.options import json_option
from haltere.doors.cli.progress_line import ProgressLine
from haltere.errors import UsageError

if TYPE_CHECKING:
    from haltere.fieldbook.verify import Verified


@click.command(
    short_help="Read every original again and name what changed.",
    epilog="Example: haltere verify --from-second",
)
@click.option(
    "--from-second", is_flag=True, help="Bring back what changed or vanished from second copies."
)
@click.option(
    "--from-first", is_flag=True, help="The other way: repair second copies from the book's own."
)
@book_option
@json_option
def verify(from_second: bool, from_first: bool, book_folder: Path | None, as_json: bool) -> None:
    """Read every original of the field book again, with its second copy, and compare.

    Ends with exit code 1 while something is not whole.
    """
    if from_second and from_first:
        raise UsageError("--from-second and --from-first: choose one of them")
    from haltere.doors.cli import saying
    from haltere.fieldbook.verify import verify as verified

    side: Literal["first", "second"] | None = (
        "second" if from_second else "first" if from_first else None
    )
    with opened(book_folder) as book, ProgressLine(quiet=as_json) as progress:
        said = verified(book, repair_from=side, progress=progress)
    if as_json:
        import json
        from dataclasses import asdict

        saying.say_json(json.dumps(asdict(said), indent=1, ensure_ascii=False) + "\n")
    else:
        _say(said)
    if said.good < said.copies:
        sys.stdout.flush()
        raise click.exceptions.Exit(1)


def _say(said: Verified) -> None:
    from haltere.doors.cli import saying
    from haltere.show.words import verified

    saying.say(verified(said))
    for one in said.damages:
        state = "repaired" if one.repaired else one.what
        saying.say(f"  {state}: {one.folder}/{one.file}: {one.note}")
    for folder in said.not_there:
        saying.say(f"  not plugged in, nothing is known of it: {folder}")
    for stray in said.strays:
        saying.say(f"  unknown to the book, left alone: {stray}")
    for card in said.withdrawn:
        saying.say()
        saying.say(f"No longer safe to format: {card.source}, unloaded {card.unloaded}.")
        saying.say(f"  {card.verdict.text}")
