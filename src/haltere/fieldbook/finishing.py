"""What finished pictures were made with, and second thoughts about it."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from haltere.fieldbook.book import Book, now


@dataclass(frozen=True, slots=True)
class Finishing:
    """Settings of a picture at one moment.

    Attributes
    ----------
    id : int
        Their number.
    settings : dict
        As they were written.
    done : str
        When, UTC.
    """

    id: int
    settings: dict[str, Any]
    done: str


def keep_finishing(book: Book, picture: Path, settings: dict[str, Any]) -> Finishing:
    """Write down what a picture shall be made with, before anything is drawn.

    Parameters
    ----------
    book : Book
        Open book.
    picture : Path
        Folder of the merge, or the file.
    settings : dict
        Plain values.

    Returns
    -------
    Finishing
        With its number.
    """
    moment = now()
    said = json.dumps(settings, sort_keys=True)
    with book.writing() as rows:
        number = rows.execute(
            "INSERT INTO finishing (picture, settings, done) VALUES (?, ?, ?)",
            (str(picture.resolve()), said, moment),
        ).lastrowid
    assert number is not None
    return Finishing(number, settings, moment)


def finishings_of(book: Book, picture: Path) -> tuple[Finishing, ...]:
    """List the settings of a picture that were not taken back, oldest first.

    Parameters
    ----------
    book : Book
        Open book.
    picture : Path
        Folder of the merge, or the file.

    Returns
    -------
    tuple of Finishing
        The last one counts.
    """
    rows = book.connection.execute(
        "SELECT id, settings, done FROM finishing WHERE picture = ? AND undone IS NULL ORDER BY id",
        (str(picture.resolve()),),
    )
    return tuple(Finishing(row[0], json.loads(row[1]), row[2]) for row in rows)


def undo_finishing(book: Book, picture: Path) -> Finishing | None:
    """Take back the last settings of a picture that stand.

    Parameters
    ----------
    book : Book
        Open book.
    picture : Path
        Folder of the merge, or the file.

    Returns
    -------
    Finishing or None
        What was taken back; None when nothing is left to take back.
    """
    standing = finishings_of(book, picture)
    if not standing:
        return None
    with book.writing() as rows:
        rows.execute("UPDATE finishing SET undone = ? WHERE id = ?", (now(), standing[-1].id))
    return standing[-1]
