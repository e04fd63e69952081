from __future__ import annotations

import numpy as np

from haltere.merge.depth import without_specks


def slope():
    return np.tile(np.linspace(0, 0.02, 60, dtype=np.float32), (50, 1))


def test_a_lone_patch_takes_the_depth_around_it():
    depth = slope()
    depth[20:22, 30:33] += 0.05
    np.testing.assert_allclose(without_specks(depth, 0.003), slope(), atol=0.001)


def test_a_patch_at_the_nearest_depth_is_one_too():
    depth = slope()
    depth[20:22, 30:33] = -0.05
    np.testing.assert_allclose(without_specks(depth, 0.003), slope(), atol=0.001)


def test_a_hair_keeps_its_depth():
    depth = slope()
    depth[20:40, 30] += 0.05
    np.testing.assert_array_equal(without_specks(depth, 0.003), depth)


def test_a_depth_without_patches_is_left_alone():
    np.testing.assert_array_equal(without_specks(slope(), 0.003), slope())
