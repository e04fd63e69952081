"""The verb plan: what a photographer sees, and what a wrong call is answered with."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from haltere.doors.cli import run
from haltere.doors.schemas import schema

KIT = """
name = "Reedbed"
[sensor]
format = "23.5x15.6"
width_px = 6000
height_px = 4000
[lens]
focal_mm = 75
magnification_max = 1
f_number_min = 2.8
f_number_max = 22
[flash]
guide_number_m = 20
recycle_s = 2.5
[camera]
sync_s = "1/200"
"""


@pytest.fixture
def kit(tmp_path: Path) -> Path:
    path = tmp_path / "kit.toml"
    path.write_text(KIT, encoding="utf-8")
    return path


def said(capsys: Any, *words: object) -> tuple[int, str, str]:
    code = run(["plan", *(str(word) for word in words)])
    printed = capsys.readouterr()
    return code, printed.out, printed.err


def test_one_answer_has_both_settings_with_reasons_and_what_to_mind(capsys: Any, kit: Path) -> None:
    code, out, err = said(
        capsys, "--kit", kit, "--magnification", 1, "--depth", 3, "--light", "sun"
    )
    assert (code, err) == (0, "")
    assert "One shot   f/" in out
    assert "Sweep      f/" in out
    assert "push at" in out
    assert "Mind:" in out
    assert "optical finder" in out
    assert "Assumed" in out


def test_json_is_the_promised_one_and_nothing_else(capsys: Any, kit: Path) -> None:
    code, out, err = said(capsys, "--kit", kit, "--magnification", "1", "--json")
    assert (code, err) == (0, "")
    Draft202012Validator(schema("plan")).validate(json.loads(out))


def test_an_option_wins_over_the_kit(capsys: Any, kit: Path) -> None:
    def told(*words: object) -> Any:
        return json.loads(said(capsys, "--kit", kit, "--magnification", 1, *words, "--json")[1])

    assert told()["shutter_s"] == pytest.approx(1 / 200)
    assert told("--sync", "1/160")["shutter_s"] == pytest.approx(1 / 160)
    assert told("--coc", "0.02")["coc_mm"] == 0.02
    assert told("--tube", 25)["magnification_max"] == pytest.approx(1 + 25 / 75)
    assert told("--sensor", "36x24")["field_mm"] == [36, 24]


def test_everything_can_be_said_without_a_kit_file(capsys: Any) -> None:
    words = "--sensor 17.3x13 --pixels-wide 5184 --focal 60 --magnification 1 --f-number 8"
    code, out, _ = said(capsys, *words.split(), "--json")
    assert code == 0
    assert json.loads(out)["f_number_effective"] == pytest.approx(16)


def test_why_shows_formula_numbers_source_and_what_moves_it(capsys: Any, kit: Path) -> None:
    code, out, _ = said(
        capsys, "--kit", kit, "--magnification", 1, "--f-number", 8, "--why", "f_number_effective"
    )
    assert code == 0
    assert "= 2" in out or ": 16" in out
    assert "Matters most:" in out
    assert "Source:" in out
    assert "kit.pupil_magnification" in out


def test_why_speaks_json_too(capsys: Any, kit: Path) -> None:
    words = ("--kit", kit, "--magnification", 1, "--why", "airy_um", "--json")
    told = json.loads(said(capsys, *words)[1])
    assert {"key", "title", "formula", "filled", "value", "moves", "source"} <= set(told)


def test_the_sayings_of_the_craft_are_answered(capsys: Any, kit: Path) -> None:
    code, out, _ = said(capsys, "--kit", kit, "--magnification", 1, "--sayings")
    assert code == 0
    assert out.count("agree") + out.count("partly") >= 6
    assert "one frame per millimetre" in out


def test_hours_come_with_a_place(capsys: Any, kit: Path) -> None:
    place = ("--latitude", 41, "--longitude", 9, "--date", "2031-06-21", "--time-zone", "UTC")
    code, out, _ = said(capsys, "--kit", kit, "--magnification", 1, *place)
    assert code == 0
    assert "Hours" in out


@pytest.mark.parametrize(
    "words",
    [
        ["--magnification", "50"],
        ["--magnification", "nan"],
        ["--magnification", "1", "--why", "nonsense"],
        ["--magnification", "1", "--light", "moon"],
        ["--magnification", "1", "--date", "soon"],
        [
            "--magnification",
            "1",
            "--time-zone",
            "Nowhere/At-all",
            "--latitude",
            "1",
            "--longitude",
            "1",
        ],
        ["--magnification", "1", "--sensor", "1x1"],
        ["--magnification", "1", "--flash-kind", "magic"],
        ["--magnification", "1", "--widest", "22", "--smallest", "2.8"],
        [],
    ],
)
def test_a_wrong_wish_is_one_sentence_and_exit_code_2(
    capsys: Any, kit: Path, words: list[str]
) -> None:
    code, out, err = said(capsys, "--kit", kit, *words)
    assert (code, out) == (2, "")
    assert err.startswith("haltere: ")
    assert err.count("\n") == 1
