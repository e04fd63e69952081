"""haltere evening: the whole card in one go."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from haltere.doors.cli.book_option import book_option, outing_option
from haltere.doors.cli.options import (
    FOLDER,
    capture_options,
    json_option,
    out_folder,
    out_option,
    told,
)
from haltere.doors.cli.progress_line import ProgressLine
from haltere.doors.cli.run_given import outing_given

if TYPE_CHECKING:
    from haltere.evening import Evening


@click.command(
    short_help="Work a whole card and draw one sheet.",
    epilog="Example: haltere evening 2031-06-14-meadow --kit kit.toml",
)
@click.argument("folder", type=FOLDER, required=False)
@outing_option
@book_option
@out_option
@capture_options
@json_option
def evening(
    folder: Path | None,
    outing: str | None,
    book_folder: Path | None,
    out: Path | None,
    kit_file: Path | None,
    magnification: float | None,
    pupil_distance_mm: float | None,
    coc_mm: float | None,
    as_json: bool,
) -> None:
    """Work a whole card: keepers of every burst, gaps and a picture of every sweep, one sheet.

    Without a folder the newest outing of your field book is worked, or the one that --outing
    names.
    """
    said_of_kit = told(kit_file, magnification, pupil_distance_mm, coc_mm)
    given = outing_given(folder, book_folder, outing)
    never = [given.folder] if given.place is None else [given.folder, given.place / "originals"]
    place = out_folder(out or given.out, never, "evenings")

    from haltere.evening import walk
    from haltere.frames import Decoder

    with ProgressLine(quiet=as_json) as progress, Decoder() as decoder:
        worked = walk(
            [given.originals],
            place,
            decoder,
            said_of_kit,
            progress,
            name=given.name,
            folder=given.folder,
            place=given.place,
            frames=given.frames,
        )
    say_evening(worked, as_json)


def say_evening(worked: Evening, as_json: bool) -> None:
    """Say what came of an evening, to a person or to a program."""
    from haltere.doors.cli import saying
    from haltere.evening import as_json as written
    from haltere.show import words

    if as_json:
        saying.say_json(written(worked.answer()))
        return
    saying.say(words.summary(worked.outing))
    saying.say()
    for run in worked.outing.runs:
        saying.say_worked(run)
    saying.say_skipped(worked.outing.skipped)
    saying.say()
    saying.say(f"The sheet is {worked.sheet}; pictures and maps lie beside it.")
