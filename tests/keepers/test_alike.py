"""Repeats: one frame of each pose first, the others behind it, and nothing else."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haltere.align.lumas import Lumas
from haltere.focus.fault import Fault
from haltere.keepers.alike import NUMBERS, pose_distance, repeats, small_views
from haltere.keepers.verdict import JudgedFrame
from haltere.keepers.words import ranked

Floats = Any


def animal(leg_deg: float = 0.0) -> Floats:
    """Draw a mottled body with six banded legs on a plain ground; one leg can be set elsewhere."""
    rng = np.random.default_rng(7)
    picture = np.full((150, 200), 60.0, np.float32)
    skin = cv2.GaussianBlur(rng.normal(0, 1, picture.shape).astype(np.float32), (0, 0), 2.0)
    body = np.zeros(picture.shape, np.uint8)
    cv2.ellipse(body, (100, 60), (52, 24), 0, 0, 360, 1, -1)
    picture = np.where(body > 0, 120 + 250 * skin, picture).astype(np.float32)
    for number, x in enumerate((65, 80, 95, 110, 125, 140)):
        turn = np.deg2rad(90 + (leg_deg if number == 2 else 0.0))
        for step in range(0, 55, 2):
            at = (int(x + step * np.cos(turn)), int(80 + step * np.sin(turn)))
            cv2.circle(picture, at, 2, 170.0 if step // 8 % 2 else 20.0, -1)
    return cv2.GaussianBlur(picture, (0, 0), 0.7)


def frame(
    name: str, dof: float | None, *, keeper: bool | None = None, bad: str = ""
) -> JudgedFrame:
    faults = (Fault("motion", 0.9, bad),) if bad else ()
    good = dof is not None and abs(dof) <= 0.5 and not bad if keeper is None else keeper
    return JudgedFrame(name, 0, (5.0, 5.0), 0.9, None, dof, 0.1, faults, good)


def test_the_same_pose_is_at_no_distance() -> None:
    assert pose_distance(animal(), animal()) == 0.0


@pytest.mark.parametrize("sigma", [0.8, 1.5, 2.5])
def test_defocus_is_no_change_of_pose(sigma: float) -> None:
    soft = cv2.GaussianBlur(animal(), (0, 0), sigma)
    assert pose_distance(animal(), soft) < NUMBERS.pose


@pytest.mark.parametrize("gain", [0.4, 0.8, 1.6])
def test_exposure_is_no_change_of_pose(gain: float) -> None:
    assert pose_distance(animal(), animal() * np.float32(gain)) < NUMBERS.pose


def test_noise_is_no_change_of_pose() -> None:
    rng = np.random.default_rng(3)
    one, other = (animal() + rng.normal(0, 2, (150, 200)).astype(np.float32) for _ in range(2))
    assert pose_distance(one, other) < NUMBERS.pose


def test_a_pixel_of_wrong_registration_is_no_change_of_pose() -> None:
    moved = np.roll(animal(), (1, 1), axis=(0, 1))
    assert pose_distance(animal(), moved) < 0.3 * NUMBERS.pose


@pytest.mark.parametrize("turn", [12.0, 20.0, -30.0])
def test_a_leg_set_elsewhere_is_another_pose(turn: float) -> None:
    assert pose_distance(animal(), animal(turn)) > NUMBERS.pose


def test_a_leg_set_elsewhere_is_seen_through_defocus_and_exposure() -> None:
    soft = cv2.GaussianBlur(animal(20.0), (0, 0), 1.5) * np.float32(0.7)
    assert pose_distance(animal(), soft) > NUMBERS.pose


def test_distance_is_the_same_both_ways() -> None:
    there, back = pose_distance(animal(), animal(20.0)), pose_distance(animal(20.0), animal())
    assert there == pytest.approx(back, rel=0.1)


def test_what_one_frame_does_not_show_is_not_held_against_it() -> None:
    cut = animal()
    cut[:, :40] = np.nan
    assert pose_distance(animal(), cut) < NUMBERS.pose


def test_pictures_without_anything_in_common_are_not_alike() -> None:
    assert pose_distance(np.full((40, 40), np.nan, np.float32), animal()[:40, :40]) == 1.0


def test_frames_are_carried_to_one_view_of_the_animal() -> None:
    whole = cv2.resize(animal(), None, fx=4, fy=4)
    poses = np.zeros((3, 6))
    poses[1, 0] = 24.0  # the second was taken from further right
    with Lumas() as lumas:
        for shift in (0, -24, 0):
            lumas.add(np.clip(np.roll(whole, shift, axis=1), 0, 255).astype(np.uint8))
        found = np.array([True, True, False])
        views = small_views(lumas, poses, found, 0.0, 8000.0, (100.0, 60.0, 700.0, 540.0))
    first, second, lost = views
    assert lost is None
    assert first is not None
    assert second is not None
    assert first.shape == second.shape == (160, 200)
    inside = np.isfinite(first) & np.isfinite(second)
    assert np.abs(first - second)[inside].max() < 1.5
    assert pose_distance(first, second) == 0.0


def test_a_view_shows_what_its_box_holds() -> None:
    dot = np.zeros((600, 800), np.float32)
    dot[300:340, 440:480] = 255.0
    with Lumas() as lumas:
        lumas.add(dot.astype(np.uint8))
        (view,) = small_views(
            lumas, np.zeros((1, 6)), np.ones(1, bool), 0.0, 8e3, (200, 100, 700, 540)
        )
    assert view is not None
    light = np.nan_to_num(view) ** 2
    column = float((light.sum(0) * np.arange(light.shape[1])).sum() / light.sum())
    row = float((light.sum(1) * np.arange(light.shape[0])).sum() / light.sum())
    # the dot's middle is at pixel (459.5, 319.5), the view has 2.5 of them to one of its own
    assert column == pytest.approx((459.5 - 200 + 0.5) / 2.5 - 0.5, abs=0.12)
    assert row == pytest.approx((319.5 - 100 + 0.5) / 2.5 - 0.5, abs=0.12)


def test_what_a_frame_does_not_show_is_marked() -> None:
    poses = np.zeros((1, 6))
    poses[0, 0] = 200.0
    with Lumas() as lumas:
        lumas.add(np.full((300, 400), 90, np.uint8))
        (view,) = small_views(lumas, poses, np.array([True]), 0.0, 8000.0)
    assert view is not None
    assert np.isnan(view[:, :99]).all()
    assert np.isfinite(view[2:-2, 102:-2]).all()


def test_of_equal_keepers_the_best_leads_and_the_rest_repeat_it() -> None:
    frames = [frame("a", 0.3), frame("b", 0.05), frame("c", -0.4)]
    assert repeats(frames, [animal()] * 3) == ("b", None, "b")


def test_another_pose_is_no_repeat() -> None:
    frames = [frame("a", 0.05), frame("b", 0.1), frame("c", 0.2)]
    assert repeats(frames, [animal(), animal(25.0), animal()]) == (None, None, "a")


def test_a_frame_that_is_no_keeper_never_stands_behind_a_keeper() -> None:
    frames = [frame("a", 0.45), frame("b", 0.55)]
    assert repeats(frames, [animal()] * 2) == (None, None)


def test_frames_that_miss_alike_repeat_each_other_and_others_do_not() -> None:
    frames = [frame("a", 1.0), frame("b", 1.3), frame("c", 1.7), frame("d", -1.0)]
    assert repeats(frames, [animal()] * 4) == (None, "a", None, None)


def test_spoiled_frames_lead_nobody_and_follow_nobody() -> None:
    frames = [frame("a", 1.0, bad="smeared"), frame("b", 1.1), frame("c", 1.2)]
    assert repeats(frames, [animal()] * 3) == (None, None, "b")


def test_without_a_picture_nothing_is_said_to_repeat() -> None:
    assert repeats([frame("a", 0.1), frame("b", 0.1)], [None, animal()]) == (None, None)


places = st.lists(st.floats(-6, 6) | st.none(), min_size=1, max_size=14)


@given(places, st.data())
def test_rank_lists_keepers_then_repeats_of_keepers_then_the_rest(
    dofs: list[float | None], data: st.DataObject
) -> None:
    frames = [frame(f"f{k}", dof) for k, dof in enumerate(dofs)]
    poses = data.draw(
        st.lists(st.sampled_from([0.0, 25.0]), min_size=len(dofs), max_size=len(dofs))
    )
    drawn = {0.0: animal()[::2, ::2], 25.0: animal(25.0)[::2, ::2]}
    likes = repeats(frames, [drawn[pose] for pose in poses])
    order = ranked([replace(f, like=like) for f, like in zip(frames, likes, strict=True)])
    assert [f.rank for f in order] == list(range(1, len(frames) + 1))
    groups = [0 if f.keeper and f.like is None else 1 if f.keeper else 2 for f in order]
    assert groups == sorted(groups)
    best = min((abs(f.eye_offset_dof or 0.0) for f in frames if f.keeper), default=None)
    if best is not None:
        assert abs(order[0].eye_offset_dof or 0.0) == best
    rank = {f.frame: f.rank for f in order}
    assert all(f.like is None or rank[f.like] < f.rank for f in order)
