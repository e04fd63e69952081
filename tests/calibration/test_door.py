"""The verb `calibrate`: what it prints, refuses and warns of."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from jsonschema import Draft202012Validator

from haltere.doors.cli.calibrate import calibrate
from haltere.doors.schemas import schema
from haltere.errors import HaltereError, UsageError
from haltere.kit import read_kit

from .made import Set

GUIDE = Path(__file__).parents[2] / "docs" / "guide" / "calibrating.md"


def call(*words: object) -> str:
    result = CliRunner().invoke(calibrate, [str(word) for word in words])
    if result.exception is not None:
        raise result.exception
    return result.stdout


def checked(*words: object) -> Any:
    said = json.loads(call(*words, "--json"))
    Draft202012Validator(schema("calibrate")).validate(said)
    return said


@pytest.fixture
def made(sets: dict[str, Set]) -> Set:
    return sets["retrofocus"]


@pytest.fixture
def flat(made: Set) -> Path:
    return made.flat.files[0]


def test_a_flat_picture_prints_what_its_schema_says(flat: Path) -> None:
    said = checked(flat, "--rule", 1)
    assert said["kind"] == "flat"
    assert said["sweep"] is None
    assert said["magnification"] == pytest.approx(1.0, rel=0.01)


def test_a_sweep_prints_what_its_schema_says(made: Set, flat: Path) -> None:
    said = checked(made.folder / "sweep", "--rule", 1, "--flat", flat)
    assert said["kind"] == "sweep"
    assert said["sweep"]["pupil_distance_mm"] == pytest.approx(100.0, rel=0.03)
    assert said["sweep"]["thin_lens_pupil_distance_mm"] == pytest.approx(120.0, rel=0.01)
    assert "pupil_distance_mm" in said["kit_lines"]


def test_words_say_what_it_changes_for_the_planes(made: Set) -> None:
    text = call(made.folder / "sweep", "--rule", 1, "--tilt", 45)
    assert "closer together" in text
    assert "Depth of field" in text
    assert "mm/s" in text
    assert "[calibration]" in text


def kit_file(folder: Path, magnification: float, pupil_mm: float) -> Path:
    file = folder / "known.toml"
    lens = f"[lens]\nmagnification = {magnification}\npupil_distance_mm = {pupil_mm}\n"
    file.write_text(lens, encoding="utf-8")
    return file


def test_a_sweep_is_compared_with_the_kit(made: Set, tmp_path: Path) -> None:
    kit = kit_file(tmp_path, 0.9, 125.0)
    text = call(made.folder / "sweep", "--rule", 1, "--tilt", 45, "--kit", kit)
    assert re.search(r"kit says 0\.9; lengths measured with it were 1[01]\.\d % too long", text)
    assert re.search(r"kit says 125 mm; .* (19|20)\.\d % closer together than with it", text)
    assert "far off" not in text


def test_a_kit_far_off_raises_a_question(flat: Path, tmp_path: Path) -> None:
    text = call(flat, "--rule", 1, "--kit", kit_file(tmp_path, 2.0, 125.0))
    assert "is --rule right" in text


def test_a_wrong_rule_writes_no_kit(made: Set, tmp_path: Path) -> None:
    out = tmp_path / "new.toml"
    with pytest.raises(HaltereError, match=r"--tilt 45 or --rule 2 right"):
        call(made.folder / "sweep", "--rule", 2, "--tilt", 45, "--out-kit", out)
    assert not out.exists()


NO_PICTURES = {
    "short text": (b"a short note", "but text"),
    "long text": ("Kr\u00e4uselr\u00e4nder \u2013 ".encode() * 400, "but text"),
    "utf-16 text": ("a note".encode("utf-16") * 50, "but text"),
    "three bytes": (b"\x01\x02\x03", "only 3 bytes"),
    "no picture's head": (bytes(range(1, 256)) * 40, ""),
}


@pytest.mark.parametrize("what", NO_PICTURES)
def test_a_file_that_is_no_picture_is_called_so(tmp_path: Path, what: str) -> None:
    content, more = NO_PICTURES[what]
    note = tmp_path / "rule.jpg"
    note.write_bytes(content)
    with pytest.raises(HaltereError, match=f"is not a picture.*{more}"):
        call(note, "--rule", 1)


def test_the_kit_is_written_where_it_is_asked_for(made: Set, tmp_path: Path) -> None:
    out = tmp_path / "new.toml"
    call(made.folder / "sweep", "--rule", 1, "--tilt", 45, "--out-kit", out)
    assert read_kit(out).pupil_distance_mm == pytest.approx(100.0, rel=0.03)


def test_a_kit_file_that_is_there_is_refused_before_any_work(flat: Path, tmp_path: Path) -> None:
    out = tmp_path / "kit.toml"
    out.write_text("", encoding="utf-8")
    with pytest.raises(UsageError, match="not overwritten"):
        call(flat, "--rule", 1, "--out-kit", out)


def test_one_picture_with_a_tilt_is_refused(flat: Path) -> None:
    with pytest.raises(UsageError, match="single picture"):
        call(flat, "--rule", 1, "--tilt", 45)


@pytest.mark.parametrize("pitch", [0, -1, "nan", 1e6])
def test_an_absurd_rule_is_refused(flat: Path, pitch: object) -> None:
    with pytest.raises(HaltereError, match="--rule"):
        call(flat, "--rule", pitch)


@pytest.mark.parametrize("text", ["help", "guide"])
def test_the_cautions_stand_where_the_rule_is_photographed(text: str) -> None:
    said = call("--help") if text == "help" else GUIDE.read_text(encoding="utf-8")
    said = " ".join(said.split())
    assert "living animal" in said
    assert "metal rule" in said
    assert "flash" in said
