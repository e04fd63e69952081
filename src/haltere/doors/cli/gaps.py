"""haltere gaps: what a sweep has missed."""

from __future__ import annotations

from pathlib import Path

import click

from haltere.doors.cli.options import (
    EITHER,
    capture_options,
    frame_named,
    json_option,
    reference_option,
    told,
)
from haltere.doors.cli.progress_line import ProgressLine


@click.command(
    short_help="Find the depths that one sweep has missed.",
    epilog="Example: haltere gaps sweep/ --magnification 2",
)
@click.argument("given", nargs=-1, required=True, type=EITHER, metavar="FOLDER-or-FILES...")
@reference_option
@capture_options
@json_option
def gaps(
    given: tuple[Path, ...],
    reference: str | None,
    kit_file: Path | None,
    magnification: float | None,
    pupil_distance_mm: float | None,
    coc_mm: float | None,
    as_json: bool,
) -> None:
    """Place every plane of one sweep and name the depths that none of them holds.

    What is given is taken as one run.
    """
    said_of_kit = told(kit_file, magnification, pupil_distance_mm, coc_mm)

    from haltere.doors.cli import saying
    from haltere.evening import answer, capture_of, frames_given, with_skipped
    from haltere.evening import as_json as written
    from haltere.frames import Decoder
    from haltere.sweeps import solve_sweep

    found = frames_given(given)
    named = None
    if reference is not None:
        named = frame_named(found.frames, reference, "--reference").name
    capture = capture_of(found.frames, said_of_kit)
    with ProgressLine(quiet=as_json) as progress, Decoder() as decoder:
        sweep = solve_sweep(found.frames, decoder, capture, reference=named, progress=progress)
        sweep.close()
    if as_json:
        saying.say_json(written(with_skipped(answer(sweep.coverage), found.skipped)))
        return
    saying.say_coverage(sweep.coverage)
    saying.say_skipped(found.skipped)
