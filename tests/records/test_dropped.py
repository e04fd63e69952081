"""Dropped frames move away whole, come back whole, and are never erased."""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from haltere.errors import UsageError
from haltere.fieldbook import decide, decisions_in, frames_in, keep_frames, outing_named
from haltere.fieldbook.unload import unload
from haltere.fieldbook.verify import verify
from haltere.records import bring_back, carrying, exchange, move_away, moving
from tests.records.conftest import Editor, Walk

PICTURES = Counter([b"picture 1", b"picture 2", b"picture 3", b"picture 4", b"raw 1"])


@pytest.fixture
def walk(unloaded: Walk) -> Walk:
    decide(unloaded.book, unloaded.row.id, ["M_0001.JPG", "M_0003.JPG"], "drop")
    exchange(unloaded.book, unloaded.row)
    return unloaded


def held(*folders: Path) -> Counter[bytes]:
    """Count what the files hold that are no sidecars, lists or locks."""
    return Counter(
        path.read_bytes()
        for folder in folders
        for path in folder.rglob("*")
        if path.suffix in (".JPG", ".RAW", ".part")
    )


def names(folder: Path) -> list[str]:
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())


def check_book(walk: Walk) -> None:
    """Every path that the book knows holds what it should."""
    for frame in frames_in(walk.book, walk.row.id):
        assert frame.path.is_file()
        assert frame.raw_path is None or frame.raw_path.is_file()
    rows = walk.book.connection.execute(
        "SELECT p.root, c.path, o.sha256 FROM copy c JOIN place p ON p.id = c.place_id "
        "JOIN original o ON o.id = c.original_id"
    ).fetchall()
    assert len(rows) == 5
    for root, path, sha256 in rows:
        there = walk.book.folder / root / path
        assert hashlib.sha256(there.read_bytes()).hexdigest() == sha256
    assert walk.book.connection.execute("PRAGMA foreign_key_check").fetchall() == []


def check_lists(walk: Walk) -> None:
    """The list beside the originals names what lies there, and nothing else."""
    (manifest,) = walk.book.originals.rglob("manifest-sha256.txt")
    listed = {line.split("  ", 1)[1] for line in manifest.read_text().splitlines()}
    there = {n for n in names(manifest.parent) if n.startswith("data/") and "xmp" not in n}
    assert listed == there


def test_a_dropped_frame_moves_with_raw_file_and_sidecar(walk: Walk, tmp_path: Path) -> None:
    done = move_away(walk.book, walk.row, tmp_path / "away")
    assert done.frames == ("M_0001.JPG", "M_0003.JPG")
    (outing,) = (tmp_path / "away").iterdir()
    assert names(outing) == [
        "M_0001.JPG", "M_0001.RAW", "M_0001.xmp", "M_0003.JPG", "M_0003.xmp",
    ]  # fmt: skip
    assert names(walk.row.originals) == ["M_0002.JPG", "M_0004.JPG"]
    assert held(tmp_path / "away", walk.book.originals) == PICTURES
    check_book(walk)
    check_lists(walk)


def test_all_of_it_comes_back(walk: Walk, tmp_path: Path) -> None:
    before = names(walk.row.originals)
    frames = frames_in(walk.book, walk.row.id)
    move_away(walk.book, walk.row, tmp_path / "away")
    done = bring_back(walk.book, walk.row)
    assert done.frames == ("M_0001.JPG", "M_0003.JPG")
    assert names(walk.row.originals) == before
    assert frames_in(walk.book, walk.row.id) == frames
    assert names(tmp_path / "away") == []
    check_book(walk)
    check_lists(walk)
    again = move_away(walk.book, walk.row, tmp_path / "away")
    assert again.frames == done.frames


def test_moving_twice_moves_nothing(walk: Walk, tmp_path: Path) -> None:
    move_away(walk.book, walk.row, tmp_path / "away")
    done = move_away(walk.book, walk.row, tmp_path / "away")
    assert (done.frames, done.already, done.skipped) == ((), 2, ())
    assert bring_back(walk.book, walk.row).frames != ()
    assert bring_back(walk.book, walk.row).frames == ()


def test_a_list_is_empty_when_all_frames_are_gone(walk: Walk, tmp_path: Path) -> None:
    decide(walk.book, walk.row.id, [one.name for one in walk.frames], "drop")
    move_away(walk.book, walk.row, tmp_path / "away")
    check_lists(walk)


