"""The whole way, with stand-ins for the rooms that think."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from haltere.errors import FrameError, NothingToDoError, SweepError, UsageError
from haltere.evening import Told, as_json, outing_name, walk
from haltere.frames import Decoder


def test_each_run_is_asked_its_own_question(card: Path, engine: Any, tmp_path: Path) -> None:
    with Decoder() as decoder:
        evening = walk([card], tmp_path, decoder)
    asked = [name for name, _ in engine.asked]
    assert asked == ["split_runs", "judge_burst", "solve_sweep", "merge_sweep", "judge_burst"]
    burst, sweep, single = evening.outing.runs
    assert burst.keepers and single.keepers and not sweep.keepers
    assert sweep.gaps and sweep.merge


def test_a_run_that_fails_is_noted_and_the_evening_goes_on(
    card: Path, engine: Any, tmp_path: Path
) -> None:
    engine.fail["judge_burst"] = FrameError("M_0002.JPG: can't be decoded.")
    with Decoder() as decoder:
        evening = walk([card], tmp_path, decoder)
    burst, sweep, _ = evening.outing.runs
    assert burst.failed == "M_0002.JPG: can't be decoded."
    assert sweep.merge is not None
    assert evening.sheet.is_file()
    assert evening.answer()["runs"][0]["failed"] == burst.failed


def test_gaps_stay_when_only_the_merge_fails(card: Path, engine: Any, tmp_path: Path) -> None:
    engine.fail["merge_sweep"] = SweepError("Only one frame is usable.")
    with Decoder() as decoder:
        sweep = walk([card], tmp_path, decoder).outing.runs[1]
    assert sweep.gaps is not None
    assert sweep.merge is None
    assert sweep.failed == "Only one frame is usable."


def test_a_wrong_call_ends_the_evening_at_once(card: Path, engine: Any, tmp_path: Path) -> None:
    engine.fail["judge_burst"] = UsageError("wrong")
    with Decoder() as decoder, pytest.raises(UsageError):
        walk([card], tmp_path, decoder, Told())


def test_a_folder_without_pictures_is_said_to_be_one(tmp_path: Path) -> None:
    with Decoder() as decoder, pytest.raises(NothingToDoError, match="no picture"):
        walk([tmp_path], tmp_path / "out", decoder)


def test_originals_are_left_as_they_were(card: Path, engine: Any, tmp_path: Path) -> None:
    before = {path: (path.stat().st_mtime_ns, path.read_bytes()) for path in card.iterdir()}
    with Decoder() as decoder:
        walk([card], tmp_path, decoder)
    after = {path: (path.stat().st_mtime_ns, path.read_bytes()) for path in card.iterdir()}
    assert after == before


def test_progress_names_the_run_it_speaks_of(card: Path, engine: Any, tmp_path: Path) -> None:
    heard: list[str] = []

    def listen(step: str, done: int, total: int, /) -> None:
        heard.append(step)

    with Decoder() as decoder:
        walk([card], tmp_path, decoder, None, listen)
    (asked,) = [what for name, what in engine.asked if name == "solve_sweep"]
    asked["progress"]("aligning", 1, 5)
    assert heard[-1] == "run-02 (2 of 3), aligning"


def test_the_same_card_gives_the_same_answer(card: Path, engine: Any, tmp_path: Path) -> None:
    said = []
    for name in ("a", "b"):
        with Decoder() as decoder:
            evening = walk([card], tmp_path / name, decoder)
        text = (evening.out / "evening.json").read_text(encoding="utf-8")
        said.append(text.replace(str(evening.out), "OUT"))
        said.append(evening.sheet.read_text(encoding="utf-8"))
    assert said[:2] == said[2:]


def test_a_number_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        as_json({"sharpness": float("nan")})


def test_letters_outside_ascii_stay_readable() -> None:
    assert "Rüsselkäfer" in as_json({"outing": "Rüsselkäfer"})
    assert json.loads(as_json({"outing": "Rüsselkäfer"})) == {"outing": "Rüsselkäfer"}


@pytest.mark.parametrize(
    ("folder", "name"),
    [
        ("meadow", "meadow"),
        ("meadow/DCIM", "meadow"),
        ("meadow/DCIM/100HLTRE", "meadow"),
        ("2031-06-14", "2031-06-14"),
    ],
)
def test_an_outing_is_named_by_people_not_by_cameras(
    folder: str, name: str, tmp_path: Path
) -> None:
    (tmp_path / folder).mkdir(parents=True)
    assert outing_name([tmp_path / folder]) == name
