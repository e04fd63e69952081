"""The kits that outings were worked with, as the text of their files."""

from __future__ import annotations

from dataclasses import dataclass

from haltere.errors import UsageError
from haltere.fieldbook.book import Book, now
from haltere.kit import Kit, kit_from_text, kit_text


@dataclass(frozen=True, slots=True)
class KitRow:
    """One kit that the book knows.

    Attributes
    ----------
    id : int
        Its number in the book.
    name : str
        As the photographer calls it.
    text : str
        Its file's text.
    added : str
        When it was used first, UTC.
    """

    id: int
    name: str
    text: str
    added: str


def keep_kit(book: Book, kit: Kit) -> None:
    """Write down a kit; the same numbers again change nothing.

    Parameters
    ----------
    book : Book
        Open book.
    kit : Kit
        As used.
    """
    text = kit_text(kit)
    if book.connection.execute("SELECT 1 FROM kit WHERE toml = ?", (text,)).fetchone():
        return
    with book.writing() as rows:
        rows.execute(
            "INSERT INTO kit (name, toml, added) VALUES (?, ?, ?) ON CONFLICT DO NOTHING",
            (kit.name, text, now()),
        )


def kits(book: Book) -> tuple[KitRow, ...]:
    """List the kits, newest first.

    Parameters
    ----------
    book : Book
        Open book.

    Returns
    -------
    tuple of KitRow
        Each with its text, from which the file can be made again.
    """
    rows = book.connection.execute("SELECT id, name, toml, added FROM kit ORDER BY id DESC")
    return tuple(KitRow(int(row[0]), row[1], row[2], row[3]) for row in rows)


def kit_numbered(book: Book, number: int) -> KitRow:
    """Give one kit.

    Parameters
    ----------
    book : Book
        Open book.
    number : int
        Its number.

    Returns
    -------
    KitRow
        As it was written down.

    Raises
    ------
    UsageError
        When there is none.
    """
    for row in kits(book):
        if row.id == number:
            return row
    raise UsageError(f"kit {number}: is not in this field book; choose one that is")


def newest_kit(book: Book) -> Kit | None:
    """Give the kit that was written down last; None where the book knows none.

    Parameters
    ----------
    book : Book
        Open book.
    """
    known = kits(book)
    return kit_from_text(known[0].text) if known else None
