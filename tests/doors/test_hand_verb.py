"""How the hand moves, from the command line."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from haltere.doors.cli import run
from haltere.fieldbook import open_book
from haltere.fieldbook.steps import record
from haltere.keepers.verdict import JudgedFrame, Keepers, Verdict
from tests.doors.test_answers import check
from tests.hand.made import wandering
from tests.records.meadow import meadow

RUNS = 6
KIT = ("--sensor", "17.3x13", "--pixels-wide", "5184", "--focal", "60", "--magnification", "1.4")


@pytest.fixture
def book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A book in which six bursts of a steady hand were judged."""
    draw = np.random.default_rng(1)
    with open_book(tmp_path / "book") as opened:
        meadow(opened, tmp_path / "lane")
        names = [f"M_{n:04}.JPG" for n in (1, 2, 3, 4)]
        for number in range(RUNS):
            at = wandering(np.arange(4) * 2.0, 0.3, 0.5, draw).tolist()
            judged = tuple(
                JudgedFrame(
                    name, rank, None, 1.0, mm, mm / 0.2, 0.1, (), abs(mm) < 0.1
                )
                for rank, (name, mm) in enumerate(zip(names, at, strict=True), 1)
            )  # fmt: skip
            result = Keepers(None, judged, Verdict("keeper", ""))
            record(opened, 1, "keepers", f"run-{number:02}", f"{number}", {"capture": {}}, result)
    monkeypatch.setenv("HALTERE_BOOK", str(tmp_path / "book"))
    return tmp_path


def said(capsys: Any, *words: object) -> str:
    assert run([str(word) for word in words]) == 0, capsys.readouterr().err
    printed: str = capsys.readouterr().out
    return printed


def test_a_hand_is_told_printed_and_drawn(capsys: Any, book: Path) -> None:
    told = said(capsys, "hand", "--page", book / "h.html")
    assert "Your hand wanders by 0." in told
    assert "From 6 bursts and 0 sweeps" in told
    printed = json.loads(said(capsys, "hand", "--json"))
    check("hand", printed)
    assert printed["moves"]["spread_mm"]["high"] < 1.0
    assert "<svg" in (book / "h.html").read_text(encoding="utf-8")


def test_the_plan_takes_the_hand_over_when_asked(capsys: Any, book: Path) -> None:
    usual = json.loads(said(capsys, "plan", *KIT, "--json"))
    mine = json.loads(said(capsys, "plan", *KIT, "--my-hand", "--json"))
    assert mine["burst"]["frame_chance"] > 2 * usual["burst"]["frame_chance"]
    assert any("wanders by 1.5 mm" in word for word in usual["assumed"])
    assert not any("wanders" in word for word in mine["assumed"])
    assert "Your own hand wanders by 0." in said(capsys, "plan", *KIT, "--my-hand")
    told = json.loads(said(capsys, "plan", *KIT, "--my-hand", "--hand-spread", "9", "--json"))
    assert told["burst"]["frame_chance"] < usual["burst"]["frame_chance"]


def test_a_support_is_written_down_for_an_outing_or_a_run(capsys: Any, book: Path) -> None:
    assert "outing 2031-06-14 hollow lane, run-01" in said(
        capsys, "hand", "--support", "a stick", "--run", "run-01"
    )
    said(capsys, "hand", "--support", "elbow", "--outing", "1")
    groups = json.loads(said(capsys, "hand", "--json"))["groups"]
    assert {(one["name"], one["bursts"]) for one in groups if one["by"] == "support"} == {
        ("a stick", 1),
        ("elbow", 5),
    }


def test_an_empty_book_is_answered_and_not_planned_with(
    capsys: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HALTERE_BOOK", str(tmp_path / "none"))
    assert "tell nothing of a hand yet" in said(capsys, "hand")
    check("hand", json.loads(said(capsys, "hand", "--json")))
    assert run(["plan", *KIT, "--my-hand"]) == 2
    assert "too little" in capsys.readouterr().err


@pytest.mark.parametrize(
    "words",
    [
        ["hand", "--run", "run-01"],
        ["hand", "--support", "x", "--run", "run-99"],
        ["hand", "--support", "x" * 41],
        ["hand", "--page", "x.pdf"],
        ["plan", *KIT, "--book", "x"],
    ],
)
def test_a_wrong_call_is_refused_in_one_sentence(capsys: Any, book: Path, words: list[str]) -> None:
    assert run(words) == 2
    assert capsys.readouterr().err.count("\n") == 1
