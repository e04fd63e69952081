"""haltere runs: which frames belong together."""

from __future__ import annotations

from pathlib import Path

import click

from haltere.doors.cli.options import FOLDER, json_option
from haltere.doors.cli.progress_line import ProgressLine


@click.command(
    short_help="Split an outing into bursts, sweeps and singles.",
    epilog="Example: haltere runs 2031-06-14-meadow",
)
@click.argument("folder", type=FOLDER)
@json_option
def runs(folder: Path, as_json: bool) -> None:
    """Split an outing into bursts, sweeps and singles."""
    from haltere.doors.cli import saying
    from haltere.evening import answer, frames_given
    from haltere.evening import as_json as written
    from haltere.frames import Decoder
    from haltere.runs import split_runs

    with ProgressLine(quiet=as_json) as progress, Decoder() as decoder:
        found = frames_given([folder], progress)
        splitting = split_runs(found.frames, decoder, progress)
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