def test_a_sidecar_goes_on_working_where_the_frame_is(
    walk: Walk, tmp_path: Path, other_program: Editor
) -> None:
    move_away(walk.book, walk.row, tmp_path / "away")
    assert exchange(walk.book, walk.row).unchanged == 4
    (sidecar,) = (tmp_path / "away").rglob("M_0001.xmp")
    other_program(sidecar, rating=4)
    assert [one.verdict for one in exchange(walk.book, walk.row).read] == ["keep"]
    decide(walk.book, walk.row.id, ["M_0003.JPG"], "maybe")
    (made,) = exchange(walk.book, walk.row).written
    assert Path(made.file).parent == sidecar.parent
    bring_back(walk.book, walk.row)
    assert exchange(walk.book, walk.row).unchanged == 4
    assert decisions_in(walk.book, walk.row.id)["M_0001.JPG"] == "keep"


def test_a_sidecar_that_others_made_there_comes_back_too(
    unloaded: Walk, tmp_path: Path, other_program: Editor
) -> None:
    decide(unloaded.book, unloaded.row.id, ["M_0002.JPG"], "drop")
    move_away(unloaded.book, unloaded.row, tmp_path / "away")
    (picture,) = (tmp_path / "away").rglob("M_0002.JPG")
    other_program(picture.with_suffix(".xmp"), rating=2)
    bring_back(unloaded.book, unloaded.row)
    assert unloaded.sidecar(1).exists()
    assert names(tmp_path / "away") == []


def test_nothing_is_written_over_and_files_of_a_frame_keep_one_name(
    walk: Walk, tmp_path: Path
) -> None:
    move_away(walk.book, walk.row, tmp_path / "away")
    (outing,) = (tmp_path / "away").iterdir()
    bring_back(walk.book, walk.row)
    (outing / "M_0001.RAW").write_bytes(b"somebody else's")
    move_away(walk.book, walk.row, tmp_path / "away")
    assert (outing / "M_0001.RAW").read_bytes() == b"somebody else's"
    assert names(outing)[:4] == ["M_0001-2.JPG", "M_0001-2.RAW", "M_0001-2.xmp", "M_0001.RAW"]
    check_book(walk)
    bring_back(walk.book, walk.row)
    assert "M_0001.xmp" in names(walk.row.originals)
    assert names(outing) == ["M_0001.RAW"]


def test_a_sidecar_made_there_gets_its_pictures_name_at_home(
    unloaded: Walk, tmp_path: Path, other_program: Editor
) -> None:
    decide(unloaded.book, unloaded.row.id, ["M_0002.JPG"], "drop")
    outing = tmp_path / "away" / unloaded.row.originals.parent.name
    outing.mkdir(parents=True)
    (outing / "M_0002.JPG").write_bytes(b"somebody else's")
    move_away(unloaded.book, unloaded.row, tmp_path / "away")
    other_program(outing / "M_0002-2.xmp", rating=2)
    bring_back(unloaded.book, unloaded.row)
    assert unloaded.sidecar(1).exists()
    assert names(outing) == ["M_0002.JPG"]


def test_a_name_that_was_taken_at_home_is_not_written_over(walk: Walk, tmp_path: Path) -> None:
    move_away(walk.book, walk.row, tmp_path / "away")
    (walk.row.originals / "M_0001.JPG").write_bytes(b"a newer one")
    bring_back(walk.book, walk.row)
    assert (walk.row.originals / "M_0001.JPG").read_bytes() == b"a newer one"
    assert (walk.row.originals / "M_0001-2.xmp").exists()
    frame = frames_in(walk.book, walk.row.id)[0]
    assert (frame.path.name, frame.raw_path and frame.raw_path.name) == (
        "M_0001-2.JPG", "M_0001-2.RAW",
    )  # fmt: skip
    check_book(walk)


def test_a_folder_of_ones_own_is_left_alone(in_place: Walk, tmp_path: Path) -> None:
    decide(in_place.book, in_place.row.id, ["M_0001.JPG"], "drop")
    for call in (lambda: move_away(in_place.book, in_place.row, tmp_path / "away"),
                 lambda: bring_back(in_place.book, in_place.row)):  # fmt: skip
        with pytest.raises(UsageError, match="never moves"):
            call()
    assert in_place.frames[0].path.exists()
    assert not (tmp_path / "away").exists()


