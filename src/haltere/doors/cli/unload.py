"""haltere unload: a card into the field book."""

from __future__ import annotations

import contextlib
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from haltere.doors.cli.book_option import book_at, book_option, opened
from haltere.doors.cli.options import FOLDER, OUT, json_option
from haltere.doors.cli.progress_line import ProgressLine
from haltere.errors import HaltereError

if TYPE_CHECKING:
    from haltere.fieldbook import Book
    from haltere.fieldbook.unload import Unloaded


@click.command(
    short_help="Copy a card into the field book, each file read back.",
    epilog="Example: haltere unload CARD --name meadow --second BACKUP",
)
@click.argument("card", type=FOLDER)
@click.option("--name", default="", metavar="NAME", help="What to call the outing.")
@click.option(
    "--second",
    type=OUT,
    metavar="DIR",
    help="Make a second copy here in the same go, best on another disk.",
)
@click.option(
    "--in-place", is_flag=True, help="Leave the files in this folder, and take them from there."
)
@book_option
@json_option
def unload(
    card: Path,
    name: str,
    second: Path | None,
    in_place: bool,
    book_folder: Path | None,
    as_json: bool,
) -> None:
    """Copy every file of a card into the field book, outing by outing, and read each one back.

    Nothing is written to the card. Stopped in the middle, it goes on from there when you start
    it again. The last line says whether the card may be formatted. Ends with exit code 1 while
    some file is not safely in the book.
    """
    from haltere.doors.cli import saying
    from haltere.fieldbook.refusals import check_unload
    from haltere.fieldbook.unload import unload as unloaded

    check_unload(book_at(book_folder), card, name=name, second=second, in_place=in_place)
    with opened(book_folder) as book, ProgressLine(quiet=as_json) as progress:
        said = unloaded(book, card, name=name, second=second, in_place=in_place, progress=progress)
        _catalogue(book, said, progress)
    if as_json:
        import json
        from dataclasses import asdict

        saying.say_json(json.dumps(asdict(said), indent=1, ensure_ascii=False) + "\n")
    else:
        _say(said, in_place=in_place)
    if said.verdict.code == "keep":
        sys.stdout.flush()
        raise click.exceptions.Exit(1)


def _catalogue(book: Book, said: Unloaded, progress: ProgressLine) -> None:
    """Write down the frames too; what fails here fails again, in words, where frames are used."""
    from haltere.fieldbook import catalogue_frames, outing_named

    for one in said.outings:
        with contextlib.suppress(HaltereError):
            catalogue_frames(book, outing_named(book, str(one.id)), progress)


def _say(said: Unloaded, *, in_place: bool) -> None:
    from haltere.doors.cli import saying
    from haltere.show.words import counted

    where = "in the folder" if in_place else "on the card"
    megabytes = f"{said.bytes / 1e6:.1f} MB"
    saying.say(f"{counted(said.files, 'file')} {where}, {megabytes}.")
    saying.say(f"  new: {said.copied}   in the book already: {said.known}")
    if said.mended:
        saying.say(f"  made again, because they had changed or vanished: {said.mended}")
    for outing in said.outings:
        title = outing.day if outing.name == outing.day else f"{outing.day} {outing.name}"
        saying.say(f"  {title}: {counted(outing.files, 'file')} in {outing.folder}")
    if said.second is not None:
        saying.say(f"  second copies in {said.second}")
    if said.left_out:
        saying.say()
        saying.say("Not copied, because they hold nothing of their own:")
        for one in said.left_out:
            saying.say(f"  {one.file}: {one.why}")
    saying.say()
    saying.say(said.verdict.text)
    for one in said.troubles:
        saying.say(f"  {one.file}: {one.why}")
