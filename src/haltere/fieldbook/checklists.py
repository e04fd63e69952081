"""Names of animals that the person loaded, to be found while typing."""

from __future__ import annotations

import json
import sqlite3
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass

from haltere.errors import UsageError
from haltere.fieldbook.book import Book, now
from haltere.fieldbook.sightings import Named


@dataclass(frozen=True, slots=True)
class Taxon:
    """One line of a checklist.

    Attributes
    ----------
    key : str
        Its own number there.
    name : str
        Scientific name without its author.
    accepted_key : str or None
        Number of the accepted name where this is a synonym.
    vernacular : str
        Common name, or empty.
    rest : dict
        Rank, authorship, kingdom to genus, by the standard's term names.
    """

    key: str
    name: str
    accepted_key: str | None
    vernacular: str
    rest: dict[str, str]


@dataclass(frozen=True, slots=True)
class ChecklistRow:
    """One checklist of the book.

    Attributes
    ----------
    title : str
        What it is called.
    file : str
        Name of the file it came from.
    loaded : str
        When, UTC.
    names : int
        How many names it has.
    """

    title: str
    file: str
    loaded: str
    names: int


def fold(text: str) -> str:
    """Write a name as it is searched: small letters, no accents, single spaces.

    Parameters
    ----------
    text : str
        As written.

    Returns
    -------
    str
        As searched.
    """
    plain = unicodedata.normalize("NFKD", text.casefold())
    return " ".join("".join(c for c in plain if not unicodedata.combining(c)).split())


def keep_checklist(
    book: Book, title: str, file: str, sha256: str, taxa: Iterable[Taxon]
) -> ChecklistRow:
    """Write a checklist down; another of the same title is replaced.

    Parameters
    ----------
    book : Book
        Open book.
    title : str
        What it is called.
    file, sha256 : str
        Name and hash of its file.
    taxa : iterable of Taxon
        Its names.

    Returns
    -------
    ChecklistRow
        As it is written down.
    """
    with book.writing() as rows:
        rows.execute("DELETE FROM checklist WHERE title = ?", (title,))
        number = rows.execute(
            "INSERT INTO checklist (title, file, sha256, loaded) VALUES (?, ?, ?, ?)",
            (title, file, sha256, now()),
        ).lastrowid
        rows.executemany(
            "INSERT INTO taxon (checklist_id, key, name, folded, accepted_key, vernacular, "
            "folded_vernacular, rest) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            (
                (
                    number,
                    one.key,
                    one.name,
                    fold(one.name),
                    one.accepted_key,
                    one.vernacular,
                    fold(one.vernacular),
                    json.dumps(one.rest, ensure_ascii=False),
                )
                for one in taxa
            ),
        )
    return next(row for row in checklists(book) if row.title == title)


def checklists(book: Book) -> tuple[ChecklistRow, ...]:
    """List the checklists by title.

    Parameters
    ----------
    book : Book
        Open book.

    Returns
    -------
    tuple of ChecklistRow
        All of them.
    """
    rows = book.connection.execute(
        "SELECT c.title, c.file, c.loaded, (SELECT count(*) FROM taxon WHERE checklist_id = c.id) "
        "FROM checklist c ORDER BY c.title"
    )
    return tuple(ChecklistRow(row[0], row[1], row[2], int(row[3])) for row in rows)


def drop_checklist(book: Book, title: str) -> None:
    """Forget a checklist; sightings keep what it said of their names.

    Parameters
    ----------
    book : Book
        Open book.
    title : str
        What it is called.

    Raises
    ------
    UsageError
        When there is none of that title.
    """
    with book.writing() as rows:
        if not rows.execute("DELETE FROM checklist WHERE title = ?", (title,)).rowcount:
            raise UsageError(f"{title}: is no checklist of this book; haltere checklist lists them")


def complete(book: Book, text: str, most: int = 12) -> tuple[Named, ...]:
    """Find names whose words begin as the words that were typed.

    Parameters
    ----------
    book : Book
        Open book.
    text : str
        As typed: the beginnings of one or more words in a row, "ara dia".
    most : int, optional
        How many at most.

    Returns
    -------
    tuple of Named
        Scientific and common names; those that begin so first, then by name.
    """
    words = fold(text).split()
    if not words:
        return ()
    typed = "% ".join(_escaped(word) for word in words) + "%"
    rows = book.connection.execute(
        f"{_NAMED} WHERE t.folded LIKE ? ESCAPE '!' OR ' ' || t.folded LIKE ? ESCAPE '!' "
        "OR ' ' || t.folded_vernacular LIKE ? ESCAPE '!' "
        "ORDER BY t.folded NOT LIKE ? ESCAPE '!', t.folded, t.id LIMIT ?",
        (typed, f"% {typed}", f"% {typed}", typed, most),
    )
    return tuple(_named(row) for row in rows)


def look_up(book: Book, name: str) -> Named | None:
    """Find a name on the checklists exactly as it is written, capitals and accents apart.

    Parameters
    ----------
    book : Book
        Open book.
    name : str
        Scientific name without its author.

    Returns
    -------
    Named or None
        An accepted name before a synonym; None when it is on no checklist.
    """
    row = book.connection.execute(
        f"{_NAMED} WHERE t.folded = ? ORDER BY t.accepted_key IS NOT NULL, t.id LIMIT 1",
        (fold(name),),
    ).fetchone()
    return None if row is None else _named(row)


_NAMED = (
    "SELECT c.title, t.key, t.name, coalesce(a.name, t.name) AS accepted, "
    "coalesce(nullif(t.vernacular, ''), a.vernacular, '') AS vernacular, t.rest, a.rest AS better "
    "FROM taxon t JOIN checklist c ON c.id = t.checklist_id LEFT JOIN taxon a "
    "ON a.checklist_id = t.checklist_id AND a.key = t.accepted_key"
)


def _escaped(word: str) -> str:
    for sign in "!%_":
        word = word.replace(sign, f"!{sign}")
    return word


def _named(row: sqlite3.Row) -> Named:
    rest = json.loads(row["rest"])
    if row["better"] is not None:  # a synonym stands in the accepted name's family
        above = ("kingdom", "phylum", "class", "order", "family", "genus")
        better = json.loads(row["better"])
        rest |= {term: better[term] for term in above if term in better}
    return Named(row["title"], row["key"], row["name"], row["accepted"], row["vernacular"], rest)
