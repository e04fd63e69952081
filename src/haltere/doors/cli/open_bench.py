"""haltere open: the evening's work as a page in your browser."""

from __future__ import annotations

from pathlib import Path

import click

from haltere.doors.cli.book_option import book_at, book_option
from haltere.doors.cli.options import FOLDER


@click.command(
    "open",
    short_help="Open your field book as a page in your browser.",
    epilog="Example: haltere open --book fieldbook",
)
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=0,
    metavar="N",
    help="Port of this computer to answer on; a free one unless you say.",
)
@click.option(
    "--lan",
    is_flag=False,
    flag_value="",
    default=None,
    metavar="[ADDRESS]",
    help="Let a phone in your own network look on, by a code to scan; it can change nothing.",
)
@click.option(
    "--places",
    type=FOLDER,
    multiple=True,
    metavar="DIR",
    help="Also unload cards from folders in here, and put second copies here; may be repeated.",
)
@click.option("--no-browser", is_flag=True, help="Only print the address.")
@book_option
def open_bench(
    port: int, lan: str | None, places: tuple[Path, ...], no_browser: bool, book_folder: Path | None
) -> None:
    """Open your field book as a page: outings, bursts to decide, sweeps, merged pictures.

    It answers to this computer only, and to nobody without the printed address. With --lan a
    phone that scans the code may look on as well. Ctrl-C ends it.
    """
    from haltere.doors.bench.serve import serve

    serve(book_at(book_folder).resolve(), port, click.echo, not no_browser, lan, places)
