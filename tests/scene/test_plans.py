"""Body plans: each by its name, with eyes that can be found, and the old ones as they were."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from haltere.scene import Truth, mesh, render_single
from haltere.scene.animal import Plan, grow
from haltere.scene.growth import turned_head
from haltere.scene.pattern import KIND, SMOOTH_EYE, SPOT_AT
from haltere.scene.stage import looking_back, pose_matrix

PLANS: tuple[Plan, ...] = ("fly", "spider", "beetle", "wasp", "hopper")
NEW: tuple[Plan, ...] = ("beetle", "wasp", "hopper")
SEEDS = (1, 2, 3, 4, 5, 6, 7)
TINY: dict[str, Any] = {"width_px": 160, "height_px": 120, "views": 4}
# Sums over all vertices, hair tips and patterns, and a colour: taken before the other plans came.
AS_THEY_WERE: dict[tuple[Plan | None, int], tuple[float, float, float, float]] = {
    ("fly", 1): (23412.148465, 1482.721106, 266090.393196, 0.4963633537891334),
    ("fly", 2): (19796.167755, 1645.232185, 379661.337263, 0.015079657510300316),
    ("spider", 1): (27385.08589, 3318.613035, 356111.36822, 0.10802734931017084),
    ("spider", 2): (25038.989641, 3870.007665, 323994.253722, 0.22766732766271153),
    (None, 1): (21778.251613, 1499.934329, 303993.464017, 0.04515913530305623),
    (None, 2): (19934.384246, 876.750753, 375328.246565, 0.02081989390215476),
    (None, 3): (24932.556926, 2489.879382, 503058.242703, 0.027484267619064962),
    (None, 4): (19881.998135, 1031.674113, 309601.440245, 0.14035959914367627),
}


@pytest.fixture(name="singles", scope="module")
def _singles(tmp_path_factory: pytest.TempPathFactory) -> dict[Plan, list[Truth]]:
    root = tmp_path_factory.mktemp("plans")
    return {p: [render_single(s, root / f"{p}{s}", plan=p, **TINY) for s in SEEDS] for p in PLANS}


@pytest.mark.parametrize(("plan", "seed"), list(AS_THEY_WERE))
def test_flies_and_spiders_are_as_they_were_before_the_other_plans(
    plan: Plan | None, seed: int
) -> None:
    a = grow(seed, plan)
    sums = (
        float(sum(np.abs(p.points).sum() for p in a.patches)),
        float(np.abs(a.hairs.tip).sum()),
        float(np.abs(a.materials).sum()),
        a.palette.skin[0],
    )
    assert sums == pytest.approx(AS_THEY_WERE[plan, seed], rel=1e-9)


def test_a_seed_left_to_choose_takes_a_fly_or_a_spider() -> None:
    assert {grow(s).plan for s in range(16)} == {"fly", "spider"}


@pytest.mark.parametrize("plan", PLANS)
def test_every_plan_has_two_eyes_and_is_called_by_its_name(plan: Plan) -> None:
    for seed in SEEDS:
        a = grow(seed, plan)
        assert a.plan == plan
        assert {p.eye for p in a.patches if p.label == 3} >= {0, 1}
        assert {p.eye for p in a.patches if p.label != 3} & {0, 1} == set()


@pytest.mark.parametrize("plan", PLANS)
def test_the_nearer_eye_is_seen_where_the_truth_says(
    plan: Plan, singles: dict[Plan, list[Truth]]
) -> None:
    for truth in singles[plan]:
        frame = truth.frames[0]
        near = int(np.argmin(truth.eye_points_mm[:, 2]))
        assert frame.eye_visible_fraction[near] > 0.5
        mask = cv2.imread(str(truth.folder / "mask.png"), cv2.IMREAD_UNCHANGED)
        assert mask is not None
        x, y = np.rint(frame.eyes_px[near]).astype(int)
        assert (mask[y - 1 : y + 2, x - 1 : x + 2] == 3).any()


@pytest.mark.parametrize("plan", NEW)
def test_some_poses_show_both_eyes_and_some_only_one(
    plan: Plan, singles: dict[Plan, list[Truth]]
) -> None:
    seen = [sum(v > 0.5 for v in t.frames[0].eye_visible_fraction) for t in singles[plan]]
    assert set(seen) == {1, 2}


@pytest.mark.parametrize("plan", NEW)
def test_the_same_seed_gives_a_new_plan_the_same_bytes(
    plan: Plan, singles: dict[Plan, list[Truth]], tmp_path: Path
) -> None:
    again = render_single(SEEDS[0], tmp_path, plan=plan, **TINY)
    first = singles[plan][0].folder
    for p in sorted(first.iterdir()):
        assert p.read_bytes() == (again.folder / p.name).read_bytes()


def test_a_beetles_eyes_are_small_beside_those_of_the_others() -> None:
    size = {p: float(np.mean([grow(s, p).eye_radius for s in SEEDS])) for p in PLANS}
    assert all(size["beetle"] < 0.8 * size[p] for p in PLANS if p != "beetle")


@pytest.mark.parametrize("bend", [-3.0, 2.0])
def test_a_bent_eye_still_has_normals_square_to_its_surface(bend: float) -> None:
    centre, axes = np.array([0.3, 0.1, -0.2]), mesh.frame_along(np.array([0.5, 0.2, 0.9]))
    ball = mesh.rounded_box(
        centre, axes, np.array([0.05, 0.11, 0.06]), 2.0, 40, material=0, label=3, part=1, eye=0
    )
    for p in mesh.bent(ball, centre, axes, bend):
        along = mesh.unit(p.points[:, 2:] - p.points[:, :-2])
        assert np.abs(np.sum(along * p.normals[:, 1:-1], axis=-1)).max() < 0.02


def test_a_head_that_does_not_turn_looks_ahead() -> None:
    head = turned_head(np.zeros(3), 0.2, 0.0, 0.0, 0.0)
    assert head.at(0.1, 0.2, 0.3) == pytest.approx([0.3, 0.2, 0.3])


@pytest.mark.parametrize(("turn", "nod", "end"), [(0.5, 0.0, (1, 0, 1)), (0.0, 0.5, (1, -1, 0))])
def test_a_head_turns_to_its_right_and_nods_nose_down(
    turn: float, nod: float, end: tuple[int, int, int]
) -> None:
    head = turned_head(np.zeros(3), 1.0, turn, nod, 0.0)
    assert np.sign(np.round(head.centre, 9)) == pytest.approx(end)
    assert head.axes.T @ head.axes == pytest.approx(np.eye(3))


@pytest.mark.parametrize("yaw", [-0.8, 0.3, 1.2])
def test_the_dark_spot_of_a_smooth_eye_looks_into_the_lens_whatever_the_pose(yaw: float) -> None:
    a = grow(3, "hopper")
    turn = pose_matrix(yaw, 0.2, 0.0)
    posed = [replace(p, points=p.points @ turn.T, normals=p.normals @ turn.T) for p in a.patches]
    table = looking_back(a.materials, posed)
    eyes = [p for p in posed if p.eye in {0, 1}]
    assert all(int(table[p.material, KIND]) == SMOOTH_EYE for p in eyes)
    for n in (0, 1):
        own = [p for p in eyes if p.eye == n]
        toward = np.concatenate(
            [(p.local[..., :3] @ table[p.material, SPOT_AT:]).ravel() for p in own]
        )
        facing = np.concatenate([p.normals[..., 2].ravel() for p in own])
        assert facing[int(np.argmax(toward))] < -0.99
