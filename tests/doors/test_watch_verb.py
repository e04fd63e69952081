"""haltere watch at the command line."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from referencing import Registry, Resource

from haltere.doors.cli import run
from haltere.doors.cli import watch as door
from haltere.doors.schemas import VERBS, schema
from haltere.fieldbook import answers_in, open_book, outings, runs_in

GUIDE = Path(__file__).parents[2] / "docs" / "guide"
REGISTRY: Any = Registry().with_resources(
    [(f"haltere:{verb}", Resource.from_contents(schema(verb))) for verb in VERBS]
)


@pytest.fixture
def folder(card: Path, tmp_path: Path, engine: Any, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Answer a folder of ten frames, and a clock that a look sets forward."""
    place = tmp_path / "tethered"
    place.mkdir()
    for path in card.glob("M_*.JPG"):
        shutil.copy(path, place)
    for name in ("split_runs", "judge_burst", "solve_sweep"):
        monkeypatch.setattr(f"haltere.evening.watch.{name}", getattr(engine, name))
    now = [0.0]

    def monotonic() -> float:
        return now[0]

    def sleep(seconds: float) -> None:
        now[0] += seconds

    monkeypatch.setattr(door.time, "monotonic", monotonic)
    monkeypatch.setattr(door.time, "sleep", sleep)
    return place


class AtOnce:
    """Stands in for threads: work is done when it is handed over."""

    def __init__(self, *_: object) -> None:
        self.over = False

    def __enter__(self) -> AtOnce:
        return self

    def __exit__(self, *_: object) -> None:
        self.over = True

    def submit(self, work: Any, *words: Any) -> Any:
        from concurrent.futures import Future

        result: Future[Any] = Future()
        try:
            result.set_result(work(*words))
        except Exception as error:
            result.set_exception(error)
        return result

    def shutdown(self, **_: object) -> None:
        self.over = True


@pytest.fixture(autouse=True)
def at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("concurrent.futures.ThreadPoolExecutor", AtOnce)
    monkeypatch.setattr("haltere.evening.watch.warm_up", lambda decoder: None)


def said(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str, str]:
    code = run([str(word) for word in words])
    printed = capsys.readouterr()
    return code, printed.out, printed.err


def test_each_run_is_one_line_of_json(capsys: Any, folder: Path) -> None:
    code, out, err = said(capsys, "watch", folder, "--from-start", "--once", "--json")
    assert (code, err) == (0, "")
    lines = [json.loads(line) for line in out.splitlines()]
    assert [line["outcome"] for line in lines] == ["keeper", "missing", "single"]
    for line in lines:
        Draft202012Validator(schema("watch"), registry=REGISTRY).validate(line)


def test_a_person_gets_a_line_for_each_run(capsys: Any, folder: Path) -> None:
    code, out, _ = said(capsys, "watch", folder, "--from-start", "--once")
    assert code == 0
    assert "run-02  Sweep of 5 frames: 0.30 mm (1.5 depths of field) missing." in out


def test_what_is_said_can_be_kept_for_the_page(capsys: Any, folder: Path, tmp_path: Path) -> None:
    place = tmp_path / "book"
    for _ in range(2):  # a second watch says the same of the same frames
        code, _, err = said(
            capsys,
            "watch",
            folder,
            "--from-start",
            "--once",
            "--book",
            place,
            "--magnification",
            "2",
        )
        assert (code, err) == (0, "")
        with open_book(place) as book:
            (outing,) = outings(book)
            assert (outing.name, outing.frames) == ("tethered", 10)
            kinds = [(run.id, run.kind) for run in runs_in(book, outing.id)]
            assert kinds == [("run-01", "burst"), ("run-02", "sweep"), ("run-03", "single")]
            answers = answers_in(book, outing.id)
        assert set(answers) == {("keepers", "run-01"), ("gaps", "run-02")}
        assert answers["gaps", "run-02"].params["capture"]["magnification"] == 2.0


def test_a_book_that_cannot_be_written_is_named_and_watching_goes_on(
    capsys: Any, folder: Path, tmp_path: Path
) -> None:
    (tmp_path / "book").write_text("no folder")
    code, out, err = said(
        capsys, "watch", folder, "--from-start", "--once", "--book", tmp_path / "book" / "x"
    )
    assert code == 0
    assert "run-02  Sweep of 5 frames" in out
    assert "can't be made" in err


def test_what_was_there_before_is_counted_and_left_alone(
    capsys: Any, folder: Path, engine: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    stop_after(monkeypatch, 40)
    code, out, _ = said(capsys, "watch", folder)
    assert code == 0
    assert "10 files that were already there: left alone; --from-start" in out
    assert engine.asked == []


def stop_after(monkeypatch: pytest.MonkeyPatch, looks: int) -> None:
    """Press Ctrl-C after some looks."""
    sleep, left = door.time.sleep, [looks]

    def pressed(seconds: float) -> None:
        left[0] -= 1
        if not left[0]:
            raise KeyboardInterrupt
        sleep(seconds)

    monkeypatch.setattr(door.time, "sleep", pressed)


def test_ctrl_c_ends_with_a_summary_and_exit_code_0(
    capsys: Any, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stop_after(monkeypatch, 40)
    code, out, err = said(capsys, "watch", folder, "--from-start")
    assert (code, err) == (0, "")
    assert out.splitlines()[-1] == (
        "1 sweep, 1 burst and 1 single came: 0 of 1 sweep complete and 1 of 1 burst with a keeper."
    )


def test_ctrl_c_leaves_nothing_but_json_on_stdout(
    capsys: Any, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stop_after(monkeypatch, 40)
    code, out, _ = said(capsys, "watch", folder, "--from-start", "--json")
    assert code == 0
    assert [json.loads(line)["id"] for line in out.splitlines()] == ["run-01", "run-02", "run-03"]


@pytest.mark.parametrize(("words", "rung"), [([], [1, 2, 0]), (["--quiet"], [])])
def test_the_bell_rings_as_often_as_the_guide_says(
    capsys: Any, folder: Path, monkeypatch: pytest.MonkeyPatch, words: list[str], rung: list[int]
) -> None:
    heard: list[int] = []
    monkeypatch.setattr(door, "ring", heard.append)
    said(capsys, "watch", folder, "--from-start", "--once", *words)
    assert heard == rung


@pytest.mark.parametrize(
    "words", [["--pause", "0"], ["--pause", "nan"], ["--magnification", "50"], ["--coc", "-1"]]
)
def test_a_wrong_call_is_exit_code_2(capsys: Any, folder: Path, words: list[str]) -> None:
    code, out, err = said(capsys, "watch", folder, *words)
    assert (code, out) == (2, "")
    assert err.startswith("haltere: ")


def test_the_guide_says_when_to_stop() -> None:
    page = (GUIDE / "watching.md").read_text(encoding="utf-8")
    part = page.split("\n## One more pass\n")[1].split("\n## ")[0]
    for words in ("Stop when the animal answers", "Moving off", "forelegs", "(cautions.md)"):
        assert words in part


def test_pictures_without_an_answer_are_counted_at_the_end(
    capsys: Any, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stop_after(monkeypatch, 3)
    code, out, _ = said(capsys, "watch", folder, "--from-start")
    assert (code, out.splitlines()[-1]) == (0, "10 pictures came and got no answer yet.")
