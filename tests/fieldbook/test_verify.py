"""Reading everything again."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from haltere.errors import NothingToDoError
from haltere.fieldbook import Book
from haltere.fieldbook.unload import unload
from haltere.fieldbook.verify import verify
from tests.fieldbook.kept import check_finished, payload, tree


@pytest.fixture
def second(book: Book, card: Path, disks: Path) -> Path:
    """A second copy, made with the book's own; the card is safe to format."""
    folder = disks / "two" / "copies"
    assert unload(book, card, second=folder).verdict.code == "safe-to-format"
    return folder


def harm(root: Path) -> tuple[str, str]:
    """Change one file by a bit, and lose another."""
    changed, gone = [name for name in payload(root) if name.endswith(".RAW")][:2]
    data = bytearray((root / changed).read_bytes())
    data[len(data) // 2] ^= 4
    (root / changed).write_bytes(data)
    (root / gone).unlink()
    return changed, gone


def test_all_is_well_when_nothing_happened(book: Book, second: Path) -> None:
    said = verify(book)
    assert said.damages == said.strays == said.not_there == said.withdrawn == ()
    assert said.good == said.copies == 2 * len(payload(second))


def test_what_changed_or_vanished_is_named_and_the_card_is_safe_no_longer(
    book: Book, card: Path, second: Path
) -> None:
    changed, gone = harm(book.originals)
    said = verify(book)
    assert {(one.file, one.what, one.repaired) for one in said.damages} == {
        (changed, "changed", False),
        (gone, "missing", False),
    }
    assert said.good == said.copies - 2
    (withdrawn,) = said.withdrawn
    assert withdrawn.source == str(card.resolve())
    assert "eep the card" in withdrawn.verdict.text
    assert verify(book).withdrawn == ()  # said once, when it happened


def test_the_second_copy_repairs_the_first_and_what_changed_is_set_aside(
    book: Book, card: Path, second: Path
) -> None:
    before = tree(card)
    changed, _ = harm(book.originals)
    harmed = (book.originals / changed).read_bytes()
    said = verify(book, repair_from="second")
    assert [one.repaired for one in said.damages] == [True, True]
    assert said.good == said.copies
    assert said.withdrawn == ()
    check_finished(book.folder, card, before, second)
    assert (book.originals / "set-aside" / changed).read_bytes() == harmed


def test_a_lost_folder_of_originals_comes_back_whole(book: Book, card: Path, second: Path) -> None:
    before = tree(card)
    shutil.rmtree(book.originals)
    said = verify(book, repair_from="second")
    assert said.good == said.copies
    check_finished(book.folder, card, before, second)


def test_the_first_copy_repairs_the_second(book: Book, card: Path, second: Path) -> None:
    before = tree(card)
    harm(second)
    assert not any(one.repaired for one in verify(book, repair_from="second").damages)
    assert all(one.repaired for one in verify(book, repair_from="first").damages)
    check_finished(book.folder, card, before, second)


def test_a_copy_that_is_bad_itself_repairs_nothing(book: Book, second: Path) -> None:
    harm(book.originals)
    harm(second)
    said = verify(book, repair_from="second")
    assert [one.repaired for one in said.damages] == [False] * 4
    assert all("unload its card again" in one.note for one in said.damages)


def test_a_disk_that_is_not_plugged_in_is_not_called_lost(
    book: Book, second: Path, disks: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.move(second, disks / "drawer")
    second.mkdir()  # the empty folder where a disk is mounted
    monkeypatch.setattr("haltere.fieldbook.verify.disk_of", lambda path: "the system's")
    said = verify(book)
    assert said.damages == ()
    assert said.not_there == (str(second),)
    assert said.withdrawn == ()


@pytest.mark.parametrize("left", ["nothing", "an empty folder"])
def test_second_copies_that_were_erased_from_a_disk_that_is_there_are_missing(
    book: Book, second: Path, left: str
) -> None:
    count = len(payload(second))
    shutil.rmtree(second)
    if left != "nothing":
        second.mkdir()
    said = verify(book)
    assert said.not_there == ()
    assert {one.what for one in said.damages} == {"missing"}
    assert len(said.damages) == count
    assert said.withdrawn != ()
    mended = verify(book, repair_from="first")
    assert mended.good == mended.copies
    assert len(payload(second)) == count


def test_a_file_that_the_book_does_not_know_is_named_and_left_alone(
    book: Book, second: Path
) -> None:
    stray = book.originals / Path(next(iter(payload(book.originals)))).parent / "mine.txt"
    stray.write_text("put here by hand")
    assert verify(book).strays == (str(stray),)
    assert stray.exists()


def test_an_adopted_folder_is_read_and_never_repaired(book: Book, card: Path, disks: Path) -> None:
    unload(book, card, in_place=True, second=disks / "two" / "copies")
    lost = next(card.rglob("*.RAW"))
    lost.unlink()
    said = verify(book, repair_from="second")
    (damage,) = said.damages
    assert (damage.what, damage.repaired) == ("missing", False)
    assert str(disks / "two") in damage.note
    assert not lost.exists()


def test_a_break_in_the_middle_keeps_what_was_found(book: Book, second: Path) -> None:
    harm(book.originals)

    def stop(step: str, done: int, total: int, /) -> None:
        if done:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        verify(book, progress=stop)
    assert len(verify(book).damages) == 2


def test_an_empty_book_has_nothing_to_verify(book: Book) -> None:
    with pytest.raises(NothingToDoError, match="haltere unload"):
        verify(book)
