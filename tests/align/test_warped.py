"""Warped frames that many pairs ask for."""

from __future__ import annotations

import numpy as np

from haltere.align.lumas import Lumas
from haltere.align.warped import Warped


def test_every_pair_of_a_long_run_that_goes_to_and_fro_gets_its_own_two_frames() -> None:
    draw = np.random.default_rng(6)
    count = 60
    with Lumas() as lumas:
        for _ in range(count):
            lumas.add(draw.integers(0, 256, (24, 32)).astype(np.uint8))
        warped = Warped(lumas, np.ones(count), [np.eye(3)] * count, 1, 1.2)
        pairs = np.sort(np.array([draw.permutation(count)[:2] for _ in range(300)]), axis=1)
        pairs = pairs[np.lexsort(pairs.T[::-1])]
        for pair, given in zip(pairs, warped.pairs(pairs), strict=True):
            for k, (picture, seen) in zip(pair, given, strict=True):
                alone = next(warped.pairs(np.array([[k, k]])))[0]
                np.testing.assert_array_equal(picture, alone[0])
                np.testing.assert_array_equal(seen[5], [3, 29])
