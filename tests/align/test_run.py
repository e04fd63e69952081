"""A chain of neighbours, told at the end or while its frames come."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from haltere.align.lumas import Lumas
from haltere.align.run import Coming, chain_run

FRAMES = 6


def swaying(lumas: Lumas) -> None:
    """Add frames of one texture that drifts, grows and flickers."""
    noise = np.random.default_rng(0).normal(128.0, 40.0, (240, 320)).astype(np.float32)
    soft = np.asarray(cv2.GaussianBlur(noise, (0, 0), 2.0))
    for k in range(FRAMES):
        turn = cv2.getRotationMatrix2D((160, 120), 0.3 * k, 1.0 + 0.004 * k)
        turn[:, 2] += (1.5 * k, -0.7 * k)
        moved = np.asarray(cv2.warpAffine(soft, turn, (320, 240), borderMode=cv2.BORDER_REFLECT))
        lumas.add(np.clip(moved * (1.0 + 0.03 * (k % 2)), 0, 255).astype(np.uint8))


@pytest.mark.parametrize("seen", [0, 1, 4, FRAMES])
def test_a_chain_told_while_frames_come_is_the_one_told_at_the_end(seen: int) -> None:
    with Lumas() as lumas:
        swaying(lumas)
        coming = Coming()
        for _ in range(seen):
            coming.see(lumas)
        assert len(coming.levels) == seen
        one, other = chain_run(lumas, 2), chain_run(lumas, 2, coming=coming)
    assert one.found.all()
    np.testing.assert_array_equal(one.poses, other.poses)
    np.testing.assert_array_equal(one.gains, other.gains)
    np.testing.assert_array_equal(one.agreement, other.agreement)


def test_a_frame_that_is_not_there_yet_is_waited_for() -> None:
    with Lumas() as lumas:
        swaying(lumas)
        coming = Coming()
        for _ in range(FRAMES + 2):
            coming.see(lumas)
    assert len(coming.levels) == FRAMES
    assert len(coming.ties) == FRAMES - 1