def test_a_folder_that_holds_originals_is_refused(walk: Walk, tmp_path: Path) -> None:
    second = tmp_path / "second"
    unload(walk.book, tmp_path / "card", name="pond", second=second)
    for folder in (walk.book.originals, walk.row.originals / "new", second, second / "in"):
        with pytest.raises(UsageError, match="holds originals"):
            move_away(walk.book, walk.row, folder)


def test_neither_the_book_nor_a_card_takes_dropped_frames(walk: Walk, tmp_path: Path) -> None:
    card = tmp_path / "card"
    before = set(tmp_path.rglob("*"))
    for folder in (walk.book.folder, walk.book.folder / "new", card, card / "new"):
        with pytest.raises(UsageError, match="--to"):
            move_away(walk.book, walk.row, folder)
    assert set(tmp_path.rglob("*")) == before


def test_no_folder_is_made_when_nothing_was_dropped(unloaded: Walk, tmp_path: Path) -> None:
    move_away(unloaded.book, unloaded.row, tmp_path / "away")
    assert not (tmp_path / "away").exists()


def test_dropped_frames_that_were_erased_are_missing_and_come_back_from_the_second_copy(
    walk: Walk, tmp_path: Path
) -> None:
    away = tmp_path / "away"
    unload(walk.book, tmp_path / "card", name="pond", second=tmp_path / "second")
    move_away(walk.book, walk.row, away)
    before = {name for name in names(away) if "xmp" not in name}
    shutil.rmtree(away)
    said = verify(walk.book)
    assert said.not_there == ()
    assert {(one.folder, one.what) for one in said.damages} == {(str(away), "missing")}
    assert len(said.damages) == 3
    assert said.good == said.copies - 3
    mended = verify(walk.book, repair_from="second")
    assert mended.good == mended.copies
    assert set(names(away)) == before
    assert bring_back(walk.book, walk.row).skipped == ()
    assert held(walk.book.originals) == PICTURES


