"""Cards that were unloaded, day by day as the book holds them, and a card as it is now."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from haltere.fieldbook.book import Book
from haltere.fieldbook.card import CardFile, look_over
from haltere.fieldbook.originals import seen_before
from haltere.fieldbook.verdict import CardVerdict, verdict_on
from haltere.frames.frame import Skipped

SHOWN = 20
"""Cards that are listed; older ones are history, and `haltere verify` reads them all the same."""


@dataclass(frozen=True, slots=True)
class CardDay:
    """Files of one day of a card, by the dates of the files themselves.

    Attributes
    ----------
    day : str
        ISO 8601, in the computer's time zone; empty where the file has no date.
    files, bytes : int
        How many, and their length.
    first, second : int
        Files with a good copy in the book, and with a good second copy.
    bad : int
        Files with a trouble.
    """

    day: str
    files: int
    bytes: int
    first: int
    second: int
    bad: int


@dataclass(frozen=True, slots=True)
class Visit:
    """One unloading of a card.

    Attributes
    ----------
    id : int
        Its number.
    source, name : str
        The card's folder, and what its outings are called.
    second : str or None
        Folder of the second copies.
    begun : str
        When, UTC.
    ended : str or None
        None while it is not finished.
    days : tuple of CardDay
        As far as it has come.
    troubles : tuple of Skipped
        Files that are not safely in the book, and why.
    outings : tuple of (int, str)
        Where its files went: number and title.
    verdict : CardVerdict
        What may be done with the card, from what the book knows now.
    """

    id: int
    source: str
    name: str
    second: str | None
    begun: str
    ended: str | None
    days: tuple[CardDay, ...]
    troubles: tuple[Skipped, ...]
    outings: tuple[tuple[int, str], ...]
    verdict: CardVerdict


@dataclass(frozen=True, slots=True)
class CardHere:
    """A card as it is now, without reading a file of it.

    Attributes
    ----------
    source : str
        Its folder.
    files, bytes : int
        What lies on it.
    known : int
        Files that look like ones that were unloaded; only reading them can tell.
    days : tuple of CardDay
        Day by day; `first` counts those that look known.
    troubles, left_out : tuple of Skipped
        What can't be listed, and what holds no data of its own.
    verdict : CardVerdict or None
        Of the unloading that took all that lies on the card now; None when there was none, or
        the card holds something else since.
    """

    source: str
    files: int
    bytes: int
    known: int
    days: tuple[CardDay, ...]
    troubles: tuple[Skipped, ...]
    left_out: tuple[Skipped, ...]
    verdict: CardVerdict | None


def visits(book: Book) -> tuple[Visit, ...]:
    """List the cards that were unloaded, the newest first.

    Parameters
    ----------
    book : Book
        Open book.

    Returns
    -------
    tuple of Visit
        At most `SHOWN`.
    """
    rows = book.connection.execute(
        "SELECT id, source, name, second, begun, ended FROM visit ORDER BY id DESC LIMIT ?",
        (SHOWN,),
    ).fetchall()
    return tuple(
        Visit(
            int(row[0]), row[1], row[2], row[3], row[4], row[5], _days(book, int(row[0])),
            _troubles(book, int(row[0])), _outings(book, int(row[0])),
            verdict_on(book, int(row[0])),
        )
        for row in rows
    )  # fmt: skip


def card_here(book: Book, source: Path) -> CardHere:
    """Look at a card, and at what the book knows of its files.

    Parameters
    ----------
    book : Book
        Open book.
    source : Path
        The card's folder.

    Returns
    -------
    CardHere
        Nothing is read but the card's lists of files.

    Raises
    ------
    UsageError
        When there is no such folder, or it may not be read.
    """
    card = look_over(source)
    counted: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0])
    for file in card.files:
        day = counted[_day_of(file.mtime_ns)]
        day[0] += 1
        day[1] += file.size
        day[2] += seen_before(book, file.token)
    days = tuple(
        CardDay(day, files, size, known, 0, 0)
        for day, (files, size, known) in sorted(counted.items())
    )
    return CardHere(
        source=str(card.root),
        files=len(card.files),
        bytes=sum(file.size for file in card.files),
        known=sum(day.first for day in days),
        days=days,
        troubles=card.troubles,
        left_out=card.left_out,
        verdict=_verdict_now(book, str(card.root), card.disk, card.files),
    )


def _verdict_now(
    book: Book, source: str, disk: str, files: tuple[CardFile, ...]
) -> CardVerdict | None:
    """Give the verdict of the newest unloading, if it took every file that is there now."""
    row = book.connection.execute(
        "SELECT id FROM visit WHERE source = ? AND device = ? ORDER BY id DESC LIMIT 1",
        (source, disk),
    ).fetchone()
    if row is None or not files:
        return None
    taken = {
        (one[0], one[1], one[2])
        for one in book.connection.execute(
            "SELECT path, bytes, mtime_ns FROM card_file WHERE visit_id = ?", (row[0],)
        )
    }
    if any(file.token not in taken for file in files):
        return None
    return verdict_on(book, int(row[0]))


def _days(book: Book, visit_id: int) -> tuple[CardDay, ...]:
    rows = book.connection.execute(
        "SELECT f.bytes, f.mtime_ns, f.trouble <> '', "
        "max(c.state = 'good' AND p.role = 'first'), max(c.state = 'good' AND p.role = 'second') "
        "FROM card_file f LEFT JOIN copy c ON c.original_id = f.original_id "
        "LEFT JOIN place p ON p.id = c.place_id WHERE f.visit_id = ? AND f.bytes >= 0 "
        "GROUP BY f.path",
        (visit_id,),
    )
    counted: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0, 0, 0])
    for size, mtime_ns, bad, first, second in rows:
        day = counted[_day_of(mtime_ns)]
        for place, more in enumerate((1, size, first or 0, second or 0, bad)):
            day[place] += more
    return tuple(CardDay(day, *numbers) for day, numbers in sorted(counted.items()))


def _troubles(book: Book, visit_id: int) -> tuple[Skipped, ...]:
    rows = book.connection.execute(
        "SELECT path, trouble FROM card_file WHERE visit_id = ? AND trouble <> '' ORDER BY path",
        (visit_id,),
    )
    return tuple(Skipped(row[0], row[1]) for row in rows)


def _outings(book: Book, visit_id: int) -> tuple[tuple[int, str], ...]:
    rows = book.connection.execute(
        "SELECT DISTINCT o.id, o.day, o.name FROM card_file f "
        "JOIN original g ON g.id = f.original_id JOIN outing o ON o.id = g.outing_id "
        "WHERE f.visit_id = ? ORDER BY o.day, o.id",
        (visit_id,),
    )
    return tuple((int(row[0]), f"{row[1]} {row[2]}".strip()) for row in rows)


def _day_of(mtime_ns: int) -> str:
    try:
        return datetime.fromtimestamp(mtime_ns / 1e9).astimezone().date().isoformat()
    except (OSError, OverflowError, ValueError):
        return ""
