from __future__ import annotations

from types import SimpleNamespace

import cv2
import numpy as np
import pytest

from haltere.merge.depth import DepthMap
from haltere.merge.limits import NUMBERS
from haltere.merge.paint import Painted
from haltere.merge.regained import blur_of_averaging, give_back

SHAPE = (150, 90)


def painted(linear: np.ndarray) -> Painted:
    shape = linear.shape[:2]
    seen = np.zeros(shape, np.uint16)
    return Painted(linear.copy(), seen, np.ones(shape, bool), np.zeros(shape, np.float32), None, {})


def grain() -> np.ndarray:
    light = np.random.default_rng(5).uniform(0.2, 0.8, (*SHAPE, 3))
    return cv2.GaussianBlur(light, (0, 0), 1.2).astype(np.float32)


def even(variance: float) -> np.ndarray:
    return np.full((30, 18), variance, np.float32)


def test_a_small_blur_is_taken_back():
    sharp = grain()
    taps = np.array([0.04, 0.92, 0.04])
    blurred = painted(cv2.sepFilter2D(sharp, -1, taps, taps))
    lost = np.abs(blurred.linear - sharp)[4:-4, 4:-4].mean()
    give_back(blurred, even(0.08))
    left = np.abs(blurred.linear - sharp)[4:-4, 4:-4].mean()
    assert left < 0.3 * lost


def test_rows_do_not_depend_on_which_of_their_neighbours_came_first():
    light = grain()
    kernel = np.array([[1, 4, 1], [4, -20, 4], [1, 4, 1]], np.float32) / 6
    expected = light - np.float32(0.04) * cv2.filter2D(light, -1, kernel)
    found = painted(light)
    give_back(found, even(0.08))
    np.testing.assert_allclose(found.linear[1:-1, 1:-1], expected[1:-1, 1:-1], atol=1e-6)


def test_light_is_never_below_none():
    light = np.zeros((*SHAPE, 3), np.float32)
    light[70:80, 40:50] = 1.0
    found = painted(light)
    give_back(found, even(0.2))
    assert found.linear.min() == 0.0


def test_pixels_beside_what_no_frame_saw_stay():
    light = grain()
    light[64:70, 40:50] = 0.0
    found = painted(light)
    found.origin[64:70, 40:50] = 65535
    give_back(found, even(0.08))
    np.testing.assert_array_equal(found.linear[63:71, 39:51], light[63:71, 39:51])
    assert (found.linear[61] != light[61]).any()


def planes_at(*depths_dof: float) -> SimpleNamespace:
    poses = np.zeros((len(depths_dof), 6))
    poses[:, 2] = 0.01 * np.array(depths_dof)
    return SimpleNamespace(
        poses=poses, lumas=SimpleNamespace(shape=(60, 80)), focal_px=300.0, dof=0.01, c_px=2.0,
        scale=0.5,
    )  # fmt: skip


def ground(depth: float, known: bool = True) -> DepthMap:
    shape = (30, 40)
    return DepthMap(
        np.full(shape, depth, np.float32), np.full(shape, known), np.ones(shape, np.float32),
        np.zeros(shape, np.float32), 2.0,
    )  # fmt: skip


def test_one_plane_alone_is_not_blurred_by_averaging():
    assert blur_of_averaging(planes_at(0.3), [0], ground(0.0)).max() == pytest.approx(0, abs=1e-6)


def test_a_plane_beside_the_sharp_one_blurs_by_its_weight():
    share = np.exp(-0.5 * (0.25 / NUMBERS.soft_dof) ** 2)
    # a circle of confusion of four full-size pixels for a depth of field
    expected = 0.25 * (4 * 0.25) ** 2 * share / (1 + share)
    found = blur_of_averaging(planes_at(0.0, 0.25), [0, 1], ground(0.0))
    np.testing.assert_allclose(found, expected, rtol=2e-3)


def test_where_no_depth_is_known_nothing_is_given_back():
    assert not blur_of_averaging(planes_at(0.0, 0.25), [0, 1], ground(0.0, known=False)).any()
