"""Lists of hashes that ordinary tools check."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from haltere.fieldbook import Book, open_book
from haltere.fieldbook.manifest import write_bag
from haltere.fieldbook.originals import places, refresh_lists
from haltere.fieldbook.unload import unload
from tests.fieldbook.kept import manifests, payload


def sha256sum(folder: Path, name: str | Path = "manifest-sha256.txt") -> int:
    done = subprocess.run(
        ["sha256sum", "--check", "--strict", "--quiet", str(name)],
        cwd=folder,
        check=False,
        capture_output=True,
    )
    return done.returncode


def test_the_ordinary_tool_verifies_every_outing_at_both_places(
    book: Book, card: Path, disks: Path
) -> None:
    odd = card / "DCIM" / "100ABCDE" / "  caf\u00e9 100% *\\ \n.jpg"
    odd.write_bytes(b"a name that lists don't like")
    unload(book, card, second=disks / "two" / "copies")
    bags = [*book.originals.glob("*/data"), *(disks / "two" / "copies").glob("*/data")]
    assert len(bags) >= 4
    for data in bags:
        assert sha256sum(data.parent) == 0


def test_the_ordinary_tool_notices_one_changed_bit(book: Book, card: Path) -> None:
    unload(book, card)
    name = next(name for name in payload(book.originals) if name.endswith(".RAW"))
    data = bytearray((book.originals / name).read_bytes())
    data[0] ^= 1
    (book.originals / name).write_bytes(data)
    assert sha256sum(book.originals / Path(name).parts[0]) != 0


def test_each_outing_is_a_bag(book: Book, card: Path) -> None:
    unload(book, card)
    for data in book.originals.glob("*/data"):
        declared = (data.parent / "bagit.txt").read_bytes()
        assert declared == b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
    assert manifests(book.originals) == payload(book.originals)


def test_the_list_of_an_adopted_folder_lies_in_the_book(book: Book, card: Path) -> None:
    unload(book, card, in_place=True)
    (listed,) = (book.folder / "lists").iterdir()
    assert sha256sum(card, listed) == 0


def test_a_list_that_was_lost_or_is_old_is_made_again(book: Book, card: Path) -> None:
    unload(book, card)
    lists = sorted(book.originals.glob("*/manifest-sha256.txt"))
    texts = [one.read_text("utf-8") for one in lists]
    lists[0].unlink()
    lists[1].write_text("old", "utf-8")
    refresh_lists(book, [one for one in places(book) if one.root == book.originals])
    assert [one.read_text("utf-8") for one in lists] == texts


def test_a_list_that_is_right_is_not_written_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    files = [("data/b", "00"), ("data/a", "11")]
    assert write_bag(tmp_path / "bag", files, tmp_path)
    assert (tmp_path / "bag" / "manifest-sha256.txt").read_text() == "11  data/a\n00  data/b\n"
    assert not write_bag(tmp_path / "bag", files, tmp_path)


def test_two_books_that_share_a_second_folder_are_both_listed_there(
    book: Book, card: Path, disks: Path
) -> None:
    second = disks / "two" / "copies"
    unload(book, card, second=second)
    before = manifests(second)
    for one in card.rglob("*.JPG"):
        one.write_bytes(one.read_bytes() + b"\0")
    with open_book(disks / "one" / "another book") as other:
        unload(other, card, second=second)
    assert len(manifests(second)) > len(before)
    assert manifests(second) == payload(second)


def test_a_line_whose_file_is_gone_is_not_kept(tmp_path: Path) -> None:
    bag = tmp_path / "bag"
    write_bag(bag, [("data/b", "0" * 64), ("data/a", "1" * 64)], tmp_path)
    (bag / "data").mkdir()
    (bag / "data" / "b").write_bytes(b"still there")
    write_bag(bag, [], tmp_path)
    assert (bag / "manifest-sha256.txt").read_text() == f"{'0' * 64}  data/b\n"
