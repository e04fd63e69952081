"""haltere deliver, as it is called."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from haltere.doors.cli import run
from haltere.doors.schemas import schema
from tests.finish.test_delivery import merge, placed


def call(*words: object) -> int:
    return run([str(word) for word in words])


def test_the_answer_is_what_its_schema_says(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from jsonschema import Draft202012Validator

    folder = merge(tmp_path / "m")
    assert call("deliver", folder, "--out", tmp_path / "o", "--sheet", "--json") == 0
    said = json.loads(capsys.readouterr().out)
    Draft202012Validator(schema("deliver")).validate(said)
    names = {one["file"] for one in said["files"]} | set(said["sheets"])
    assert {path.name for path in (tmp_path / "o").iterdir()} == names


def test_a_place_that_leaves_is_answered_with_a_caution(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    picture = placed(tmp_path / "c")
    assert call("deliver", picture, "--out", tmp_path / "a") == 0
    assert "protected" not in capsys.readouterr().out
    assert call("deliver", picture, "--out", tmp_path / "b", "--with-place") == 0
    said = capsys.readouterr().out
    assert "it says where it was taken" in said
    assert "rare or protected animals" in said
    assert "law" in said


def test_nothing_is_written_among_the_originals(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    picture = placed(tmp_path / "c")
    assert call("deliver", picture, "--out", tmp_path / "c") == 2
    assert "originals" in capsys.readouterr().err
    assert [path.name for path in (tmp_path / "c").iterdir()] == [picture.name]


def test_a_wrong_name_is_answered_in_a_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code = call("deliver", placed(tmp_path / "c"), "--out", tmp_path / "o", "--name", "{dat}")
    assert code == 2
    assert "did you mean {date}?" in capsys.readouterr().err


def test_a_broken_picture_alone_is_named_once_and_counts_as_failed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    whole = placed(tmp_path / "c")
    torn = tmp_path / "torn.jpg"
    content = whole.read_bytes()
    torn.write_bytes(content[: len(content) * 2 // 3])
    assert call("deliver", torn, "--out", tmp_path / "o") == 1
    said = capsys.readouterr().out
    assert said.count("torn.jpg") == 1
    assert "Nothing was delivered." in said
    assert call("deliver", torn, whole, "--out", tmp_path / "p") == 0
    assert "The files are in" in capsys.readouterr().out
