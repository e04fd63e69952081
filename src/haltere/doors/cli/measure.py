"""haltere measure: lengths and angles along an animal, with how sure they are."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import click

from haltere.doors.cli.options import EITHER, capture_options, json_option, told
from haltere.errors import UsageError


@click.command(
    short_help="Measure lengths and angles along an animal.",
    epilog='Example: haltere measure merged/ --line "840,310 990,300 1200,420" --kit kit.toml',
)
@click.argument("given", type=EITHER, metavar="PICTURE")
@click.option(
    "--line", metavar='"X,Y X,Y..."', required=True, help="Corners of the line, in pixels."
)
@click.option("--known", type=float, metavar="MM", help="Length of something in the picture.")
@click.option("--along", metavar='"X,Y X,Y"', help="Its two ends, in pixels.")
@click.option(
    "--known-error", type=float, default=0.0, metavar="MM", help="One sigma of that length."
)
@click.option(
    "--click", "click_px", type=float, default=1.0, metavar="PX", help="How well you point."
)
@click.option("--flat", is_flag=True, help="Leave depth out.")
@capture_options
@json_option
def measure(
    given: Path,
    line: str,
    known: float | None,
    along: str | None,
    known_error: float,
    click_px: float,
    flat: bool,
    kit_file: Path | None,
    magnification: float | None,
    pupil_distance_mm: float | None,
    coc_mm: float | None,
    as_json: bool,
) -> None:
    """Measure along a line with corners: all of it, its parts, and the angles at its corners.

    In a merge with a depth map in millimetres the line is measured in depth. Each number comes
    with the interval that holds it in 95 of 100 cases.
    """
    said_of_kit = told(kit_file, magnification, pupil_distance_mm, coc_mm)
    if (known is None) != (along is None):
        raise UsageError("--known is the length of something, --along its two ends: give both")

    from haltere.doors.cli import saying
    from haltere.evening import as_json as written
    from haltere.evening.finishing import one_source
    from haltere.evening.scale_known import axis_of, depths_of, scale_of
    from haltere.finish.measuring import measure_line
    from haltere.finish.scale import scale_of_object

    source = one_source(given)
    scale = scale_of(source, said_of_kit)
    if known is not None and along is not None:
        ends = points_of(along, "--along")
        if len(ends) != 2:
            raise UsageError('--along takes two ends, as "10,20 400,30"')
        pupil = None if scale is None else scale.pupil_mm
        scale = scale_of_object(ends[0], ends[1], known, known_error, click_px, pupil)
    if scale is None:
        raise UsageError(
            "how large a pixel is on the animal is not known; give --magnification and --kit, or "
            "--known and --along"
        )
    points = points_of(line, "--line")
    wide, high = source.frame.width_px, source.frame.height_px
    for x, y in points:
        if not (-0.5 <= x <= wide - 0.5 and -0.5 <= y <= high - 0.5):
            raise UsageError(
                f"the corner {x:g},{y:g} lies outside the picture of {wide} x {high} px"
            )
    depths = None if flat else depths_of(source)
    found = measure_line(points, scale, axis_of(source), depths, click_px)
    if as_json:
        saying.say_json(written({**asdict(found), "scale": asdict(scale)}))
        return
    from haltere.finish.measuring import said_mm, scale_words

    click.echo(f"{found.text[0].upper()}{found.text[1:]}.")
    if len(found.parts_mm) > 1:
        click.echo("From corner to corner: " + ", ".join(said_mm(one) for one in found.parts_mm))
    click.echo(scale_words(scale))


def points_of(words: str, option: str) -> list[tuple[float, float]]:
    """Read 'X,Y X,Y'.

    Raises
    ------
    UsageError
        When it is no list of pairs.
    """
    try:
        pairs = [tuple(float(part) for part in one.split(",")) for one in words.split()]
        return [(x, y) for x, y in pairs]
    except ValueError:
        raise UsageError(f'{option} "{words}": give corners as "10,20 400,30"') from None
