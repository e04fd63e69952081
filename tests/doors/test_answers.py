"""The JSON that other programs rely on."""

from __future__ import annotations

import json
from dataclasses import fields
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from referencing import Registry, Resource

from haltere.doors.cli import run
from haltere.doors.schemas import VERBS, schema
from haltere.keepers.verdict import Keepers
from haltere.merge.merged import Merge
from haltere.merge.preview import Preview
from haltere.runs.run import Run
from haltere.sweeps.coverage import Coverage

FILES = (
    "picture",
    "picture_jpeg",
    "origin_map",
    "depth_map",
    "confidence_map",
    "seen_map",
    "views",
    "noise_map",
)
REGISTRY: Any = Registry().with_resources(
    [(f"haltere:{verb}", Resource.from_contents(schema(verb))) for verb in VERBS]
)


def check(verb: str, said: object) -> None:
    Draft202012Validator(schema(verb), registry=REGISTRY).validate(said)


def call(capsys: pytest.CaptureFixture[str], *words: object) -> Any:
    code = run([str(word) for word in words])
    printed = capsys.readouterr()
    assert code == 0, printed.err
    assert printed.err == ""
    return json.loads(printed.out)


@pytest.mark.parametrize("verb", VERBS)
def test_each_schema_is_a_valid_schema(verb: str) -> None:
    Draft202012Validator.check_schema(schema(verb))


def test_runs_prints_what_its_schema_says(capsys: Any, card: Path, engine: Any) -> None:
    said = call(capsys, "runs", card, "--json")
    check("runs", said)
    assert [one["kind"] for one in said["runs"]] == ["burst", "sweep", "single"]
    assert {one["file"] for one in said["skipped"]} >= {"broken.JPG", "notes.txt", "M_0099.JPG"}


def test_keepers_prints_what_its_schema_says(capsys: Any, card: Path, engine: Any) -> None:
    said = call(capsys, "keepers", card, "--json", "--magnification", "2")
    check("keepers", said)
    assert said["frames"][0]["rank"] == 1


def test_gaps_prints_what_its_schema_says(capsys: Any, card: Path, engine: Any) -> None:
    said = call(capsys, "gaps", card, "--json")
    check("gaps", said)
    assert said["complete"] is False


def test_each_gap_tells_how_far_its_worst_place_is_blurred(
    capsys: Any, card: Path, engine: Any
) -> None:
    (gap,) = call(capsys, "gaps", card, "--json")["gaps"]
    wide = gap["to_dof"] - gap["from_dof"]
    assert gap["blur_coc"] == pytest.approx(1 + wide * (1 if gap["kind"] == "inside" else 2))


def test_merge_prints_what_its_schema_says(
    capsys: Any, card: Path, engine: Any, tmp_path: Path
) -> None:
    said = call(capsys, "merge", card, "--json", "--out", tmp_path / "m")
    check("merge", said)


def test_a_preview_prints_what_its_schema_says_and_merges_nothing(
    capsys: Any, card: Path, engine: Any, tmp_path: Path
) -> None:
    said = call(capsys, "merge", card, "--preview", "--json", "--out", tmp_path / "m")
    check("preview", said)
    assert [path.name for path in (tmp_path / "m").iterdir()] == [said["preview"]]
    assert [name for name, _ in engine.asked] == ["solve_sweep", "preview_sweep"]


def test_evening_prints_what_its_schema_says(
    capsys: Any, card: Path, engine: Any, tmp_path: Path
) -> None:
    said = call(capsys, "evening", card, "--json", "--out", tmp_path / "e")
    check("evening", said)
    assert set(said["runs"][1]) >= {"gaps", "merge"}
    assert "keepers" in said["runs"][0]


def test_merged_files_lie_where_the_json_says_they_do(
    capsys: Any, card: Path, engine: Any, tmp_path: Path
) -> None:
    said = call(capsys, "merge", card, "--json", "--out", tmp_path / "m")
    for key in FILES:
        assert (tmp_path / "m" / said[key]).is_file()
    assert json.loads((tmp_path / "m" / "result.json").read_text(encoding="utf-8")) == said


def test_files_of_an_evening_lie_where_the_json_says_they_do(
    capsys: Any, card: Path, engine: Any, tmp_path: Path
) -> None:
    said = call(capsys, "evening", card, "--json", "--out", tmp_path / "e")
    assert Path(said["sheet"]).is_file()
    assert Path(said["overview"]).is_file()
    for key in FILES:
        assert (Path(said["out"]) / said["runs"][1]["merge"][key]).is_file()
    assert json.loads((tmp_path / "e" / "evening.json").read_text(encoding="utf-8")) == said


def test_one_run_is_never_split(capsys: Any, card: Path, engine: Any) -> None:
    said = call(capsys, "keepers", card, "--json")
    assert len(said["frames"]) == 10
    assert [name for name, _ in engine.asked] == ["judge_burst"]


def test_skipped_files_are_named_beside_the_answer(capsys: Any, card: Path, engine: Any) -> None:
    said = call(capsys, "gaps", card, "--json")
    assert {one["file"] for one in said["skipped"]} == {"broken.JPG", "notes.txt"}


def test_nothing_skipped_leaves_no_key_behind(capsys: Any, card: Path, engine: Any) -> None:
    files = sorted(card.glob("M_*.JPG"))
    assert "skipped" not in call(capsys, "gaps", *files, "--json")


@pytest.mark.parametrize(
    ("verb", "result", "path"),
    [
        ("keepers", Keepers, []),
        ("gaps", Coverage, []),
        ("merge", Merge, []),
        ("preview", Preview, []),
        ("runs", Run, ["$defs", "run"]),
    ],
)
def test_schema_and_dataclass_name_the_same_keys(verb: str, result: Any, path: list[str]) -> None:
    part = schema(verb)
    for step in path:
        part = part[step]

    assert set(part["required"]) == {one.name for one in fields(result)}
