"""The noise said to be left in a merge is that which painting leaves."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from haltere.finish.noise import resampled
from haltere.frames import Decoder
from haltere.merge.averaged import noise_left
from haltere.merge.depth import DepthMap
from haltere.merge.paint import paint
from haltere.merge.taken import Stretches, all_frames
from haltere.sweeps.sweep import Sweep
from tests.merge.made import DOF, sweep_of

SHAPE = (120, 160)


def flat(depth: float = 0.0) -> DepthMap:
    """All of the picture at one depth, all of it animal."""
    nothing = np.zeros(SHAPE, np.float32)
    return DepthMap(nothing + np.float32(depth), nothing == 0, nothing + 1, nothing, 1.0)


def sweep(folder: Path, depths_dof: list[float]) -> Sweep:
    """Frames of nothing but noise, planes at some depths, views some parts of a pixel apart."""
    draw = np.random.default_rng(2)
    poses = np.zeros((len(depths_dof), 6))
    poses[:, :2] = draw.uniform(-0.5, 0.5, (len(depths_dof), 2))
    poses[:, 2] = [one * DOF for one in depths_dof]
    pictures = [
        np.clip(128 + 20 * draw.standard_normal((*SHAPE, 3)), 0, 255).round().astype(np.uint8)
        for _ in depths_dof
    ]
    return sweep_of(folder, pictures, poses)


@pytest.mark.parametrize(
    ("depths", "expected"),
    [([0.0, 4.0, 8.0], 1.0), ([0.0, 0.0, 0.0, 0.0], 0.25), ([0.0, 0.3, 5.0], None)],
)
def test_painted_noise_is_as_told(
    tmp_path: Path, depths: list[float], expected: float | None
) -> None:
    made, ground = sweep(tmp_path, depths), flat()
    used, gains = list(range(len(depths))), np.ones(len(depths))
    with made.lumas, Decoder(1) as decoder:
        told = noise_left(made, used, gains, ground, all_frames(SHAPE, len(used)))
        painted = paint(made, decoder, used, gains, ground)
        one = paint(made, decoder, [0], np.ones(1), ground)
    assert told.shape == (60, 80)
    if expected is not None:
        assert np.median(told) == pytest.approx(expected, abs=0.02)
    inner = (slice(12, -12), slice(12, -12))
    # the same place between pixels for all frames would leave the first one's share exactly
    left = painted.linear[inner].var() / one.linear[inner].var()
    assert left == pytest.approx(float(np.median(told)), rel=0.25)


def test_frames_that_a_part_stays_out_of_do_not_count(tmp_path: Path) -> None:
    made = sweep(tmp_path, [0.0, 0.0, 0.0, 0.0])
    region = np.zeros(SHAPE, np.uint8)
    region[:, 80:] = 1
    taken = np.ones((4, 2), np.uint8)
    taken[2:, 1] = 0
    told = noise_left(made, [0, 1, 2, 3], np.ones(4), flat(), Stretches(region, taken))
    made.lumas.close()
    assert np.median(told[:, :38]) == pytest.approx(0.25)
    assert np.median(told[:, 42:]) == pytest.approx(0.5)


def test_a_frame_that_was_brightened_brings_more_noise(tmp_path: Path) -> None:
    made = sweep(tmp_path, [0.0, 0.0])
    plain, bright = (
        noise_left(made, [0, 1], np.array([1.0, gain]), flat(), all_frames(SHAPE, 2))
        for gain in (1.0, 2.0)
    )
    made.lumas.close()
    assert np.median(bright) == pytest.approx(1.5 * np.median(plain), rel=0.01)


def test_resampling_keeps_coarse_noise_and_takes_some_of_the_finest() -> None:
    coarse, fine = resampled(np.array([0.02, 0.5]))
    assert coarse == pytest.approx(1.0, abs=0.01)
    assert 0.3 < fine < 0.6
