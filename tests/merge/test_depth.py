from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from haltere.merge.depth import _middle, depth_map, without_specks
from haltere.merge.noise import measure_noise
from haltere.merge.taken import Stretches
from haltere.merge.volume import Volume, changed_rows, focus_volume
from tests.merge.made import two_depths


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


@given(st.lists(st.floats(-1e3, 1e3, width=32), min_size=1, max_size=80))
def test_the_middle_one_is_that_of_the_sorted_values(values):
    room = np.append(np.array(values, np.float32), np.float32(-1e9))
    assert _middle(room, len(values)) == np.float32(sorted(values)[len(values) // 2])


def test_rows_looked_at_again_are_as_if_all_had_been(tmp_path):
    sweep, _ = two_depths(tmp_path)
    used = list(range(len(sweep.frames)))
    region = np.zeros((120, 160), np.uint8)
    region[40:60, 30:70] = 1
    taken = np.ones((len(used), 2), np.uint8)
    taken[1, 1] = 0
    stretches = Stretches(region, taken)
    with sweep.lumas:
        noise = measure_noise(sweep, used)
        whole = focus_volume(sweep, used, noise, stretches=stretches)
        before = focus_volume(sweep, used, noise)
        assert not np.array_equal(before.energy, whole.energy), "the part is looked at otherwise"
        first = depth_map(before, sweep.dof, 1.0)
        again = focus_volume(sweep, used, noise, stretches=stretches, before=before)
    told = depth_map(again, sweep.dof, 1.0, first, changed_rows(stretches))
    wanted = depth_map(whole, sweep.dof, 1.0)
    assert not np.array_equal(first.quiet, wanted.quiet)
    for name in ("depth", "known", "confidence", "quiet"):
        np.testing.assert_array_equal(getattr(told, name), getattr(wanted, name))
    for name in ("energy", "weight", "guide", "noise"):
        np.testing.assert_array_equal(getattr(again, name), getattr(whole, name), name)


def short_sweep(level: float = 0.0) -> Volume:
    """Eleven labels over a surface whose wide curve falls off on neither side of the sweep."""
    curve = np.exp(-0.5 * (np.arange(11) / 4.0) ** 2)
    away = np.abs(np.arange(11)[None, None, :] - np.linspace(3, 7, 60)[None, :, None])
    energy = np.broadcast_to(np.exp(-0.5 * (away / 4.0) ** 2), (50, 60, 11)) * 20.0
    energy = np.ascontiguousarray(energy * (level == 0.0) + level, np.float32)
    flat = np.ones((50, 60), np.float32)
    whole = np.full(energy.shape, 64, np.uint8)
    return Volume(energy, 0.0, 0.1, 1.0, 128 * flat, 0.5 * flat, curve, whole)


def test_a_surface_that_no_frame_blurs_much_has_a_depth():
    found = depth_map(short_sweep(), 0.2, 1.0)
    assert found.known.all()
    expected = np.broadcast_to(np.linspace(0.3, 0.7, 60), (50, 60))
    np.testing.assert_allclose(found.depth, expected, atol=0.06)


def strip(**more) -> Volume:
    """A near surface; of its left border only frames far behind it saw anything."""
    curve = np.exp(-0.5 * (np.arange(11) / 1.5) ** 2)
    energy = np.zeros((50, 60, 11), np.float32)
    energy[...] = 20.0 * np.exp(-0.5 * ((np.arange(11) - 2) / 1.5) ** 2)
    weight = np.full(energy.shape, 64, np.uint8)
    energy[:, :12] = 4.0 * np.exp(-0.5 * ((np.arange(11) - 8) / 1.5) ** 2)  # a chance
    energy[:, :12, :6] = energy[:, :12, 6:7]
    weight[:, :12, :6] = 0
    flat = np.ones((50, 60), np.float32)
    return Volume(energy, 0.0, 0.1, 1.0, 128 * flat, 0.5 * flat, curve, weight, **more)


def test_what_lies_at_the_border_has_the_depth_of_what_is_beside_it_if_that_was_not_seen_there():
    ends = (np.zeros((50, 60), np.float32), np.full((50, 60), 10, np.float32))
    found = depth_map(strip(reach=ends), 0.2, 1.0)
    assert found.hidden is not None
    assert found.hidden[:, :11].all() and not found.hidden[:, 13:].any()
    assert not found.known[:, :11].any() and found.known[:, 13:].all()
    np.testing.assert_allclose(found.depth[:, :11], 0.2, atol=0.05)


def test_where_no_plane_came_nothing_is_hidden():
    # the nearest planes lean away: there were none before the border
    near = np.zeros((50, 60), np.float32)
    near[:, :14] = 6
    found = depth_map(strip(reach=(near, np.full((50, 60), 10, np.float32))), 0.2, 1.0)
    assert found.hidden is not None
    assert not found.hidden.any() and found.known[:, :11].all()


def test_what_is_alike_in_all_frames_has_none():
    assert not depth_map(short_sweep(level=20.0), 0.2, 1.0).known.any()


def test_depth_between_two_distant_planes_is_told_by_how_sharp_both_are():
    curve = np.exp(-0.5 * (np.arange(11) / 1.5) ** 2)
    energy = np.zeros((50, 60, 11), np.float32)
    truth = np.linspace(3.2, 5.8, 60)
    held = np.array([1, 4, 7, 10])
    for k in held:
        energy[..., k] = 20.0 * np.exp(-0.5 * ((k - truth) / 1.5) ** 2)
    for k in set(range(1, 11)) - set(held.tolist()):
        low = held[held < k].max()
        share = (k - low) / 3
        energy[..., k] = (1 - share) * energy[..., low] + share * energy[..., low + 3]
    energy[..., 0] = energy[..., 1]
    weight = np.zeros(energy.shape, np.uint8)
    weight[..., held] = 64
    flat = np.ones((50, 60), np.float32)
    found = depth_map(
        Volume(energy, 0.0, 1.0, 1.0, 128 * flat, 0.5 * flat, curve, weight), 2.0, 1.0
    )
    np.testing.assert_allclose(found.depth, np.broadcast_to(truth, (50, 60)), atol=0.3)


def long_sweep(shape: np.ndarray) -> Volume:
    """Fifty labels that hold the same at every place, for surfaces whose curve is narrow."""
    curve = np.exp(-0.5 * (np.arange(50) / 1.5) ** 2)
    energy = np.ascontiguousarray(np.broadcast_to(shape, (50, 60, 50)), np.float32)
    flat = np.ones((50, 60), np.float32)
    whole = np.full(energy.shape, 64, np.uint8)
    return Volume(energy, 0.0, 0.1, 1.0, 128 * flat, 0.5 * flat, curve, whole)


def test_a_hill_far_wider_than_a_surface_makes_is_glow():
    hill = 20.0 * np.clip(1 - np.arange(50) / 20.0, 0, 1)
    assert not depth_map(long_sweep(hill), 0.2, 1.0).known.any()


def test_a_surface_at_the_first_frame_has_a_depth():
    surface = 20.0 * np.exp(-0.5 * (np.arange(50) / 1.5) ** 2)
    assert depth_map(long_sweep(surface), 0.2, 1.0).known.all()
