"""What finished pictures were made with, and second thoughts about it."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from haltere.fieldbook.book import Book
from haltere.fieldbook.of_picture import standing_rows, take_back, write_row


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
    values = {"settings": json.dumps(settings, sort_keys=True)}
    number, moment = write_row(book, "finishing", picture, values)
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
    return tuple(
        Finishing(row["id"], json.loads(row["settings"]), row["done"])
        for row in standing_rows(book, "finishing", picture)
    )


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
    take_back(book, "finishing", standing[-1].id)
    return standing[-1]
