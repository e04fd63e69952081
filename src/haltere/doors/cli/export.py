"""haltere export: sightings for other programs and for collections of records."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import click

from haltere.doors.cli.book_option import book_option, opened
from haltere.doors.cli.options import OUT, json_option
from haltere.doors.cli.progress_line import ProgressLine
from haltere.errors import UsageError


@click.command(
    short_help="Hand your sightings on: Darwin Core archive, table or map.",
    epilog="Example: haltere export --out records --licence cc-by --places grid --creator Ana",
)
@click.option("--out", type=OUT, metavar="DIR", required=True, help="Folder for the files.")
@click.option("--licence", required=True, metavar="WORD", help="cc0, cc-by, cc-by-nc or reserved.")
@click.option(
    "--places", metavar="WORD", default="none", help="none (unless you say), grid, exact."
)
@click.option("--grid", type=float, metavar="DEG", default=0.1, help="Side; 0.1 unless you say.")
@click.option(
    "--format",
    "formats",
    multiple=True,
    metavar="WORD",
    help="archive, csv, geojson; again for more.",
)
@click.option("--pictures", metavar="WORD", default="small", help="none, small or full.")
@click.option("--title", metavar="TEXT", default="Sightings", help="What the set is called.")
@click.option("--creator", metavar="NAME", default="", help="Who made it; else the observers.")
@click.option("--rights-holder", metavar="NAME", default="", help="Else each record's observer.")
@click.option("--since", metavar="DAY", default="", help="First day, as 2031-06-14.")
@click.option("--until", metavar="DAY", default="", help="Last day.")
@click.option("--outing", metavar="NAME", help="Only of this outing, by number, name or day.")
@book_option
@json_option
def export(
    out: Path,
    licence: str,
    places: str,
    grid: float,
    formats: tuple[str, ...],
    pictures: str,
    title: str,
    creator: str,
    rights_holder: str,
    since: str,
    until: str,
    outing: str | None,
    book_folder: Path | None,
    as_json: bool,
) -> None:
    """Write your sightings for other programs: a Darwin Core archive, a table, points of a map.

    No place leaves unless you ask for it this very time, and what is sensitive never leaves
    exactly. Every byte is searched for places before anything is written.
    """
    from haltere.doors.cli.run_given import outing_of
    from haltere.doors.cli.saying import say, say_json, say_wrapped
    from haltere.evening import as_json as written
    from haltere.fieldbook import outings
    from haltere.fieldbook.sightings import sightings
    from haltere.records import Titles, Wanted, cautions, export, makers, one_line
    from haltere.show.words import counted

    with opened(book_folder) as book, ProgressLine(quiet=as_json) as progress:
        for one in outings(book):
            if out.resolve().is_relative_to(one.folder.resolve()):
                raise UsageError(f"--out {out}: lies among your originals; name another folder")
        who = makers(sightings(book), creator)
        wanted = Wanted(
            places,  # type: ignore[arg-type]
            grid,
            pictures,  # type: ignore[arg-type]
            formats or ("archive",),
            None if outing is None else outing_of(book, outing).id,
            since,
            until,
        )
        titles = Titles(one_line(title), who, licence, one_line(rights_holder))
        done = export(book, wanted, titles, out, progress)
    left = cautions.place_told(places, done.exact, done.vague, done.withheld)
    if as_json:
        say_json(written({**asdict(done), "places": left, "caution": cautions.EXPORT}))
        return
    shown = f" with {counted(done.pictures, 'picture')}" if done.pictures else ""
    say(f"{counted(done.records, 'sighting')}{shown}: {', '.join(done.files)}")
    say(left)
    if done.near:
        say(
            f"Look again, {done.near} vague: an exact record of the same day within a kilometre "
            "gives the place away."
        )
    for left_out in done.skipped:
        say(f"  no picture: {left_out.file}: {left_out.why}")
    say_wrapped(cautions.EXPORT)
