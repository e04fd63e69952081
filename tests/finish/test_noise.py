"""Noise of a merge: how much averaging left of it, place by place."""

from __future__ import annotations

import numpy as np
import pytest

from haltere.finish.noise import Averaged, measure_noise
from haltere.finish.restoring import Wanted, restore
from haltere.merge.kernel import kernel_table

SIDE = 256
LEFT = Averaged(np.array([[1.0, 0.1]], np.float32))
"""The left half is of one frame, the right half the mean of ten."""


def resampled(noise: np.ndarray, draw: np.random.Generator) -> np.ndarray:
    """Noise as a merge's resampling leaves it, at some place between pixels in either direction."""
    table = kernel_table()
    for axis in (0, 1):
        taps = table[draw.integers(len(table))]
        shifted = [np.roll(noise, k - 2, axis) * tap for k, tap in enumerate(taps)]
        noise = np.sum(shifted, axis=0)
    return noise


def merged(light: np.ndarray, sigma: float) -> np.ndarray:
    """A picture whose left half is of one frame and whose right half is the mean of ten."""
    draw = np.random.default_rng(3)
    frames = [resampled(draw.normal(0, sigma, light.shape), draw) for _ in range(10)]
    noise = np.where(np.arange(light.shape[1])[None, :, None] < SIDE // 2, frames[0],
                     np.mean(frames, axis=0))  # fmt: skip
    return np.asarray(light + noise, np.float32)


def test_the_noise_of_one_frame_is_told_from_a_merge() -> None:
    found = measure_noise(merged(np.full((SIDE, SIDE, 3), 0.2), 0.02), LEFT)
    sigma = float(np.sqrt(found.variance(np.full(1, 0.2, np.float32))[0]))
    assert sigma == pytest.approx(0.02, rel=0.2)


def test_shares_lie_where_their_places_lie() -> None:
    rows, columns = np.arange(SIDE), np.arange(SIDE)
    there = LEFT.at(rows, columns, (SIDE, SIDE))
    assert there.shape == (SIDE, SIDE)
    assert (there[:, : SIDE // 2] == 1.0).all()
    assert (there[:, SIDE // 2 :] == np.float32(0.1)).all()


def test_faint_detail_stays_where_many_frames_were_averaged() -> None:
    """What one level of noise takes for noise everywhere stands above it where ten were."""
    draw = np.random.default_rng(8)
    light = 0.2 + 0.012 * draw.standard_normal((SIDE // 4, SIDE // 4))
    true = np.repeat(np.kron(light, np.ones((4, 4)))[..., None], 3, axis=2)
    seen = merged(true, 0.02)
    wanted = Wanted(8.0, 0.004, 0.0, 1.0)
    known, alone = (restore(seen, wanted, measure_noise(seen, one), one) for one in (LEFT, None))
    right, left = (slice(None), slice(SIDE // 2 + 8, None)), (slice(None), slice(0, SIDE // 2 - 8))
    for half in (left, right):
        errors = [float(np.sqrt(np.mean((one - true)[half] ** 2))) for one in (known, alone)]
        assert errors[0] < errors[1]
