"""haltere finish: a picture cropped, restored, set in light and colour, with a scale bar."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from haltere.doors.cli.book_option import book_option
from haltere.doors.cli.options import EITHER, OUT, capture_options, json_option, told
from haltere.doors.cli.progress_line import ProgressLine
from haltere.errors import UsageError

if TYPE_CHECKING:
    from haltere.evening.finishing import FinishedPicture

CORNERS = ("bottom-right", "bottom-left", "top-right", "top-left")


@click.command(
    short_help="Crop a picture, restore its sharpness, set its light; all of it can be undone.",
    epilog="Example: haltere finish merged/ --sharpness 1 --calm 1 --crop 3:2 --kit kit.toml",
)
@click.argument("given", type=EITHER, metavar="PICTURE")
@click.option("--out", type=OUT, metavar="DIR", help="Folder; beside a merge unless you say.")
@click.option(
    "--sharpness",
    type=float,
    metavar="S",
    help="How much of what diffraction took is brought back: 0 none, 1 what noise allows.",
)
@click.option("--calm", type=float, metavar="S", help="How much of the noise goes: 0 none, 1 all.")
@click.option("--exposure", type=float, metavar="STOPS", help="Lighter or darker.")
@click.option("--black", type=float, metavar="L", help="Linear light that becomes black.")
@click.option("--white", type=float, metavar="L", help="Linear light that becomes white.")
@click.option("--grey", metavar="X,Y,W,H", help="White balance: something grey in the picture.")
@click.option(
    "--highlights",
    type=float,
    metavar="S",
    help="How much of clipped highlights on shiny cuticle is brought back, 0 to 1.",
)
@click.option(
    "--dust/--no-dust",
    default=None,
    help="Find dust on the sensor by what stays while the subject moves, and fill it.",
)
@click.option("--crop", metavar="SHAPE", help="A shape like 3:2, or X,Y,W,H; whole takes it off.")
@click.option(
    "--bar",
    type=click.Choice(["none", "burnt", "overlay"]),
    help="A scale bar in the picture, or over it.",
)
@click.option("--bar-length", "bar_mm", type=float, metavar="MM", help="Its length.")
@click.option("--corner", type=click.Choice(CORNERS), help="Where it stands.")
@click.option("--print", "print_cm", type=float, metavar="CM", help="Longer side of a print.")
@click.option(
    "--view", "view_cm", type=float, metavar="CM", default=40.0, help="From where it is looked at."
)
@click.option(
    "--smear",
    "smear_px",
    type=float,
    metavar="PX",
    help="How far what moved is smeared; a judged frame of the book knows it.",
)
@click.option("--undo", is_flag=True, help="Take back the last change.")
@capture_options
@book_option
@json_option
def finish(
    given: Path,
    out: Path | None,
    sharpness: float | None,
    calm: float | None,
    exposure: float | None,
    black: float | None,
    white: float | None,
    grey: str | None,
    highlights: float | None,
    dust: bool | None,
    crop: str | None,
    bar: str | None,
    bar_mm: float | None,
    corner: str | None,
    print_cm: float | None,
    view_cm: float,
    smear_px: float | None,
    undo: bool,
    kit_file: Path | None,
    magnification: float | None,
    pupil_distance_mm: float | None,
    coc_mm: float | None,
    book_folder: Path | None,
    as_json: bool,
) -> None:
    """Finish a merge or a single picture; what is not said stays as it was last time.

    The picture itself stays as it is. The settings are written into the field book, the result
    lies in a folder of its own, with a look at both states side by side.
    """
    for option, value in (("--print", print_cm), ("--view", view_cm)):
        if value is not None and not 0.0 < value < math.inf:
            raise UsageError(f"{option} is a length above 0 cm, got {value:g}")
    said_of_kit = told(kit_file, magnification, pupil_distance_mm, coc_mm)
    changes: dict[str, Any] = {
        "sharpness": sharpness, "calm": calm, "exposure_stops": exposure, "black": black,
        "white": white, "highlights": highlights, "dust": dust, "crop": crop,
        "bar": bar, "bar_mm": bar_mm, "corner": corner,
    }  # fmt: skip
    if undo and (grey is not None or any(value is not None for value in changes.values())):
        raise UsageError("--undo takes the last change back; give no other setting with it")

    from haltere.doors.cli import saying
    from haltere.evening import as_json as written
    from haltere.evening.finishing import Asked, finish, finished_answer
    from haltere.frames import Decoder

    box = None if grey is None else _box(grey)
    asked = Asked(out, box, 10.0 * view_cm, None if print_cm is None else 10.0 * print_cm, smear_px)
    with ProgressLine(quiet=as_json) as progress, Decoder(1) as decoder:
        done = finish(
            given, said_of_kit, changes, asked, decoder,
            undo=undo, book_folder=book_folder, progress=progress,
        )  # fmt: skip
    if as_json:
        saying.say_json(written(finished_answer(done)))
        return
    _say(done, undo)


def _box(words: str) -> tuple[int, int, int, int]:
    """Read 'X,Y,W,H'.

    Raises
    ------
    UsageError
        When it is none.
    """
    try:
        x, y, w, h = (int(part) for part in words.split(","))
    except ValueError:
        raise UsageError(f"--grey {words}: give a patch as X,Y,WIDTH,HEIGHT in pixels") from None
    return x, y, x + w, y + h


def _say(done: FinishedPicture, undo: bool) -> None:
    if undo:
        what = "There is nothing to take back." if done.taken_back is None else "Taken back."
        click.echo(what)
    click.echo(f"{done.crop.text[0].upper()}{done.crop.text[1:]}.")
    for warning in done.crop.warnings:
        click.echo(f"  mind: {warning}")
    if done.made["restored_at"] is not None:
        click.echo(f"Restored what diffraction took at f/{done.made['restored_at']:.1f}.")
    if done.dust is not None:
        click.echo(done.dust)
    if done.picture is None:
        click.echo("No settings stand: the picture is as it was.")
        return
    click.echo(f"The finished picture is {Path(done.out) / done.picture};")
    click.echo(f"both states side by side: {Path(done.out) / (done.before_after or '')}.")
    if done.scale_bar is not None:
        click.echo(f"The scale bar to lay over it: {Path(done.out) / done.scale_bar}.")
