"""haltere relief: what the depth of a merged picture gives."""

from __future__ import annotations

import math
from dataclasses import asdict
from pathlib import Path

import click

from haltere.doors.cli.options import FOLDER, OUT, json_option
from haltere.doors.cli.progress_line import ProgressLine
from haltere.errors import UsageError


@click.command(
    short_help="Make a stereo pair, a lit relief and a depth profile of a merge.",
    epilog="Example: haltere relief merged/ --angle 4 --along 210,840,1650,900",
)
@click.argument("folder", type=FOLDER, metavar="MERGED")
@click.option(
    "--out", type=OUT, metavar="DIR", help="Folder for the results; without it MERGED/relief."
)
@click.option(
    "--angle",
    "angle_deg",
    type=float,
    metavar="DEG",
    help="Angle between the two views; chosen so that most people can fuse them unless you say.",
)
@click.option("--crossed", is_flag=True, help="The pair is for crossed eyes.")
@click.option(
    "--along", metavar="X0,Y0,X1,Y1", help="Read the depth along this line of the merged picture."
)
@click.option(
    "--longest",
    "longest_px",
    type=int,
    default=2400,
    show_default=True,
    metavar="PX",
    help="Longest side of a view.",
)
@json_option
def relief(
    folder: Path,
    out: Path | None,
    angle_deg: float | None,
    crossed: bool,
    along: str | None,
    longest_px: int,
    as_json: bool,
) -> None:
    """Make a stereo pair, a lit relief and a depth profile from a merge's depth map.

    MERGED is the folder that haltere merge wrote; a repaired picture is taken where there is one.
    Where no depth is known it is marked, never made up.
    """
    line = None if along is None else line_of(along)

    from haltere.doors.cli import saying
    from haltere.evening import as_json as written
    from haltere.evening.third_dimension import show_depth

    place = out if out is not None else folder / "relief"
    with ProgressLine(quiet=as_json) as progress:
        deep = show_depth(
            folder,
            place,
            line=line,
            angle_deg=angle_deg,
            crossed=crossed,
            longest_px=longest_px,
            progress=progress,
        )
    if as_json:
        saying.say_json(written(asdict(deep)))
        return
    if deep.stereo is not None:
        angle = f"{deep.stereo.angle_deg:.1f} degrees apart"
        saying.say(f"{deep.stereo.pair}, {deep.stereo.red_cyan}: two views {angle}.")
        saying.say(f"  {deep.stereo.text}")
        guessed = 100 * deep.stereo.guessed_share
        saying.say(f"  {guessed:.0f} % of them is guessed; {deep.stereo.guessed_map} shows where.")
    if deep.relief is not None:
        saying.say(f"{deep.relief}: lit from the upper left.")
    if deep.profile is not None:
        share = 100 * deep.profile.known_share
        saying.say(f"{deep.profile.picture}: the depth is known along {share:.0f} % of the line.")
    if deep.remark:
        saying.say(deep.remark)
    saying.say(f"No depth is known over {100 * deep.unknown_share:.0f} % of the picture.")
    if deep.end_share > 0.01 and deep.stereo is not None:
        saying.say(
            f"{100 * deep.end_share:.0f} % lies at the first or last plane or beyond it, and is "
            "shown flat."
        )
    saying.say(f"Everything is in {deep.out}.")


def line_of(words: str) -> tuple[tuple[float, float], tuple[float, float]]:
    """Read 'X0,Y0,X1,Y1'.

    Raises
    ------
    UsageError
        When it is not four numbers, or the ends are one point.
    """
    try:
        x0, y0, x1, y1 = (float(part) for part in words.split(","))
    except ValueError:
        raise UsageError(f"--along {words} is no line; give X0,Y0,X1,Y1.") from None
    if not all(math.isfinite(v) for v in (x0, y0, x1, y1)) or (x0, y0) == (x1, y1):
        raise UsageError(f"--along {words} is no line; give two different points X0,Y0,X1,Y1.")
    return (x0, y0), (x1, y1)
