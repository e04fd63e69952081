"""haltere keepers: which frame of a burst is worth keeping."""

from __future__ import annotations

import math
from pathlib import Path

import click

from haltere.doors.cli.book_option import run_options
from haltere.doors.cli.options import EITHER, capture_options, frame_named, json_option, told
from haltere.doors.cli.progress_line import ProgressLine
from haltere.doors.cli.run_given import run_given, working
from haltere.errors import UsageError

NEW_FILE = click.Path(dir_okay=False, path_type=Path)


@click.command(
    short_help="Find the keepers of one burst.",
    epilog="Example: haltere keepers burst/ --eye 1310,842 --eye-frame burst_007.jpg",
)
@click.argument("given", nargs=-1, type=EITHER, metavar="[FOLDER-or-FILES...]")
@run_options
@click.option(
    "--eye", metavar="X,Y", help="The eye in one frame, in full-size pixels of the upright picture."
)
@click.option("--eye-frame", metavar="FILE", help="The frame in which --eye was read.")
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
    point = None if eye is None else eye_point(eye)
    if point is None and eye_frame is not None:
        raise UsageError("--eye-frame says where --eye was read; give --eye X,Y as well.")
    said_of_kit = told(kit_file, magnification, pupil_distance_mm, coc_mm)

    from haltere.doors.cli import saying
    from haltere.evening import answer, capture_of, with_skipped
    from haltere.evening import as_json as written
    from haltere.frames import Decoder

    found = run_given(given, book_folder, outing, run_id)
    if picture is not None:
        from haltere.show.burst_picture import refuse

        refuse(picture, found.frames)
    named = None
    if point is not None:
        if eye_frame is None and len(found.frames) > 1:
            raise UsageError("--eye needs --eye-frame FILE: the frame in which it was read.")
        frame = (
            found.frames[0]
            if eye_frame is None
            else frame_named(found.frames, eye_frame, "--eye-frame")
        )
        if not (0 <= point[0] <= frame.width_px - 1 and 0 <= point[1] <= frame.height_px - 1):
            raise UsageError(
                f"--eye {eye} lies outside {frame.name}, which is {frame.width_px} x "
                f"{frame.height_px} px; read it in the upright full-size picture."
            )
        named = frame.name
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


def eye_point(words: str) -> tuple[float, float]:
    """Read 'X,Y'.

    Raises
    ------
    UsageError
        When it is not two numbers.
    """
    try:
        x_px, y_px = (float(part) for part in words.split(","))
    except ValueError:
        raise UsageError(f"--eye {words} is not a point; give X,Y such as 1310,842.") from None
    if not (math.isfinite(x_px) and math.isfinite(y_px)):
        raise UsageError(f"--eye {words} is not a point; give X,Y such as 1310,842.")
    return x_px, y_px
