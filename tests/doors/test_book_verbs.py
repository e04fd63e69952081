"""The verbs that work on the field book."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from haltere.doors.cli import run
from haltere.fieldbook import keep_frames, open_book, place_outing
from haltere.frames import find_frames


@pytest.fixture
def book(card: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A book that has the card as an outing, found by the environment."""
    folder = tmp_path / "book"
    with open_book(folder) as opened:
        number = place_outing(opened, card, "pond", day="2031-06-14", in_place=True)
        keep_frames(opened, number, find_frames([card]).frames)
    monkeypatch.setenv("HALTERE_BOOK", str(folder))
    return folder


def said(capsys: Any, *words: object) -> str:
    assert run([str(word) for word in words]) == 0
    printed: str = capsys.readouterr().out
    return printed


def test_outings_runs_and_verdicts_are_listed(capsys: Any, engine: Any, book: Path) -> None:
    assert "pond" in said(capsys, "book")
    assert "run-02" in said(capsys, "runs", "--outing", "pond")
    said(capsys, "decide", "keep", "run-01", "--outing", "1")
    said(capsys, "decide", "drop", "M_0010.JPG")
    listed = json.loads(said(capsys, "book", "--outing", "pond", "--json"))["frames"]
    verdicts = {one["frame"]: one["verdict"] for one in listed}
    assert verdicts["M_0001.JPG"] == verdicts["M_0004.JPG"] == "keep"
    assert verdicts["M_0010.JPG"] == "drop"
    assert verdicts["M_0005.JPG"] == "undecided"
    assert listed[0]["run"] == "run-01"


def test_undo_takes_back_the_last_act(capsys: Any, engine: Any, book: Path) -> None:
    said(capsys, "decide", "drop", "M_0001.JPG", "M_0002.JPG")
    assert "drop 2 frames" in said(capsys, "undo")
    assert "nothing to take back" in said(capsys, "undo")
    assert said(capsys, "book", "--verdict", "drop") == "Nothing found.\n"


def test_search_answers_by_name_and_verdict(capsys: Any, engine: Any, book: Path) -> None:
    said(capsys, "decide", "maybe", "M_0003.JPG")
    found = json.loads(said(capsys, "book", "--find", "0003", "--verdict", "maybe", "--json"))
    assert [one["frame"] for one in found["frames"]] == ["M_0003.JPG"]


def test_a_search_may_stay_within_an_outing(capsys: Any, engine: Any, book: Path) -> None:
    with open_book(book) as opened:
        other = place_outing(opened, book / "other", "other", in_place=False)
    inside = json.loads(said(capsys, "book", "--outing", "pond", "--find", "M_0003", "--json"))
    assert [one["frame"] for one in inside["frames"]] == ["M_0003.JPG"]
    assert said(capsys, "book", "--outing", str(other), "--find", "M_0003") == "Nothing found.\n"


@pytest.mark.parametrize("verb", ["evening", "merge"])
def test_nothing_derived_goes_among_the_book_s_originals(
    capsys: Any, engine: Any, book: Path, verb: str
) -> None:
    said(capsys, "runs", "--outing", "pond")
    words = ["--outing", "pond"] if verb == "evening" else ["--run", "run-02"]
    assert run([verb, *words, "--out", str(book / "originals" / "x")]) == 2
    assert "originals" in capsys.readouterr().err
    assert not (book / "originals").exists()


@pytest.mark.parametrize("verb", ["keepers", "gaps", "merge"])
def test_a_run_of_the_book_is_worked_and_remembered(
    capsys: Any, engine: Any, book: Path, verb: str
) -> None:
    said(capsys, "runs", "--outing", "pond")
    first = said(capsys, verb, "--run", "run-02", "--json")
    asked = len(engine.asked)
    assert said(capsys, verb, "--run", "run-02", "--json") == first
    assert len(engine.asked) == asked
    with open_book(book) as opened:
        rows = opened.connection.execute("SELECT verb, subject FROM step").fetchall()
    assert (verb, "run-02") in [tuple(row) for row in rows]


def test_an_evening_on_the_book_lies_in_the_book(capsys: Any, engine: Any, book: Path) -> None:
    answer = json.loads(said(capsys, "evening", "--outing", "pond", "--json"))
    assert Path(answer["sheet"]).is_relative_to(book / "derived")
    assert answer["outing"] == "pond"


@pytest.mark.parametrize(
    "words",
    [
        ["gaps"],
        ["gaps", "--run", "run-77"],
        ["gaps", "{card}", "--run", "run-01"],
        ["runs", "{card}", "--outing", "pond"],
        ["runs", "--outing", "lake"],
        ["decide", "drop", "strange.JPG"],
        ["decide", "burn", "M_0001.JPG"],
    ],
)
def test_a_wrong_call_is_one_sentence(
    capsys: Any, engine: Any, book: Path, card: Path, words: list[str]
) -> None:
    assert run([word.replace("{card}", str(card)) for word in words]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert "Traceback" not in printed.err


def test_an_empty_book_says_how_to_begin(
    capsys: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert run(["evening", "--book", str(tmp_path / "new")]) == 2
    assert "haltere unload" in capsys.readouterr().err
