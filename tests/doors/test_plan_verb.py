"""The verb plan: what a photographer sees, and what a wrong call is answered with."""

from __future__ import annotations

import json
import re
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


def test_the_sayings_are_in_the_json_when_both_are_asked_for(capsys: Any, kit: Path) -> None:
    words = ("--kit", kit, "--magnification", 1, "--sayings", "--json")
    told = json.loads(said(capsys, *words)[1])
    Draft202012Validator(schema("plan")).validate(told)
    assert len(told["sayings"]) == 8
    assert {"saying", "verdict", "text"} <= set(told["sayings"][0])


def test_the_text_speaks_of_the_settings_it_shows_and_no_third(capsys: Any, kit: Path) -> None:
    kit.write_text(KIT.replace("[flash]", "f_number = 4\n[flash]"), encoding="utf-8")
    words = ("--kit", kit, "--magnification", 1, "--depth", 3, "--light", "sun")
    out = said(capsys, *words)[1]
    assert re.findall(r"f/4\b(?!\.)", out) == ["f/4"]
    assert "--json and --why speak of f/4, as your kit says" in out
    told = json.loads(said(capsys, *words, "--json")[1])
    assert told["f_number_marked"] == 4
    assert any("f/4 " in one["text"] for one in told["warnings"])


def test_an_f_number_asked_for_has_a_block_of_its_own(capsys: Any, kit: Path) -> None:
    words = ("--kit", kit, "--magnification", 1, "--depth", 3, "--light", "sun", "--f-number", 4)
    out = said(capsys, *words)[1]
    assert "Your f/4   flash" in out
    assert "yours: the daylight alone is" in out
    assert "yours, f/4:" in out
    assert "At f/4 (yours)" in out
    assert "as your kit says" not in out


def test_assumed_names_the_flash_s_numbers_in_text_and_json(capsys: Any, kit: Path) -> None:
    words = ("--kit", kit, "--magnification", 1)
    out = " ".join(said(capsys, *words)[1].split())
    told = json.loads(said(capsys, *words, "--json")[1])
    assert told["flash"]["assumed"]
    assert set(told["flash"]["assumed"]) <= set(told["assumed"])
    assert all(text in out for text in told["assumed"])


def test_an_animal_that_one_frame_covers_needs_no_sweep(capsys: Any, kit: Path) -> None:
    out = said(capsys, "--kit", kit, "--magnification", 0.2, "--depth", 0.5)[1]
    assert "one frame covers it" in out
    assert "no sweep needed" in out
    assert "1 frames" not in out
    assert "one frame in 1 " not in out


def test_an_even_hand_and_a_high_certainty_are_told_as_they_are(capsys: Any, kit: Path) -> None:
    words = ("--kit", kit, "--magnification", 1, "--certainty", 0.999)
    assert "99.9 %" in said(capsys, *words)[1]
    even = said(capsys, *words, "--step-unevenness", 0)[1]
    assert "no hand is even" not in even
    assert "100 %" not in even


@pytest.mark.parametrize(
    ("guide", "says"), [(1, "stops too weak"), (200, "stops too strong"), (20, "flash at 1/")]
)
def test_the_head_of_a_setting_tells_a_flash_that_does_not_fit(
    capsys: Any, kit: Path, guide: float, says: str
) -> None:
    out = said(capsys, "--kit", kit, "--magnification", 1, "--guide-number", guide)[1]
    (head,) = [line for line in out.splitlines() if line.startswith("Sweep ")]
    assert says in head


def test_without_a_guide_number_nobody_says_there_is_no_flash(capsys: Any) -> None:
    words = "--sensor 17.3x13 --pixels-wide 5184 --focal 60 --magnification 1"
    out = " ".join(said(capsys, *words.split())[1].split())
    assert "no flash" not in out
    assert "flash power unknown" in out
    assert "can't be told" in out


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
        ["--magnification", "1", "--why", "airy_um", "--sayings"],
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
