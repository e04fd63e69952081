from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from haltere.merge import stereo
from haltere.merge.relief import cut_along, shaded
from haltere.merge.stereo import angle_for, red_cyan, seen_from_side, whole_depth


def card_before_wall(gap_px: float = 200.0):
    rgb = np.zeros((40, 120, 3), np.uint8)
    rgb[...] = np.arange(120, dtype=np.uint8)[None, :, None]
    rgb[10:30, 50:70] = 250
    depth = np.full((40, 120), gap_px, np.float32)
    depth[10:30, 50:70] = 0.0
    return rgb, depth, np.ones((40, 120), bool)


def middle(view, row: int) -> float:
    return float(np.flatnonzero(view.rgb[row, :, 0] == 250).mean())


def test_what_lies_in_the_pivot_stays_and_what_is_behind_moves_with_the_eye():
    rgb, depth, known = card_before_wall()
    right = seen_from_side(rgb, depth, known, 2.0, 0.0)
    left = seen_from_side(rgb, depth, known, -2.0, 0.0)
    assert abs(middle(right, 20) - 59.5) < 1 and abs(middle(left, 20) - 59.5) < 1
    shift = 200 * np.tan(np.radians(2.0))
    # the wall's ramp of grey: seen from the right it has gone to the right
    assert right.rgb[5, 60, 0] == pytest.approx(60 - shift, abs=1)
    assert left.rgb[5, 60, 0] == pytest.approx(60 + shift, abs=1)


def test_the_nearer_thing_covers_and_what_it_uncovers_is_marked_as_guessed():
    rgb, depth, known = card_before_wall()
    view = seen_from_side(rgb, depth, known, 2.0, 0.0)
    row = view.rgb[20, :, 0]
    assert (row[52:68] == 250).all(), "nothing shines through the card"
    # the wall moves right and leaves a hole at the card's right edge, which takes a pixel along
    assert view.guessed[20, 72:76].all() and not view.guessed[20, 90:110].any()
    assert (row[72:76] < 250).all(), "filled from the wall, not from the card"
    assert 0 < view.torn < 0.2


def test_a_slope_stays_whole():
    rgb = np.full((10, 200, 3), 120, np.uint8)
    depth = np.tile(np.linspace(0, 300, 200, dtype=np.float32), (10, 1))
    view = seen_from_side(rgb, depth, np.ones((10, 200), bool), 3.0, 0.0)
    inside = slice(20, 195)
    assert (view.rgb[:, inside] == 120).all() and not view.guessed[:, inside].any()


def test_the_compiled_rows_do_what_the_plain_ones_do():
    rng = np.random.default_rng(3)
    rgb = rng.integers(0, 256, (6, 30, 3), dtype=np.uint8)
    depth = rng.uniform(0, 40, (6, 30)).astype(np.float32)
    shift = (depth * 0.1).astype(np.float32)
    known = rng.integers(0, 2, (6, 30)).astype(np.uint8)
    results = []
    for loop in (stereo._across, stereo._fast_across):
        out = np.zeros_like(rgb)
        nearest = np.full((6, 30), 1e30, np.float32)
        state = np.zeros((6, 30), np.uint8)
        loop(0, 6, rgb, shift, depth, known, 1.2, out, nearest, state)
        results.append((out, state))
    np.testing.assert_allclose(results[0][0].astype(int), results[1][0].astype(int), atol=1)
    np.testing.assert_array_equal(results[0][1], results[1][1])


def test_unknown_holes_in_the_animal_join_it_and_the_backdrop_lies_behind():
    depth = np.full((50, 60), np.nan, np.float32)
    depth[10:40, 10:50] = np.linspace(1, 2, 40, dtype=np.float32)
    depth[20:24, 20:24] = np.nan
    filled, known = whole_depth(depth)
    assert np.isfinite(filled).all()
    assert abs(filled[22, 22] - depth[22, 18]) < 0.2
    assert filled[0, 0] > 1.95 and filled[45, 30] > 1.95
    assert not known[22, 22] and known[15, 15]


@given(depth_range=st.floats(1, 5000), width=st.integers(200, 6000))
@settings(max_examples=40, deadline=None)
def test_the_chosen_angle_can_be_fused(depth_range, width):
    depth = np.linspace(0, depth_range, 1000, dtype=np.float32)[None]
    angle = angle_for(depth, np.ones((1, 1000), bool), width)
    assert 0 < angle <= stereo.NUMBERS.most_deg
    parallax = 2 * depth_range * np.tan(np.radians(angle / 2))
    assert parallax <= 1.03 * stereo.NUMBERS.comfortable * width


def test_each_eye_gets_its_own_view_through_the_glasses():
    left = np.full((4, 4, 3), 200, np.uint8)
    right = np.full((4, 4, 3), (10, 60, 90), np.uint8)
    got = red_cyan(left, right)
    assert (got[..., 0] == 200).all() and (got[..., 1:] == (60, 90)).all()


def test_the_slope_that_faces_the_light_is_bright_and_the_unknown_is_no_shade():
    y, x = np.mgrid[0:60, 0:80].astype(np.float32)
    hill = 30 - 0.02 * ((x - 40) ** 2 + (y - 30) ** 2)  # nearest in the middle
    known = np.ones((60, 80), bool)
    known[:, 70:] = False
    light = shaded(-hill, known, 1.0)
    assert light[20, 28] > light[40, 52] + 0.3, "lit from the upper left"
    assert np.isnan(light[:, 70:]).all() and np.isfinite(light[:, :70]).all()


def test_a_cut_reads_the_map_and_leaves_holes_open():
    depth = np.tile(np.arange(50, dtype=np.float32), (20, 1))
    depth[:, 20:25] = np.nan
    sure = np.full((20, 50), 0.7, np.float32)
    cut = cut_along(depth, sure, (5.0, 3.0), (45.0, 3.0))
    np.testing.assert_allclose(cut.depth[:15], np.arange(5, 20))
    assert np.isnan(cut.depth[15:20]).all() and np.isfinite(cut.depth[20:]).all()
    assert cut.distance_px[-1] == 40 and len(cut.depth) == 41


def test_a_line_that_leaves_the_picture_is_refused():
    with pytest.raises(ValueError, match="outside"):
        cut_along(np.ones((5, 5), np.float32), np.ones((5, 5), np.float32), (0, 0), (9, 0))
