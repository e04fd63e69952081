"""Everything that can go wrong under way: nothing is lost, and starting again mends it."""

from __future__ import annotations

import errno
import random
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from haltere.errors import FrameError, HaltereError, WriteError
from haltere.fieldbook import Book, copying, durable
from haltere.fieldbook.unload import unload
from tests.fieldbook.kept import (
    check_always,
    check_finished,
    make_card,
    payload,
    rows,
    state,
    tree,
)
from tests.fieldbook.killing import kill_often

Unload = Callable[[], Any]


@pytest.fixture
def second(disks: Path) -> Path:
    return disks / "two" / "copies"


@pytest.fixture
def again(book: Book, card: Path, second: Path, disks: Path) -> Unload:
    """Unload without a fault, and look whether it is as if there had been none."""
    from haltere.fieldbook import open_book

    before = tree(card)

    def check() -> None:
        assert unload(book, card, second=second).verdict.code == "safe-to-format"
        check_finished(book.folder, card, before, second)
        (disks / "two" / "reference").mkdir()
        with open_book(disks / "one" / "reference") as other:
            unload(other, card, second=disks / "two" / "reference")
        wanted = state(disks / "one" / "reference", disks / "two" / "reference")
        assert state(book.folder, second) == wanted

    return check


def test_killed_twenty_times_nothing_is_lost_doubled_or_half(tmp_path: Path) -> None:
    card = make_card(tmp_path / "card", 60)
    said = kill_often(card, tree(card), tmp_path, kills=20, seed=13)
    assert said.kills == 20


@pytest.mark.parametrize("share", [0.0, 0.2, 0.5, 0.8, 0.999])
@pytest.mark.parametrize("side", ["one", "two"])
def test_a_disk_that_is_full_under_way(
    book: Book,
    card: Path,
    second: Path,
    again: Unload,
    monkeypatch: pytest.MonkeyPatch,
    share: float,
    side: str,
) -> None:
    before = tree(card)
    room = int(share * sum(p.stat().st_size for p in card.rglob("*") if p.is_file()))
    put = copying._put

    def full(out: Any, piece: memoryview, part: Path) -> None:
        nonlocal room
        if side in part.parts:
            room -= len(piece)
            if room < 0:
                error = OSError(errno.ENOSPC, "No space left on device")
                raise copying._unwritable(error, part) from error
        put(out, piece, part)

    monkeypatch.setattr(copying, "_put", full)
    with pytest.raises(WriteError, match=r"disk is full.*in the book and safe"):
        unload(book, card, second=second)
    check_always(book.folder, card, before, second)
    monkeypatch.setattr(copying, "_put", put)
    again()


CHILD = """
import resource, sys
from pathlib import Path
from haltere.errors import HaltereError
from haltere.fieldbook import open_book
from haltere.fieldbook.unload import unload
with open_book(Path(sys.argv[2])) as book:
    resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[3]), -1))
    try:
        said = unload(book, Path(sys.argv[1]))
    except HaltereError as error:
        print(error)
        sys.exit(7)
    print([one.file for one in said.troubles], said.verdict.code)
"""


