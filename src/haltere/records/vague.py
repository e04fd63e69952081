"""Which places leave the book, and how exactly: never more than was asked for this time."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Literal

from haltere.errors import UsageError
from haltere.fieldbook.checklists import fold
from haltere.fieldbook.sensitive import Sensitive
from haltere.fieldbook.sightings import Sighting, Where
from haltere.records.track import distance_m

Places = Literal["none", "grid", "exact"]
LEAST_GRID_DEG, MOST_GRID_DEG = 0.001, 10.0
"""A finer grid (100 m) hides nothing; a coarser one tells nothing."""


@dataclass(frozen=True, slots=True)
class Told:
    """What an export tells of a sighting's place.

    Attributes
    ----------
    latitude_deg, longitude_deg : str
        As written, or empty.
    uncertainty_m : int or None
        Radius of the circle that holds the animal's place, whatever was done to the point.
    precision_deg : float or None
        Side of the grid.
    datum, how : str
        What the degrees count from, and where they come from.
    locality, country : str
        In words, or empty.
    exact : bool
        Whether the point is the book's own; free words that may tell a place are told only then.
    hour : bool
        Whether the hour may be told: not where something is kept vague.
    generalised, withheld : str
        What was done, in the words of the standard's fields; empty when nothing was.
    """

    latitude_deg: str = ""
    longitude_deg: str = ""
    uncertainty_m: int | None = None
    precision_deg: float | None = None
    datum: str = ""
    how: str = ""
    locality: str = ""
    country: str = ""
    exact: bool = False
    hour: bool = True
    generalised: str = ""
    withheld: str = ""


def refuse_grid(grid_deg: float) -> None:
    """Refuse a grid that hides nothing or tells nothing.

    Parameters
    ----------
    grid_deg : float
        Side, degrees.

    Raises
    ------
    UsageError
        When it is out of range.
    """
    if not LEAST_GRID_DEG <= grid_deg <= MOST_GRID_DEG:
        raise UsageError(
            f"--grid {grid_deg:g}: give degrees from {LEAST_GRID_DEG:g} (100 m) to "
            f"{MOST_GRID_DEG:g}; 0.1 is about 11 km"
        )


def kept_vague(said: Sighting, things: Sequence[Sensitive]) -> Sensitive | None:
    """Find what forbids to tell a sighting's exact place.

    Parameters
    ----------
    said : Sighting
        The sighting.
    things : sequence of Sensitive
        Species and places of the book.

    Returns
    -------
    Sensitive or None
        The one with the coarsest grid; None when nothing forbids it.
    """
    names = {fold(said.name)}
    if said.named is not None:
        rest = said.named.rest
        above = [rest.get(term, "") for term in ("genus", "family", "order", "class")]
        names |= {fold(one) for one in (said.named.name, said.named.accepted, *above) if one}
    # a subspecies and an author's name behind it are the same species
    found = [
        one
        for one in things
        if one.name is not None
        and any(name == fold(one.name) or name.startswith(fold(one.name) + " ") for name in names)
    ]
    if said.where is not None:
        here = (said.where.latitude_deg, said.where.longitude_deg)
        for one in things:
            if one.latitude_deg is None or one.longitude_deg is None or one.radius_m is None:
                continue
            apart = distance_m(here, (one.latitude_deg, one.longitude_deg))
            if apart <= one.radius_m + (said.where.uncertainty_m or 0.0):
                found.append(one)
    return max(found, key=lambda one: one.grid_deg, default=None)


def place_of(said: Sighting, places: Places, grid_deg: float, things: Sequence[Sensitive]) -> Told:
    """Tell what an export may say of a sighting's place.

    Parameters
    ----------
    said : Sighting
        The sighting.
    places : {"none", "grid", "exact"}
        What was asked for this time.
    grid_deg : float
        Side of the grid, degrees.
    things : sequence of Sensitive
        Species and places that are never told exactly.

    Returns
    -------
    Told
        The point, a grid cell's middle, or nothing.
    """
    why = kept_vague(said, things)
    vague = why is not None or said.sensitive
    also = [what for what, held in (("locality", said.locality), ("hour", vague)) if held]
    if places == "none":
        first = ["coordinates"] if said.where is not None else []
        return Told(hour=not vague, withheld=_held(first + also))
    if not vague and places == "exact":
        return _exact(said)
    side = max(grid_deg, 0.0 if why is None else why.grid_deg)
    if said.where is None:
        return Told(country=said.country, hour=not vague, withheld=_held(also))
    told = _on_grid(said.where, said.country, side)
    return replace(told, hour=not vague, withheld=_held(["exact coordinates", *also]))


def _held(what: Sequence[str]) -> str:
    return f"withheld: {', '.join(what)}" if what else ""


def _exact(said: Sighting) -> Told:
    where = said.where
    if where is None:
        return Told(locality=said.locality, country=said.country, exact=True)
    return Told(
        f"{where.latitude_deg:.6f}",
        f"{where.longitude_deg:.6f}",
        None if where.uncertainty_m is None else max(1, math.ceil(where.uncertainty_m)),
        None,
        where.datum,
        where.how,
        said.locality,
        said.country,
        exact=True,
    )


def _on_grid(where: Where, country: str, side_deg: float) -> Told:
    """Give the middle of the grid cell, and a circle that holds the whole cell and the error."""
    side = Decimal(str(side_deg))
    latitude = _middle(where.latitude_deg, side, 90)
    longitude = _middle(where.longitude_deg, side, 180)
    corner = max(
        distance_m(
            (float(latitude), float(longitude)),
            (float(latitude) + dy * side_deg / 2, float(longitude) + dx * side_deg / 2),
        )
        for dy in (-1, 1)
        for dx in (-1, 1)
        if abs(float(latitude) + dy * side_deg / 2) <= 90
    )
    # rounded up to two digits: the exact sum would tell the exact error
    radius = _rounded_up(corner * 1.006 + (where.uncertainty_m or 0.0))
    return Told(
        str(latitude),
        str(longitude),
        radius,
        side_deg,
        where.datum,
        "",
        "",
        country,
        generalised=f"coordinates are the middle of a grid cell of {side_deg:g} degrees",
    )


def _middle(value: float, side: Decimal, most: int) -> Decimal:
    cells = (Decimal(repr(value)) / side).to_integral_value(rounding="ROUND_FLOOR")
    middle = (cells + Decimal("0.5")) * side
    return min(middle, most - side / 2) if middle > most else middle


def _rounded_up(metres: float) -> int:
    step = int(10 ** max(0, math.floor(math.log10(metres)) - 1))
    return math.ceil(metres / step) * step
