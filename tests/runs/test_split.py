"""Whether small rendered evenings fall into the right runs."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from haltere.frames import Decoder, Frame, find_frames
from haltere.runs import Run, Splitting, Taker, split_runs
from haltere.runs.split import partings
from haltere.scene import render_burst, render_sweep

SMALL = {"width_px": 480, "height_px": 360, "views": 6}


@pytest.fixture(scope="module")
def sweep(tmp_path_factory: pytest.TempPathFactory) -> list[Frame]:
    folder = tmp_path_factory.mktemp("sweep")
    render_sweep(11, folder, frames=12, **SMALL)  # type: ignore[arg-type]
    return list(find_frames([folder]).frames)


@pytest.fixture(scope="module")
def burst(tmp_path_factory: pytest.TempPathFactory) -> list[Frame]:
    folder = tmp_path_factory.mktemp("burst")
    render_burst(12, folder, frames=8, misfires=(3,), smeared=(5,), **SMALL)  # type: ignore[arg-type]
    return list(find_frames([folder]).frames)


def _from(frames: list[Frame], start: datetime, prefix: str) -> list[Frame]:
    """The same frames, exposed every tenth of a second from `start`."""
    return [
        replace(
            frame,
            name=f"{prefix}{k}",
            shooting=replace(frame.shooting, time=start + timedelta(seconds=0.1 * k)),
        )
        for k, frame in enumerate(frames)
    ]


START = datetime(2026, 5, 1, 6, 0, 0)


def test_a_push_is_one_sweep_with_one_pass_away(sweep: list[Frame], decoder: Decoder) -> None:
    (run,) = split_runs(sweep, decoder).runs
    assert (run.kind, [p.direction for p in run.passes]) == ("sweep", ["away"])


def test_a_misfire_and_a_smear_do_not_part_a_burst(burst: list[Frame], decoder: Decoder) -> None:
    (run,) = split_runs(burst, decoder).runs
    assert run.kind == "burst"
    assert run.frames == tuple(f.name for f in burst)


def test_another_animal_without_a_pause_is_another_run(
    sweep: list[Frame], burst: list[Frame], decoder: Decoder
) -> None:
    frames = _from(sweep[:6], START, "a") + _from(burst[:3], START + timedelta(seconds=0.6), "b")
    runs = split_runs(frames, decoder).runs
    assert [len(run.frames) for run in runs] == [6, 3]


def test_a_pause_parts_the_same_animal(burst: list[Frame], decoder: Decoder) -> None:
    frames = _from(burst[:3], START, "a") + _from(burst[:1], START + timedelta(seconds=30), "b")
    runs = split_runs(frames, decoder).runs
    assert [(run.id, run.kind) for run in runs] == [("run-01", "burst"), ("run-02", "single")]


def test_a_broken_frame_is_skipped_and_parts_nothing(
    burst: list[Frame], decoder: Decoder, tmp_path: Path
) -> None:
    broken = tmp_path / "broken.jpg"
    broken.write_bytes(burst[1].path.read_bytes()[:200])
    frames = _from(burst[:3], START, "a")
    frames[1] = replace(frames[1], path=broken)
    said = split_runs(frames, decoder)
    assert [len(run.frames) for run in said.runs] == [2]
    assert [s.file for s in said.skipped] == ["a1"]


def test_no_frames_are_no_runs(decoder: Decoder) -> None:
    assert split_runs([], decoder).runs == ()


def test_frames_without_a_time_are_parted_by_likeness_alone(burst: list[Frame]) -> None:
    bare = [replace(f, shooting=replace(f.shooting, time=None)) for f in burst[:4]]
    assert partings(bare) == [False] * 4


def test_another_aperture_is_another_run(burst: list[Frame]) -> None:
    frames = _from(burst[:4], START, "a")
    frames[2:] = [replace(f, shooting=replace(f.shooting, f_number=22.0)) for f in frames[2:]]
    assert partings(frames) == [False, False, True, False]


def taken(frames: list[Frame], decoder: Decoder, longest_px: int) -> tuple[Splitting, list[Run]]:
    """What a taker is handed while frames are split, and the splitting."""
    runs: list[Run] = []
    taker = Taker(lambda some: longest_px, lambda run, some: runs.append(run))
    return split_runs(frames, decoder, taker=taker), runs


def test_each_run_is_handed_over_in_order_while_the_evening_is_split(
    sweep: list[Frame], burst: list[Frame], decoder: Decoder
) -> None:
    later = _from(burst, START + timedelta(minutes=1), "b")
    alone = _from(burst[:1], START + timedelta(minutes=2), "c")
    frames = [*_from(sweep, START, "a"), *later, *alone]
    told, runs = taken(frames, decoder, 480)
    assert [run.kind for run in runs] == ["sweep", "burst", "single"]
    assert told.runs == tuple(runs)
    decoder.forget(frames)


def test_splitting_says_the_same_whether_or_not_somebody_goes_on_with_the_runs(
    sweep: list[Frame], burst: list[Frame], decoder: Decoder
) -> None:
    frames = [*_from(sweep, START, "a"), *_from(burst, START + timedelta(minutes=1), "b")]
    told, _ = taken(frames, decoder, 480)
    decoder.forget(frames)
    assert told == split_runs(frames, decoder)


def test_a_frame_by_itself_that_cannot_be_decoded_is_left_out_in_passing_too(
    burst: list[Frame], decoder: Decoder, tmp_path: Path
) -> None:
    broken = tmp_path / "broken.jpg"
    broken.write_bytes(burst[0].path.read_bytes()[:4000])
    (alone,) = _from([replace(burst[0], path=broken)], START + timedelta(minutes=2), "c")
    told, runs = taken([*_from(burst, START, "a"), alone], decoder, 480)
    assert [run.kind for run in runs] == ["burst"]
    assert [one.file for one in told.skipped] == ["c0"]
    decoder.forget(burst)
