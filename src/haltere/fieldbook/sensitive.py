"""Species and places whose exact place never leaves the book."""

from __future__ import annotations

from dataclasses import dataclass

from haltere.errors import UsageError
from haltere.fieldbook.book import Book, now


@dataclass(frozen=True, slots=True)
class Sensitive:
    """One species or one place to be kept vague.

    Attributes
    ----------
    id : int
        Its number in the book.
    name : str or None
        Scientific name of a species or a group; None for a place.
    latitude_deg, longitude_deg, radius_m : float or None
        A circle; None for a species.
    grid_deg : float
        Side of the grid that exports put it on, degrees.
    why : str
        In the person's words.
    """

    id: int
    name: str | None
    latitude_deg: float | None
    longitude_deg: float | None
    radius_m: float | None
    grid_deg: float
    why: str


def keep_sensitive(
    book: Book,
    grid_deg: float,
    *,
    name: str | None = None,
    circle: tuple[float, float, float] | None = None,
    why: str = "",
) -> Sensitive:
    """Write down a species or a place to be kept vague; the same species again replaces it.

    Parameters
    ----------
    book : Book
        Open book.
    grid_deg : float
        Side of the grid, degrees.
    name : str, optional
        Scientific name.
    circle : tuple of float, optional
        Latitude and longitude in degrees, radius in metres.
    why : str, optional
        In the person's words.

    Returns
    -------
    Sensitive
        As it is written down.

    Raises
    ------
    UsageError
        When neither or both are given.
    """
    if (name is None) == (circle is None):
        raise UsageError("give a species or a place to keep vague, not both")
    latitude, longitude, radius = circle or (None, None, None)
    with book.writing() as rows:
        number = rows.execute(
            "INSERT INTO sensitive (name, latitude_deg, longitude_deg, radius_m, grid_deg, why, "
            "added) VALUES (?, ?, ?, ?, ?, ?, ?) ON CONFLICT (name) DO UPDATE SET "
            "grid_deg = excluded.grid_deg, why = excluded.why RETURNING id",
            (name, latitude, longitude, radius, grid_deg, why, now()),
        ).fetchone()[0]
    return next(one for one in sensitive_things(book) if one.id == number)


def sensitive_things(book: Book) -> tuple[Sensitive, ...]:
    """List what is kept vague.

    Parameters
    ----------
    book : Book
        Open book.

    Returns
    -------
    tuple of Sensitive
        In the order in which they were written down.
    """
    rows = book.connection.execute(
        "SELECT id, name, latitude_deg, longitude_deg, radius_m, grid_deg, why FROM sensitive "
        "ORDER BY id"
    )
    return tuple(Sensitive(*row) for row in rows)


def drop_sensitive(book: Book, number: int) -> None:
    """Keep a species or a place vague no longer.

    Parameters
    ----------
    book : Book
        Open book.
    number : int
        Its number in the book.

    Raises
    ------
    UsageError
        When there is none of that number.
    """
    with book.writing() as rows:
        if not rows.execute("DELETE FROM sensitive WHERE id = ?", (number,)).rowcount:
            raise UsageError(f"{number}: is not kept vague; haltere sensitive lists what is")
