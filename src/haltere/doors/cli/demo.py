"""haltere demo: a made-up card, and the whole evening on it."""

from __future__ import annotations

from pathlib import Path

import click

from haltere.doors.cli.evening import say_evening
from haltere.doors.cli.options import OUT, json_option
from haltere.doors.cli.progress_line import ProgressLine


@click.command(
    short_help="Make a card of an invented animal and work it.",
    epilog="Example: haltere demo --out demo --open",
)
@click.option(
    "--out",
    type=OUT,
    metavar="DIR",
    help="Folder for the card and the results; without it a temporary folder.",
)
@click.option(
    "--seed",
    type=int,
    default=1,
    show_default=True,
    metavar="N",
    help="Another number makes another card.",
)
@click.option("--open", "open_sheet", is_flag=True, help="Open the sheet in your browser.")
@json_option
def demo(out: Path | None, seed: int, open_sheet: bool, as_json: bool) -> None:
    """Make a card of an invented animal and work it, so that you see what comes out.

    The card is drawn by a simulator: a thin lens, an unsteady hand, a sensor with noise.
    """
    import tempfile

    from haltere.evening import Told, walk
    from haltere.frames import Decoder
    from haltere.kit import write_kit
    from haltere.scene import make_card

    place = Path(tempfile.mkdtemp(prefix="haltere-demo-")) if out is None else out.resolve()
    with ProgressLine(quiet=as_json) as progress:
        card = make_card(place / "card", seed=seed, progress=progress)
        kit = card.outfit.as_kit("demo")
        write_kit(place / "kit.toml", kit)
        with Decoder() as decoder:
            worked = walk(
                [card.frames_folder],
                place / "evening",
                decoder,
                Told(kit=kit),
                progress,
                name="A made-up outing",
            )
    say_evening(worked, as_json)
    if open_sheet:
        click.launch(worked.sheet.as_uri())
