"""What was worked out is remembered, and done again only when something it rests on changed."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import Any

import pytest

from haltere.errors import FrameError, SweepError
from haltere.evening import Told, at_work, capture_of, walk
from haltere.fieldbook import kits, open_book, outings, runs_in, steps_of
from haltere.frames import Decoder, find_frames
from haltere.kit import Kit, read_kit


@pytest.fixture
def own(card: Path, tmp_path: Path) -> Path:
    """A card that may be changed."""
    return Path(shutil.copytree(card, tmp_path / "own"))


def evening(card: Path, out: Path, told: Told | None = None) -> Any:
    with Decoder() as decoder:
        return walk([card], out, decoder, told)


def asked(engine: Any) -> list[str]:
    names = [name for name, _ in engine.asked]
    engine.asked.clear()
    return names


def test_a_second_evening_asks_nothing_again_and_says_the_same(
    card: Path, engine: Any, tmp_path: Path
) -> None:
    first = evening(card, tmp_path / "out")
    asked(engine)
    second = evening(card, tmp_path / "out")
    assert asked(engine) == []
    assert second.answer() == first.answer()


def test_another_kit_asks_again_but_does_not_split_again(
    card: Path, engine: Any, tmp_path: Path
) -> None:
    evening(card, tmp_path / "out")
    asked(engine)
    evening(card, tmp_path / "out", Told(magnification=1.5))
    assert asked(engine) == ["judge_burst", "solve_sweep", "merge_sweep", "judge_burst"]


def test_an_evening_that_was_stopped_goes_on_where_it_was(
    card: Path, engine: Any, tmp_path: Path
) -> None:
    engine.fail["merge_sweep"] = KeyboardInterrupt()
    with pytest.raises(KeyboardInterrupt):
        evening(card, tmp_path / "out")
    assert asked(engine) == ["split_runs", "judge_burst", "solve_sweep", "merge_sweep"]
    engine.fail.clear()
    evening(card, tmp_path / "out")
    # the sweep is solved anew, since the merge needs its registered pictures
    assert asked(engine) == ["solve_sweep", "merge_sweep", "judge_burst"]


def test_a_burst_begun_ahead_is_judged_once_and_written_down(
    card: Path, engine: Any, tmp_path: Path
) -> None:
    frames = find_frames([card]).frames[:3]
    capture = capture_of(frames, Told())
    with (
        Decoder() as decoder,
        at_work(frames, card, "ahead", decoder, tmp_path) as work,
    ):
        work.expect(frames, capture)
        first = work.judge(frames, capture)
        assert asked(engine) == ["judge_burst"]
        work.expect(frames, capture)
        assert work.judge(frames, capture) == first
        assert asked(engine) == []


def test_what_is_wrong_with_a_burst_begun_ahead_is_said_when_it_is_asked_for(
    card: Path, engine: Any, tmp_path: Path
) -> None:
    frames = find_frames([card]).frames[:3]
    capture = capture_of(frames, Told())
    engine.fail["judge_burst"] = FrameError("M_0002.JPG: can't be decoded.")
    with (
        Decoder() as decoder,
        at_work(frames, card, "ahead", decoder, tmp_path) as work,
    ):
        work.expect(frames, capture)
        with pytest.raises(FrameError, match=r"M_0002"):
            work.judge(frames, capture)


def test_what_failed_is_tried_again(card: Path, engine: Any, tmp_path: Path) -> None:
    engine.fail["merge_sweep"] = SweepError("no")
    evening(card, tmp_path / "out")
    asked(engine)
    engine.fail.clear()
    assert evening(card, tmp_path / "out").outing.runs[1].merge is not None
    assert asked(engine) == ["solve_sweep", "merge_sweep"]


@pytest.mark.parametrize("lost", ["merged.tif", "merged.jpg", "origin.tif", "depth.tif"])
def test_a_derived_file_that_was_deleted_is_made_again(
    card: Path, engine: Any, tmp_path: Path, lost: str
) -> None:
    evening(card, tmp_path / "out")
    asked(engine)
    (tmp_path / "out" / "run-02" / lost).unlink()
    evening(card, tmp_path / "out")
    assert asked(engine) == ["solve_sweep", "merge_sweep"]
    assert (tmp_path / "out" / "run-02" / lost).is_file()


def test_a_derived_file_that_another_merge_overwrote_is_made_again(
    card: Path, engine: Any, tmp_path: Path
) -> None:
    evening(card, tmp_path / "out")
    asked(engine)
    (tmp_path / "out" / "run-02" / "merged.tif").write_bytes(b"another picture")
    evening(card, tmp_path / "out")
    assert asked(engine) == ["solve_sweep", "merge_sweep"]


def test_everything_derived_may_be_deleted_and_is_made_again(
    card: Path, engine: Any, tmp_path: Path
) -> None:
    first = evening(card, tmp_path / "out")
    page = first.sheet.read_bytes()
    shutil.rmtree(tmp_path / "out")
    assert evening(card, tmp_path / "out").sheet.read_bytes() == page


def test_a_changed_original_is_worked_again(own: Path, engine: Any, tmp_path: Path) -> None:
    evening(own, tmp_path / "out")
    asked(engine)
    changed = own / "M_0002.JPG"
    os.utime(changed, ns=(1, 1))
    evening(own, tmp_path / "out")
    assert asked(engine) == ["split_runs", "judge_burst"]


def test_the_book_holds_the_outing_its_runs_and_each_step_with_its_numbers(
    card: Path, engine: Any, tmp_path: Path
) -> None:
    evening(card, tmp_path / "out", Told(coc_mm=0.02))
    with open_book(tmp_path / "out") as book:
        (outing,) = outings(book)
        assert (outing.folder, outing.in_place) == (card.resolve(), True)
        assert [run.kind for run in runs_in(book, outing.id)] == ["burst", "sweep", "single"]
        steps = steps_of(book, outing.id)
        assert [step.verb for step in steps] == ["runs", "keepers", "gaps", "merge", "keepers"]
        assert steps[1].params["capture"]["coc_mm"] == 0.02
        for table, least in (("measure", 5), ("plane", 5), ("gap", 1), ("merge_frame", 5)):
            count = book.connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
            assert count >= least, table


def test_the_book_keeps_the_kit_and_gives_its_file_back(
    card: Path, engine: Any, tmp_path: Path
) -> None:
    kit = Kit(name="reed", focal_mm=60.0, f_number=8.0, magnification=1.0, close_up_dpt=2.0)
    for _ in range(2):
        evening(card, tmp_path / "out", Told(kit=kit, magnification=1.0))
    with open_book(tmp_path / "out") as book:
        (row,) = kits(book)
    (tmp_path / "kit.toml").write_text(row.text, encoding="utf-8")
    assert read_kit(tmp_path / "kit.toml") == kit


def test_work_goes_on_unremembered_where_no_book_can_be_written(
    card: Path, engine: Any, tmp_path: Path
) -> None:
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    frames = find_frames([card]).frames
    with Decoder() as decoder, at_work(frames, card, "meadow", decoder, tmp_path / "file") as work:
        assert len(work.split(frames).runs) == 3


class _Splitting:
    """Splits as the stand-in does, and hands every run over as it goes."""

    def __init__(self, engine: Any) -> None:
        self.engine = engine

    def __call__(self, frames: Any, decoder: Any, progress: Any, taker: Any = None) -> Any:
        splitting = self.engine.split_runs(frames, decoder, progress)
        by_name = {frame.name: frame for frame in frames}
        for run in splitting.runs if taker is not None else ():
            taker.take(run, [by_name[name] for name in run.frames])
        return splitting


def test_bursts_judged_while_splitting_are_written_down_and_not_judged_again(
    card: Path, engine: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("haltere.evening.work.split_runs", _Splitting(engine))
    frames = find_frames([card]).frames
    with Decoder() as decoder, at_work(frames, card, "passing", decoder, tmp_path) as work:
        runs = work.split(frames, capture_for=lambda some: capture_of(some, Told())).runs
        assert sorted(asked(engine)) == ["judge_burst", "judge_burst", "split_runs"]
        burst = [frame for frame in frames if frame.name in runs[0].frames]
        judged = work.judge(burst, capture_of(burst, Told()), subject=runs[0].id)
        assert asked(engine) == []
        assert {frame.frame for frame in judged.frames} == set(runs[0].frames)
        subjects = [(s.verb, s.subject) for s in steps_of(work.book, work.outing_id)]
    assert ("keepers", "run-01") in subjects


def test_what_went_wrong_while_splitting_is_said_when_the_burst_is_asked_for(
    card: Path, engine: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("haltere.evening.work.split_runs", _Splitting(engine))
    engine.fail["judge_burst"] = FrameError("M_0001.JPG: is damaged")
    frames = find_frames([card]).frames
    with Decoder() as decoder, at_work(frames, card, "wrong", decoder, tmp_path) as work:
        runs = work.split(frames, capture_for=lambda some: capture_of(some, Told())).runs
        burst = [frame for frame in frames if frame.name in runs[0].frames]
        with pytest.raises(FrameError, match="damaged"):
            work.judge(burst, capture_of(burst, Told()))
