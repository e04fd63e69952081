"""What is known of a sweep before it is painted, at the size that it is painted at."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from haltere.merge.prepared import prepare
from tests.merge.made import two_depths


def test_depth_told_for_fewer_places_is_the_same_depth(tmp_path: Path) -> None:
    sweep, _ = two_depths(tmp_path)
    with sweep.lumas:
        fine = prepare(sweep).ground
        coarse = prepare(sweep, longest_px=80).ground
    assert fine.depth.shape == (120, 160)
    assert coarse.depth.shape == (60, 80)
    apart = np.abs(fine.depth[::2, ::2] - coarse.depth) / sweep.dof
    assert np.median(apart) < 0.15
    assert np.mean(apart < 0.5) > 0.9