@pytest.mark.parametrize("most", [1, 5_000, 60_000])
def test_a_system_that_lets_nothing_be_written_ends_in_words(tmp_path: Path, most: int) -> None:
    card = make_card(tmp_path / "card", 20)
    before = tree(card)
    done = subprocess.run(
        [sys.executable, "-c", CHILD, str(card), str(tmp_path / "book"), str(most)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 7, done.stderr
    check_always(tmp_path / "book", card, before)


def test_one_file_too_large_for_a_disk_does_not_stop_the_others(tmp_path: Path) -> None:
    card = make_card(tmp_path / "card", 20)
    (card / "A_film.MOV").write_bytes(bytes(2_000_000))
    done = subprocess.run(
        [sys.executable, "-c", CHILD, str(card), str(tmp_path / "book"), "1000000"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stdout == "['A_film.MOV'] keep\n", done.stderr
    assert len(payload(tmp_path / "book" / "originals")) == len(tree(card)) - 1


def test_a_file_that_only_the_second_disk_refuses_is_in_the_book(
    book: Book, card: Path, second: Path, again: Unload, monkeypatch: pytest.MonkeyPatch
) -> None:
    put = copying._put

    def small(out: Any, piece: memoryview, part: Path) -> None:
        if "two" in part.parts and len(piece) > 6000:
            error = OSError(errno.EFBIG, "File too large")
            raise copying._unwritable(error, part) from error
        put(out, piece, part)

    monkeypatch.setattr(copying, "_put", small)
    said = unload(book, card, second=second)
    assert said.verdict.code == "keep"
    assert said.troubles
    assert all("larger than this disk allows" in one.why for one in said.troubles)
    assert said.copied + said.known == said.files
    monkeypatch.setattr(copying, "_put", put)
    again()


@pytest.mark.parametrize("seed", range(4))
def test_a_card_that_is_pulled_out(
    book: Book, card: Path, second: Path, disks: Path, again: Unload, seed: int
) -> None:
    before = tree(card)
    at, read = random.Random(seed).randrange(20), 0

    def pull(step: str, done: int, total: int, /) -> None:
        nonlocal read
        read += 1
        if card.exists() and read > at:
            card.rename(disks / "in-the-pocket")

    with pytest.raises(FrameError, match=r"taken out.*in the book and safe"):
        unload(book, card, second=second, progress=pull)
    (disks / "in-the-pocket").rename(card)
    check_always(book.folder, card, before, second)
    again()


@pytest.mark.parametrize("seed", range(4))
def test_a_disk_that_flips_a_bit_is_found_out(
    book: Book,
    card: Path,
    second: Path,
    again: Unload,
    monkeypatch: pytest.MonkeyPatch,
    seed: int,
) -> None:
    before = tree(card)
    rng = random.Random(seed)
    chosen = rng.randrange(10)
    read_back = durable.read_back
    seen = 0

    def flipping(path: Path, **words: Any) -> durable.ReadBack:
        nonlocal seen
        if path.suffix == ".part" and path.stat().st_size:
            seen += 1
            if seen == chosen + 1:
                data = bytearray(path.read_bytes())
                data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
                path.write_bytes(data)
        return read_back(path, **words)

    monkeypatch.setattr(copying, "read_back", flipping)
    said = unload(book, card, second=second)
    assert said.verdict.code == "keep"
    assert len(said.troubles) >= 1
    assert "read back" in said.troubles[0].why
    check_always(book.folder, card, before, second)
    monkeypatch.setattr(copying, "read_back", read_back)
    again()


@pytest.mark.parametrize("stop_at", [1, 2, 9, 20])
def test_stopping_by_hand_leaves_everything_to_go_on_from(
    book: Book, card: Path, second: Path, again: Unload, stop_at: int
) -> None:
    before = tree(card)
    calls = 0

    def stop(step: str, done: int, total: int, /) -> None:
        nonlocal calls
        calls += 1
        if calls == stop_at:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        unload(book, card, second=second, progress=stop)
    check_always(book.folder, card, before, second)
    assert not list(book.folder.rglob("*.part"))
    again()


def test_files_whose_record_was_lost_are_adopted_and_not_copied_twice(
    book: Book, card: Path, second: Path, again: Unload, monkeypatch: pytest.MonkeyPatch
) -> None:
    from haltere.fieldbook.filing import Filing

    write = Filing._write

    def lost(*_: object) -> None:
        raise HaltereError("power went between the rename and the record")

    monkeypatch.setattr(Filing, "_write", lost)
    with pytest.raises(HaltereError, match="power"):
        unload(book, card, second=second)
    assert payload(book.originals)
    assert rows(book.folder, "SELECT count(*) FROM original") == [(0,)]
    monkeypatch.setattr(Filing, "_write", write)
    again()


def test_a_book_that_can_t_be_written_loses_no_file(book: Book, card: Path, second: Path) -> None:
    before = tree(card)
    book.connection.execute("PRAGMA query_only = ON")
    with pytest.raises(HaltereError):
        unload(book, card, second=second)
    book.connection.execute("PRAGMA query_only = OFF")
    check_always(book.folder, card, before, None)
