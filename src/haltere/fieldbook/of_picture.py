"""Rows that are written down of a picture, one after another, and can be taken back."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal

from haltere.fieldbook.book import Book, now

if TYPE_CHECKING:
    import sqlite3

Table = Literal["finishing", "measured"]


def write_row(book: Book, table: Table, picture: Path, values: dict[str, str]) -> tuple[int, str]:
    """Write a row down.

    Parameters
    ----------
    book : Book
        Open book.
    table : {"finishing", "measured"}
        Of what.
    picture : Path
        Folder of the merge, or the file.
    values : dict of str
        Column to value.

    Returns
    -------
    number : int
        The row's number.
    done : str
        When, UTC.
    """
    moment = now()
    columns = ", ".join(values)
    marks = ", ".join("?" for _ in values)
    with book.writing() as rows:
        number = rows.execute(
            f"INSERT INTO {table} (picture, {columns}, done) VALUES (?, {marks}, ?)",
            (str(picture.resolve()), *values.values(), moment),
        ).lastrowid
    assert number is not None
    return number, moment


def standing_rows(book: Book, table: Table, picture: Path) -> list[sqlite3.Row]:
    """List the rows of a picture that were not taken back, oldest first.

    Parameters
    ----------
    book : Book
        Open book.
    table : {"finishing", "measured"}
        Of what.
    picture : Path
        Folder of the merge, or the file.

    Returns
    -------
    list of sqlite3.Row
        All columns.
    """
    return book.connection.execute(
        f"SELECT * FROM {table} WHERE picture = ? AND undone IS NULL ORDER BY id",
        (str(picture.resolve()),),
    ).fetchall()


def take_back(book: Book, table: Table, number: int) -> None:
    """Take a row back; it stays in the book.

    Parameters
    ----------
    book : Book
        Open book.
    table : {"finishing", "measured"}
        Of what.
    number : int
        The row's number.
    """
    with book.writing() as rows:
        rows.execute(f"UPDATE {table} SET undone = ? WHERE id = ?", (now(), number))
