"""haltere sensitive: species and places that are kept vague."""

from __future__ import annotations

from pathlib import Path

import click

from haltere.doors.cli.book_option import book_option, opened
from haltere.doors.cli.options import json_option
from haltere.doors.cli.sight import point_of
from haltere.errors import UsageError

USUAL_GRID_DEG = 0.1
"""About 11 km from south to north: hides a nest, still tells the region (common practice)."""


@click.command(
    short_help="Keep a species or a place vague in every export.",
    epilog="Example: haltere sensitive --place 38.71,-9.14 --radius 500",
)
@click.option("--species", metavar="NAME", help="A species, genus or family.")
@click.option("--place", metavar="LAT,LON", help="Middle of a place, in degrees.")
@click.option("--radius", type=float, metavar="METRES", help="Of the place; 1000 unless you say.")
@click.option("--grid", type=float, metavar="DEG", help="Side of its grid; 0.1 unless you say.")
@click.option("--why", metavar="TEXT", help="Why, for yourself.")
@click.option("--drop", type=int, metavar="N", help="Keep number N vague no longer.")
@book_option
@json_option
def sensitive(
    species: str | None,
    place: str | None,
    radius: float | None,
    grid: float | None,
    why: str | None,
    drop: int | None,
    book_folder: Path | None,
    as_json: bool,
) -> None:
    """Tell the book which species and places to keep vague, or list them.

    Exports put them on a grid, never exact. The law of the place and the people licensed there
    know better than a list: ask them.
    """
    from dataclasses import asdict

    from haltere.doors.cli.saying import say, say_json
    from haltere.evening import as_json as written
    from haltere.fieldbook.sensitive import drop_sensitive, keep_sensitive, sensitive_things
    from haltere.records import refuse_grid

    if radius is not None and (place is None or not 0 < radius <= 1e6):
        raise UsageError("--radius needs --place and metres above zero")
    side = USUAL_GRID_DEG if grid is None else grid
    refuse_grid(side)
    with opened(book_folder) as book:
        if drop is not None:
            drop_sensitive(book, drop)
        if species is not None or place is not None:
            circle = None
            if place is not None:
                circle = (*point_of(place, "--place"), 1000.0 if radius is None else radius)
            name = None if species is None else " ".join(species.split())
            keep_sensitive(book, side, name=name, circle=circle, why=why or "")
        known = sensitive_things(book)
    if as_json:
        say_json(written({"sensitive": [asdict(one) for one in known]}))
        return
    for one in known:
        what = one.name or (
            f"{one.radius_m:g} m around {one.latitude_deg:g}, {one.longitude_deg:g}"
        )
        say(
            f"{one.id:>4}  {what}, grid {one.grid_deg:g} degrees" + (f": {one.why}" * bool(one.why))
        )
    if not known:
        say("Nothing is kept vague yet.")
