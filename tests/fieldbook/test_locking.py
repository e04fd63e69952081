"""Two processes and one book."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from haltere.errors import BookError
from haltere.fieldbook import Book
from haltere.fieldbook.locking import only_one
from haltere.fieldbook.unload import unload
from haltere.fieldbook.verify import verify

HOLDER = """
import sys
from pathlib import Path
from haltere.fieldbook.locking import only_one
with only_one(Path(sys.argv[1])):
    print("held", flush=True)
    sys.stdin.read()
"""


def test_a_second_process_is_refused_and_a_dead_one_holds_nothing(book: Book, card: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(book.folder)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(BookError, match=rf"another haltere.*process {holder.pid}"):
            unload(book, card)
        with pytest.raises(BookError, match="another haltere"):
            verify(book)
        holder.kill()
        holder.wait()
    assert unload(book, card).troubles == ()


def test_two_books_do_not_write_to_one_second_folder_at_once(
    book: Book, card: Path, disks: Path
) -> None:
    second = disks / "two" / "copies"
    second.mkdir()
    with only_one(second), pytest.raises(BookError, match="copies"):
        unload(book, card, second=second)


def test_the_lock_is_let_go_when_the_work_fails(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="stop"), only_one(tmp_path):
        raise ValueError("stop")
    with only_one(tmp_path):
        pass


def test_a_folder_that_is_not_there_is_refused_in_words(tmp_path: Path) -> None:
    with pytest.raises(BookError, match="can't be written"), only_one(tmp_path / "none"):
        pass
