"""haltere keepers: which frame of a burst is worth keeping."""

from __future__ import annotations

from pathlib import Path

import click

from haltere.doors.cli.book_option import run_options
from haltere.doors.cli.eye_options import eye_frame_named, eye_options, eye_point
from haltere.doors.cli.options import EITHER, capture_options, json_option, told
from haltere.doors.cli.progress_line import ProgressLine
from haltere.doors.cli.run_given import run_given, working

NEW_FILE = click.Path(dir_okay=False, path_type=Path)


@click.command(
    short_help="Find the keepers of one burst.",
    epilog="Example: haltere keepers burst/ --eye 1310,842 --eye-frame burst_007.jpg",
)
@click.argument("given", nargs=-1, type=EITHER, metavar="[FOLDER-or-FILES...]")
@run_options
@eye_options
@click.option(
    "--picture",
    type=NEW_FILE,
    metavar="FILE",
    help="Draw every frame's eye at full size, best first, and the best frame (HTML or PNG).",
)
@capture_options
@json_option
def keepers(
    given: tuple[Path, ...],
    book_folder: Path | None,
    outing: str | None,
    run_id: str | None,
    eye: str | None,
    eye_frame: str | None,
    picture: Path | None,
    kit_file: Path | None,
    magnification: float | None,
    pupil_distance_mm: float | None,
    coc_mm: float | None,
    as_json: bool,
) -> None:
    """Rank the frames of one burst by the eye, and say whether one is a keeper.

    What is given is taken as one run; without files it is a run of your field book. Without
    --eye the eye is proposed.
    """
    point = eye_point(eye, eye_frame)
    said_of_kit = told(kit_file, magnification, pupil_distance_mm, coc_mm)

    from haltere.doors.cli import saying
    from haltere.evening import answer, capture_of, with_skipped
    from haltere.evening import as_json as written
    from haltere.frames import Decoder

    found = run_given(given, book_folder, outing, run_id)
    if picture is not None:
        from haltere.show.burst_picture import refuse

        refuse(picture, found.frames)
    named = eye_frame_named(found.frames, point, eye_frame)
    capture = capture_of(found.frames, said_of_kit)
    with (
        ProgressLine(quiet=as_json) as progress,
        Decoder() as decoder,
        working(found, decoder, said_of_kit) as work,
    ):
        judged = work.judge(
            found.frames,
            capture,
            subject=found.subject,
            eye=point,
            eye_frame=named,
            progress=progress,
        )
        if picture is not None:
            from haltere.show import draw_burst

            draw_burst(
                judged,
                found.frames,
                decoder,
                picture,
                decided=work.decided(),
                progress=progress,
            )
    if as_json:
        saying.say_json(written(with_skipped(answer(judged), found.skipped)))
        return
    saying.say_keepers(judged)
    saying.say_skipped(found.skipped)
    if picture is not None:
        saying.say()
        saying.say(f"Written: {picture}")
