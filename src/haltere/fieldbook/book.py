"""The field book: one database file, opened by whoever works on it, written by one at a time."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType

from haltere.errors import BookError
from haltere.fieldbook.migrations import MIGRATIONS

Rows = sqlite3.Connection
"""What `Book.writing` gives; other rooms name it so, and never open a database themselves."""

FILE = "fieldbook.sqlite"
ORIGINALS = "originals"
DERIVED = "derived"


@dataclass(frozen=True, slots=True)
class BookLimits:
    """Numbers of the book, each with its reason.

    Attributes
    ----------
    wait_s : float
        How long a writer waits for another before it gives up politely; a step is recorded in
        milliseconds, so a longer wait means that somebody hangs.
    """

    wait_s: float = 20.0


LIMITS = BookLimits()


class Book:
    """An open field book.

    It lives from `open_book` to the end of its `with` block. Reading works while another process
    writes; `writing` gives the one write at a time, all of it or nothing.

    Parameters
    ----------
    folder : Path
        The book's folder.
    connection : sqlite3.Connection
        In autocommit mode, its schema brought forward.
    read_only : bool, optional
        The disk lets nobody write; `writing` then refuses in words.
    """

    def __init__(
        self, folder: Path, connection: sqlite3.Connection, *, read_only: bool = False
    ) -> None:
        self.folder = folder
        self.connection = connection
        self.read_only = read_only

    @property
    def originals(self) -> Path:
        """Folder of the originals that were unloaded."""
        return self.folder / ORIGINALS

    @property
    def derived(self) -> Path:
        """Folder of everything that can be made again."""
        return self.folder / DERIVED

    def __enter__(self) -> Book:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; what was written is safe already."""
        self.connection.close()

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """Give one transaction: all of it is kept, or nothing.

        Yields
        ------
        sqlite3.Connection
            To write with.

        Raises
        ------
        BookError
            When another process writes for too long, or the disk is full or broken.
        """
        try:
            self.connection.execute("BEGIN IMMEDIATE")
        except sqlite3.OperationalError as error:
            raise self._trouble(error) from error
        try:
            yield self.connection
            self.connection.execute("COMMIT")
        except sqlite3.OperationalError as error:
            self._roll_back()
            raise self._trouble(error) from error
        except BaseException:
            self._roll_back()
            raise

    def _roll_back(self) -> None:
        if self.connection.in_transaction:
            self.connection.execute("ROLLBACK")

    def _trouble(self, error: sqlite3.Error) -> BookError:
        return trouble(self.folder / FILE, error)


def trouble(place: Path, error: sqlite3.Error) -> BookError:
    """Say in words what a database's error means, and what helps.

    Parameters
    ----------
    place : Path
        The book's file.
    error : sqlite3.Error
        As it was raised.

    Returns
    -------
    BookError
        To be raised.
    """
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return BookError(
            f"{place}: another haltere is writing and did not finish in {LIMITS.wait_s:.0f} s; "
            "wait for it, or close it, and try again"
        )
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
        return BookError(
            f"{place}: may not be written; give yourself permission, or plug the disk in so that "
            "it can be written"
        )
    if code == sqlite3.SQLITE_FULL:
        return BookError(f"{place}: the disk is full; free some space and try again")
    if code == sqlite3.SQLITE_IOERR:
        return BookError(
            f"{place}: the disk did not take it; free some space, check the disk, and try again"
        )
    if code in (sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT):
        return BookError(
            f"{place}: is no field book, or a broken one ({error}); put it aside, and the "
            "originals beside it can be adopted again"
        )
    return BookError(f"{place}: can't be used ({error}); check the disk")


