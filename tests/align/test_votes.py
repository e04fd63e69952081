"""Votes of cells on poses, beside plain sums."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from haltere.align.pose import apply, homography, jacobian, project, turning
from haltere.align.votes import cell_places, count_votes

FOCAL_PX = 16000.0

poses = st.tuples(
    st.floats(-60, 60),
    st.floats(-60, 60),
    st.floats(-0.1, 0.1),
    st.floats(-90, 90),
    st.floats(-90, 90),
    st.floats(-0.05, 0.05),
).map(np.array)


@settings(deadline=None)
@given(poses, poses, st.integers(0, 100))
def test_cells_appear_where_projection_and_warp_put_them_and_move_as_its_derivative(
    pose, of_warp, seed
):
    draw = np.random.default_rng(seed)
    points, depth = draw.uniform(-700, 700, (30, 2)), draw.uniform(-0.05, 0.05, 30)
    back = np.linalg.inv(homography(of_warp, 0.0, FOCAL_PX))
    at, ways = np.empty((30, 2)), np.empty((30, 2, 6))

    cell_places(pose, *turning(pose, FOCAL_PX), back, points, depth, FOCAL_PX, at, ways)

    there = apply(back, project(pose, points, depth, FOCAL_PX))
    expected = np.einsum("ab,nbk->nak", back[:2, :2], jacobian(pose, points, depth, FOCAL_PX))
    np.testing.assert_allclose(at, there - points, atol=1e-8)
    # a move along the axis shifts a place by thousands of pixels a unit
    np.testing.assert_allclose(ways, expected, rtol=1e-5, atol=1e-4)


def _plain(motion, noise, shift, near, first, second, robust_px, factor):
    """Normal equations of one pair, as sums over its cells."""
    xx, yy, xy, xt, yt, both = motion.T.astype(np.float64)
    tensor = np.stack([np.stack([xx, xy], -1), np.stack([xy, yy], -1)], -2)
    trace = xx + yy
    left = -np.stack([xt, yt], -1) - np.einsum("nab,nb->na", tensor, shift / factor)
    lifted = tensor + (0.02 * trace + noise)[:, None, None] * np.eye(2)
    miss = np.linalg.norm(np.linalg.solve(lifted, left[..., None])[..., 0], axis=1)
    trust = np.where(both > 0.9, near * trace / (trace + 4 * noise), 0.0)
    vote = trust / np.sqrt(np.maximum(trace, 1e-9)) / (1 + (miss / robust_px) ** 2) ** 2
    ways = np.concatenate([-first, second], axis=2) / factor
    normal = np.einsum("n,nak,nab,nbm->km", vote, ways, tensor, ways)
    right = np.einsum("n,nak,na->k", vote, ways, left)
    return normal, right, (vote * trace * miss**2).sum() / 2, vote * trace, miss


def _wide_enough(depth, middle, reach, share, motion, noise):
    """Weights by distance from the planes, and steps by which the reach had to be widened."""
    trace = (motion[:, 0] + motion[:, 1]).astype(np.float64)
    shown = np.where(motion[:, 5] > 0.9, trace**1.5 / (trace + 4 * noise), 0.0)
    for step in range(13):
        near = 1 / (1 + ((depth - middle) / (reach * 1.25**step)) ** 2) ** 1.5
        if (near * shown).sum() >= share * shown.sum():
            break
    return near, step


@pytest.mark.parametrize(("plane", "share", "steps"), [(0.02, 0.0, 0), (0.5, 0.2, 12)])
def test_votes_are_sums_over_the_cells(plane, share, steps) -> None:
    draw = np.random.default_rng(4)
    cells, frames = 40, 3
    pairs = np.array([[0, 1], [0, 2], [1, 2]])
    gradients = draw.normal(0.0, 3.0, (3, cells, 2, 9))
    motion = np.empty((3, cells, 6), np.float32)
    motion[..., 0], motion[..., 1] = (gradients**2).mean(3).transpose(2, 0, 1)
    motion[..., 2] = (gradients[:, :, 0] * gradients[:, :, 1]).mean(2)
    motion[..., 3:5] = draw.normal(0.0, 2.0, (3, cells, 2))
    motion[..., 5] = draw.choice([0.5, 1.0], (3, cells))
    at, ways = draw.normal(0.0, 0.5, (frames, cells, 2)), draw.normal(0, 1, (frames, cells, 2, 6))
    depth, along = draw.normal(0.0, 0.01, cells), np.array([-0.01, 0.0, plane])
    noise = np.array([0.5, 1.0, 2.0])
    normal, right, fit = np.empty((3, 12, 12)), np.empty((3, 12)), np.empty((3, 2))
    strength, miss = np.empty((2, 3, cells), np.float32)

    count_votes(
        0, 3, pairs, motion, noise, at, ways, depth, along, 0.01, share, 0.5, 2.0,
        normal, right, fit, strength, miss,
    )  # fmt: skip

    for p, (i, j) in enumerate(pairs):
        middle = (along[i] + along[j]) / 2
        near, widened = _wide_enough(depth, middle, 0.01, share, motion[p], noise[p])
        assert widened == (steps if j == 2 else 0)
        told = _plain(motion[p], noise[p], at[j] - at[i], near, ways[i], ways[j], 0.5, 2.0)
        seen = motion[p, :, 5] > 0.9
        np.testing.assert_allclose(normal[p], told[0], rtol=1e-5, atol=1e-6)
        np.testing.assert_allclose(right[p], told[1], rtol=1e-5, atol=1e-6)
        np.testing.assert_allclose(fit[p, 0], told[2], rtol=1e-5)
        np.testing.assert_allclose(strength[p], told[3], rtol=1e-4, atol=1e-6)
        np.testing.assert_allclose(miss[p][seen], told[4][seen], rtol=1e-4)
