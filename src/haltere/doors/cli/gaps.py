"""haltere gaps: what a sweep has missed."""

from __future__ import annotations

from pathlib import Path

import click

from haltere.doors.cli.book_option import run_options
from haltere.doors.cli.options import (
    EITHER,
    capture_options,
    frame_named,
    json_option,
    reference_option,
    told,
)
from haltere.doors.cli.progress_line import ProgressLine
from haltere.doors.cli.run_given import run_given, working


@click.command(
    short_help="Find the depths that one sweep has missed.",
    epilog="Example: haltere gaps sweep/ --magnification 2",
)
@click.argument("given", nargs=-1, type=EITHER, metavar="[FOLDER-or-FILES...]")
@run_options
@reference_option
@capture_options
@json_option
def gaps(
    given: tuple[Path, ...],
    book_folder: Path | None,
    outing: str | None,
    run_id: str | None,
    reference: str | None,
    kit_file: Path | None,
    magnification: float | None,
    pupil_distance_mm: float | None,
    coc_mm: float | None,
    as_json: bool,
) -> None:
    """Place every plane of one sweep and name the depths that none of them holds.

    What is given is taken as one run; without files it is a run of your field book.
    """
    said_of_kit = told(kit_file, magnification, pupil_distance_mm, coc_mm)

    from haltere.doors.cli import saying
    from haltere.evening import answer, capture_of, with_skipped
    from haltere.evening import as_json as written
    from haltere.frames import Decoder

    found = run_given(given, book_folder, outing, run_id)
    named = None
    if reference is not None:
        named = frame_named(found.frames, reference, "--reference").name
    capture = capture_of(found.frames, said_of_kit)
    with (
        ProgressLine(quiet=as_json) as progress,
        Decoder() as decoder,
        working(found, decoder, said_of_kit) as work,
    ):
        coverage = work.cover(
            found.frames, capture, subject=found.subject, reference=named, progress=progress
        )
    if as_json:
        saying.say_json(written(with_skipped(answer(coverage), found.skipped)))
        return
    saying.say_coverage(coverage)
    saying.say_skipped(found.skipped)
