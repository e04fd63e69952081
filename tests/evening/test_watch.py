"""A folder that is followed while frames arrive: clock and folder are stand-ins, step by step."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import Future
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from haltere.errors import SweepError, UsageError
from haltere.evening.capture import Told
from haltere.evening.watch import Watch
from haltere.evening.watch_arrivals import Arrivals, Mark, has_end, list_folder
from haltere.evening.watch_said import Notice, RunSaid, Said
from haltere.evening.watch_words import CAUTION
from haltere.frames import Decoder
from haltere.runs import Run, Splitting
from haltere.runs.split import partings
from haltere.sweeps.focusing import Focusing
from tests.standins import StandInSweep, made_coverage, made_keepers, write_photo

START = datetime(2031, 6, 14, 18, 4, 12)


class Scene:
    """A folder, a clock and rooms that answer out of thin air."""

    def __init__(self, folder: Path, decoder: Decoder) -> None:
        self.folder, self.decoder = folder, decoder
        self.now_s = 0.0
        self.away = False
        self.kind = "sweep"
        self.complete: bool | None = False
        self.remark = ""
        self.solved: list[tuple[str, ...]] = []
        self.fail: Exception | None = None
        self.begun: list[Callable[[], Any]] = []
        self.held_up = False
        self.arrivals = Arrivals(folder, lister=self.listed)
        self.watch = self.open()

    def open(self, **more: Any) -> Watch:
        return Watch(self.arrivals, self.decoder, Told(), lambda: self.now_s, self.begin, **more)

    def listed(self, folder: Path) -> dict[Path, Mark]:
        if self.away:
            raise FileNotFoundError(folder)
        return list_folder(folder)

    def begin(self, work: Callable[[], Any]) -> Future[Any]:
        result: Future[Any] = Future()

        def run() -> None:
            if not result.set_running_or_notify_cancel():
                return
            try:
                result.set_result(work())
            except BaseException as error:
                result.set_exception(error)

        self.begun.append(run)
        if not self.held_up:
            self.catch_up()
        return result

    def catch_up(self) -> None:
        """Do what was held up, in the order in which it was begun."""
        while self.begun:
            self.begun.pop(0)()

    def shoot(self, name: str, at_s: float, into: str = "") -> Path:
        path = self.folder / into / name
        path.parent.mkdir(exist_ok=True)
        write_photo(path, START + timedelta(seconds=at_s), round(at_s * 10) % 250)
        return path

    def run_of(self, count: int, first: int = 1, at_s: float = 0.0) -> None:
        for k in range(count):
            self.shoot(f"W_{first + k:04d}.JPG", at_s + 0.2 * k)

    def steps(self, seconds: float) -> list[Said]:
        said: list[Said] = []
        for _ in range(round(seconds / 0.25)):
            self.now_s += 0.25
            said += self.watch.step()
        return said

    def split_runs(self, frames: Any, decoder: Any, progress: Any) -> Splitting:
        progress("looking at frames", 0, 1)
        starts = [k for k, new in enumerate(partings(frames)) if new or k == 0]
        runs = []
        for a, b in zip(starts, [*starts[1:], len(frames)], strict=True):
            names = tuple(frame.name for frame in frames[a:b])
            kind: Any = self.kind if len(names) > 1 else "single"
            runs.append(Run(f"run-{len(runs) + 1:02d}", kind, names, (), ""))
        return Splitting(tuple(runs), ())

    def solve_sweep(self, frames: Any, decoder: Any, capture: Any, **more: Any) -> StandInSweep:
        from dataclasses import replace

        self.solved.append(tuple(frame.name for frame in frames))
        if self.fail is not None:
            raise self.fail
        said = made_coverage(frames)
        if self.complete is not False:
            said = replace(said, complete=self.complete, gaps=())
        if self.remark:
            said = replace(said, focusing=Focusing("not-told", 3.0, None, self.remark))
        return StandInSweep(said, frames)

    def judge_burst(self, frames: Any, decoder: Any, capture: Any, **more: Any) -> Any:
        return made_keepers(frames)


@pytest.fixture(scope="module")
def ahead() -> Iterator[Decoder]:
    with Decoder(workers=1) as opened:
        yield opened


@pytest.fixture
def scene(tmp_path: Path, ahead: Decoder, monkeypatch: pytest.MonkeyPatch) -> Iterator[Scene]:
    folder = tmp_path / "tethered"
    folder.mkdir()
    made = Scene(folder, ahead)
    for name in ("split_runs", "solve_sweep", "judge_burst"):
        monkeypatch.setattr(f"haltere.evening.watch.{name}", getattr(made, name))
    yield made
    made.catch_up()
    made.watch.stop()


def runs(said: list[Said]) -> list[RunSaid]:
    return [one for one in said if isinstance(one, RunSaid)]


def notices(said: list[Said]) -> list[str]:
    return [one.text for one in said if isinstance(one, Notice)]


def test_a_run_is_answered_when_it_pauses(scene: Scene) -> None:
    scene.run_of(6)
    (one,) = runs(scene.steps(3))
    assert one.outcome == "missing"
    assert one.worked.run.frames == tuple(f"W_{k:04d}.JPG" for k in range(1, 7))


def test_nothing_is_said_while_frames_arrive(scene: Scene) -> None:
    for k in range(8):
        scene.shoot(f"W_{k:04d}.JPG", 0.5 * k)
        assert scene.steps(0.5) == []
    assert len(runs(scene.steps(3))) == 1


def test_nothing_is_said_before_the_pause_is_over(scene: Scene) -> None:
    scene.watch = scene.open(pause_s=4.0)
    scene.run_of(6)
    assert scene.steps(4.0) == []
    assert len(runs(scene.steps(0.5))) == 1


def test_the_solution_is_begun_before_the_pause_is_over(scene: Scene) -> None:
    scene.watch = scene.open(pause_s=4.0)
    scene.run_of(6)
    scene.steps(1.0)
    assert len(scene.solved) == 1


def test_work_on_a_run_that_goes_on_is_dropped(scene: Scene) -> None:
    scene.held_up = True
    scene.run_of(6)
    scene.steps(0.75)
    scene.run_of(2, first=7, at_s=1.2)
    scene.held_up = False
    (one,) = runs(scene.steps(3))
    scene.catch_up()
    assert len(one.worked.run.frames) == 8
    assert scene.solved == [one.worked.run.frames]


def test_a_half_written_file_is_waited_for(scene: Scene) -> None:
    scene.run_of(5)
    whole = scene.shoot("W_0006.JPG", 1.0)
    data = whole.read_bytes()
    whole.write_bytes(data[: len(data) // 2])
    assert scene.steps(5) == []
    whole.write_bytes(data)
    (one,) = runs(scene.steps(3))
    assert len(one.worked.run.frames) == 6


def test_a_file_that_never_finishes_is_named_and_not_waited_for(scene: Scene) -> None:
    scene.run_of(5)
    path = scene.shoot("W_0006.JPG", 1.0)
    path.write_bytes(path.read_bytes()[:900])
    said = scene.steps(15)
    (text,) = notices(said)
    assert "W_0006.JPG" in text and "lacks its end" in text
    (one,) = runs(said)
    assert len(one.worked.run.frames) == 5


def test_a_file_that_vanishes_before_it_is_whole_is_forgotten(scene: Scene) -> None:
    scene.run_of(5)
    path = scene.shoot("W_0006.JPG", 1.0)
    path.write_bytes(path.read_bytes()[:900])
    scene.steps(0.5)
    path.unlink()
    (one,) = runs(scene.steps(3))
    assert len(one.worked.run.frames) == 5


def test_a_frame_that_vanishes_during_the_run_leaves_the_others(scene: Scene) -> None:
    scene.watch = scene.open(pause_s=4.0)
    scene.run_of(6)
    scene.held_up = True
    scene.steps(0.75)
    (scene.folder / "W_0006.JPG").unlink()
    scene.catch_up()
    (one,) = runs(scene.steps(5))
    assert len(one.worked.run.frames) == 5


def test_a_lot_of_which_nothing_is_left_is_told_and_ends_nothing(scene: Scene) -> None:
    scene.held_up = True
    scene.run_of(2)
    scene.steps(0.75)
    for path in scene.folder.iterdir():
        path.unlink()
    scene.catch_up()
    assert runs(scene.steps(3)) == []
    scene.held_up = False
    scene.run_of(5, first=20, at_s=100)
    assert len(runs(scene.steps(3))) == 1


def test_a_folder_that_vanishes_is_waited_for(scene: Scene) -> None:
    scene.away = True
    (gone,) = notices(scene.steps(5))
    assert "not there" in gone
    scene.away = False
    scene.run_of(5)
    said = scene.steps(3)
    assert any("is back" in text for text in notices(said))
    assert len(runs(said)) == 1


def test_a_broken_file_is_named_and_the_rest_goes_on(scene: Scene) -> None:
    scene.run_of(5)
    (scene.folder / "W_0006.JPG").write_bytes(b"\xff\xd8\xff\xe0 cut short \xff\xd9")
    said = scene.steps(3)
    assert "W_0006.JPG" in notices(said)[0]
    (one,) = runs(said)
    assert [bad.file for bad in one.skipped] == ["W_0006.JPG"]


def test_files_that_are_no_pictures_are_passed_over_in_silence(scene: Scene) -> None:
    (scene.folder / "W_0001.xmp").write_text("<x/>", encoding="utf-8")
    assert scene.steps(4) == []


def test_two_runs_in_a_lump_are_told_apart_by_the_cameras_clock(scene: Scene) -> None:
    scene.kind = "burst"
    scene.run_of(6)
    scene.run_of(5, first=7, at_s=60)
    first, second = runs(scene.steps(3))
    assert (len(first.worked.run.frames), len(second.worked.run.frames)) == (6, 5)
    assert (first.worked.run.id, second.worked.run.id) == ("run-01", "run-02")


def test_a_run_that_comes_in_two_lumps_is_answered_anew_as_one(scene: Scene) -> None:
    scene.run_of(6)
    scene.steps(3)
    scene.run_of(4, first=7, at_s=1.2)
    (one,) = runs(scene.steps(3))
    assert len(one.worked.run.frames) == 10
    assert one.worked.run.id == "run-01"
    assert len(one.before) == 6


def test_another_pass_is_taken_together_with_the_first(scene: Scene) -> None:
    scene.run_of(6)
    scene.steps(3)
    scene.run_of(6, first=7, at_s=20)
    (one,) = runs(scene.steps(3))
    assert len(scene.solved[-1]) == 12
    assert "6 of them from the pass before" in one.line


def test_a_complete_sweep_is_not_taken_up_again(scene: Scene) -> None:
    scene.complete = True
    scene.run_of(6)
    scene.steps(3)
    scene.run_of(6, first=7, at_s=20)
    (one,) = runs(scene.steps(3))
    assert len(scene.solved[-1]) == 6
    assert one.before == ()


def test_a_sweep_much_later_is_no_other_pass(scene: Scene) -> None:
    scene.run_of(6)
    scene.steps(3)
    scene.run_of(6, first=7, at_s=2000)
    scene.steps(3)
    assert len(scene.solved[-1]) == 6


def test_what_was_there_before_is_left_alone_when_asked(scene: Scene) -> None:
    scene.run_of(6)
    assert scene.arrivals.pass_over() == 6
    assert scene.steps(4) == []
    scene.run_of(5, first=7, at_s=300)
    (one,) = runs(scene.steps(3))
    assert len(one.worked.run.frames) == 5


def test_folders_that_a_card_reader_makes_are_followed(scene: Scene) -> None:
    for k in range(5):
        scene.shoot(f"W_{k:04d}.JPG", 0.2 * k, into="100HLTRE")
    (one,) = runs(scene.steps(3))
    assert one.worked.run.frames[0] == "100HLTRE/W_0000.JPG"


def test_a_file_is_taken_when_it_gets_its_own_name(scene: Scene) -> None:
    scene.run_of(5)
    part = scene.folder / "W_0006.JPG.part"
    scene.shoot("W_0006.JPG", 1.0).rename(part)
    scene.steps(0.5)
    part.rename(scene.folder / "W_0006.JPG")
    (one,) = runs(scene.steps(3))
    assert len(one.worked.run.frames) == 6


def test_a_renamed_file_is_not_taken_twice(scene: Scene) -> None:
    scene.run_of(5)
    scene.steps(3)
    for path in list(scene.folder.iterdir()):
        path.rename(path.with_name(f"meadow-{path.name}"))
    assert scene.steps(4) == []


def test_the_folder_is_only_read(scene: Scene) -> None:
    scene.run_of(5)
    before = list_folder(scene.folder)
    scene.steps(3)
    assert list_folder(scene.folder) == before


def test_a_complete_sweep_rings_once_and_another_twice(scene: Scene) -> None:
    scene.complete = True
    scene.run_of(6)
    (one,) = runs(scene.steps(3))
    scene.complete = False
    scene.run_of(6, first=7, at_s=500)
    (two,) = runs(scene.steps(3))
    assert (one.rings, two.rings) == (1, 2)


def test_the_line_says_how_much_is_missing_and_where(scene: Scene) -> None:
    scene.run_of(6)
    (one,) = runs(scene.steps(3))
    assert "0.30 mm (1.5 depths of field) missing" in one.line
    assert "One stretch holds no usable plane." in one.line
    assert "\n" not in one.line


def test_beside_one_more_pass_stands_when_to_stop(scene: Scene) -> None:
    scene.run_of(6)
    (one,) = runs(scene.steps(3))
    assert CAUTION in one.line
    assert "One more pass" in CAUTION
    assert "stop when it answers" in CAUTION
    for sign in ("moving off", "rigid", "legs"):
        assert sign in CAUTION


def test_no_other_pass_is_called_for_when_all_is_there(scene: Scene) -> None:
    scene.complete = True
    scene.run_of(6)
    (one,) = runs(scene.steps(3))
    assert one.line == "Sweep of 6 frames: complete."


def test_a_complete_sweep_says_once_that_near_and_far_may_be_swapped(scene: Scene) -> None:
    scene.complete = True
    scene.remark = "Near and far may be swapped"
    scene.run_of(6)
    (one,) = runs(scene.steps(3))
    assert one.line == "Sweep of 6 frames: complete. Near and far may be swapped."


def test_a_burst_says_how_far_the_best_plane_lies_from_the_eye(scene: Scene) -> None:
    scene.kind = "burst"
    scene.run_of(4)
    (one,) = runs(scene.steps(3))
    assert one.outcome == "keeper"
    assert "0.02 mm behind the eye" in one.line


def test_a_single_frame_is_named_without_a_sound(scene: Scene) -> None:
    scene.shoot("W_0001.JPG", 0)
    (one,) = runs(scene.steps(3))
    assert (one.outcome, one.rings) == ("single", 0)


def test_a_run_that_fails_says_why_and_the_watch_goes_on(scene: Scene) -> None:
    scene.fail = SweepError("the frames do not overlap; give fewer of them.")
    scene.run_of(6)
    (one,) = runs(scene.steps(3))
    assert one.outcome == "failed"
    assert "do not overlap" in one.line
    scene.fail = None
    scene.run_of(6, first=7, at_s=500)
    assert [two.outcome for two in runs(scene.steps(3))] == ["missing"]


@pytest.mark.parametrize("pause_s", [0.0, -1.0, 0.1, 1000.0, float("nan"), float("inf")])
def test_an_absurd_pause_is_refused(scene: Scene, pause_s: float) -> None:
    with pytest.raises(UsageError):
        scene.open(pause_s=pause_s)


def test_a_picture_cut_anywhere_lacks_its_end(tmp_path: Path) -> None:
    whole = tmp_path / "a.jpg"
    write_photo(whole, START, 3)
    data = whole.read_bytes()
    assert has_end(whole) is True
    for share in (0.1, 0.5, 0.9):
        whole.write_bytes(data[: int(share * len(data))])
        assert has_end(whole) is False
    whole.write_bytes(data[: len(data) // 2] + bytes(len(data) // 2))
    assert has_end(whole) is False


def test_many_frames_that_are_a_burst_are_answered_as_one(scene: Scene) -> None:
    scene.kind = "burst"
    scene.run_of(20)
    (one,) = runs(scene.steps(3))
    assert (one.worked.run.kind, one.outcome) == ("burst", "keeper")


def test_a_long_sweep_is_solved_once(scene: Scene) -> None:
    scene.run_of(20)
    (one,) = runs(scene.steps(3))
    assert one.worked.run.id == "run-01"
    assert scene.solved == [one.worked.run.frames]
