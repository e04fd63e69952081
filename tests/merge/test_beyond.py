from __future__ import annotations

import cv2
import numpy as np
import pytest

from haltere.frames import Decoder
from haltere.merge import merge_sweep
from haltere.merge.beyond import rims_beyond
from haltere.merge.places import in_parts, spots
from haltere.merge.prepared import prepare
from tests.merge.made import DOF, sweep_of, texture

PLANES = 17


@pytest.fixture(scope="module")
def decoder():
    with Decoder(1) as one:
        yield one


def leaf(folder, behind: float):
    """A textured half in focus, and an edge so many depths of field behind the last plane.

    From -17 on it lies before the first plane.
    """
    near = np.clip(texture((240, 320), 5), 0, 255)
    poses = np.zeros((PLANES, 6))
    poses[:, 2] = np.arange(PLANES) * DOF
    dark = np.full((240, 320), 30, np.float32)
    dark[:120] = 190
    pictures = []
    for k in range(PLANES):
        away = PLANES - 1 + behind - k
        blur = 1.4 * abs(away)
        far = cv2.GaussianBlur(dark, (0, 0), blur) if blur else dark
        # a lens whose opening was sampled leaves ripples, as grain does
        far = far + np.random.default_rng(k).normal(0, 0.3, far.shape).astype(np.float32)
        own = abs(k - 4)
        picture = cv2.GaussianBlur(near, (0, 0), own) if own else near.copy()
        picture[:, 160:] = far[:, 160:]
        grow = 1.0 / (1.0 - poses[k, 2])
        matrix = np.array([[grow, 0, 159.5 * (1 - grow)], [0, grow, 119.5 * (1 - grow)]])
        seen = cv2.warpAffine(
            picture, matrix, (320, 240), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT
        )
        grey = np.clip(np.rint(seen), 0, 255).astype(np.uint8)
        pictures.append(np.repeat(grey[..., None], 3, axis=2))
    return sweep_of(folder, pictures, poses)


def test_a_rim_behind_the_last_plane_is_taken_from_that_plane_all_along(tmp_path):
    sweep = leaf(tmp_path, 8.0)
    with sweep.lumas:
        ground = prepare(sweep).ground
    rim = ground.depth[112:128, 200:290] / DOF
    assert np.median(rim) == pytest.approx(PLANES - 1, abs=1.0)
    assert (rim > PLANES - 4).mean() > 0.98


def test_such_a_rim_is_among_the_places_to_look_at(tmp_path, decoder):
    sweep = leaf(tmp_path, 8.0)
    with sweep.lumas:
        merge = merge_sweep(sweep, decoder, tmp_path / "out")
    soft = [one.box_px for one in merge.suspicious if "behind the last plane" in one.text]
    assert soft
    x0, y0, x1, y1 = soft[0]
    assert x0 < 215 and x1 > 280 and y0 < 116 and y1 > 124
    assert (x1 - x0) * (y1 - y0) < 0.2 * 320 * 240


def test_an_edge_in_the_last_plane_is_not(tmp_path, decoder):
    sweep = leaf(tmp_path, 0.0)
    with sweep.lumas:
        merge = merge_sweep(sweep, decoder, tmp_path / "out")
    soft = [one for one in merge.suspicious if "behind the last plane" in one.text]
    # where both halves of the made-up scene meet, nothing is as a lens would show it
    assert not [one for one in soft if one.box_px[2] > 200]


def test_an_edge_before_the_first_plane_is_told_as_that(tmp_path, decoder):
    sweep = leaf(tmp_path, -(PLANES - 1) - 8.0)
    with sweep.lumas:
        merge = merge_sweep(sweep, decoder, tmp_path / "out")
    soft = [one for one in merge.suspicious if "soft here: it lies" in one.text]
    assert "before the first plane" in soft[0].text
    x0, y0, x1, y1 = soft[0].box_px
    assert x0 < 215 and x1 > 280 and y0 < 116 and y1 > 124
    assert not [one for one in soft if "behind the last plane" in one.text]


def growing(least: float = 2.0) -> np.ndarray:
    """Coarse detail that grows to the last label along a band of places."""
    coarse = np.full((20, 20, 30), 0.1, np.float32)
    coarse[8:13] = np.linspace(0.5, 10, 30) * least / 2.0
    return coarse


def rims(coarse, height: float, label: float = 3.0, known: bool = True):
    shape = (80, 80)
    return rims_beyond(
        coarse,
        np.full(shape, label, np.float32),
        np.full(shape, height, np.float32),
        np.full(shape, known),
        0.5,
        0.7,
    )


def test_weak_ripples_on_a_rim_are_no_depth_of_its_own():
    found = rims(growing(), 0.3)
    assert found.glow[40:44].all()
    assert found.there[40:44].all()


def test_a_hair_before_a_rim_keeps_its_depth():
    found = rims(growing(), 20.0)
    assert not found.glow.any()
    assert not found.there.any()


def test_a_depth_near_the_last_plane_is_no_contradiction():
    assert not rims(growing(), 0.3, label=26.0).glow.any()


def test_what_grows_to_the_first_plane_lies_before_it_unless_it_is_the_blur_of_what_lies_behind():
    found = rims(growing()[..., ::-1], 0.3, label=26.0)
    assert (found.nearer[9:12] > 0).all() and not found.nearer[:7].any()
    assert not found.soft.any()
    beside = growing()[..., ::-1].copy()
    beside[:8] = beside[13:] = 100.0 * np.exp(-((np.arange(30) - 26.0) ** 2) / 20.0)
    assert not rims(beside, 0.3, label=26.0).nearer.any()


def test_few_depths_of_field_tell_nothing_of_what_lies_behind():
    found = rims(growing()[..., ::4], 0.3, label=1.0)
    assert not found.glow.any() and not found.there.any() and not found.soft.any()


def test_a_slanting_spot_is_cut_into_smaller_boxes_that_hold_all_of_it():
    strength = np.zeros((100, 100), np.float32)
    for k in range(90):
        strength[k : k + 3, k : k + 3] = 1.0
    (whole,) = spots(strength, 0.5, 0.5, 1, 1)
    parts = in_parts(whole)
    held = np.zeros(strength.shape, bool)
    for part in parts:
        x0, y0, x1, y1 = part.box
        held[y0:y1, x0:x1] = True
    assert held[strength > 0].all()
    assert held.mean() < 0.3
    assert 2 < len(parts) < 20


def test_a_compact_spot_stays_one():
    strength = np.zeros((60, 60), np.float32)
    strength[20:40, 10:50] = 1.0
    (whole,) = spots(strength, 0.5, 0.5, 1, 1)
    assert in_parts(whole) == [whole]
