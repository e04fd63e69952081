"""`haltere repair` and `haltere relief`: what they print, and what they refuse."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from haltere.doors.cli import run
from haltere.doors.schemas import schema
from haltere.evening import file_merge
from haltere.frames import Decoder
from haltere.merge import merge_sweep
from tests.merge.made import two_depths

CORNERS = "100,30 140,30 140,90"


@pytest.fixture(scope="module")
def merged(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("merged")
    sweep, _ = two_depths(place)
    with Decoder(1) as decoder, sweep.lumas:
        file_merge(merge_sweep(sweep, decoder, place / "out"), place / "out", ())
    return place / "out"


def said(capsys: Any, *words: str) -> Any:
    assert run(list(words)) == 0, capsys.readouterr().err
    return json.loads(capsys.readouterr().out)


def test_repair_prints_what_its_schema_says(capsys: Any, merged: Path) -> None:
    words = ("repair", str(merged), "--polygon", CORNERS, "--from", "f001.png.tif", "--json")
    answer = said(capsys, *words)
    Draft202012Validator(schema("repair")).validate(answer)
    assert answer["repairs"][0]["frame"].endswith("f001.png.tif")
    listed = said(capsys, "repair", str(merged), "--list", "--json")
    Draft202012Validator(schema("repair")).validate(listed)
    assert listed["repairs"][0] | {"seen_share": 1.0} == answer["repairs"][0]
    undone = said(capsys, "repair", str(merged), "--undo", "--json")
    Draft202012Validator(schema("repair")).validate(undone)
    assert undone["repairs"] == [] and undone["taken_back"] == 1


def test_repair_says_in_words_what_stands(capsys: Any, merged: Path) -> None:
    assert run(["repair", str(merged), "--polygon", CORNERS, "--depth", "0.9"]) == 0
    assert "nearest to depth 0.9" in capsys.readouterr().out
    assert run(["repair", str(merged), "--undo"]) == 0
    out = capsys.readouterr().out
    assert "Taken back" in out and "No repair stands" in out


@pytest.mark.parametrize(
    ("words", "cure"),
    [
        ((), "say one thing"),
        (("--undo", "--list"), "say one thing"),
        (("--polygon", CORNERS), "where from"),
        (("--polygon", CORNERS, "--from", "f001.png.tif", "--depth", "1"), "where from"),
        (("--undo", "--depth", "1"), "go with a region"),
        (("--polygon", "1,1 2,2", "--depth", "1"), "three corners"),
        (("--polygon", "1,1 2,a 3,3", "--depth", "1"), "three corners"),
        (("--polygon", CORNERS, "--from", "elsewhere.jpg"), "is not among"),
        (("--polygon", CORNERS, "--depth", "nan"), "no depth"),
    ],
)
def test_a_repair_that_makes_no_sense_is_refused(
    capsys: Any, merged: Path, words: tuple[str, ...], cure: str
) -> None:
    assert run(["repair", str(merged), *words]) == 2
    assert cure in capsys.readouterr().err


def test_relief_prints_what_its_schema_says(capsys: Any, merged: Path, tmp_path: Path) -> None:
    words = ("relief", str(merged), "--out", str(tmp_path), "--along", "20,50,140,50", "--json")
    answer = said(capsys, *words)
    Draft202012Validator(schema("relief")).validate(answer)
    for name in ("pair", "red_cyan", "guessed_map"):
        assert (tmp_path / answer["stereo"][name]).exists()


@pytest.mark.parametrize(
    ("words", "cure"),
    [
        (("--along", "1,2,3"), "no line"),
        (("--along", "5,5,5,5"), "two different points"),
        (("--along", "0,0,9999,5"), "outside"),
        (("--angle", "-3"), "small angle"),
        (("--longest", "5"), "makes no picture"),
    ],
)
def test_a_relief_that_makes_no_sense_is_refused(
    capsys: Any, merged: Path, tmp_path: Path, words: tuple[str, ...], cure: str
) -> None:
    assert run(["relief", str(merged), "--out", str(tmp_path), *words]) == 2
    assert cure in capsys.readouterr().err
