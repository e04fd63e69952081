"""Verdicts go out into sidecars and come back from another program, and none is lost."""

from __future__ import annotations

import os
import threading
from pathlib import Path
from typing import Any

import pyexiv2
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from haltere.errors import BookError, WriteError
from haltere.fieldbook import (
    decide,
    decisions_in,
    keep_frames,
    open_book,
    outings,
    place_outing,
    undo,
)
from haltere.fieldbook.locking import only_one
from haltere.fieldbook.searching import VERDICTS, Found
from haltere.fieldbook.unload import unload
from haltere.records import exchange
from haltere.records.xmp import verdict_in
from tests.records.conftest import Editor, Walk, frame_at

AGO_S = 1_000_000_000


def outside(path: Path) -> dict[str, Any]:
    with pyexiv2.Image(str(path)) as image:
        return dict(image.read_xmp())


def everything(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_another_program_reads_each_verdict(unloaded: Walk) -> None:
    for frame, verdict in zip(unloaded.frames, VERDICTS, strict=True):
        decide(unloaded.book, unloaded.row.id, [frame.name], verdict)
    done = exchange(unloaded.book, unloaded.row)
    assert [(one.frame, one.verdict) for one in done.written] == [
        ("M_0001.JPG", "keep"),
        ("M_0002.JPG", "maybe"),
        ("M_0003.JPG", "drop"),
    ]
    assert outside(unloaded.sidecar(0))["Xmp.xmp.Rating"] == "1"
    maybe = outside(unloaded.sidecar(1))
    assert (maybe["Xmp.xmp.Rating"], maybe["Xmp.dc.subject"]) == ("0", ["maybe"])
    assert outside(unloaded.sidecar(2))["Xmp.xmp.Rating"] == "-1"
    assert not unloaded.sidecar(3).exists()


def test_what_was_undecided_again_is_not_rated(unloaded: Walk) -> None:
    decide(unloaded.book, unloaded.row.id, ["M_0001.JPG"], "keep")
    exchange(unloaded.book, unloaded.row)
    decide(unloaded.book, unloaded.row.id, ["M_0001.JPG"], "undecided")
    exchange(unloaded.book, unloaded.row)
    assert outside(unloaded.sidecar(0))["Xmp.xmp.Rating"] == "0"


def test_a_second_time_nothing_is_written(unloaded: Walk) -> None:
    decide(unloaded.book, unloaded.row.id, [one.name for one in unloaded.frames[:3]], "drop")
    exchange(unloaded.book, unloaded.row)
    files = {path: path.stat().st_mtime_ns for path in unloaded.row.originals.iterdir()}
    before = unloaded.book.connection.total_changes
    done = exchange(unloaded.book, unloaded.row)
    assert (done.written, done.read, done.unchanged) == ((), (), 4)
    assert unloaded.book.connection.total_changes == before
    assert {path: path.stat().st_mtime_ns for path in files} == files


def test_stars_of_another_program_become_verdicts_in_one_act(
    unloaded: Walk, other_program: Editor
) -> None:
    decide(unloaded.book, unloaded.row.id, ["M_0001.JPG", "M_0002.JPG"], "keep")
    exchange(unloaded.book, unloaded.row)
    other_program(unloaded.sidecar(0), rating=-1)
    other_program(unloaded.sidecar(1), rating=0, words=["wasp", "maybe"])
    other_program(unloaded.sidecar(2), rating=5)
    done = exchange(unloaded.book, unloaded.row)
    now = {"M_0001.JPG": "drop", "M_0002.JPG": "maybe", "M_0003.JPG": "keep"}
    assert {one.frame: one.verdict for one in done.read} == now
    assert decisions_in(unloaded.book, unloaded.row.id) == now
    assert done.written == done.conflicts == ()
    assert outside(unloaded.sidecar(2))["Xmp.xmp.Rating"] == "5"
    undo(unloaded.book)
    assert decisions_in(unloaded.book, unloaded.row.id) == dict.fromkeys(
        ["M_0001.JPG", "M_0002.JPG"], "keep"
    )


def test_what_was_taken_back_goes_out_again(unloaded: Walk, other_program: Editor) -> None:
    other_program(unloaded.sidecar(0), rating=-1)
    exchange(unloaded.book, unloaded.row)
    undo(unloaded.book)
    done = exchange(unloaded.book, unloaded.row)
    assert [one.verdict for one in done.written] == ["undecided"]
    assert outside(unloaded.sidecar(0))["Xmp.xmp.Rating"] == "0"


def test_a_change_of_other_things_is_no_verdict(unloaded: Walk, other_program: Editor) -> None:
    decide(unloaded.book, unloaded.row.id, ["M_0001.JPG"], "keep")
    exchange(unloaded.book, unloaded.row)
    other_program(unloaded.sidecar(0), words=["wasp"])
    decide(unloaded.book, unloaded.row.id, ["M_0001.JPG"], "drop")
    done = exchange(unloaded.book, unloaded.row)
    assert (done.read, done.conflicts) == ((), ())
    said = outside(unloaded.sidecar(0))
    assert (said["Xmp.xmp.Rating"], said["Xmp.dc.subject"]) == ("-1", ["wasp"])


@pytest.mark.parametrize(
    ("at_s", "stands", "verdict"), [(4e9, "sidecar", "drop"), (AGO_S, "book", "maybe")]
)
def test_of_two_changes_the_later_stands_and_both_are_kept(
    unloaded: Walk, other_program: Editor, at_s: float, stands: str, verdict: Found
) -> None:
    decide(unloaded.book, unloaded.row.id, ["M_0001.JPG"], "keep")
    exchange(unloaded.book, unloaded.row)
    other_program(unloaded.sidecar(0), rating=-1, at_s=at_s)
    decide(unloaded.book, unloaded.row.id, ["M_0001.JPG"], "maybe")
    done = exchange(unloaded.book, unloaded.row)
    (clash,) = done.conflicts
    assert (clash.book, clash.sidecar, clash.stands) == ("maybe", "drop", stands)
    assert decisions_in(unloaded.book, unloaded.row.id) == {"M_0001.JPG": verdict}
    assert verdict_in(unloaded.sidecar(0).read_bytes()) == verdict
    rows = unloaded.book.connection.execute("SELECT verdict FROM decision ORDER BY act_id")
    assert [row[0] for row in rows] == ["keep", "maybe", "drop"]
    again = exchange(unloaded.book, unloaded.row)
    assert (again.written, again.read, again.conflicts) == ((), (), ())


def test_undoing_after_a_lost_change_takes_back_the_persons_own_act(
    unloaded: Walk, other_program: Editor
) -> None:
    other_program(unloaded.sidecar(0), rating=-1, at_s=AGO_S)
    decide(unloaded.book, unloaded.row.id, ["M_0001.JPG"], "keep")
    exchange(unloaded.book, unloaded.row)
    act = undo(unloaded.book)
    assert act is not None
    assert act.what == "keep 1 frame"


def test_a_raw_file_and_its_jpeg_share_one_sidecar(unloaded: Walk) -> None:
    decide(unloaded.book, unloaded.row.id, ["M_0001.JPG"], "keep")
    exchange(unloaded.book, unloaded.row)
    assert [path.name for path in unloaded.row.originals.glob("*.xmp")] == ["M_0001.xmp"]


@pytest.mark.parametrize("name", ["M_0001.JPG.xmp", "M_0001.RAW.XMP", "m_0001.XMP"])
def test_a_sidecar_that_is_there_under_another_name_is_used(
    unloaded: Walk, other_program: Editor, name: str
) -> None:
    other_program(unloaded.row.originals / "t.xmp", rating=3)
    (unloaded.row.originals / "t.xmp").rename(unloaded.row.originals / name)
    assert [one.file for one in exchange(unloaded.book, unloaded.row).read] == [
        str(unloaded.row.originals / name)
    ]
    decide(unloaded.book, unloaded.row.id, ["M_0001.JPG"], "drop")
    exchange(unloaded.book, unloaded.row)
    assert [
        path.name for path in unloaded.row.originals.iterdir() if "xmp" in path.suffix.lower()
    ] == [name]


def test_of_two_sidecars_of_a_frame_one_is_used_and_the_other_named(
    unloaded: Walk, other_program: Editor
) -> None:
    other_program(unloaded.row.originals / "M_0001.JPG.xmp", rating=-1)
    other_program(unloaded.sidecar(0), rating=3)
    done = exchange(unloaded.book, unloaded.row)
    assert [one.verdict for one in done.read] == ["keep"]
    assert [Path(one.file).name for one in done.skipped] == ["M_0001.JPG.xmp"]


def test_two_pictures_of_one_name_never_share_a_sidecar(unloaded: Walk) -> None:
    other = unloaded.row.originals / "M_0002.TIF"
    other.write_bytes(b"another picture")
    keep_frames(unloaded.book, unloaded.row.id, [frame_at(other, "M_0002.TIF")])
    decide(unloaded.book, unloaded.row.id, ["M_0002.JPG"], "keep")
    decide(unloaded.book, unloaded.row.id, ["M_0002.TIF"], "drop")
    exchange(unloaded.book, unloaded.row)
    said = {path.name: verdict_in(path.read_bytes()) for path in other.parent.glob("*.xmp")}
    assert said == {"M_0002.JPG.xmp": "keep", "M_0002.TIF.xmp": "drop"}


def test_a_sidecar_that_may_mean_either_of_two_pictures_is_named_and_not_read(
    unloaded: Walk, other_program: Editor
) -> None:
    other = unloaded.row.originals / "M_0002.TIF"
    other.write_bytes(b"another picture")
    keep_frames(unloaded.book, unloaded.row.id, [frame_at(other, "M_0002.TIF")])
    other_program(unloaded.sidecar(1), rating=-1)
    done = exchange(unloaded.book, unloaded.row)
    assert done.read == ()
    assert {one.file for one in done.skipped} == {str(unloaded.sidecar(1))}


def test_a_folder_of_ones_own_is_not_written_without_a_word(in_place: Walk) -> None:
    before = everything(in_place.row.folder)
    decide(in_place.book, in_place.row.id, ["M_0001.JPG"], "drop")
    (made,) = exchange(in_place.book, in_place.row).written
    assert everything(in_place.row.folder) == before
    assert Path(made.file).is_relative_to(in_place.book.folder / "sidecars")
    assert verdict_in(Path(made.file).read_bytes()) == "drop"


def test_with_a_word_sidecars_lie_beside_ones_own_files(in_place: Walk) -> None:
    decide(in_place.book, in_place.row.id, ["M_0001.JPG"], "drop")
    exchange(in_place.book, in_place.row, beside=True)
    assert verdict_in(in_place.sidecar(0).read_bytes()) == "drop"


def test_a_sidecar_of_ones_own_is_read_where_it_may_not_be_written(
    in_place: Walk, other_program: Editor
) -> None:
    other_program(in_place.sidecar(0), rating=4, words=["hedge"])
    before = everything(in_place.row.folder)
    assert [one.verdict for one in exchange(in_place.book, in_place.row).read] == ["keep"]
    decide(in_place.book, in_place.row.id, ["M_0001.JPG"], "drop")
    (made,) = exchange(in_place.book, in_place.row).written
    assert outside(Path(made.file))["Xmp.dc.subject"] == ["hedge"]
    assert everything(in_place.row.folder) == before


def test_names_from_anywhere_stay_inside_the_books_folder(in_place: Walk, tmp_path: Path) -> None:
    for name in ("/etc/M_1.JPG", "../../M_1.JPG", "C:\\M_1.JPG"):
        path = tmp_path / "mine" / str(abs(hash(name)))
        path.write_bytes(name.encode())
        keep_frames(in_place.book, in_place.row.id, [frame_at(path, name)])
        decide(in_place.book, in_place.row.id, [name], "keep")
    done = exchange(in_place.book, in_place.row)
    assert len({one.file for one in done.written}) == 3
    root = in_place.book.folder.resolve() / "sidecars"
    assert all(Path(one.file).resolve().is_relative_to(root) for one in done.written)


@pytest.mark.parametrize(
    ("data", "why"), [(b"", "empty"), (b"<x", "broken"), (b"<!DOCTYPE a><a/>", "entities")]
)
def test_one_bad_sidecar_is_named_kept_and_stops_nothing(
    unloaded: Walk, data: bytes, why: str
) -> None:
    unloaded.sidecar(0).write_bytes(data)
    decide(unloaded.book, unloaded.row.id, ["M_0001.JPG", "M_0002.JPG"], "keep")
    done = exchange(unloaded.book, unloaded.row)
    assert [one.frame for one in done.written] == ["M_0002.JPG"]
    assert [(one.file, why in one.why) for one in done.skipped] == [
        (str(unloaded.sidecar(0)), True)
    ]
    assert unloaded.sidecar(0).read_bytes() == data


def test_a_link_is_not_followed(unloaded: Walk, tmp_path: Path) -> None:
    target = tmp_path / "elsewhere.xmp"
    target.write_bytes(b"mine")
    unloaded.sidecar(0).symlink_to(target)
    decide(unloaded.book, unloaded.row.id, ["M_0001.JPG"], "keep")
    done = exchange(unloaded.book, unloaded.row)
    assert "link" in done.skipped[0].why
    assert target.read_bytes() == b"mine"


def test_a_break_between_file_and_record_is_mended_by_the_next_call(
    unloaded: Walk, monkeypatch: pytest.MonkeyPatch
) -> None:
    decide(unloaded.book, unloaded.row.id, ["M_0001.JPG"], "keep")
    monkeypatch.setattr("haltere.records.sidecars._remember", stop)
    with pytest.raises(KeyboardInterrupt):
        exchange(unloaded.book, unloaded.row)
    monkeypatch.undo()
    decide(unloaded.book, unloaded.row.id, ["M_0001.JPG"], "maybe")
    os.utime(unloaded.sidecar(0), (AGO_S, AGO_S))
    exchange(unloaded.book, unloaded.row)
    assert verdict_in(unloaded.sidecar(0).read_bytes()) == "maybe"
    assert decisions_in(unloaded.book, unloaded.row.id) == {"M_0001.JPG": "maybe"}


def stop(*_: object) -> None:
    raise KeyboardInterrupt


def test_a_half_written_file_never_has_the_name(
    unloaded: Walk, monkeypatch: pytest.MonkeyPatch
) -> None:
    decide(unloaded.book, unloaded.row.id, ["M_0001.JPG"], "keep")
    exchange(unloaded.book, unloaded.row)
    before = unloaded.sidecar(0).read_bytes()
    decide(unloaded.book, unloaded.row.id, ["M_0001.JPG"], "drop")
    monkeypatch.setattr("os.replace", stop)
    with pytest.raises(KeyboardInterrupt):
        exchange(unloaded.book, unloaded.row)
    assert unloaded.sidecar(0).read_bytes() == before


def test_what_a_killed_run_left_is_swept(unloaded: Walk) -> None:
    left = unloaded.row.originals / f".haltere-{'0' * 16}.part"
    left.write_bytes(b"half")
    decide(unloaded.book, unloaded.row.id, ["M_0001.JPG"], "keep")
    exchange(unloaded.book, unloaded.row)
    assert not left.exists()


def test_a_disk_that_refuses_is_said_and_the_rest_goes_on(
    unloaded: Walk, monkeypatch: pytest.MonkeyPatch
) -> None:
    from haltere.records import sidecars

    real = sidecars.write_bytes

    def refuse(path: Path, data: bytes) -> None:
        if path.name == "M_0001.xmp":
            raise WriteError(f"{path}: can't be written: the disk is full")
        real(path, data)

    monkeypatch.setattr(sidecars, "write_bytes", refuse)
    decide(unloaded.book, unloaded.row.id, ["M_0001.JPG", "M_0002.JPG"], "keep")
    done = exchange(unloaded.book, unloaded.row)
    assert [one.frame for one in done.written] == ["M_0002.JPG"]
    assert done.skipped[0].why == "can't be written: the disk is full"


def test_two_at_once_are_refused_politely(unloaded: Walk) -> None:
    caught: list[Exception] = []

    def second() -> None:
        with open_book(unloaded.book.folder) as book:
            try:
                exchange(book, unloaded.row)
            except BookError as error:
                caught.append(error)

    with only_one(unloaded.book.folder):
        thread = threading.Thread(target=second)
        thread.start()
        thread.join()
    assert "another haltere" in str(caught[0])


def test_a_sidecar_from_the_card_is_an_original_and_stays(
    unloaded: Walk, other_program: Editor, tmp_path: Path
) -> None:
    card = tmp_path / "card"
    moment_s = (card / "M_0001.JPG").stat().st_mtime
    other_program(card / "M_0001.xmp", rating=2, words=["hedge"], at_s=moment_s)
    unload(unloaded.book, card, name="pond")
    before = unloaded.sidecar(0).read_bytes()
    assert exchange(unloaded.book, unloaded.row).read[0].verdict == "keep"
    decide(unloaded.book, unloaded.row.id, ["M_0001.JPG"], "drop")
    (made,) = exchange(unloaded.book, unloaded.row).written
    assert unloaded.sidecar(0).read_bytes() == before
    assert verdict_in(Path(made.file).read_bytes()) == "drop"
    assert outside(Path(made.file))["Xmp.dc.subject"] == ["hedge"]


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(rounds=st.lists(st.dictionaries(st.integers(0, 3), st.sampled_from(VERDICTS)), max_size=4))
def test_any_verdicts_come_back_from_their_sidecars(
    tmp_path_factory: pytest.TempPathFactory, rounds: list[dict[int, Found]]
) -> None:
    root = tmp_path_factory.mktemp("walk")
    (root / "mine").mkdir()
    frames = [frame_at(root / "mine" / f"M_{n}.JPG", f"M_{n}.JPG") for n in range(4)]
    for one in frames:
        one.path.write_bytes(one.name.encode())
    with open_book(root / "book") as book, open_book(root / "another") as another:
        for each in (book, another):
            number = place_outing(each, root / "mine", "mine", in_place=True)
            keep_frames(each, number, frames)
        for verdicts in rounds:
            for frame, verdict in verdicts.items():
                decide(book, 1, [f"M_{frame}.JPG"], verdict)
            exchange(book, outings(book)[0], beside=True)
        exchange(another, outings(another)[0], beside=True)
        told = {k: v for k, v in decisions_in(book, 1).items() if v != "undecided"}
        assert decisions_in(another, 1) == told
