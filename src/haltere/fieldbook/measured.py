"""Lines that were measured on a picture, and second thoughts about them."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from haltere.errors import UsageError
from haltere.fieldbook.book import Book, now

LONGEST = 60


@dataclass(frozen=True, slots=True)
class MeasuredLine:
    """A line of a picture that was written down.

    Attributes
    ----------
    id : int
        Its number.
    name : str
        What it measures, in the person's words; may be empty.
    said : dict
        Its corners and what came of them, as they were written.
    done : str
        When, UTC.
    """

    id: int
    name: str
    said: dict[str, Any]
    done: str


def keep_line(book: Book, picture: Path, name: str, said: dict[str, Any]) -> MeasuredLine:
    """Write a measured line down.

    Parameters
    ----------
    book : Book
        Open book.
    picture : Path
        Folder of the merge, or the file.
    name : str
        What it measures: "body", "left antenna"; may be empty.
    said : dict
        Plain values: its corners and what came of them.

    Returns
    -------
    MeasuredLine
        With its number.

    Raises
    ------
    UsageError
        When the name is none.
    """
    word = " ".join(name.split())
    if len(word) > LONGEST or not word.isprintable():
        raise UsageError(f"a measured line is named in a few words, up to {LONGEST} letters")
    moment = now()
    with book.writing() as rows:
        number = rows.execute(
            "INSERT INTO measured (picture, name, said, done) VALUES (?, ?, ?, ?)",
            (str(picture.resolve()), word, json.dumps(said, sort_keys=True), moment),
        ).lastrowid
    assert number is not None
    return MeasuredLine(number, word, said, moment)


def lines_of(book: Book, picture: Path) -> tuple[MeasuredLine, ...]:
    """List the measured lines of a picture that were not taken back, oldest first.

    Parameters
    ----------
    book : Book
        Open book.
    picture : Path
        Folder of the merge, or the file.

    Returns
    -------
    tuple of MeasuredLine
        As they were written.
    """
    rows = book.connection.execute(
        "SELECT id, name, said, done FROM measured WHERE picture = ? AND undone IS NULL "
        "ORDER BY id",
        (str(picture.resolve()),),
    )
    return tuple(MeasuredLine(row[0], row[1], json.loads(row[2]), row[3]) for row in rows)


def undo_line(book: Book, picture: Path) -> MeasuredLine | None:
    """Take back the last measured line of a picture that stands.

    Parameters
    ----------
    book : Book
        Open book.
    picture : Path
        Folder of the merge, or the file.

    Returns
    -------
    MeasuredLine or None
        What was taken back; None when nothing is left to take back.
    """
    standing = lines_of(book, picture)
    if not standing:
        return None
    with book.writing() as rows:
        rows.execute("UPDATE measured SET undone = ? WHERE id = ?", (now(), standing[-1].id))
    return standing[-1]
