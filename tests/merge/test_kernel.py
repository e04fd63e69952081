from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from haltere.align.pose import plane_depth, project
from haltere.frames.parts import no_parts
from haltere.merge import kernel
from haltere.merge.kernel import BLOCK, block_bounds, fast_closest, fast_paint, kernel_table
from haltere.merge.paint import rotation_of
from haltere.merge.planes import plane_fit
from haltere.merge.threads import in_stretches

SHAPE = (40, 48)


def painted(
    frame, pose, depth, *, focal=3000.0, gain=1.0, loop=None, taken=(1, 1), nearest=10.0, eased=0.0
):
    total = np.zeros((*SHAPE, 3), np.float32)
    weight = np.zeros(SHAPE, np.float32)
    largest = np.zeros(SHAPE, np.float32)
    origin = np.full(SHAPE, 65535, np.uint16)
    light = np.repeat(np.arange(256, dtype=np.float32)[:, None], 3, axis=1)
    plane = plane_fit(pose, SHAPE, focal)
    numbers = np.array([focal, *pose[:3], *plane, 1.0, gain, 2.8, 2.0])
    best = np.full((20, 24), nearest, np.float32)
    width = np.full((20, 24), 0.01, np.float32)
    given_ = (
        frame,
        no_parts(*frame.shape[:2]),
        light,
        kernel_table(),
        rotation_of(pose, focal),
        numbers,
    )
    wanted = np.broadcast_to(np.asarray(depth, np.float32), SHAPE).copy()
    blocks = block_bounds(wanted, best, width, 2.8)
    given_ += (wanted, best, width, blocks)
    # everything to the right of the middle is a region of its own
    region = np.repeat((np.arange(24) >= 12)[None].astype(np.uint8), 20, axis=0)
    given_ += (region, np.array(taken, np.uint8), np.full((20, 24), eased, np.float32))
    given_ += (total, weight, largest, origin, 3)
    if loop is None:
        in_stretches(fast_paint, blocks.shape[1], *given_)
    else:
        loop(0, blocks.shape[1], *given_)
    return total, weight, origin


@given(
    pose=st.tuples(*[st.floats(-4, 4)] * 2, st.floats(-0.02, 0.02), *[st.floats(-4, 4)] * 2),
    depth=st.floats(-0.02, 0.02),
)
@settings(max_examples=25, deadline=None)
def test_a_ramp_lands_where_the_pose_projects_it(pose, depth):
    pose = np.array([*pose, 0.004])
    y, x = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]]
    ramp = np.repeat((2 * x + 3 * y)[..., None], 3, axis=2).astype(np.uint8)
    total, weight, _ = painted(ramp, pose, depth)
    seen = weight > 0
    points = np.column_stack([(x - 23.5)[seen], (y - 19.5)[seen]])
    at = project(pose, points, depth, 3000.0) + np.array((23.5, 19.5))
    asked = 2 * at[:, 0] + 3 * at[:, 1]
    assert seen.sum() > 300
    # phases of the kernel lie 1/512 px apart
    assert np.abs(total[seen][:, 0] / weight[seen] - asked).max() < 5 * 0.5 / 512 * 1.5


def test_the_compiled_loop_does_what_the_plain_one_does():
    frame = np.random.default_rng(1).integers(0, 256, (*SHAPE, 3), dtype=np.uint8)
    pose = np.array([1.5, -0.7, 0.003, 0.2, 0.1, 0.002])
    fast = painted(frame, pose, 0.001)
    plain = painted(frame, pose, 0.001, loop=kernel._paint)
    for a, b in zip(fast, plain, strict=True):
        np.testing.assert_allclose(a, b, rtol=2e-5, atol=1e-3)


def test_the_gain_multiplies_light_and_not_weight():
    frame = np.full((*SHAPE, 3), 80, np.uint8)
    total, weight, _ = painted(frame, np.zeros(6), 0.0, gain=1.25)
    seen = weight > 0
    np.testing.assert_allclose(total[seen] / weight[seen][:, None], 100.0, rtol=1e-5)


def test_the_origin_names_the_painting_frame_and_nothing_else():
    _, weight, origin = painted(np.zeros((*SHAPE, 3), np.uint8), np.zeros(6), 0.0)
    assert set(np.unique(origin[weight > 0])) == {3}
    assert set(np.unique(origin[weight == 0])) <= {65535}


def test_the_kernel_keeps_constants_and_ramps():
    table = kernel_table().astype(float)
    phase = np.arange(table.shape[0]) / (table.shape[0] - 1)
    np.testing.assert_allclose(table.sum(1), 1, atol=1e-6)
    np.testing.assert_allclose(table @ np.arange(-2, 4), phase, atol=1e-6)


