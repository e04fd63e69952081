"""What a page needs of an outing of thousands of frames, without taking each of them up."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime

from haltere.fieldbook.book import Book
from haltere.fieldbook.frame_rows import frame_of_row, put_right
from haltere.fieldbook.searching import LAST_WORD
from haltere.frames.frame import Frame
from haltere.runs.run import RunKind


@dataclass(frozen=True, slots=True)
class RunBlock:
    """One run as a block of time.

    Attributes
    ----------
    outing_id : int
        Its outing.
    id : str
        The run's id.
    kind : {"burst", "sweep", "single"}
        What the photographer did.
    frames : int
        How many.
    begins, ends : datetime or None
        First and last exposure by the camera's clock, put right; None where the files do not say.
    undecided : int
        Frames without the person's word.
    """

    outing_id: int
    id: str
    kind: RunKind
    frames: int
    begins: datetime | None
    ends: datetime | None
    undecided: int


def run_blocks(book: Book, outing_id: int | None = None) -> tuple[RunBlock, ...]:
    """Give all runs of the book, or of one outing, in the order of each outing.

    Parameters
    ----------
    book : Book
        Open book.
    outing_id : int, optional
        Only of this outing.

    Returns
    -------
    tuple of RunBlock
        Outing after outing.
    """
    # sqlite gives the other columns of the row that min() or max() was found in
    asked = (
        "SELECT r.id AS key, r.outing_id, r.name, r.kind, f.taken, c.shift_s, {end}(m.position), "
        "count(*) AS frames, sum({word} = 'undecided') AS undecided "
        "FROM run r JOIN run_frame m ON m.run_id = r.id JOIN frame f ON f.id = m.frame_id "
        "LEFT JOIN camera c ON c.serial = f.camera WHERE ?1 IS NULL OR r.outing_id = ?1 "
        "GROUP BY r.id ORDER BY r.outing_id, r.id"
    )
    word = f"coalesce({LAST_WORD}, 'undecided')"
    firsts = book.connection.execute(asked.format(end="min", word=word), (outing_id,))
    lasts = {
        row["key"]: row
        for row in book.connection.execute(asked.format(end="max", word="''"), (outing_id,))
    }
    return tuple(
        RunBlock(
            int(row["outing_id"]), row["name"], row["kind"], int(row["frames"]), _moment(row),
            _moment(lasts[row["key"]]), int(row["undecided"]),
        )
        for row in firsts
        if row["key"] in lasts
    )  # fmt: skip


def _moment(row: sqlite3.Row) -> datetime | None:
    return put_right(row["taken"], row["shift_s"] or 0.0)


class FramesByName(Mapping[str, Frame]):
    """The frames of an outing by name, each taken up when it is asked for.

    Parameters
    ----------
    book : Book
        Open book; it may be closed afterwards.
    outing_id : int
        The outing.
    """

    def __init__(self, book: Book, outing_id: int) -> None:
        rows = book.connection.execute(
            "SELECT f.*, c.shift_s FROM frame f LEFT JOIN camera c ON c.serial = f.camera "
            "WHERE f.outing_id = ?",
            (outing_id,),
        )
        self._rows: dict[str, sqlite3.Row] = {row["name"]: row for row in rows}
        self._taken_up: dict[str, Frame] = {}

    def __getitem__(self, name: str) -> Frame:
        if name not in self._taken_up:
            self._taken_up[name] = frame_of_row(self._rows[name])
        return self._taken_up[name]

    def __contains__(self, name: object) -> bool:
        return name in self._rows

    def __iter__(self) -> Iterator[str]:
        return iter(self._rows)

    def __len__(self) -> int:
        return len(self._rows)

    def number(self, name: str) -> int:
        """Give a frame's number in the book.

        Parameters
        ----------
        name : str
            Its name in the outing.
        """
        return int(self._rows[name]["id"])
