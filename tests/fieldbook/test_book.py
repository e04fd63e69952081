"""The book's file: begun, brought forward, shared, refused."""

from __future__ import annotations

import sqlite3
import threading
from pathlib import Path

import pytest

from haltere.errors import BookError
from haltere.fieldbook import open_book
from haltere.fieldbook.book import FILE, LIMITS, _for_reading, bring_forward, trouble
from haltere.fieldbook.migrations import MIGRATIONS


def shape(connection: sqlite3.Connection) -> set[str]:
    rows = connection.execute("SELECT sql FROM sqlite_master WHERE sql IS NOT NULL")
    return {" ".join(row[0].split()) for row in rows}


def test_a_new_book_is_whole(tmp_path: Path) -> None:
    with open_book(tmp_path / "deep" / "book") as book:
        assert book.connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        assert book.connection.execute("PRAGMA foreign_keys").fetchone()[0] == 1
        assert book.connection.execute("PRAGMA user_version").fetchone()[0] == len(MIGRATIONS)


@pytest.mark.parametrize("version", range(len(MIGRATIONS)))
def test_a_book_of_every_earlier_version_is_brought_forward(tmp_path: Path, version: int) -> None:
    old = sqlite3.connect(tmp_path / FILE, isolation_level=None)
    bring_forward(old, tmp_path / FILE, version)
    old.close()
    with open_book(tmp_path) as book, open_book(tmp_path / "new") as new:
        assert shape(book.connection) == shape(new.connection)


def test_a_step_forward_that_fails_leaves_the_book_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with open_book(tmp_path) as book:
        before = shape(book.connection)
    broken = (*MIGRATIONS, ("CREATE TABLE later (id INTEGER) STRICT", "CREATE TABLE later (x)"))
    monkeypatch.setattr("haltere.fieldbook.book.MIGRATIONS", broken)
    with pytest.raises(BookError):
        open_book(tmp_path)
    monkeypatch.undo()
    with open_book(tmp_path) as book:
        assert shape(book.connection) == before


def test_a_book_from_a_newer_version_is_refused(tmp_path: Path) -> None:
    with open_book(tmp_path) as book:
        book.connection.execute("PRAGMA user_version = 99")
    with pytest.raises(BookError, match="newer haltere"):
        open_book(tmp_path)


def test_somebody_else_s_database_is_refused_and_left_alone(tmp_path: Path) -> None:
    other = sqlite3.connect(tmp_path / FILE)
    other.execute("CREATE TABLE recipes (soup TEXT)")
    other.commit()
    other.close()
    with pytest.raises(BookError, match="no field book"):
        open_book(tmp_path)
    other = sqlite3.connect(tmp_path / FILE)
    assert shape(other) == {"CREATE TABLE recipes (soup TEXT)"}
    other.close()


def test_a_broken_file_is_refused_in_words(tmp_path: Path) -> None:
    (tmp_path / FILE).write_bytes(b"SQLite format 3\0" + b"\xff" * 5000)
    with pytest.raises(BookError, match="put it aside"):
        open_book(tmp_path)


def test_what_fails_in_the_middle_is_not_kept(tmp_path: Path) -> None:
    with open_book(tmp_path) as book:
        with pytest.raises(ValueError, match="stop"), book.writing() as rows:
            rows.execute("INSERT INTO act (what, done) VALUES ('x', 'now')")
            raise ValueError("stop")
        assert book.connection.execute("SELECT count(*) FROM act").fetchone()[0] == 0


def test_a_second_writer_gives_up_politely(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("haltere.fieldbook.book.LIMITS", type(LIMITS)(wait_s=0.05))
    with (
        open_book(tmp_path) as one,
        open_book(tmp_path) as other,
        one.writing(),
        pytest.raises(BookError, match="another haltere is writing"),
        other.writing(),
    ):
        pass


def test_many_writers_wait_for_each_other_and_none_is_lost(tmp_path: Path) -> None:
    open_book(tmp_path).close()

    def write() -> None:
        with open_book(tmp_path) as book:
            for _ in range(20):
                with book.writing() as rows:
                    rows.execute("INSERT INTO act (what, done) VALUES ('x', 'now')")

    threads = [threading.Thread(target=write) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with open_book(tmp_path) as book:
        assert book.connection.execute("SELECT count(*) FROM act").fetchone()[0] == 60


READONLY = sqlite3.SQLITE_READONLY


def test_a_book_that_may_not_be_written_is_read_and_called_so(tmp_path: Path) -> None:
    with open_book(tmp_path) as book, book.writing() as rows:
        rows.execute("INSERT INTO act (what, done) VALUES ('x', 'now')")
    error = sqlite3.OperationalError("attempt to write a readonly database")
    error.sqlite_errorcode = READONLY
    with _for_reading(tmp_path, error) as book:
        assert book.connection.execute("SELECT count(*) FROM act").fetchone()[0] == 1
        with pytest.raises(BookError, match="may not be written"), book.writing() as rows:
            rows.execute("INSERT INTO act (what, done) VALUES ('y', 'now')")


@pytest.mark.parametrize(
    ("code", "says"),
    [
        (sqlite3.SQLITE_READONLY, "may not be written"),
        (sqlite3.SQLITE_FULL, "disk is full"),
        (sqlite3.SQLITE_IOERR | (3 << 8), "did not take it"),
        (sqlite3.SQLITE_BUSY, "another haltere"),
        (sqlite3.SQLITE_NOTADB, "put it aside"),
    ],
)
def test_each_trouble_has_its_own_cure_and_only_a_broken_book_is_put_aside(
    tmp_path: Path, code: int, says: str
) -> None:
    error = sqlite3.OperationalError("as sqlite says it")
    error.sqlite_errorcode = code
    said = str(trouble(tmp_path / FILE, error))
    assert says in said
    assert ("put it aside" in said) == (code == sqlite3.SQLITE_NOTADB)
