"""Lines that were measured on a picture, and second thoughts about them."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from haltere.errors import UsageError
from haltere.fieldbook.book import Book
from haltere.fieldbook.of_picture import standing_rows, take_back, write_row

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
    values = {"name": word, "said": json.dumps(said, sort_keys=True)}
    number, moment = write_row(book, "measured", picture, values)
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
    return tuple(
        MeasuredLine(row["id"], row["name"], json.loads(row["said"]), row["done"])
        for row in standing_rows(book, "measured", picture)
    )


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
    take_back(book, "measured", standing[-1].id)
    return standing[-1]
