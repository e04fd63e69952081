"""haltere sidecars and haltere drop: what a person sees, what a program reads."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from jsonschema import Draft202012Validator

from haltere.doors.cli.clock import clock
from haltere.doors.cli.decide import decide as decide_verb
from haltere.doors.cli.decide import undo as undo_verb
from haltere.doors.cli.drop import drop
from haltere.doors.cli.sidecars import sidecars
from haltere.doors.schemas import schema
from haltere.errors import UsageError
from haltere.fieldbook import decide
from tests.records.conftest import Editor, Walk


def ask(verb: object, walk: Walk, *words: object) -> Result:
    said = [str(word) for word in (*words, "--book", walk.book.folder)]
    return CliRunner().invoke(verb, said, catch_exceptions=False)  # type: ignore[arg-type]


@pytest.fixture
def walk(unloaded: Walk) -> Walk:
    decide(unloaded.book, unloaded.row.id, ["M_0001.JPG", "M_0003.JPG"], "drop")
    return unloaded


def test_json_is_what_its_schema_says(walk: Walk, other_program: Editor) -> None:
    other_program(walk.sidecar(0), rating=5)
    other_program(walk.sidecar(1), rating=2)
    walk.sidecar(3).write_bytes(b"")
    said = json.loads(ask(sidecars, walk, "--json").stdout)
    Draft202012Validator(schema("sidecars")).validate(said)
    assert [one["frame"] for one in said["written"]] == ["M_0003.JPG"]
    assert {one["frame"]: one["verdict"] for one in said["read"]} == {
        "M_0001.JPG": "keep",
        "M_0002.JPG": "keep",
    }
    assert said["conflicts"][0]["stands"] == "sidecar"
    assert said["skipped"][0]["file"] == str(walk.sidecar(3))
    assert said["unchanged"] == 0


def test_a_person_is_told_what_was_read_and_what_clashed(walk: Walk, other_program: Editor) -> None:
    other_program(walk.sidecar(0), rating=5)
    text = ask(sidecars, walk).stdout
    assert "1 sidecar written, 1 verdict read, 2 unchanged." in text
    assert "M_0001.JPG is drop in haltere and keep in its sidecar; the later stands: keep" in text
    assert "haltere undo takes back" in text


def test_dropped_frames_go_and_come_back(walk: Walk, tmp_path: Path) -> None:
    away = tmp_path / "away"
    assert "2 frames, 3 files" in ask(drop, walk, "--to", away).stdout
    assert "moved before" in ask(drop, walk, "--to", away).stdout
    assert "Moved back: 2 frames, 3 files." in ask(drop, walk, "--back").stdout
    assert ask(drop, walk, "--back").stdout == "No frame was moved.\n"


def test_frames_that_can_t_be_brought_back_are_named_with_exit_code_1(
    walk: Walk, tmp_path: Path
) -> None:
    ask(drop, walk, "--to", tmp_path / "away")
    shutil.rmtree(tmp_path / "away")
    said = ask(drop, walk, "--back")
    assert said.exit_code == 1
    assert "M_0001.JPG: " in said.stdout
    assert "M_0003.JPG: " in said.stdout


def test_a_refused_drop_makes_no_folder(in_place: Walk, tmp_path: Path) -> None:
    decide(in_place.book, in_place.row.id, ["M_0001.JPG"], "drop")
    with pytest.raises(UsageError, match="where you put them"):
        ask(drop, in_place, "--to", tmp_path / "away")
    assert not (tmp_path / "away").exists()


def test_nothing_dropped_is_said(unloaded: Walk, tmp_path: Path) -> None:
    assert "None of this outing is dropped" in ask(drop, unloaded, "--to", tmp_path / "a").stdout


@pytest.mark.parametrize("words", [(), ("--to", "away", "--back")])
def test_where_to_must_be_said_once(walk: Walk, words: tuple[str, ...]) -> None:
    with pytest.raises(UsageError, match="--to DIR"):
        ask(drop, walk, *words)


def printed(verb: str, command: object, walk: Walk, *words: object) -> Any:
    said = json.loads(ask(command, walk, *words, "--json").stdout)
    Draft202012Validator(schema(verb)).validate(said)
    return said


def test_a_decision_its_undoing_and_a_clock_are_told_to_programs(unloaded: Walk) -> None:
    made = printed("decide", decide_verb, unloaded, "drop", "M_0002.JPG", "M_0002.JPG")
    assert (made["verdict"], made["frames"]) == ("drop", ["M_0002.JPG"])
    back = printed("undo", undo_verb, unloaded)["taken_back"]
    assert (back["what"], back["done"]) == (made["what"], made["done"])
    assert printed("undo", undo_verb, unloaded) == {"taken_back": None}
    assert printed("clock", clock, unloaded)["before_s"] is None
    told = printed("clock", clock, unloaded, "--camera", "77", "--shift", "-1:00:00")
    assert told["before_s"] == 0
    assert {"serial": "77", "shift_s": -3600.0, "frames": 0} in told["cameras"]


def test_what_was_moved_is_told_to_programs(walk: Walk, tmp_path: Path) -> None:
    gone = printed("drop", drop, walk, "--to", tmp_path / "away")
    assert gone["way"] == "away"
    assert gone["frames"] == ["M_0001.JPG", "M_0003.JPG"]
    assert all(Path(file).is_file() for file in gone["files"])
    back = printed("drop", drop, walk, "--back")
    assert (back["way"], back["frames"]) == ("back", gone["frames"])
