"""haltere repair: take a region of a merged picture from one frame, and second thoughts."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from haltere.doors.cli.book_option import book_option
from haltere.doors.cli.options import FILE, FOLDER, json_option
from haltere.doors.cli.progress_line import ProgressLine
from haltere.errors import UsageError

if TYPE_CHECKING:
    from haltere.evening import Repaired


@click.command(
    short_help="Take a region of a merged picture from one frame.",
    epilog='Example: haltere repair merged/ --polygon "840,310 990,300 960,420" --from M_0012.JPG',
)
@click.argument("folder", type=FOLDER, metavar="MERGED")
@click.option(
    "--polygon",
    metavar='"X,Y X,Y X,Y..."',
    help="Corners of the region, in pixels of the merged picture.",
)
@click.option(
    "--mask",
    type=FILE,
    metavar="FILE",
    help="The region as a grey picture of the merged picture's size, light where to repair.",
)
@click.option("--from", "frame", metavar="FRAME", help="Take the region from this frame.")
@click.option(
    "--depth",
    type=float,
    metavar="D",
    help="Take it from the frame nearest this depth, in the depth map's unit.",
)
@click.option("--undo", is_flag=True, help="Take back the last repair.")
@click.option("--list", "listing", is_flag=True, help="Only list the repairs.")
@book_option
@json_option
def repair(
    folder: Path,
    polygon: str | None,
    mask: Path | None,
    frame: str | None,
    depth: float | None,
    undo: bool,
    listing: bool,
    book_folder: Path | None,
    as_json: bool,
) -> None:
    """Take a region of a merged picture from one of its frames, with seams blended.

    MERGED is the folder that haltere merge wrote. The merge stays as it is: the repaired picture
    lies in its folder `repaired`. Every repair is written into the field book and can be undone.
    """
    adding = polygon is not None or mask is not None
    if sum((adding, undo, listing)) != 1 or (polygon is not None and mask is not None):
        raise UsageError("say one thing: --polygon or --mask for a region, --undo, or --list")
    if adding and (frame is None) == (depth is None):
        raise UsageError("where from? Give --from FRAME, or --depth for the frame nearest to it")
    if not adding and (frame is not None or depth is not None):
        raise UsageError("--from and --depth go with a region: give --polygon or --mask as well")
    corners = None if polygon is None else corners_of(polygon)

    from haltere.doors.cli import saying
    from haltere.evening import as_json as written
    from haltere.evening import repair as work
    from haltere.evening.repairs import repaired_answer, view_named
    from haltere.frames import Decoder

    named = None if frame is None else view_named(folder, frame)
    with ProgressLine(quiet=as_json) as progress, Decoder(1) as decoder:
        done = work(
            folder,
            decoder,
            polygon_px=corners,
            mask=mask,
            frame=named,
            depth=depth,
            undo=undo,
            book_folder=book_folder,
            progress=progress,
        )
    if as_json:
        saying.say_json(written(repaired_answer(done)))
        return
    _say(done, undo)


def corners_of(words: str) -> tuple[tuple[float, float], ...]:
    """Read 'X,Y X,Y X,Y'.

    Raises
    ------
    UsageError
        When it is not at least three pairs of numbers.
    """
    try:
        pairs = [tuple(float(part) for part in one.split(",")) for one in words.split()]
        corners = tuple((x, y) for x, y in pairs)
    except ValueError:
        corners = ()
    if len(corners) < 3:
        raise UsageError(
            f'--polygon "{words}" is no region; give three corners or more, such as '
            '"10,10 90,10 50,80"'
        )
    return corners


def _say(done: Repaired, undo: bool) -> None:
    if undo and done.taken_back is None:
        click.echo("There is nothing to take back.")
    elif done.taken_back is not None:
        click.echo(f"Taken back: repair {done.taken_back}.")
    for one in done.repairs:
        x0, y0, x1, y1 = one.box_px
        depth = "" if one.depth is None else f", nearest to depth {one.depth:g}"
        unseen = ""
        if one.seen_share is not None and one.seen_share < 0.999:
            unseen = f"; {100 * (1 - one.seen_share):.0f} % of it lay outside that frame"
        click.echo(f"repair {one.number}: x {x0}-{x1}, y {y0}-{y1} from {one.frame}{depth}{unseen}")
    if done.picture is None:
        click.echo("No repair stands: the picture is the merge itself.")
    else:
        click.echo(f"The repaired picture is {Path(done.merged) / done.picture}.")
