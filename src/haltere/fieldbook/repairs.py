"""What was repaired in a merged picture: each region and the frame it is taken from."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from haltere.fieldbook.book import Book, now

if TYPE_CHECKING:
    import sqlite3


@dataclass(frozen=True, slots=True)
class Repair:
    """One region of a merged picture taken from one frame.

    Attributes
    ----------
    id : int
        Its number; 0 before it is written down.
    frame : str
        Name of the frame.
    depth : float or None
        Depth that was asked for, in the unit of the depth map; None where the frame was named.
    polygon_px : tuple of (x, y), or None
        Corners of the region, picture pixels.
    mask_png : bytes or None
        The region as a grey picture of the merged picture's size, where it is no polygon.
    done : str
        When, UTC.
    """

    id: int
    frame: str
    depth: float | None
    polygon_px: tuple[tuple[float, float], ...] | None
    mask_png: bytes | None
    done: str = ""


def keep_repair(book: Book, folder: Path, merge: str, repair: Repair) -> Repair:
    """Write down a repair, before anything is drawn.

    What was taken back before can't be brought back any more.

    Parameters
    ----------
    book : Book
        Open book.
    folder : Path
        Where the merged picture lies.
    merge : str
        Mark of the merge, which a new merge in the same folder does not share.
    repair : Repair
        The region and its frame.

    Returns
    -------
    Repair
        The same with its number and time.

    Raises
    ------
    BookError
        When it can't be written down.
    """
    moment = now()
    polygon = None if repair.polygon_px is None else json.dumps(repair.polygon_px)
    with book.writing() as rows:
        rows.execute(
            "DELETE FROM repair WHERE folder = ? AND merge = ? AND undone IS NOT NULL",
            (str(folder.resolve()), merge),
        )
        number = rows.execute(
            "INSERT INTO repair (folder, merge, frame, depth, polygon, mask, done) "
            "VALUES (?, ?, ?, ?, ?, ?, ?)",
            (
                str(folder.resolve()), merge, repair.frame, repair.depth, polygon,
                repair.mask_png, moment,
            ),
        ).lastrowid  # fmt: skip
    assert number is not None
    return Repair(number, repair.frame, repair.depth, repair.polygon_px, repair.mask_png, moment)


def repairs_of(book: Book, folder: Path, merge: str) -> tuple[Repair, ...]:
    """List the repairs of a merged picture that were not taken back, oldest first.

    Parameters
    ----------
    book : Book
        Open book.
    folder : Path
        Where the merged picture lies.
    merge : str
        Mark of the merge.

    Returns
    -------
    tuple of Repair
        In the order in which they are to be applied.
    """
    rows = book.connection.execute(
        f"{_OF_MERGE} AND undone IS NULL ORDER BY id",
        (str(folder.resolve()), merge),
    )
    return tuple(_repair(row) for row in rows)


def undo_repair(book: Book, folder: Path, merge: str) -> Repair | None:
    """Take back the last repair of a merged picture that still stands.

    Parameters
    ----------
    book : Book
        Open book.
    folder : Path
        Where the merged picture lies.
    merge : str
        Mark of the merge.

    Returns
    -------
    Repair or None
        What was taken back; None when nothing is left to take back.
    """
    with book.writing() as rows:
        last = rows.execute(
            f"{_OF_MERGE} AND undone IS NULL ORDER BY id DESC LIMIT 1",
            (str(folder.resolve()), merge),
        ).fetchone()
        if last is None:
            return None
        rows.execute("UPDATE repair SET undone = ? WHERE id = ?", (now(), last[0]))
    return _repair(last)


def redo_repair(book: Book, folder: Path, merge: str) -> Repair | None:
    """Let the repair stand again that was taken back last.

    Nothing does after `keep_repair`: it drops what was taken back.

    Parameters
    ----------
    book : Book
        Open book.
    folder : Path
        Where the merged picture lies.
    merge : str
        Mark of the merge.

    Returns
    -------
    Repair or None
        What stands again; None when nothing is left to bring back.
    """
    with book.writing() as rows:
        back = rows.execute(_TAKEN_BACK, (str(folder.resolve()), merge)).fetchone()
        if back is None:
            return None
        rows.execute("UPDATE repair SET undone = NULL WHERE id = ?", (back[0],))
    return _repair(back)


def can_redo(book: Book, folder: Path, merge: str) -> bool:
    """Tell whether `redo_repair` would bring something back.

    Parameters
    ----------
    book : Book
        Open book.
    folder : Path
        Where the merged picture lies.
    merge : str
        Mark of the merge.
    """
    where = (str(folder.resolve()), merge)
    return book.connection.execute(_TAKEN_BACK, where).fetchone() is not None


_OF_MERGE = (
    "SELECT id, frame, depth, polygon, mask, done FROM repair WHERE folder = ? AND merge = ?"
)
# they were taken back newest first, so the oldest of them went last
_TAKEN_BACK = f"{_OF_MERGE} AND undone IS NOT NULL ORDER BY id LIMIT 1"


def _repair(row: sqlite3.Row) -> Repair:
    polygon = None if row[3] is None else tuple((x, y) for x, y in json.loads(row[3]))
    return Repair(row[0], row[1], row[2], polygon, row[4], row[5])
