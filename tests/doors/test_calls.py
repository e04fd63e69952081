"""Calls that are wrong, that fail, that are stopped: what a person sees, and the exit code."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from haltere.doors.cli import run
from haltere.errors import SweepError
from haltere.sweeps.choice import NUMBERS as CHOICE


def said(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str, str]:
    code = run([str(word) for word in words])
    printed = capsys.readouterr()
    return code, printed.out, printed.err


def test_a_failure_is_one_sentence_and_exit_code_1(
    capsys: Any, card: Path, engine: Any, sweep_error: SweepError
) -> None:
    engine.fail["solve_sweep"] = sweep_error
    code, out, err = said(capsys, "gaps", card, "--json")
    assert (code, out) == (1, "")
    assert err == f"haltere: {sweep_error}\n"


@pytest.mark.parametrize(
    "words",
    [
        ["keepers"],
        ["nonsense"],
        ["runs", "no-such-folder"],
        ["keepers", "{card}", "--eye", "3"],
        ["keepers", "{card}", "--eye", "nan,3", "--eye-frame", "M_0001.JPG"],
        ["keepers", "{card}", "--eye", "3,3"],
        ["keepers", "{card}", "--eye-frame", "M_0001.JPG"],
        ["keepers", "{card}", "--eye", "3,3", "--eye-frame", "M_0077.JPG"],
        ["keepers", "{card}", "--eye", "999,3", "--eye-frame", "M_0001.JPG"],
        ["gaps", "{card}", "--reference", "M_0077.JPG"],
        ["gaps", "{card}", "--magnification", "0"],
        ["gaps", "{card}", "--coc", "nan"],
        ["gaps", "{card}", "--eye", "3"],
        ["gaps", "{card}", "--eye", "3,3"],
        ["gaps", "{card}", "--eye-frame", "M_0001.JPG"],
        ["gaps", "{card}", "--eye", "999,3", "--eye-frame", "M_0001.JPG"],
        ["gaps", "{card}", "--overlap", "0.81"],
        ["gaps", "{card}", "--overlap", "-0.1"],
        ["gaps", "{card}", "--overlap", "nan"],
        ["watch", "{card}", "--overlap", "1"],
        ["evening", "{card}", "--pupil-distance", "-4"],
        ["merge", "{card}", "--out", "{card}/merged"],
        ["merge", "{card}", "--out", "{card}"],
        ["merge", "{card}", "--preview", "--group", "8"],
        ["merge", "{card}", "--preview", "--keep-less"],
        ["evening", "{card}", "--kit", "{card}/notes.txt"],
    ],
)
def test_a_wrong_call_is_exit_code_2_without_a_traceback(
    capsys: Any, card: Path, engine: Any, words: list[str]
) -> None:
    code, out, err = said(capsys, *(word.replace("{card}", str(card)) for word in words))
    assert (code, out) == (2, "")
    assert err
    assert "Traceback" not in err


def test_the_wished_overlap_reaches_the_choice_of_frames(
    capsys: Any, card: Path, engine: Any
) -> None:
    said(capsys, "gaps", card)
    said(capsys, "gaps", card, "--overlap", "0.4")
    asked = [more["overlap"] for what, more in engine.asked if what == "solve_sweep"]
    assert asked == [CHOICE.overlap, 0.4]


def test_a_given_eye_reaches_the_gaps(
    capsys: Any, card: Path, engine: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    given = []

    def told(sweep: Any, decoder: Any, *eye: Any) -> Any:
        given.append(eye[:2])
        return sweep.coverage

    monkeypatch.setattr("haltere.evening.work.told_against_eye", told)
    said(capsys, "gaps", card, "--eye", "3,4", "--eye-frame", "M_0002.JPG")
    assert given == [((3.0, 4.0), "M_0002.JPG")]


def test_a_folder_without_pictures_says_so(capsys: Any, tmp_path: Path, engine: Any) -> None:
    empty = tmp_path / "empty"
    empty.mkdir()
    (empty / "readme.txt").write_text("nothing here", encoding="utf-8")
    code, _, err = said(capsys, "evening", empty, "--out", tmp_path / "out")
    assert code == 1
    assert "no picture" in err


def test_pictures_that_are_all_cut_short_make_no_run_and_that_is_said(
    capsys: Any, tmp_path: Path, card: Path
) -> None:
    first = next(iter(sorted(card.rglob("*.JPG"))))
    (tmp_path / first.name).write_bytes(first.read_bytes()[:-4000])
    code, out, _ = said(capsys, "runs", tmp_path)
    assert code == 0
    assert out.startswith("There is no run: no picture here could be worked on.\n")
    assert f"{first.name}: is cut short" in out


def test_a_defect_shows_one_sentence_and_keeps_the_traceback_in_a_file(
    capsys: Any, card: Path, engine: Any, cache: Path
) -> None:
    engine.fail["judge_burst"] = ZeroDivisionError("a count of nothing")
    code, out, err = said(capsys, "keepers", card)
    assert (code, out) == (1, "")
    assert len(err.splitlines()) == 1
    assert "defect in haltere" in err and "report" in err
    (log,) = (cache / "log" / "haltere").glob("defect-*.txt")
    assert str(log) in err
    assert "ZeroDivisionError: a count of nothing" in log.read_text(encoding="utf-8")


def test_stopping_is_one_sentence_and_exit_code_130(capsys: Any, card: Path, engine: Any) -> None:
    engine.fail["judge_burst"] = KeyboardInterrupt()
    code, out, err = said(capsys, "keepers", card)
    assert (code, out) == (130, "")
    assert len(err.strip().splitlines()) == 1
    assert "stopped" in err


def test_a_full_memory_is_one_sentence(capsys: Any, card: Path, engine: Any) -> None:
    engine.fail["judge_burst"] = MemoryError()
    code, _, err = said(capsys, "keepers", card)
    assert code == 1
    assert "memory" in err


def test_the_eye_may_be_read_in_a_frame_given_by_its_path(
    capsys: Any, card: Path, engine: Any
) -> None:
    where = card / "M_0002.JPG"
    code, _, err = said(capsys, "keepers", card, "--eye", "12.5,8", "--eye-frame", where)
    assert code == 0, err
    (_, asked), *_ = engine.asked
    assert (asked["eye"], asked["eye_frame"]) == ((12.5, 8.0), "M_0002.JPG")


def test_numbers_of_the_call_reach_the_capture(capsys: Any, card: Path, engine: Any) -> None:
    words = ["--magnification", "2", "--pupil-distance", "90", "--coc", "0.01"]
    assert said(capsys, "gaps", card, *words)[0] == 0
    (_, asked), *_ = engine.asked
    capture = asked["capture"]
    assert (capture.magnification, capture.pupil_distance_mm, capture.coc_mm) == (2, 90, 0.01)
    assert capture.focal_mm == 60.0


def test_without_out_results_go_to_the_cache_and_the_folder_is_named(
    capsys: Any, card: Path, engine: Any, cache: Path
) -> None:
    before = sorted(card.iterdir())
    code, out, _ = said(capsys, "merge", card)
    (folder,) = (cache / "cache" / "haltere" / "merges").iterdir()
    assert code == 0
    assert folder.name.startswith(card.name)
    assert str(folder) in out
    assert sorted(card.iterdir()) == before


def test_an_evening_says_where_the_sheet_is(
    capsys: Any, card: Path, engine: Any, tmp_path: Path
) -> None:
    code, out, _ = said(capsys, "evening", card, "--out", tmp_path / "e")
    assert code == 0
    assert str(tmp_path / "e" / "sheet.html") in out
    assert "A keeper" in out


def test_plain_answers_name_gaps_and_what_was_left_out(
    capsys: Any, card: Path, engine: Any
) -> None:
    code, out, _ = said(capsys, "gaps", card)
    assert code == 0
    assert "nothing sharp from 0.10 to 0.40 mm" in out
    assert "notes.txt" in out


def test_a_reader_that_goes_away_is_no_defect(card: Path) -> None:
    words = [sys.executable, "-c", "import sys; from haltere.doors.cli import main; main()"]
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run(
        [*words, "--help"], stdout=write, stderr=subprocess.PIPE, text=True, check=False
    )
    os.close(write)
    assert "defect" not in done.stderr
    assert "Traceback" not in done.stderr


def spoken(encoding: str, *words: str) -> str:
    """Run the command where the terminal knows only some letters."""
    done = subprocess.run(
        [sys.executable, "-m", "haltere", *words],
        capture_output=True,
        env={**os.environ, "PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"},
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.decode(encoding)


def test_a_terminal_that_knows_fewer_letters_gets_them_written_plainly() -> None:
    lens = ("--magnification", "2", "--focal", "60", "--f-number", "4")
    sensor = ("--sensor", "17.3x13", "--pixels-wide", "5184", "--pixels-high", "3888")
    words = ("plan", *lens, *sensor, "--why", "airy_um")
    assert "µm" in spoken("utf-8", *words)
    assert "0.55 um" in spoken("cp932", *words)
    told = [json.loads(spoken(one, *words, "--json")) for one in ("utf-8", "cp932")]
    assert told[0] == told[1]
    assert "µm" in told[1]["formula"]