def test_dropped_frames_on_a_disk_that_is_not_plugged_in_are_not_called_missing(
    walk: Walk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    away = tmp_path / "away"
    with monkeypatch.context() as plugged:
        plugged.setattr("haltere.fieldbook.originals.disk_of", lambda path: f"of {path.name}")
        move_away(walk.book, walk.row, away)
    away.rename(tmp_path / "unplugged")
    said = verify(walk.book)
    assert said.not_there == (str(away),)
    assert said.good == said.copies


def test_a_copy_that_changed_stays_and_is_named(walk: Walk, tmp_path: Path) -> None:
    walk.frames[0].raw_path.write_bytes(b"rotten")  # type: ignore[union-attr]
    done = move_away(walk.book, walk.row, tmp_path / "away")
    assert done.frames == ("M_0003.JPG",)
    assert [one.file for one in done.skipped] == ["M_0001.JPG"]
    assert "M_0001.JPG" in names(walk.row.originals)
    assert not list((tmp_path / "away").rglob("M_0001*"))
    walk.frames[0].raw_path.write_bytes(b"raw 1")  # type: ignore[union-attr]
    check_book(walk)


def test_a_frame_that_was_erased_by_hand_is_named(walk: Walk, tmp_path: Path) -> None:
    move_away(walk.book, walk.row, tmp_path / "away")
    next((tmp_path / "away").rglob("M_0001.JPG")).unlink()
    done = bring_back(walk.book, walk.row)
    assert done.frames == ("M_0003.JPG",)
    assert "is gone" in done.skipped[0].why


def test_a_frame_that_was_erased_comes_back_from_its_card(walk: Walk, tmp_path: Path) -> None:
    move_away(walk.book, walk.row, tmp_path / "away")
    next((tmp_path / "away").rglob("M_0003.JPG")).unlink()
    unload(walk.book, tmp_path / "card", name="pond")
    keep_frames(walk.book, walk.row.id, walk.frames[2:3])
    done = bring_back(walk.book, walk.row)
    assert (done.frames, done.skipped) == (("M_0001.JPG",), ())
    assert bring_back(walk.book, walk.row).frames == ()
    assert held(walk.book.originals) == PICTURES


def test_the_same_card_again_knows_the_moved_frames(walk: Walk, tmp_path: Path) -> None:
    move_away(walk.book, walk.row, tmp_path / "away")
    done = unload(walk.book, tmp_path / "card", name="pond")
    assert (done.copied, done.known, done.troubles) == (0, 5, ())
    assert "M_0001.JPG" not in names(walk.row.originals)


def test_a_card_that_was_copied_again_meanwhile_is_no_second_copy(
    walk: Walk, tmp_path: Path
) -> None:
    away = tmp_path / "away"
    move_away(walk.book, walk.row, away)
    away.rename(tmp_path / "unplugged")
    unload(walk.book, tmp_path / "card", name="pond")
    (tmp_path / "unplugged").rename(away)
    bring_back(walk.book, walk.row)
    assert held(away, walk.book.originals) == PICTURES
    check_book(walk)


class Killed(BaseException):
    """Stands for a process that ends at this instant."""


def killing(monkeypatch: pytest.MonkeyPatch, instant: int) -> Callable[[], bool]:
    """Let the process end before the given one of its acts on disk and book; count them."""
    count = 0

    def wrap(real: Callable[..., Any]) -> Callable[..., Any]:
        def act(*args: Any, **kwargs: Any) -> Any:
            nonlocal count
            count += 1
            if count > instant:
                raise Killed
            return real(*args, **kwargs)

        return act

    monkeypatch.setattr(os, "link", wrap(os.link))
    monkeypatch.setattr(Path, "unlink", wrap(Path.unlink))
    monkeypatch.setattr(Path, "rename", wrap(Path.rename))
    monkeypatch.setattr(moving, "_switch", wrap(moving._switch))
    monkeypatch.setattr(moving, "_begin", wrap(moving._begin))
    monkeypatch.setattr(moving, "_clear", wrap(moving._clear))
    monkeypatch.setattr(moving, "_refresh", wrap(moving._refresh))
    monkeypatch.setattr(carrying, "sync_folder", wrap(carrying.sync_folder))

    return lambda: count > instant


@pytest.mark.parametrize("linked", [True, False], ids=["one disk", "two disks"])
@pytest.mark.parametrize("way", ["leaving", "returning"])
def test_ended_at_any_instant_no_file_is_lost_and_the_next_call_ends_it(
    walk: Walk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, linked: bool, way: str
) -> None:
    away = tmp_path / "away"
    if not linked:
        monkeypatch.setattr("haltere.records.carrying._linked", lambda *_: False)
    instant = 0
    while True:
        if way == "returning":
            move_away(walk.book, walk.row, away)
        with monkeypatch.context() as patch:
            reached = killing(patch, instant)
            with contextlib.suppress(Killed):
                if way == "leaving":
                    move_away(walk.book, walk.row, away)
                else:
                    bring_back(walk.book, walk.row)
        if not reached():
            break
        assert set(held(away, walk.book.originals)) >= set(PICTURES)
        check_book(walk)
        move_away(walk.book, walk.row, away)
        assert names(walk.row.originals) == ["M_0002.JPG", "M_0004.JPG"]
        check_book(walk)
        bring_back(walk.book, walk.row)
        assert held(away, walk.book.originals) == PICTURES
        assert len(names(walk.row.originals)) == 7
        check_book(walk)
        check_lists(walk)
        instant += 1
    assert instant > 15


def test_on_another_disk_the_copy_is_read_back(
    walk: Walk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = carrying.settle

    def flip(part: Path, final: Path, sha256: str) -> Any:
        part.write_bytes(b"flipped")
        return real(part, final, sha256)

    monkeypatch.setattr(carrying, "_linked", lambda *_: False)
    monkeypatch.setattr(carrying, "settle", flip)
    done = move_away(walk.book, walk.row, tmp_path / "away")
    assert done.frames == ()
    assert "did not read back" in done.skipped[0].why
    assert held(walk.book.originals) == PICTURES
    assert held(tmp_path / "away") == Counter()
    check_book(walk)


def test_the_outing_is_still_found(walk: Walk, tmp_path: Path) -> None:
    move_away(walk.book, walk.row, tmp_path / "away")
    assert outing_named(walk.book, "pond").id == walk.row.id
