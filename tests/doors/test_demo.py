"""The demonstration: a made-up card is worked like any other."""

from __future__ import annotations

import json
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from haltere.doors.cli import run
from haltere.kit import read_kit
from haltere.scene import Outfit, pick_outfit


@dataclass
class StandInCard:
    """What a made-up card looks like from outside."""

    frames_folder: Path
    outfit: Outfit


@pytest.fixture
def seeds(card: Path, monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Put a copy of the small card in place of the simulator; answer the seeds asked for."""
    asked: list[int] = []

    def make_card(out: Path, *, seed: int, progress: Any) -> StandInCard:
        asked.append(seed)
        shutil.copytree(card, out / "frames")
        return StandInCard(out / "frames", pick_outfit(seed, width_px=320, height_px=240))

    monkeypatch.setattr("haltere.scene.make_card", make_card)
    return asked


def test_the_demo_keeps_card_kit_and_sheet_in_the_folder_named(
    capsys: Any, engine: Any, seeds: list[int], tmp_path: Path
) -> None:
    assert run(["demo", "--out", str(tmp_path / "d"), "--seed", "7", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert seeds == [7]
    assert Path(said["sheet"]) == tmp_path / "d" / "evening" / "sheet.html"
    assert Path(said["sheet"]).is_file()
    lens = pick_outfit(7, width_px=320, height_px=240).lens
    assert read_kit(tmp_path / "d" / "kit.toml").magnification == lens.magnification


def test_the_kit_of_the_demo_reaches_the_engine(
    engine: Any, seeds: list[int], tmp_path: Path, capsys: Any
) -> None:
    assert run(["demo", "--out", str(tmp_path)]) == 0
    captures = [what["capture"] for name, what in engine.asked if name == "solve_sweep"]
    assert [one.scale_source for one in captures] == ["kit"]
    assert str(tmp_path / "evening" / "sheet.html") in capsys.readouterr().out


@pytest.mark.parametrize("asked", [True, False])
def test_the_sheet_is_opened_only_when_asked(
    asked: bool,
    engine: Any,
    seeds: list[int],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: Any,
) -> None:
    opened: list[str] = []
    monkeypatch.setattr("click.launch", opened.append)
    words = ["demo", "--out", str(tmp_path), *(["--open"] if asked else [])]
    assert run(words) == 0
    assert opened == ([(tmp_path / "evening" / "sheet.html").as_uri()] if asked else [])