def test_the_plane_of_a_hand_is_linear_in_the_pixel():
    pose = np.array([30.0, -20.0, 0.02, 60.0, -40.0, 0.01])
    p0, p1, p2 = plane_fit(pose, (1200, 1600), 16000.0)
    points = np.random.default_rng(0).uniform(-600, 600, (50, 2))
    told = p0 + points @ [p1, p2]
    assert np.abs(told - plane_depth(pose, points, 16000.0)).max() < 2e-5


def test_the_rotation_is_a_rotation():
    turn = rotation_of(np.array([5.0, 4.0, 0.1, 30.0, -50.0, 0.02]), 3000.0)
    np.testing.assert_allclose(turn @ turn.T, np.eye(3), atol=1e-9)


def test_a_frame_stays_out_of_a_region_that_is_not_its_own():
    frame = np.full((*SHAPE, 3), 90, np.uint8)
    _, weight, _ = painted(frame, np.zeros(6), 0.0, taken=(1, 0))
    assert (weight[4:-4, 4:24] > 0).all()
    assert (weight[:, 24:] == 0).all()


def test_a_frame_has_a_share_where_it_fades_in_beside_a_region_that_is_not_its_own():
    frame = np.full((*SHAPE, 3), 90, np.uint8)
    _, whole, _ = painted(frame, np.zeros(6), 0.0)
    _, weight, _ = painted(frame, np.zeros(6), 0.0, taken=(1, 0), eased=0.25)
    np.testing.assert_array_equal(weight[:, :24], whole[:, :24])
    np.testing.assert_allclose(weight[:, 24:], 0.25 * whole[:, 24:])


@given(
    tilt=st.floats(-3e-5, 3e-5),
    along=st.floats(-0.05, 0.05),
    seed=st.integers(0, 1000),
)
@settings(max_examples=25, deadline=None)
def test_blocks_that_are_passed_over_would_have_got_nothing(tilt, along, seed):
    rng = np.random.default_rng(seed)
    shape, small = (150, 210), (19, 26)
    depth = np.kron(rng.uniform(-0.04, 0.04, (5, 7)), np.ones((30, 30))).astype(np.float32)
    best = rng.uniform(0, 0.01, small).astype(np.float32)
    width = rng.uniform(0.001, 0.004, small).astype(np.float32)
    bounds = block_bounds(depth, best, width, 2.0)
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]]
    plane = along + tilt * (x - 104.5)
    near = best[y * small[0] // shape[0], x * small[1] // shape[1]]
    wide = width[y * small[0] // shape[0], x * small[1] // shape[1]]
    wanted = np.abs(plane - depth) - near <= 2.0 * wide
    middle = along + tilt * ((np.arange(bounds.shape[2]) + 0.5) * BLOCK - 104.5)
    beyond = np.maximum(bounds[0] - middle, middle - bounds[1]) - abs(tilt) * BLOCK / 2
    over = np.kron(beyond > bounds[2], np.ones((BLOCK, BLOCK), bool))[: shape[0], : shape[1]]
    assert not (wanted & over).any()


def test_a_plane_far_from_everything_paints_nothing():
    frame = np.full((*SHAPE, 3), 90, np.uint8)
    _, weight, _ = painted(frame, np.zeros(6), 0.05, nearest=0.0)
    assert (weight == 0).all()


@given(
    pose=st.tuples(*[st.floats(-9, 9)] * 2, st.floats(-0.02, 0.02), *[st.floats(-4, 4)] * 2),
)
@settings(max_examples=25, deadline=None)
def test_a_frame_paints_every_pixel_of_the_places_it_is_said_to_have_seen(pose):
    pose = np.array([*pose, 0.0])
    frame = np.full((*SHAPE, 3), 80, np.uint8)
    small = (10, 12)
    best, seen = np.full(small, 1e6, np.float32), np.full(small, 1e6, np.float32)
    numbers = np.array([3000.0, *pose[:3], *plane_fit(pose, SHAPE, 3000.0), 1.0])
    everywhere, all_of = np.zeros(small, np.uint8), np.ones(1, np.uint8)
    size = np.array([SHAPE[1], SHAPE[0]], np.float64)
    given_ = (size, rotation_of(pose, 3000.0), numbers, np.zeros(small, np.float32), 4.0)
    in_stretches(fast_closest, small[0], *given_, everywhere, all_of, best, seen)
    _, weight, _ = painted(frame, pose, 0.0)
    places = np.repeat(np.repeat(seen < 1e6, 4, axis=0), 4, axis=1)
    assert (weight[places] > 0).all()
