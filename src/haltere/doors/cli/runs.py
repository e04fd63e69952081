"""haltere runs: which frames belong together."""

from __future__ import annotations

from pathlib import Path

import click

from haltere.doors.cli.book_option import book_option, outing_option
from haltere.doors.cli.options import FOLDER, json_option, out_folder
from haltere.doors.cli.progress_line import ProgressLine
from haltere.doors.cli.run_given import outing_given


@click.command(
    short_help="Split an outing into bursts, sweeps and singles.",
    epilog="Example: haltere runs 2031-06-14-meadow",
)
@click.argument("folder", type=FOLDER, required=False)
@outing_option
@book_option
@json_option
def runs(folder: Path | None, outing: str | None, book_folder: Path | None, as_json: bool) -> None:
    """Split an outing into bursts, sweeps and singles.

    Without a folder it is the newest outing of your field book, or the one that --outing names.
    """
    given = outing_given(folder, book_folder, outing)

    from haltere.doors.cli import saying
    from haltere.evening import answer, at_work, frames_given, outing_name
    from haltere.evening import as_json as written
    from haltere.frames import Decoder, Found

    place = given.place or out_folder(None, [given.originals], "evenings")
    with ProgressLine(quiet=as_json) as progress, Decoder() as decoder:
        found = (
            Found(given.frames, ()) if given.frames else frames_given([given.originals], progress)
        )
        called = given.name or outing_name([given.originals])
        with at_work(
            found.frames, given.folder, called, decoder, place, known=bool(given.frames)
        ) as work:
            splitting = work.split(found.frames, progress)
    skipped = (*found.skipped, *splitting.skipped)
    if as_json:
        said = {
            "runs": [answer(run) for run in splitting.runs],
            "skipped": [answer(one) for one in skipped],
        }
        saying.say_json(written(said))
        return
    saying.say_runs(splitting.runs)
    saying.say_skipped(skipped)
