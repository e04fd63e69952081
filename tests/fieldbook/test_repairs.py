from __future__ import annotations

from pathlib import Path

from haltere.fieldbook import (
    Repair,
    can_redo,
    keep_repair,
    open_book,
    redo_repair,
    repairs_of,
    undo_repair,
)

CORNERS = ((1.0, 2.0), (30.0, 2.0), (9.5, 40.0))


def test_repairs_are_told_in_order_and_taken_back_from_the_last(tmp_path: Path) -> None:
    merge = tmp_path / "merge"
    with open_book(tmp_path / "book") as book:
        one = keep_repair(book, merge, "m", Repair(0, "a.jpg", None, CORNERS, None))
        two = keep_repair(book, merge, "m", Repair(0, "b.jpg", 1.5, None, b"png"))
        keep_repair(book, tmp_path / "other", "m", Repair(0, "c.jpg", None, CORNERS, None))
        keep_repair(book, merge, "newer", Repair(0, "d.jpg", None, CORNERS, None))
    with open_book(tmp_path / "book") as book:
        assert repairs_of(book, merge, "m") == (one, two)
        assert undo_repair(book, merge, "m") == two
        assert repairs_of(book, merge, "m") == (one,)
        assert undo_repair(book, merge, "m") == one
        assert undo_repair(book, merge, "m") is None
        assert len(repairs_of(book, merge, "newer")) == 1


def test_what_was_taken_back_stands_again_in_its_old_order(tmp_path: Path) -> None:
    merge = tmp_path / "merge"
    with open_book(tmp_path / "book") as book:
        made = [
            keep_repair(book, merge, "m", Repair(0, f"{n}.jpg", None, CORNERS, None)) for n in "abc"
        ]
        assert not can_redo(book, merge, "m")
        for _ in made:
            undo_repair(book, merge, "m")
        assert can_redo(book, merge, "m")
        assert [redo_repair(book, merge, "m") for _ in made] == made
        assert redo_repair(book, merge, "m") is None
        assert repairs_of(book, merge, "m") == tuple(made)


def test_a_new_repair_bars_the_way_to_those_taken_back(tmp_path: Path) -> None:
    merge = tmp_path / "merge"
    with open_book(tmp_path / "book") as book:
        for n in "ab":
            keep_repair(book, merge, "m", Repair(0, f"{n}.jpg", None, CORNERS, None))
        keep_repair(book, merge, "newer", Repair(0, "d.jpg", None, CORNERS, None))
        undo_repair(book, merge, "newer")
        undo_repair(book, merge, "m")
        last = keep_repair(book, merge, "m", Repair(0, "c.jpg", None, CORNERS, None))
        assert redo_repair(book, merge, "m") is None
        undo_repair(book, merge, "m")
        assert redo_repair(book, merge, "m") == last, "not the one before it"
        assert can_redo(book, merge, "newer"), "another merge keeps its own"
