"""The whole way as a person walks it: a small made-up card, the real rooms, real processes."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from PIL import Image
from referencing import Registry, Resource

from haltere.doors.schemas import VERBS, schema
from haltere.scene import make_card

REGISTRY: Any = Registry().with_resources(
    [(f"haltere:{verb}", Resource.from_contents(schema(verb))) for verb in VERBS]
)


def haltere(*words: object) -> subprocess.CompletedProcess[str]:
    call = [sys.executable, "-m", "haltere", *(str(word) for word in words)]
    return subprocess.run(call, capture_output=True, text=True, encoding="utf-8", check=False)


def said(verb: str, *words: object) -> Any:
    done = haltere(verb, *words, "--json")
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    Draft202012Validator(schema(verb), registry=REGISTRY).validate(answer)
    return answer


@pytest.fixture(scope="module")
def frames(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a card of small frames, and lay a broken file on it."""
    out = tmp_path_factory.mktemp("journey")
    folder = make_card(out, seed=2, width_px=480, height_px=360, views=12).frames_folder
    (folder / "HL019999.JPG").write_bytes(b"\xff\xd8\xff\xe1 the card was pulled too early")
    return folder


@pytest.fixture(scope="module")
def evening(frames: Path, tmp_path_factory: pytest.TempPathFactory) -> Any:
    """Work the card once."""
    before = {path.name: path.read_bytes() for path in frames.iterdir()}
    out = tmp_path_factory.mktemp("out")
    answer = said("evening", frames, "--out", out, "--magnification", 2)
    assert {path.name: path.read_bytes() for path in frames.iterdir()} == before
    return answer


def test_each_picture_of_the_card_lands_in_one_run_or_is_named_as_skipped(
    evening: Any, frames: Path
) -> None:
    used = [name for run in evening["runs"] for name in run["frames"]]
    left = [one["file"] for one in evening["skipped"]]
    raw = {path.name for path in frames.glob("*.DNG")}
    assert len(used) == len(set(used))
    assert set(used) | set(left) | raw >= {path.name for path in frames.iterdir()}
    assert "HL019999.JPG" in left


def test_each_run_has_its_answer_or_its_reason(evening: Any) -> None:
    for run in evening["runs"]:
        wanted = {"gaps", "merge"} if run["kind"] == "sweep" else {"keepers"}
        assert wanted <= set(run) or run.get("failed")


def test_the_sheet_of_the_card_opens(evening: Any) -> None:
    page = Path(evening["sheet"]).read_text(encoding="utf-8")
    assert all(f'id="{run["id"]}"' in page for run in evening["runs"])
    assert len(page) < 8_000_000
    with Image.open(evening["overview"]) as picture:
        picture.load()


def test_merged_pictures_of_the_evening_are_there(evening: Any) -> None:
    merged = [run["merge"] for run in evening["runs"] if "merge" in run]
    assert merged
    for one in merged:
        folder = Path(evening["out"])
        with Image.open(folder / one["picture_jpeg"]) as picture:
            x0, y0, x1, y1 = one["crop_px"]
            assert picture.size == (x1 - x0, y1 - y0)
        assert (folder / one["origin_map"]).is_file()


def test_one_run_alone_is_answered_like_in_the_evening(
    evening: Any, frames: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    burst = next(run for run in evening["runs"] if run["kind"] == "burst")
    monkeypatch.chdir(frames)
    alone = said("keepers", *burst["frames"], "--magnification", 2)
    assert alone["verdict"] == burst["keepers"]["verdict"]
    assert [f["frame"] for f in alone["frames"]] == [f["frame"] for f in burst["keepers"]["frames"]]


def test_a_pipe_hears_no_progress(frames: Path) -> None:
    done = haltere("runs", frames)
    assert done.returncode == 0
    assert done.stderr == ""


def test_a_wrong_call_leaves_with_exit_code_2() -> None:
    done = haltere("keepers")
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
