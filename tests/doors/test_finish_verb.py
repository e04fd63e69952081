"""haltere finish and haltere measure, as they are called."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from jsonschema import Draft202012Validator

from haltere.doors.cli import run
from haltere.doors.schemas import schema
from haltere.frames import write_map
from tests.finish.test_delivery import merge

KIT = ("--magnification", "2")


def call(capsys: pytest.CaptureFixture[str], *words: object) -> Any:
    code = run([str(word) for word in words])
    said = capsys.readouterr()
    assert code == 0, said.err
    return json.loads(said.out) if "--json" in words else said.out


@pytest.fixture
def merged(tmp_path: Path) -> Path:
    folder = merge(tmp_path / "m")
    write_map(folder / "confidence.tif", np.full((120, 160), 0.9, np.float32))
    write_map(folder / "depth.tif", np.zeros((120, 160), np.float32))
    return folder


@pytest.fixture
def kit(tmp_path: Path) -> Path:
    path = tmp_path / "kit.toml"
    lines = (
        "[sensor]", "width_mm = 4", "width_px = 1000",
        "[lens]", "focal_mm = 60", "f_number = 8", "magnification = 2",
    )  # fmt: skip
    path.write_text("\n".join(lines))
    return path


def mark(folder: Path) -> dict[str, str]:
    return {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.iterdir()
        if path.is_file() and not path.name.startswith("fieldbook")
    }


def test_the_answer_is_what_its_schema_says_and_the_files_are_there(
    merged: Path, kit: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    said = call(
        capsys, "finish", merged, "--kit", kit, "--sharpness", "0.5", "--calm", "1", "--crop",
        "1:1", "--exposure", "0.3", "--bar", "overlay", "--grey", "10,10,9,9", "--json",
    )  # fmt: skip
    Draft202012Validator(schema("finish")).validate(said)
    for key in ("picture", "picture_jpeg", "before_after", "scale_bar"):
        assert (Path(said["out"]) / said[key]).is_file(), key
    assert tifffile.imread(Path(said["out"]) / said["picture"]).shape == (120, 120, 3)
    assert said["settings"]["tone"]["balance"] != [1.0, 1.0, 1.0]


def test_the_merge_itself_stays_as_it_was(merged: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = mark(merged)
    call(capsys, "finish", merged, "--exposure", "1")
    after = mark(merged)
    assert {name: after[name] for name in before} == before


def test_what_is_not_said_stays_as_it_was_last_time(
    merged: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    call(capsys, "finish", merged, "--exposure", "1")
    said = call(capsys, "finish", merged, "--crop", "1:1", "--json")
    assert said["settings"]["tone"]["exposure_stops"] == 1.0
    assert said["settings"]["crop"] == "1:1"


def test_a_smear_that_was_measured_counts_unless_another_is_told(
    merged: Path, kit: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("haltere.evening.finishing.smear_of", lambda *_: 40.0)
    crop = call(capsys, "finish", merged, "--kit", kit, "--json")["crop"]
    assert (crop["motion_px"], crop["limited_by"]) == (40.0, "motion")
    told = call(capsys, "finish", merged, "--kit", kit, "--smear", "0", "--json")["crop"]
    assert told["motion_px"] == 0.0
    assert told["limited_by"] != "motion"


def test_each_change_can_be_taken_back(merged: Path, capsys: pytest.CaptureFixture[str]) -> None:
    call(capsys, "finish", merged, "--exposure", "1")
    once = tifffile.imread(merged / "finished" / "picture.tif")
    call(capsys, "finish", merged, "--exposure", "-1")
    said = call(capsys, "finish", merged, "--undo", "--json")
    assert said["settings"]["tone"]["exposure_stops"] == 1.0
    np.testing.assert_array_equal(tifffile.imread(merged / "finished" / "picture.tif"), once)
    said = call(capsys, "finish", merged, "--undo", "--json")
    assert said["picture"] is None
    assert not (merged / "finished" / "picture.tif").exists()
    assert "nothing to take back" in call(capsys, "finish", merged, "--undo")


def test_a_stop_more_doubles_the_light_of_the_file(
    merged: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from haltere.frames import to_linear

    call(capsys, "finish", merged, "--exposure", "-1")
    before, after = (
        to_linear(tifffile.imread(path), None, False)
        for path in (merged / "picture.tif", merged / "finished" / "picture.tif")
    )
    np.testing.assert_allclose(after, before / 2, atol=1e-4)


def test_a_finished_picture_is_delivered_with_what_was_done_to_it(
    merged: Path, kit: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    call(capsys, "finish", merged, "--kit", kit, "--sharpness", "1")
    said = call(capsys, "deliver", merged / "finished", "--out", tmp_path / "o", "--json")
    (file,) = said["files"]
    assert "Merged from 24 photographs" in file["disclosure"]
    assert "f/24 was restored" in file["disclosure"]


def test_sharpness_without_a_kit_is_refused_with_the_cure(
    merged: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["finish", str(merged), "--sharpness", "1"]) == 2
    assert "--kit" in capsys.readouterr().err
    assert run(["finish", str(merged), "--undo"]) == 0  # nothing was written down
    assert "nothing to take back" in capsys.readouterr().out


def test_a_lone_picture_needs_a_folder(
    merged: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lone = merged.parent / "card" / "M_0001.JPG"
    assert run(["finish", str(lone), "--exposure", "1"]) == 2
    assert "--out" in capsys.readouterr().err
    call(capsys, "finish", lone, "--exposure", "1", "--out", tmp_path / "f")
    assert (tmp_path / "f" / "picture.tif").is_file()
    assert run(["finish", str(lone), "--exposure", "1", "--out", str(lone.parent)]) == 2


@pytest.mark.parametrize(
    "words",
    [
        ("--sharpness", "2"), ("--crop", "0:0"), ("--grey", "wide"), ("--exposure", "nan"),
        ("--black", "1", "--white", "0.5"), ("--bar", "burnt"), ("--undo", "--exposure", "1"),
        ("--view", "0"), ("--print", "-3"),
    ],
)  # fmt: skip
def test_absurd_wishes_are_refused_in_a_sentence(
    merged: Path, words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["finish", str(merged), *words]) == 2
    assert "Traceback" not in capsys.readouterr().err


def test_measuring_answers_as_its_schema_says(
    merged: Path, kit: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    said = call(capsys, "measure", merged, "--kit", kit, "--line", "10,10 90,10 90,70", "--json")
    Draft202012Validator(schema("measure")).validate(said)
    assert said["length_mm"]["value"] == pytest.approx(140 * 0.002, rel=1e-3)
    assert said["angles_deg"][0]["value"] == pytest.approx(90.0, abs=0.5)


def test_measuring_by_something_of_known_length(
    merged: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    said = call(
        capsys, "measure", merged, "--line", "0,0 0,50", "--known", "1", "--along", "0,0 100,0",
        "--json",
    )  # fmt: skip
    assert said["length_mm"]["value"] == pytest.approx(0.5)
    assert said["scale"]["source"] == "measured"


@pytest.mark.parametrize(
    "words",
    [
        ("--line", "1,1"), ("--line", "0,0 0,50"), ("--line", "a"),
        ("--line", "0,0 500,5", *KIT), ("--line", "0,0 9,9", "--known", "1"),
    ],
)  # fmt: skip
def test_lines_that_can_not_be_measured_are_refused(
    merged: Path, words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["measure", str(merged), *words]) == 2
    assert "Traceback" not in capsys.readouterr().err


def test_a_kept_line_is_told_again_until_it_is_taken_back(
    merged: Path, kit: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    line = ("--kit", kit, "--line", "10,10 90,10")
    first = call(capsys, "measure", merged, *line, "--keep", "left  feeler", "--json")
    call(capsys, "measure", merged, *line, "--keep", "body")
    said = call(capsys, "measure", merged, "--json")
    Draft202012Validator(schema("measure")).validate(said)
    assert [one["name"] for one in said["kept"]] == ["left feeler", "body"]
    assert said["kept"][0]["measured"] == {
        key: first[key] for key in ("points_px", *list(said["kept"][0]["measured"])[1:])
    }
    assert said["kept"][0]["line"]["points_px"] == [[10.0, 10.0], [90.0, 10.0]]
    assert "Taken back" in call(capsys, "measure", merged, "--undo")
    assert "left feeler" in call(capsys, "measure", merged)
    call(capsys, "measure", merged, "--undo")
    assert "No line is written down" in call(capsys, "measure", merged)
    assert "nothing to take back" in call(capsys, "measure", merged, "--undo")


@pytest.mark.parametrize(
    "words",
    [("--keep", "x"), ("--undo", "--line", "1,1 9,9"), ("--line", "1,1 9,9", "--keep", "x" * 61)],
)
def test_lines_that_can_not_be_kept_are_refused(
    merged: Path, kit: Path, words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["measure", str(merged), "--kit", str(kit), *words]) == 2
    assert call(capsys, "measure", merged, "--json") == {"kept": []}


def test_a_line_on_a_lone_picture_needs_a_book(
    merged: Path, kit: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    picture = tmp_path / "lone.tif"
    picture.write_bytes((merged / "picture.tif").read_bytes())
    words = ["measure", str(picture), "--kit", str(kit), "--line", "1,1 9,9", "--keep", "body"]
    assert run(words) == 2
    assert "--book" in capsys.readouterr().err
    said = call(capsys, *words, "--book", tmp_path / "book", "--json")
    assert [one["name"] for one in said["kept"]] == ["body"]


def test_dust_that_can_not_be_told_is_said_and_nothing_is_healed(
    merged: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    said = call(capsys, "finish", merged, "--dust", "--json")
    assert "views.json is gone" in said["dust"]
    assert said["made"]["healed"] == 0
    np.testing.assert_array_equal(
        tifffile.imread(merged / "finished" / "picture.tif"),
        tifffile.imread(merged / "picture.tif"),
    )
