"""The card holds what it promises, and nothing but camera files in its folder."""

from __future__ import annotations

import json
from datetime import datetime
from itertools import pairwise
from pathlib import Path

import cv2
import exifread
import numpy as np
import pytest

from haltere.scene import Card, CardRun, make_card
from haltere.scene.card import FRAMES


@pytest.fixture(name="card", scope="module")
def _card(tmp_path_factory: pytest.TempPathFactory) -> Card:
    return make_card(tmp_path_factory.mktemp("card"), seed=1, width_px=160, height_px=120, views=3)


def _run(card: Card, name: str) -> CardRun:
    return next(r for r in card.runs if r.id == name)


def _moment(path: Path) -> float:
    with path.open("rb") as file:
        tags = exifread.process_file(file, details=False)
    whole = datetime.strptime(str(tags["EXIF DateTimeOriginal"]), "%Y:%m:%d %H:%M:%S")
    return whole.timestamp() + int(str(tags["EXIF SubSecTimeOriginal"])) / 1000


def test_it_is_one_outing_of_some_120_frames(card: Card) -> None:
    kinds = [r.kind for r in card.runs]
    assert (kinds.count("sweep"), kinds.count("burst"), kinds.count("single")) == (3, 3, 5)
    assert sum(len(r.files) for r in card.runs) == FRAMES
    assert 110 <= FRAMES <= 130


def test_the_frames_folder_holds_only_camera_files(card: Card) -> None:
    names = sorted(p.name for p in card.frames_folder.iterdir())
    listed = [f for r in card.runs for f in r.files + r.raw_files]
    assert names == sorted(listed)
    assert all(n.startswith("HL01") and n[-4:] in {".JPG", ".DNG"} for n in names)


def test_truth_lies_in_one_folder_a_run(card: Card) -> None:
    data = json.loads((card.truth_folder / "card.json").read_text(encoding="utf-8"))
    assert [r["id"] for r in data["runs"]] == [r.id for r in card.runs]
    for r in data["runs"]:
        folder = card.truth_folder / r["id"]
        assert {p.name for p in folder.iterdir()} == {
            "truth.json", "sharp.png", "depth.png", "mask.png",
        }  # fmt: skip
        truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
        assert [f["file"] for f in truth["frames"]] == r["files"]


def test_the_clean_sweep_has_no_gap_and_one_pass(card: Card) -> None:
    run = _run(card, "sweep-1")
    assert run.truth.gaps == ()
    assert {f.pass_number for f in run.truth.frames} == {0}


def test_the_second_pass_fills_the_hole_of_the_first(card: Card) -> None:
    run = _run(card, "sweep-2")
    dof = run.truth.lens.depth_of_field_mm
    away = np.array([f.position_mm for f in run.truth.frames if f.pass_number == 0])
    back = np.array([f.position_mm for f in run.truth.frames if f.pass_number == 1])
    assert np.diff(away).min() > 0 > np.diff(back).max()
    assert np.diff(away).max() - dof >= 2.5 * dof
    assert np.diff(np.sort(np.concatenate([away, back]))).max() <= 0.95 * dof
    assert run.truth.gaps == ()


def test_the_gap_is_wide_and_lies_in_the_middle_of_the_animal(card: Card) -> None:
    run = _run(card, "sweep-3")
    (gap,) = run.truth.gaps
    near, far = run.truth.visible_depth_mm
    assert gap.to_mm - gap.from_mm >= 2.5 * run.truth.lens.depth_of_field_mm
    assert (gap.from_mm - near) / (far - near) > 0.2
    assert (gap.to_mm - near) / (far - near) < 0.8


def test_one_burst_has_no_keeper_and_two_have(card: Card) -> None:
    assert [_run(card, f"burst-{i}").keeper for i in (1, 2, 3)] == [True, False, True]
    for i in (1, 3):
        assert 2 <= len(_run(card, f"burst-{i}").keepers) <= 4


def test_two_frames_are_dark_and_still_say_that_the_flash_fired(card: Card) -> None:
    dark = [f for r in card.runs for f in r.misfired]
    assert len(dark) == 2
    for name in dark:
        picture = cv2.imread(str(card.frames_folder / name))
        assert picture is not None
        assert picture.mean() < 20
        with (card.frames_folder / name).open("rb") as file:
            tags = exifread.process_file(file, details=False)
        assert "fired" in str(tags["EXIF Flash"]).lower()


def test_one_frame_is_raw_and_jpeg(card: Card) -> None:
    raws = [r for r in card.runs if r.raw_files]
    assert len(raws) == 1
    assert Path(raws[0].raw_files[0]).stem == Path(raws[0].files[0]).stem


def test_runs_are_told_apart_by_time(card: Card) -> None:
    times = [[_moment(card.frames_folder / f) for f in r.files] for r in card.runs]
    for before, after in pairwise(times):
        assert after[0] - before[-1] >= 20.0
    for run in times:
        if len(run) > 1:
            gaps = np.diff(run)
            assert gaps.min() > 0.07
            assert gaps.max() < 0.5
