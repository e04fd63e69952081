"""A book that is moved or copied speaks of the files that lie with it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from haltere.fieldbook import (
    Book,
    Repair,
    answers_in,
    frames_in,
    keep_repair,
    open_book,
    outings,
    place_outing,
    record,
    repairs_of,
)
from haltere.fieldbook.finishing import finishings_of, keep_finishing
from haltere.fieldbook.measured import keep_line, lines_of
from haltere.fieldbook.unload import unload
from haltere.fieldbook.verify import verify
from haltere.merge.merged import Merge


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


def a_merge() -> Merge:
    return Merge(
        "picture.tif", "picture.jpg", "origin.tif", "depth.tif", "confidence.tif", "seen.tif",
        "views.json", "mm", "a.jpg", ("a.jpg",), (), (0, 0, 9, 9), 1.0, (), 1.0, 1.0,
    )  # fmt: skip


def merged_into(book: Book, pictures: Path) -> Path:
    """Write down an outing and a merge of it whose files lie among the book's derived ones."""
    pictures.mkdir(parents=True)
    (pictures / "a.jpg").write_bytes(b"picture")
    outing = place_outing(book, pictures, "meadow", in_place=True)
    with book.writing() as rows:
        rows.execute(
            "INSERT INTO frame (outing_id, name, path, kind, bytes, mtime_ns, width_px, height_px, "
            "orientation) VALUES (?, 'a.jpg', ?, 'jpeg', 7, 1, 9, 9, 1)",
            (outing, str(pictures / "a.jpg")),
        )
    out = book.derived / "1" / "run-01"
    out.mkdir(parents=True)
    (out / "picture.tif").write_bytes(b"merged")
    merge = a_merge()
    record(book, outing, "merge", "run-01", "key", {}, merge, [out / "picture.tif"])
    keep_repair(book, out, "mark", Repair(0, "a.jpg", None, ((0, 0), (1, 0), (1, 1)), None))
    keep_finishing(book, out, {"warmth": 1})
    keep_finishing(book, pictures / "a.jpg", {"warmth": 2})
    keep_line(book, out, "body", {"a": 1})
    keep_line(book, pictures / "a.jpg", "leg", {"a": 2})
    return out


@pytest.mark.parametrize("how", [shutil.move, shutil.copytree])
def test_a_moved_or_copied_book_finds_its_own_merges_patches_and_settings(
    book: Book, disks: Path, how: object
) -> None:
    merged_into(book, disks / "one" / "pictures")
    old = book.folder
    book.close()
    new = disks / "two" / "elsewhere"
    how(old, new)  # type: ignore[operator]
    with open_book(new) as moved:
        merge = answers_in(moved, 1)["merge", "run-01"]
        out = new.resolve() / "derived" / "1" / "run-01"
        assert merge.made == (out / "picture.tif",)
        assert merge.whole
        assert [one.frame for one in repairs_of(moved, out, "mark")] == ["a.jpg"]
        assert [one.settings for one in finishings_of(moved, out)] == [{"warmth": 1}]
        assert [one.said for one in lines_of(moved, out)] == [{"a": 1}]
        assert frames_in(moved, 1)[0].path.is_relative_to(disks / "one")
        before = moved.connection.total_changes
    with open_book(new) as again:
        assert again.connection.total_changes == 0 < before


@pytest.mark.parametrize("how", [shutil.move, shutil.copytree])
def test_pictures_that_lie_in_the_book_by_themselves_move_with_it(
    book: Book, disks: Path, how: object
) -> None:
    pictures = book.folder / "demo" / "frames"
    merged_into(book, pictures)
    old = book.folder
    book.close()
    new = disks / "two" / "elsewhere"
    how(old, new)  # type: ignore[operator]
    with open_book(new) as moved:
        here = new.resolve() / "demo" / "frames"
        assert [one.folder for one in outings(moved)] == [here]
        assert frames_in(moved, 1)[0].path == here / "a.jpg"
        assert [one.settings for one in finishings_of(moved, here / "a.jpg")] == [{"warmth": 2}]
        assert [one.said for one in lines_of(moved, here / "a.jpg")] == [{"a": 2}]


def test_other_pictures_under_the_same_name_are_not_taken_for_those_that_are_gone(
    book: Book, disks: Path
) -> None:
    pictures = disks / "one" / "demo" / "frames"
    merged_into(book, pictures)
    other = book.folder / "demo" / "frames"
    shutil.move(pictures, other)
    (other / "a.jpg").write_bytes(b"another picture")
    folder = book.folder
    book.close()
    with open_book(folder) as again:
        assert [one.folder for one in outings(again)] == [pictures]


def test_a_merge_keeps_being_known_when_the_move_cost_its_files_their_times(
    book: Book, disks: Path
) -> None:
    merged_into(book, disks / "one" / "pictures")
    old = book.folder
    book.close()
    new = disks / "two" / "elsewhere"
    shutil.copytree(old, new, copy_function=shutil.copyfile)
    with open_book(new) as moved:
        assert answers_in(moved, 1)["merge", "run-01"].whole


def test_a_merge_that_was_changed_on_the_way_is_not_taken_for_the_same(
    book: Book, disks: Path
) -> None:
    merged_into(book, disks / "one" / "pictures")
    old = book.folder
    book.close()
    new = disks / "two" / "elsewhere"
    shutil.move(old, new)
    (new / "derived" / "1" / "run-01" / "picture.tif").write_bytes(b"cut")
    with open_book(new) as moved:
        assert not answers_in(moved, 1)["merge", "run-01"].whole


def test_a_copy_that_lost_a_merge_says_so_and_does_not_speak_of_the_other_book_s(
    book: Book, disks: Path
) -> None:
    merged_into(book, disks / "one" / "pictures")
    old = book.folder
    book.close()
    new = disks / "two" / "elsewhere"
    shutil.copytree(old, new)
    (new / "derived" / "1" / "run-01" / "picture.tif").unlink()
    with open_book(new) as copy:
        merge = answers_in(copy, 1)["merge", "run-01"]
        assert not merge.whole
        assert all(path.is_relative_to(new.resolve()) for path in merge.made)
    with open_book(old) as first:
        assert answers_in(first, 1)["merge", "run-01"].whole


def test_a_merge_that_lies_elsewhere_whole_is_not_exchanged_for_one_of_the_same_name(
    book: Book, disks: Path
) -> None:
    out = merged_into(book, disks / "one" / "pictures")
    elsewhere = disks / "two" / "derived" / "1" / "run-01"
    shutil.copytree(out, elsewhere)
    (elsewhere / "picture.tif").write_bytes(b"a longer one")
    files = [elsewhere / "picture.tif"]
    record(book, 1, "merge", "run-02", "other", {}, a_merge(), files)
    folder = book.folder
    book.close()
    with open_book(folder) as again:
        merge = answers_in(again, 1)["merge", "run-02"]
        assert merge.whole
        assert merge.made == (elsewhere / "picture.tif",)
