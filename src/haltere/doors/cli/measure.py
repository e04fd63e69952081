"""haltere measure: lengths and angles along an animal, with how sure they are."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from haltere.doors.cli.book_option import book_option
from haltere.doors.cli.options import EITHER, capture_options, json_option, told
from haltere.errors import UsageError

if TYPE_CHECKING:
    from haltere.evening.ruled import KeptLine, Ruled


@click.command(
    short_help="Measure lengths and angles along an animal.",
    epilog='Example: haltere measure merged/ --line "840,310 990,300 1200,420" --kit kit.toml',
)
@click.argument("given", type=EITHER, metavar="PICTURE")
@click.option(
    "--line",
    metavar='"X,Y X,Y..."',
    help="Corners of the line, in pixels; without it what was kept is listed.",
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
@click.option("--keep", "keep_as", metavar="NAME", help="Write the line down under this name.")
@click.option("--undo", is_flag=True, help="Take back the last line that was written down.")
@capture_options
@book_option
@json_option
def measure(
    given: Path,
    line: str | None,
    known: float | None,
    along: str | None,
    known_error: float,
    click_px: float,
    flat: bool,
    keep_as: str | None,
    undo: bool,
    kit_file: Path | None,
    magnification: float | None,
    pupil_distance_mm: float | None,
    coc_mm: float | None,
    book_folder: Path | None,
    as_json: bool,
) -> None:
    """Measure along a line with corners: all of it, its parts, and the angles at its corners.

    In a merge with a depth map in millimetres the line is measured in depth. Each number comes
    with the interval that holds it in 95 of 100 cases. A line that is kept stands in the field
    book, beside what came of it.
    """
    said_of_kit = told(kit_file, magnification, pupil_distance_mm, coc_mm)
    if (known is None) != (along is None):
        raise UsageError("--known is the length of something, --along its two ends: give both")
    if keep_as is not None and line is None:
        raise UsageError("--keep writes a line down: give its corners with --line")
    if undo and line is not None:
        raise UsageError("--undo takes the last line back; give no other with it")

    from haltere.doors.cli import saying
    from haltere.evening import as_json as written
    from haltere.evening.book_of_merge import book_of
    from haltere.evening.finishing import one_source
    from haltere.evening.ruled import Line, keep, kept, rule, subject_of
    from haltere.fieldbook.measured import undo_line

    source = one_source(given)
    drawn = ruled = None
    if line is not None:
        ends = () if along is None else points_of(along, "--along")
        if ends and len(ends) != 2:
            raise UsageError('--along takes two ends, as "10,20 400,30"')
        pair = (ends[0], ends[1]) if ends else None
        drawn = Line(tuple(points_of(line, "--line")), click_px, flat, known, known_error, pair)
        ruled = rule(source, said_of_kit, drawn)
    lines: tuple[KeptLine, ...] = ()
    taken_back = None
    if source.folder is not None or book_folder is not None:
        with book_of(source.folder or source.frame.path.parent, book_folder) as book:
            if undo:
                taken_back = undo_line(book, subject_of(source))
            if drawn is not None and ruled is not None and keep_as is not None:
                keep(book, source, keep_as, drawn, ruled)
            lines = kept(book, source)
    elif undo or keep_as is not None:
        raise UsageError("where to? A line on a single picture is written into the book of --book")
    if as_json:
        found = {} if ruled is None else {**asdict(ruled.measured), "scale": asdict(ruled.scale)}
        saying.say_json(written({**found, "kept": [asdict(one) for one in lines]}))
        return
    _say(ruled, lines, taken_back is not None if undo else None)


def _say(ruled: Ruled | None, lines: tuple[KeptLine, ...], taken_back: bool | None) -> None:
    from haltere.finish.measuring import said_mm, scale_words

    if taken_back is not None:
        click.echo("Taken back." if taken_back else "There is nothing to take back.")
    if ruled is not None:
        found = ruled.measured
        click.echo(f"{found.text[0].upper()}{found.text[1:]}.")
        if len(found.parts_mm) > 1:
            parts = ", ".join(said_mm(one) for one in found.parts_mm)
            click.echo(f"From corner to corner: {parts}")
        click.echo(scale_words(ruled.scale))
    elif not lines and taken_back is None:
        click.echo("No line is written down of this picture; --line measures one, --keep keeps it.")
    for one in lines:
        name = f"{one.name}: " if one.name else ""
        click.echo(f"  written down, {one.number}: {name}{one.measured.text}")


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
