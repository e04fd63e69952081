"""Outings, frames, runs, steps and decisions come back as they were written."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from haltere.errors import UsageError
from haltere.fieldbook import Book, open_book
from haltere.fieldbook.catalogue import (
    frames_in,
    keep_frames,
    keep_runs,
    outing_named,
    outings,
    place_outing,
    run_named,
    runs_in,
)
from haltere.fieldbook.clock import set_clock
from haltere.fieldbook.decisions import decide, decisions_in, undo
from haltere.fieldbook.searching import search
from haltere.fieldbook.steps import forget, recall, record, step_key, steps_of
from haltere.focus.fault import Fault
from haltere.frames.frame import Frame, Shooting
from haltere.keepers.verdict import Eye, JudgedFrame, Keepers, Verdict
from haltere.runs.run import Pass, Run
from haltere.sweeps.coverage import Coverage, Gap, Plane


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    with open_book(tmp_path / "book") as opened:
        yield opened


def frame(folder: Path, name: str, **shooting: Any) -> Frame:
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(name.encode())
    return Frame(path, name, "jpeg", 640, 480, 1, Shooting(**shooting))


@pytest.fixture
def frames(tmp_path: Path) -> list[Frame]:
    moment = datetime(2031, 5, 20, 6, 0, 0, 250000)
    return [
        frame(tmp_path / "pond", f"M_{n:04}.JPG", time=moment + timedelta(seconds=n), iso=200.0)
        for n in range(1, 7)
    ]


@pytest.fixture
def outing(book: Book, frames: list[Frame], tmp_path: Path) -> int:
    number = place_outing(book, tmp_path / "pond", "pond", day="2031-05-20", in_place=True)
    keep_frames(book, number, frames)
    return number


def keepers(frames: list[Frame]) -> Keepers:
    judged = tuple(
        JudgedFrame(
            one.name,
            rank,
            (3.0, 4.5),
            0.9,
            None,
            -0.2,
            0.1,
            (Fault("dark", 0.75, "two stops"),),
            True,
        )
        for rank, one in enumerate(frames, start=1)
    )
    return Keepers(Eye(frames[0].name, 3.0, 4.5, "proposed"), judged, Verdict("keeper", "yes"))


def coverage(frames: list[Frame]) -> Coverage:
    planes = tuple(Plane(one.name, 0.1, 0.2, 0.01, 0.02, True, ()) for one in frames)
    gap = Gap("inside", 0.1, 0.2, 0.3, 0.4, (1.0, 2.0, 3.0, 4.0), (frames[0].name,))
    return Coverage(
        frames[0].name, 0.5, "2 c N_eff / m^2", 0.015, 0.003, "kit", planes,
        (Pass("away", tuple(one.name for one in frames)),), (gap,), False, "a gap",
    )  # fmt: skip


MOMENTS = st.datetimes(
    datetime(1980, 1, 1), datetime(2090, 1, 1), timezones=st.none() | st.just(UTC)
)
SHOOTINGS = st.builds(
    Shooting,
    time=st.none() | MOMENTS,
    exposure_s=st.none() | st.floats(1e-5, 30),
    f_number=st.none() | st.floats(0.7, 64),
    iso=st.none() | st.floats(10, 1e6),
    focal_mm=st.none() | st.floats(1, 800),
    flash_fired=st.none() | st.booleans(),
    pixel_pitch_mm=st.none() | st.floats(0.001, 0.02),
    serial=st.none() | st.text(st.characters(exclude_categories=["Cs"]), max_size=12),
    number=st.none() | st.integers(0, 10**9),
)
NAMES = st.text(
    st.characters(exclude_categories=["Cs"], exclude_characters="/\\\0"), min_size=1, max_size=40
)


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(name=NAMES, shooting=SHOOTINGS, size=st.tuples(st.integers(1, 99999), st.integers(1, 99999)))
def test_any_frame_comes_back_as_it_was_written(
    tmp_path: Path, name: str, shooting: Shooting, size: tuple[int, int]
) -> None:
    written = Frame(
        (tmp_path / "a.jpg").resolve(), name, "jpeg", *size, 6, shooting,
        (tmp_path / "a.raw").resolve(), "a.raw",
    )  # fmt: skip
    with open_book(tmp_path / "book") as book:
        number = place_outing(book, tmp_path, "any", in_place=True)
        book.connection.execute("DELETE FROM frame")
        keep_frames(book, number, [written])
        assert frames_in(book, number) == (written,)


def test_a_clock_put_right_puts_two_cameras_into_one_order(book: Book, tmp_path: Path) -> None:
    moment = datetime(2031, 5, 20, 6)
    card = tmp_path / "two"
    late = [
        frame(card, f"A{n}.JPG", time=moment + timedelta(hours=1, seconds=2 * n), serial="A")
        for n in range(3)
    ]
    right = [
        frame(card, f"B{n}.JPG", time=moment + timedelta(seconds=2 * n + 1), serial="B")
        for n in range(3)
    ]
    number = place_outing(book, card, "two", in_place=False)
    keep_frames(book, number, [*late, *right])
    before = step_key("runs", frames_in(book, number), {})
    set_clock(book, "A", -3600.0)
    assert [one.name[:2] for one in frames_in(book, number)] == ["A0", "B0", "A1", "B1", "A2", "B2"]
    assert step_key("runs", frames_in(book, number), {}) != before


def test_an_outing_is_placed_once(book: Book, tmp_path: Path) -> None:
    first = place_outing(book, tmp_path, "a", in_place=True)
    assert place_outing(book, tmp_path / ".", "b", in_place=True) == first
    assert [one.name for one in outings(book)] == ["a"]


def test_writing_the_same_frames_again_changes_nothing(
    book: Book, outing: int, frames: list[Frame]
) -> None:
    before = book.connection.total_changes
    keep_frames(book, outing, frames)
    assert book.connection.total_changes == before


def test_a_changed_file_is_written_down_anew(book: Book, outing: int, frames: list[Frame]) -> None:
    key = step_key("keepers", frames, {})
    frames[2].path.write_bytes(b"changed on disk")
    keep_frames(book, outing, frames)
    sizes = book.connection.execute("SELECT bytes FROM frame ORDER BY name").fetchall()
    assert [row[0] for row in sizes][2] == len(b"changed on disk")
    assert step_key("keepers", frames, {}) != key


def test_runs_come_back_and_the_same_splitting_changes_nothing(
    book: Book, outing: int, frames: list[Frame]
) -> None:
    names = tuple(one.name for one in frames)
    runs = (
        Run(
            "run-01", "sweep", names[:4], (Pass("away", names[:2]), Pass("toward", names[2:4])), "x"
        ),
        Run("run-02", "single", names[4:5], (), "alone"),
    )
    keep_runs(book, outing, runs)
    before = book.connection.total_changes
    keep_runs(book, outing, runs)
    assert runs_in(book, outing) == runs
    assert book.connection.total_changes == before
    assert run_named(book, outing, "run-02") == runs[1]
    with pytest.raises(UsageError, match="run-01, run-02"):
        run_named(book, outing, "run-9")


@pytest.mark.parametrize(("kind", "make"), [(Keepers, keepers), (Coverage, coverage)])
def test_a_step_is_recalled_as_it_was_recorded(
    book: Book, outing: int, frames: list[Frame], kind: Any, make: Any
) -> None:
    result = make(frames)
    key = step_key("verb", frames, {"coc_mm": 0.015})
    assert recall(book, key, kind) is None
    record(book, outing, "verb", "run-01", key, {"coc_mm": 0.015}, result)
    assert recall(book, key, kind) == result
    before = book.connection.execute("SELECT count(*) FROM step").fetchone()[0]
    record(book, outing, "verb", "run-01", key, {"coc_mm": 0.015}, result)
    assert book.connection.execute("SELECT count(*) FROM step").fetchone()[0] == before == 1
    assert steps_of(book, outing)[0].params == {"coc_mm": 0.015}


def test_a_forgotten_step_takes_its_rows_along(
    book: Book, outing: int, frames: list[Frame]
) -> None:
    key = step_key("gaps", frames, {})
    record(book, outing, "gaps", "run-01", key, {}, coverage(frames))
    forget(book, key)
    for table in ("step", "plane", "gap"):
        assert book.connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0] == 0


def test_the_last_decision_stands_and_undo_takes_acts_back_one_by_one(
    book: Book, outing: int, frames: list[Frame]
) -> None:
    first, second = frames[0].name, frames[1].name
    decide(book, outing, [first, second], "drop")
    decide(book, outing, [first], "keep")
    assert decisions_in(book, outing) == {first: "keep", second: "drop"}
    assert (undo(book) or pytest.fail()).what == "keep 1 frame"
    assert decisions_in(book, outing) == {first: "drop", second: "drop"}
    assert undo(book) is not None
    assert decisions_in(book, outing) == {}
    assert undo(book) is None


def test_a_strange_frame_is_refused_and_nothing_is_decided(
    book: Book, outing: int, frames: list[Frame]
) -> None:
    with pytest.raises(UsageError, match="no frame of this outing"):
        decide(book, outing, [frames[0].name, "elsewhere.JPG"], "drop")
    assert decisions_in(book, outing) == {}


def test_the_last_part_of_a_name_is_enough_where_it_is_unique(book: Book, tmp_path: Path) -> None:
    card = tmp_path / "card"
    names = ("100A/M_0001.JPG", "100A/M_0002.JPG", "101A/M_0002.JPG")
    number = place_outing(book, card, "card", in_place=True)
    keep_frames(book, number, [frame(card, name) for name in names])
    decide(book, number, ["M_0001.JPG"], "drop")
    assert decisions_in(book, number) == {"100A/M_0001.JPG": "drop"}
    with pytest.raises(UsageError, match="2 frames are called so"):
        decide(book, number, ["M_0002.JPG"], "drop")


def test_search_finds_by_name_by_outing_and_by_decision(
    book: Book, outing: int, frames: list[Frame]
) -> None:
    decide(book, outing, [frames[3].name], "maybe")
    assert [one.name for one in search(book, "0003")] == ["M_0003.JPG"]
    assert len(search(book, "pond")) == 6
    assert [one.name for one in search(book, "", verdict="maybe")] == ["M_0004.JPG"]
    assert len(search(book, "", verdict="undecided")) == 5
    assert search(book, "M%4") == []  # the sign is searched for, not obeyed


@pytest.mark.parametrize("word", ["pond", "2031-05-20", "1", "2031-05-20 pond"])
def test_an_outing_goes_by_number_name_or_day(book: Book, outing: int, word: str) -> None:
    assert outing_named(book, word).id == outing


def test_an_outing_with_pictures_goes_before_one_of_the_same_name_without(
    book: Book, outing: int, tmp_path: Path
) -> None:
    place_outing(book, tmp_path / "films", "pond", day="2031-05-21", in_place=False)
    assert outing_named(book, "pond").id == outing


def test_an_unknown_outing_is_answered_with_those_there_are(book: Book, outing: int) -> None:
    with pytest.raises(UsageError, match="pond"):
        outing_named(book, "lake")
