"""haltere gaps: what a sweep has missed."""

from __future__ import annotations

from pathlib import Path

import click

from haltere.doors.cli.book_option import run_options
from haltere.doors.cli.eye_options import eye_frame_named, eye_options, eye_point
from haltere.doors.cli.options import (
    EITHER,
    capture_options,
    frame_named,
    json_option,
    overlap_option,
    reference_option,
    told,
)
from haltere.doors.cli.progress_line import ProgressLine
from haltere.doors.cli.run_given import run_given, working

NEW_FILE = click.Path(dir_okay=False, path_type=Path)


@click.command(
    short_help="Find the depths that one sweep has missed.",
    epilog="Example: haltere gaps sweep/ --magnification 2",
)
@click.argument("given", nargs=-1, type=EITHER, metavar="[FOLDER-or-FILES...]")
@run_options
@reference_option
@eye_options
@click.option(
    "--picture",
    type=NEW_FILE,
    metavar="FILE",
    help="Draw all planes along depth, and the gaps on the animal (PNG, SVG or HTML).",
)
@overlap_option
@capture_options
@json_option
def gaps(
    given: tuple[Path, ...],
    book_folder: Path | None,
    outing: str | None,
    run_id: str | None,
    reference: str | None,
    eye: str | None,
    eye_frame: str | None,
    picture: Path | None,
    overlap: float,
    kit_file: Path | None,
    magnification: float | None,
    pupil_distance_mm: float | None,
    coc_mm: float | None,
    as_json: bool,
) -> None:
    """Place every plane of one sweep and name the depths that none of them holds.

    What is given is taken as one run; without files it is a run of your field book. Where it has
    gaps, the eye is looked for, unless you give it, so that they are told against it.
    """
    point = eye_point(eye, eye_frame)
    said_of_kit = told(kit_file, magnification, pupil_distance_mm, coc_mm)

    from haltere.doors.cli import saying
    from haltere.evening import answer, capture_of, with_skipped
    from haltere.evening import as_json as written
    from haltere.frames import Decoder
    from haltere.sweeps.choice import check_overlap

    check_overlap(overlap)
    found = run_given(given, book_folder, outing, run_id)
    if picture is not None:
        from haltere.show.sweep_picture import refuse

        refuse(picture, found.frames)
    named = None
    if reference is not None:
        named = frame_named(found.frames, reference, "--reference").name
    eye_in = eye_frame_named(found.frames, point, eye_frame)
    capture = capture_of(found.frames, said_of_kit)
    with (
        ProgressLine(quiet=as_json) as progress,
        Decoder() as decoder,
        working(found, decoder, said_of_kit) as work,
    ):
        coverage = work.cover(
            found.frames,
            capture,
            subject=found.subject,
            reference=named,
            overlap=overlap,
            eye=point,
            eye_frame=eye_in,
            progress=progress,
        )
        if picture is not None:
            from haltere.show.sweep_picture import draw_sweep

            draw_sweep(coverage, found.frames, decoder, picture, progress=progress)
    if as_json:
        saying.say_json(written(with_skipped(answer(coverage), found.skipped)))
        return
    saying.say_coverage(coverage)
    from haltere.show.sweep_words import push_lines

    for line in push_lines(coverage):
        saying.say(line)
    saying.say_skipped(found.skipped)
    if picture is not None:
        saying.say()
        saying.say(f"Written: {picture}")
