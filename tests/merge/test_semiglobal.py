from __future__ import annotations

import numpy as np

from haltere.merge import semiglobal
from haltere.merge.crop import whole_part
from haltere.merge.glow import glow
from haltere.merge.semiglobal import agree


def test_the_compiled_paths_cost_what_the_plain_ones_do():
    rng = np.random.default_rng(5)
    cost = rng.integers(0, 100, (7, 9, 5), dtype=np.uint8)
    jump = rng.integers(20, 60, (7, 9), dtype=np.uint8)
    plain = np.zeros(cost.shape, np.uint16)
    for dy, dx in semiglobal._WAYS:
        lines = 7 if dy == 0 else 9 if dx == 0 else 15
        semiglobal._lines(0, lines, cost, jump, plain, 10, dy, dx)
    np.testing.assert_array_equal(agree(cost, jump, 10), plain)


def test_every_place_lies_on_one_line_of_each_direction():
    cost = np.ones((6, 4, 3), np.uint8)
    total = agree(cost, np.full((6, 4), 9, np.uint8), 2)
    # with equal costs every path adds the cost itself and nothing else
    np.testing.assert_array_equal(total, 8)


def test_a_lonely_wrong_label_is_outvoted():
    cost = np.full((15, 15, 6), 60, np.uint8)
    cost[:, :, 2] = 0
    cost[7, 7] = (60, 60, 30, 60, 60, 0)
    label = agree(cost, np.full((15, 15), 50, np.uint8), 10).argmin(2)
    assert label[7, 7] == 2


def test_a_step_between_two_clear_surfaces_stays_where_it_is():
    cost = np.full((15, 16, 6), 80, np.uint8)
    cost[:, :8, 1] = 0
    cost[:, 8:, 4] = 0
    label = agree(cost, np.full((15, 16), 50, np.uint8), 10).argmin(2)
    assert (label[:, :8] == 1).all() and (label[:, 8:] == 4).all()


def test_the_crop_cuts_only_what_is_missing():
    whole = np.ones((50, 60), bool)
    whole[:4] = False
    whole[:, 57:] = False
    assert whole_part(whole) == (0, 4, 57, 50)
    assert whole_part(np.ones((9, 7), bool)) == (0, 0, 7, 9)


def test_the_rim_of_a_blurred_thing_is_no_thing():
    peak = np.full((40, 40), 0.01, np.float32)
    depth = np.full((40, 40), 10.0, np.float32)
    peak[:, :10], depth[:, :10] = 50.0, 0.0
    found = glow(peak, depth, 1.0)
    assert found[:, 11:16].all(), "within the disc of ten depths of field"
    assert not found[:, 30:].any(), "out of its reach"
    assert not found[:, :10].any()
