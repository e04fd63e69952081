"""Originals, their copies and the visits of cards, as rows."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from haltere.fieldbook.book import ORIGINALS, Book, now
from haltere.fieldbook.card import Card, OriginalKind
from haltere.fieldbook.durable import ReadFrom, disk_of
from haltere.fieldbook.manifest import write_bag, write_list
from haltere.fieldbook.naming import Token, outing_folder

Role = Literal["first", "second"]
LISTS = "lists"


@dataclass(frozen=True, slots=True)
class Original:
    """One original of the book.

    Attributes
    ----------
    id : int
        Its number.
    path : str
        Its place below the outing's folder.
    sha256 : str
        What it holds.
    size : int
        Bytes.
    kind : {"picture", "raw", "other"}
        By content.
    """

    id: int
    path: str
    sha256: str
    size: int
    kind: OriginalKind


@dataclass(frozen=True, slots=True)
class Place:
    """A folder that holds originals, outing by outing.

    Attributes
    ----------
    id : int
        Its number.
    root : Path
        The folder.
    role : {"first", "second"}
        The book's own, or the second copy.
    disk : str
        The disk it lay on when it was last used.
    """

    id: int
    root: Path
    role: Role
    disk: str


def originals_of(book: Book, outing_id: int) -> tuple[Original, ...]:
    """List the originals of an outing.

    Parameters
    ----------
    book : Book
        Open book.
    outing_id : int
        The outing.

    Returns
    -------
    tuple of Original
        By path; the files lie below the outing's folder.
    """
    rows = book.connection.execute(
        "SELECT id, path, sha256, bytes, kind FROM original WHERE outing_id = ? ORDER BY path",
        (outing_id,),
    )
    return tuple(Original(int(row[0]), row[1], row[2], int(row[3]), row[4]) for row in rows)


def place_at(book: Book, root: Path, role: Role) -> Place:
    """Give the place at a folder, and begin it when it is new.

    Parameters
    ----------
    book : Book
        Open book.
    root : Path
        The folder; it is there.
    role : {"first", "second"}
        What it is for.

    Returns
    -------
    Place
        With the disk that it lies on now.
    """
    where = ORIGINALS if root == book.originals else str(root)  # so that a book can be moved
    disk = disk_of(root)
    with book.writing() as rows:
        rows.execute(
            "INSERT INTO place (root, role, device) VALUES (?, ?, ?) "
            "ON CONFLICT (root) DO UPDATE SET device = excluded.device",
            (where, role, disk),
        )
    row = book.connection.execute("SELECT id, role FROM place WHERE root = ?", (where,)).fetchone()
    return Place(int(row[0]), root, row[1], disk)


def places(book: Book) -> tuple[Place, ...]:
    """List all places, those that are not plugged in too.

    Parameters
    ----------
    book : Book
        Open book.

    Returns
    -------
    tuple of Place
        With the disk as it was last seen.
    """
    rows = book.connection.execute("SELECT id, root, role, device FROM place ORDER BY id")
    return tuple(Place(int(row[0]), book.folder / row[1], row[2], row[3]) for row in rows)


def visit_of(book: Book, card: Card, name: str, second: Path | None) -> int:
    """Give the visit of a card that was interrupted, or begin one.

    Parameters
    ----------
    book : Book
        Open book.
    card : Card
        The card as it is now.
    name : str
        What its outings are called.
    second : Path or None
        Folder of the second copy.

    Returns
    -------
    int
        The visit's number.
    """
    words = (str(card.root), card.disk, name, None if second is None else str(second))
    tokens = {file.token for file in card.files}
    open_ones = book.connection.execute(
        "SELECT id FROM visit WHERE source = ? AND device = ? AND name = ? AND second IS ? "
        "AND ended IS NULL ORDER BY id DESC",
        words,
    ).fetchall()
    for (number,) in open_ones:
        seen = book.connection.execute(
            "SELECT path, bytes, mtime_ns FROM card_file WHERE visit_id = ? AND bytes >= 0",
            (number,),
        )
        # the same door may take another card: it is the same visit only when all files are there
        if all((row[0], row[1], row[2]) in tokens for row in seen):
            return int(number)
    with book.writing() as rows:
        cursor = rows.execute(
            "INSERT INTO visit (source, device, name, second, begun) VALUES (?, ?, ?, ?, ?)",
            (*words, now()),
        )
    assert cursor.lastrowid is not None
    return cursor.lastrowid


def seen_before(book: Book, token: Token) -> bool:
    """Answer whether a card's file looks like one that was unloaded; reading it must tell.

    Parameters
    ----------
    book : Book
        Open book.
    token : Token
        Its name, bytes and time.

    Returns
    -------
    bool
        True when one of that name, length and time is in the book.
    """
    return (
        book.connection.execute(
            "SELECT 1 FROM card_file WHERE path = ? AND bytes = ? AND mtime_ns = ? "
            "AND original_id IS NOT NULL",
            token,
        ).fetchone()
        is not None
    )


def outing_row(
    rows: sqlite3.Connection, day: str, name: str, folder: Path, *, in_place: bool = False
) -> int:
    """Give the number of the outing in a folder, inside a transaction that is open.

    Parameters
    ----------
    rows : sqlite3.Connection
        From `Book.writing`.
    day, name : str
        For a new one.
    folder : Path
        Where its originals lie.
    in_place : bool, optional
        Whether the photographer put them there.

    Returns
    -------
    int
        The outing's number.
    """
    rows.execute(
        "INSERT INTO outing (day, name, folder, in_place, begun) VALUES (?, ?, ?, ?, ?) "
        "ON CONFLICT (folder) DO NOTHING",
        (day, name or outing_folder(day, ""), str(folder), int(in_place), now()),
    )
    row = rows.execute("SELECT id FROM outing WHERE folder = ?", (str(folder),)).fetchone()
    return int(row[0])


def copy_row(
    rows: sqlite3.Connection, original: int, place: int, path: str, read_from: ReadFrom
) -> None:
    """Write down that a copy was read back and is good.

    Parameters
    ----------
    rows : sqlite3.Connection
        From `Book.writing`.
    original, place : int
        What, and where.
    path : str
        Below the place's root.
    read_from : {"disk", "cache"}
        Where it was read from.
    """
    rows.execute(
        "INSERT INTO copy (original_id, place_id, path, state, read_from, checked) "
        "VALUES (?, ?, ?, 'good', ?, ?) ON CONFLICT (original_id, place_id) DO UPDATE SET "
        "path = excluded.path, state = 'good', read_from = excluded.read_from, "
        "checked = excluded.checked",
        (original, place, path, read_from, now()),
    )


def refresh_lists(book: Book, reachable: Iterable[Place], folders: Iterable[str] = ()) -> None:
    """Bring the lists of hashes up to date with the book.

    Parameters
    ----------
    book : Book
        Open book, locked by the caller.
    reachable : iterable of Place
        Places to write to.
    folders : iterable of str, optional
        Only these outing folders; all without it.

    Raises
    ------
    WriteError
        When a disk refuses.
    """
    wanted = tuple(folders)
    for place in reachable:
        if is_adopted(book, place):
            path = book.folder / LISTS / f"{place.id}-sha256.txt"
            book.originals.mkdir(exist_ok=True)
            write_list(path, _copies(book, place, ""), book.originals)
            continue
        bags: dict[str, list[tuple[str, str]]] = {}
        for folder in wanted or ("",):
            for path_there, sha256 in _copies(book, place, folder):
                bag, _, inside = path_there.partition("/")
                bags.setdefault(bag, []).append((inside, sha256))
        for bag, files in bags.items():
            write_bag(place.root / bag, files, place.root)


def is_adopted(book: Book, place: Place) -> bool:
    """Answer whether a place is a folder of the photographer's own, adopted where it stands.

    Parameters
    ----------
    book : Book
        Open book.
    place : Place
        One of its places.

    Returns
    -------
    bool
        True when nothing may ever be written there.
    """
    return place.role == "first" and place.root != book.originals


def _copies(book: Book, place: Place, folder: str) -> list[tuple[str, str]]:
    """Give path and hash of all copies at a place, or of those below one folder."""
    what = (
        "SELECT c.path, o.sha256 FROM copy c JOIN original o ON o.id = c.original_id "
        "WHERE c.place_id = ?"
    )
    if not folder:
        rows = book.connection.execute(what, (place.id,))
    else:  # '0' follows '/' in the order of bytes: the index finds the folder's names
        rows = book.connection.execute(
            f"{what} AND c.path > ? AND c.path < ?", (place.id, f"{folder}/", f"{folder}0")
        )
    return [(row[0], row[1]) for row in rows]