def open_book(folder: Path) -> Book:
    """Open a field book, and begin it when there is none.

    Parameters
    ----------
    folder : Path
        The book's folder.

    Returns
    -------
    Book
        Of this version; an older file is brought forward first, step by step.

    Raises
    ------
    BookError
        When the folder can't be made, the file is no field book, is broken, or comes from a newer
        haltere.
    """
    from haltere.fieldbook.moved_book import follow

    place = folder / FILE
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BookError(f"{folder}: can't be made ({error.strerror}); name another") from error
    try:
        connection = sqlite3.connect(place, timeout=LIMITS.wait_s, isolation_level=None)
    except sqlite3.Error as error:
        raise trouble(place, error) from error
    try:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA trusted_schema = OFF")
        bring_forward(connection, place, len(MIGRATIONS))
    except sqlite3.DatabaseError as error:
        connection.close()
        if error.sqlite_errorcode & 0xFF in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN):
            return _for_reading(folder, error)
        raise trouble(place, error) from error
    except BookError:
        connection.close()
        raise
    connection.row_factory = sqlite3.Row
    book = Book(folder, connection, read_only=not os.access(place, os.W_OK))
    if not book.read_only:
        try:
            follow(book)
        except BaseException:
            book.close()
            raise
    return book


def _for_reading(folder: Path, error: sqlite3.DatabaseError) -> Book:
    """Open a book on a disk that lets nobody write, if it was closed in order."""
    place = folder / FILE
    log = place.with_name(FILE + "-wal")
    if not place.is_file() or (log.exists() and log.stat().st_size):
        raise trouble(place, error) from error
    try:
        connection = sqlite3.connect(
            f"{place.resolve().as_uri()}?mode=ro&immutable=1", uri=True, isolation_level=None
        )
        taken = int(connection.execute("PRAGMA user_version").fetchone()[0])
    except sqlite3.Error as broken:
        raise trouble(place, broken) from broken
    if taken != len(MIGRATIONS):
        connection.close()
        raise trouble(place, error) from error
    connection.row_factory = sqlite3.Row
    return Book(folder, connection, read_only=True)


def passing_book() -> Book:
    """Give a book that lives in memory and is gone at the end, where no folder can be written.

    Returns
    -------
    Book
        Empty.
    """
    connection = sqlite3.connect(":memory:", isolation_level=None)
    connection.execute("PRAGMA foreign_keys = ON")
    bring_forward(connection, Path(FILE), len(MIGRATIONS))
    connection.row_factory = sqlite3.Row
    return Book(Path(), connection)


def bring_forward(connection: sqlite3.Connection, place: Path, version: int) -> None:
    """Take the steps that a file has not taken yet, each whole or not at all.

    Parameters
    ----------
    connection : sqlite3.Connection
        In autocommit mode.
    place : Path
        The file, for messages.
    version : int
        How many steps there are to be.

    Raises
    ------
    BookError
        When the file has taken more steps than this haltere knows.
    """
    taken = int(connection.execute("PRAGMA user_version").fetchone()[0])
    if taken > len(MIGRATIONS):
        raise BookError(
            f"{place}: this field book is from a newer haltere (its version is {taken}, this one "
            f"knows {len(MIGRATIONS)}); install the newer one"
        )
    if taken == 0 and _tables(connection):
        raise BookError(f"{place}: is a database, but no field book; name another folder")
    for number in range(taken, version):
        connection.execute("BEGIN IMMEDIATE")
        try:
            # another process may have taken the step while this one waited
            now = int(connection.execute("PRAGMA user_version").fetchone()[0])
            if now == number:
                for statement in MIGRATIONS[number]:
                    connection.execute(statement)
                connection.execute(f"PRAGMA user_version = {number + 1}")
            connection.execute("COMMIT")
        except BaseException:
            connection.execute("ROLLBACK")
            raise


def _tables(connection: sqlite3.Connection) -> bool:
    return connection.execute("SELECT 1 FROM sqlite_master LIMIT 1").fetchone() is not None


def now() -> str:
    """Give the time as the book writes it.

    Returns
    -------
    str
        UTC, ISO 8601, seconds.
    """
    return datetime.now(UTC).isoformat(timespec="seconds")
