"""Runs as blocks of time, and frames that are taken up when they are asked for."""

from __future__ import annotations

from pathlib import Path

from haltere.fieldbook import (
    FramesByName,
    decide,
    frame_ids,
    frames_in,
    keep_frames,
    keep_runs,
    open_book,
    place_outing,
    run_blocks,
    undo,
)
from haltere.frames import find_frames
from haltere.runs.run import Run
from tests.standins import card, card_made

__all__ = ["card", "card_made"]


def test_blocks_say_when_runs_were_and_what_waits(card: Path, tmp_path: Path) -> None:
    frames = find_frames([card]).frames
    names = tuple(frame.name for frame in frames)
    with open_book(tmp_path / "book") as book:
        outing = place_outing(book, card, "meadow", in_place=True)
        keep_frames(book, outing, frames)
        runs = (
            Run("run-01", "burst", names[:4], (), ""),
            Run("run-02", "sweep", names[4:], (), ""),
        )
        keep_runs(book, outing, runs)
        decide(book, outing, names[:1], "keep")
        decide(book, outing, names[1:3], "drop")
        undo(book)
        first, second = run_blocks(book, outing)
        assert (first.id, first.kind, first.frames, first.undecided) == ("run-01", "burst", 4, 3)
        assert (second.id, second.frames, second.undecided) == (
            "run-02",
            len(names) - 4,
            len(names) - 4,
        )
        assert (first.begins, first.ends) == (frames[0].shooting.time, frames[3].shooting.time)
        assert run_blocks(book) == (first, second)
        assert run_blocks(book, outing + 1) == ()


def test_frames_taken_up_by_name_are_those_of_the_outing(card: Path, tmp_path: Path) -> None:
    frames = find_frames([card]).frames
    with open_book(tmp_path / "book") as book:
        outing = place_outing(book, card, "meadow", in_place=True)
        keep_frames(book, outing, frames)
        by_name = FramesByName(book, outing)
        whole = {frame.name: frame for frame in frames_in(book, outing)}
        numbers = {name: by_name.number(name) for name in by_name}
        assert numbers == frame_ids(book, outing)
    assert dict(by_name) == whole
    assert "nobody.JPG" not in by_name
