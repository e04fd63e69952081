"""Sets of frames with their truth: repeatable, various, and as described."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haltere.scene import Truth, render_burst, render_single, render_sweep
from haltere.scene.animal import grow
from haltere.scene.kits import pick_outfit
from haltere.scene.runs import plan_burst, plan_sweep
from haltere.scene.truth import find_gaps

SMALL: dict[str, Any] = {"width_px": 160, "height_px": 120, "views": 8}


def _bytes(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in sorted(folder.iterdir())}


@pytest.fixture(name="sweep", scope="module")
def _sweep(tmp_path_factory: pytest.TempPathFactory) -> Truth:
    return render_sweep(3, tmp_path_factory.mktemp("sweep"), frames=8, **SMALL)


def test_the_same_seed_gives_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a", "b"):
        render_burst(11, tmp_path / name, frames=3, **SMALL)
    first = _bytes(tmp_path / "a")
    assert len(first) == 3 + 4
    assert first == _bytes(tmp_path / "b")


def test_another_seed_gives_another_animal_another_kit_and_another_hand(tmp_path: Path) -> None:
    truths = [render_single(s, tmp_path / str(s), **SMALL) for s in (21, 22)]
    pictures = [cv2.imread(str(tmp_path / str(s) / "sharp.png")) for s in (21, 22)]
    assert pictures[0] is not None
    assert pictures[1] is not None
    apart = np.abs(pictures[0].astype(int) - pictures[1].astype(int)).mean()
    assert apart > 15
    assert truths[0].eye_points_mm.tolist() != truths[1].eye_points_mm.tolist()
    kits = {pick_outfit(s, width_px=160, height_px=120).lens for s in range(12)}
    assert len(kits) > 6


def test_both_body_plans_come_up_and_have_two_eyes() -> None:
    animals = [grow(s) for s in range(10)]
    assert {a.plan for a in animals} == {"fly", "spider"}
    assert {a.support for a in animals} == {"leaf", "stem"}
    for a in animals:
        assert {p.eye for p in a.patches if p.label == 3} >= {0, 1}
        assert len(a.hairs.width) > 500


def test_the_reference_sees_the_world_straight(sweep: Truth) -> None:
    ref = sweep.frames[sweep.reference_index]
    assert ref.position_mm == 0.0
    assert ref.camera.centre_mm == pytest.approx((0.0, 0.0, -sweep.lens.pupil_distance_mm))
    assert ref.camera.rotation == pytest.approx(np.eye(3))


def test_maps_and_json_lie_beside_the_frames_and_agree(sweep: Truth) -> None:
    data = json.loads((sweep.folder / "truth.json").read_text(encoding="utf-8"))
    depth = cv2.imread(str(sweep.folder / "depth.png"), cv2.IMREAD_UNCHANGED)
    mask = cv2.imread(str(sweep.folder / "mask.png"), cv2.IMREAD_UNCHANGED)
    assert depth is not None
    assert mask is not None
    assert depth.dtype == np.uint16
    assert set(np.unique(mask)) == {0, 1, 2, 3}
    assert ((depth == 65535) == (mask == 0)).all()
    rule = data["depth_png"]
    mm = rule["depth_min_mm"] + depth.astype(float) * rule["scale_mm"]
    seen = mm[mask >= 2]
    assert (seen.min(), seen.max()) == pytest.approx(data["animal_visible_depth_mm"], abs=1e-3)
    assert [f["file"] for f in data["frames"]] == [f"frame_{i:03d}.jpg" for i in range(8)]
    assert all((sweep.folder / f["file"]).is_file() for f in data["frames"])


def test_the_eye_point_lies_on_the_eye_that_the_maps_show(sweep: Truth) -> None:
    mask = cv2.imread(str(sweep.folder / "mask.png"), cv2.IMREAD_UNCHANGED)
    assert mask is not None
    eyes = sweep.frames[sweep.reference_index].eyes_px
    near = int(np.argmin(sweep.eye_points_mm[:, 2]))
    x, y = np.rint(eyes[near]).astype(int)
    assert (mask[y - 1 : y + 2, x - 1 : x + 2] == 3).any()


def test_the_frame_focused_nearest_to_a_depth_is_the_sharpest_there(tmp_path: Path) -> None:
    truth = render_sweep(5, tmp_path, frames=12, width_px=480, height_px=360, views=24)
    depth = cv2.imread(str(tmp_path / "depth.png"), cv2.IMREAD_UNCHANGED)
    mask = cv2.imread(str(tmp_path / "mask.png"), cv2.IMREAD_UNCHANGED)
    rule = json.loads((tmp_path / "truth.json").read_text(encoding="utf-8"))["depth_png"]
    assert depth is not None
    assert mask is not None
    mm = rule["depth_min_mm"] + depth.astype(float) * rule["scale_mm"]
    planes = np.array([f.position_mm for f in truth.frames])
    near = float(np.quantile(mm[mask >= 2], 0.2))
    far = float(np.quantile(mm[mask >= 2], 0.8))
    picks = [truth.frames[int(np.argmin(np.abs(planes - z)))].file for z in (near, far)]
    greys = [cv2.imread(str(tmp_path / f), cv2.IMREAD_GRAYSCALE) for f in picks]

    def detail(grey: Any, z: float) -> float:
        band = (np.abs(mm - z) < truth.lens.depth_of_field_mm) & (mask >= 2)
        band = cv2.erode(band.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
        return float(np.abs(cv2.Laplacian(grey, cv2.CV_32F))[band].mean())

    assert detail(greys[0], near) > 1.15 * detail(greys[1], near)
    assert detail(greys[1], far) > 1.15 * detail(greys[0], far)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_clean_sweep_covers_the_animal(seed: int) -> None:
    outfit = pick_outfit(seed, width_px=160, height_px=120)
    run = plan_sweep(seed, outfit, frames=20)
    planes = np.array([t.position_mm for t in run.takes])
    dof = outfit.lens.depth_of_field_mm
    assert np.diff(planes).max() <= 0.95 * dof
    assert 0.5 * dof < np.diff(planes).mean() < 0.62 * dof


@given(st.lists(st.floats(-5, 5), min_size=1, max_size=12), st.integers(0, 1000))
def test_a_gap_is_just_what_no_plane_covers(planes: list[float], seed: int) -> None:
    depths = np.sort(np.random.default_rng(seed).uniform(-6, 6, 200))
    gaps = find_gaps(depths, np.array(planes), 0.5)
    covered = (np.abs(depths[:, None] - np.array(planes)[None]) <= 0.25 + 1e-9).any(axis=1)
    inside = np.array([any(g.from_mm <= d <= g.to_mm for g in gaps) for d in depths])
    # every depth is covered or lies in a gap; the ends of a gap may be both
    assert (covered | inside).all()
    strictly = np.array([any(g.from_mm + 1e-6 < d < g.to_mm - 1e-6 for g in gaps) for d in depths])
    assert not (covered & strictly).any()


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_in_a_burst_frames_are_clearly_keepers_or_clearly_not(seed: int) -> None:
    outfit = pick_outfit(seed, width_px=160, height_px=120)
    run = plan_burst(seed, outfit, frames=12, misfires=(3,), smeared=(8,))
    s, dof = outfit.lens.pupil_distance_mm, outfit.lens.depth_of_field_mm
    eye = run.stage.eye_points[np.argmin(run.stage.eye_points[:, 2])]
    off = np.array([(s - t.camera.to_camera(eye)[2]) / dof for t in run.takes])
    sharp = np.abs(off) <= 0.4
    assert (sharp | (np.abs(off) >= 0.6)).all()
    assert 2 <= sharp.sum() <= 4
    assert not sharp[[3, 8]].any()
    assert run.takes[8].blur_px >= 4.0


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_burst_without_keeper_has_no_eye_sharp(seed: int) -> None:
    outfit = pick_outfit(seed, width_px=160, height_px=120)
    run = plan_burst(seed, outfit, frames=12, keeper=False)
    s, dof = outfit.lens.pupil_distance_mm, outfit.lens.depth_of_field_mm
    for t in run.takes:
        off = (s - t.camera.to_camera(run.stage.eye_points)[:, 2]) / dof
        assert np.abs(off).min() > 1.0
