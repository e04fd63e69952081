"""haltere deliver: pictures made ready to leave, with words, and without the place."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from haltere.doors.cli.options import EITHER, OUT, json_option, out_folder
from haltere.doors.cli.progress_line import ProgressLine

if TYPE_CHECKING:
    from haltere.finish.delivery import Handed


@click.command(
    short_help="Make pictures ready to leave: size, colours, caption, no place.",
    epilog="Example: haltere deliver merged/ --out show/ --for web --creator Ana",
)
@click.argument("given", nargs=-1, required=True, type=EITHER, metavar="PICTURES...")
@click.option("--out", type=OUT, metavar="DIR", required=True, help="Folder for the files.")
@click.option(
    "--for",
    "purpose",
    type=click.Choice(["web", "print"]),
    default="web",
    help="web (2048 px unless you say) or print (all pixels).",
)
@click.option(
    "--kind",
    type=click.Choice(["jpeg", "tiff", "png"]),
    default="jpeg",
    help="File type; TIFF and PNG with 16 bits.",
)
@click.option(
    "--gamut",
    type=click.Choice(["srgb", "wide", "own"]),
    default="srgb",
    help="Colours: sRGB, a wide screen's, or the picture's own.",
)
@click.option("--longest", "longest_px", type=int, metavar="PX", help="Longest side.")
@click.option("--quality", type=int, metavar="N", help="Of a JPEG, 1 to 95.")
@click.option("--caption", metavar="TEXT", default="", help="What it shows.")
@click.option("--creator", metavar="NAME", default="", help="Who made it.")
@click.option("--rights", metavar="TEXT", default="", help="Who may use it, and how.")
@click.option("--keyword", "keywords", multiple=True, metavar="WORD", help="Again for more.")
@click.option(
    "--frames",
    type=int,
    metavar="N",
    help="How many photographs went in, where no file beside the picture says.",
)
@click.option(
    "--name",
    metavar="TEMPLATE",
    default="{date}-{number}",
    help="Names of the files: {date}, {time}, {number}, {name}, {kind}.",
)
@click.option("--sheet", is_flag=True, help="Draw a contact sheet too.")
@click.option(
    "--with-place",
    is_flag=True,
    help="Leave the position in, this time. Think of rare animals first.",
)
@json_option
def deliver(
    given: tuple[Path, ...],
    out: Path,
    purpose: str,
    kind: str,
    gamut: str,
    longest_px: int | None,
    quality: int | None,
    caption: str,
    creator: str,
    rights: str,
    keywords: tuple[str, ...],
    frames: int | None,
    name: str,
    sheet: bool,
    with_place: bool,
    as_json: bool,
) -> None:
    """Make pictures ready to leave: merges, finished pictures, frames, or whole folders of them.

    Nothing in the folder is overwritten. A merged picture says in its standard fields that it
    was merged, and of how many photographs. The place is taken out of every file.
    """
    from haltere.evening import as_json as written
    from haltere.finish.caption import Caption
    from haltere.finish.delivery import Delivery, deliver, with_frames
    from haltere.finish.source import sources_of
    from haltere.frames import Decoder

    wish = Delivery(
        kind,  # type: ignore[arg-type]
        purpose,  # type: ignore[arg-type]
        gamut,  # type: ignore[arg-type]
        longest_px,
        quality,
        name,
        Caption(caption, creator, rights, keywords),
        with_place,
    )
    sources = [with_frames(one, frames) for path in given for one in sources_of(path)]
    folder = out_folder(out, [one.frame.path for one in sources], "delivered")
    with ProgressLine(quiet=as_json) as progress, Decoder(1) as decoder:
        done = deliver(sources, wish, folder, decoder, sheet=sheet, progress=progress)
    if as_json:
        click.echo(written({"out": str(folder), **asdict(done)}), nl=False)
    else:
        _say(done, folder)
    if not done.files:
        raise click.exceptions.Exit(1)


def _say(done: Handed, folder: Path) -> None:
    for one in done.files:
        place = "; it says where it was taken" if one.place else ""
        click.echo(f"{one.file}  {one.width_px} x {one.height_px} px, from {one.source}{place}")
        if one.disclosure:
            click.echo(f"  says: {one.disclosure}")
    for left in done.left_out:
        click.echo(f"  left out: {left.why}")
    for sheet in done.sheets:
        click.echo(f"Contact sheet: {sheet}")
    click.echo(f"The files are in {folder}." if done.files else "Nothing was delivered.")
    if any(one.place for one in done.files):
        click.echo(
            "Before you hand them on: exact places of rare or protected animals draw visitors. "
            "The law of the place and those who look after it decide what may be told."
        )
