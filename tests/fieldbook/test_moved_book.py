"""A book that is moved or copied speaks of the files that lie with it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from haltere.fieldbook import Book, frames_in, open_book, outings
from haltere.fieldbook.unload import unload
from haltere.fieldbook.verify import verify


def unloaded(book: Book, card: Path) -> int:
    unload(book, card, name="pond")
    (outing, *_) = outings(book)
    with book.writing() as rows:
        rows.execute(
            "INSERT INTO frame (outing_id, name, path, raw_path, kind, bytes, mtime_ns, width_px, "
            "height_px, orientation) VALUES (?, 'a.jpg', ?, ?, 'jpeg', 1, 1, 9, 9, 1)",
            (
                outing.id,
                str(outing.folder / "data" / "a.jpg"),
                str(outing.folder / "data" / "a.raw"),
            ),
        )
    return outing.id


@pytest.mark.parametrize("how", [shutil.move, shutil.copytree])
def test_a_moved_or_copied_book_finds_its_own_originals(
    book: Book, card: Path, disks: Path, how: object
) -> None:
    number = unloaded(book, card)
    old = book.folder
    book.close()
    new = disks / "two" / "elsewhere"
    how(old, new)  # type: ignore[operator]
    with open_book(new) as moved:
        for outing in outings(moved):
            assert outing.folder.is_relative_to(new.resolve())
            assert outing.originals.is_dir()
        (frame,) = frames_in(moved, number)
        assert frame.path.is_relative_to(new.resolve())
        assert frame.raw_path is not None
        assert frame.raw_path.is_relative_to(new.resolve())
        answer = verify(moved)
        assert answer.good == answer.copies > 0


def test_a_book_that_stays_where_it_is_is_not_written_to(book: Book, card: Path) -> None:
    unloaded(book, card)
    folder = book.folder
    book.close()
    with open_book(folder) as again:
        assert again.connection.total_changes == 0
