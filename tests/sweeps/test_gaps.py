"""Gaps, passes and faults told from made-up planes."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haltere.focus.curves import Peaks
from haltere.sweeps.gaps import NUMBERS, find_holes, strong_places, uncovered
from haltere.sweeps.passes import find_passes

DOF = 1.0


@given(st.lists(st.floats(-50, 50), min_size=2, max_size=40))
def test_no_uncovered_depth_lies_within_half_a_depth_of_field_of_a_plane(planes):
    along = np.array(planes)
    for start, end in uncovered(along, DOF):
        middle = (start + end) / 2
        assert np.abs(along - middle).min() >= 0.5 * DOF - 1e-9


def surface(shape=(60, 80)) -> tuple[np.ndarray, np.ndarray]:
    """A slope from depth 0 to 20 in the middle of the picture, nothing around it."""
    depth = np.tile(np.linspace(0, 20, shape[1]), (shape[0], 1))
    trusted = np.zeros(shape, bool)
    trusted[20:-20, 12:-12] = True
    return depth, trusted


def test_a_missing_stretch_with_animal_in_it_is_a_gap():
    depth, trusted = surface()
    along = np.array([z for z in np.arange(1.0, 19.5, 0.5) if not 8.2 < z < 11.4])

    holes = find_holes(depth, trusted, trusted, along, DOF)

    assert [h.kind for h in holes] == ["inside"]
    assert abs(holes[0].start - 8.5) < 1e-9
    assert abs(holes[0].end - 11.0) < 1e-9


def test_a_missing_stretch_without_animal_is_no_gap():
    depth, trusted = surface()
    trusted &= (depth < 8) | (depth > 11.5)
    along = np.array([z for z in np.arange(1.0, 19.5, 0.5) if not 8.2 < z < 11.4])

    assert find_holes(depth, trusted, trusted, along, DOF) == []


def test_a_hole_that_only_the_animals_tip_reaches_into_is_no_gap():
    depth, trusted = surface()
    planes = np.array([z for z in np.arange(1.0, 19.5, 0.5) if not 8.2 < z < 11.4])
    tip, body = trusted & (depth < 9.1), trusted & (depth < 10.5)

    assert find_holes(depth, tip, tip, planes, DOF) == []
    assert [h.kind for h in find_holes(depth, body, body, planes, DOF)] == ["inside"]


def test_a_gap_in_which_the_animal_begins_starts_where_its_foremost_places_lie():
    depth, trusted = surface()
    depth = depth + np.linspace(0, 0.25, len(depth) // 3)[np.arange(len(depth)) % 20][:, None]
    planes = np.array([z for z in np.arange(1.0, 19.5, 0.5) if not 8.2 < z < 11.4])
    animal = trusted & (depth > 9.0)

    (hole,) = find_holes(depth, animal, animal, planes, DOF)

    assert 9.0 < hole.start < 9.12


def test_a_second_pass_closes_the_gap_of_the_first():
    depth, trusted = surface()
    first = [z for z in np.arange(1.0, 19.5, 0.5) if not 8.2 < z < 11.4]
    along = np.array([*first, 11.2, 10.3, 9.4, 8.6])

    assert find_holes(depth, trusted, trusted, along, DOF) == []


def test_an_animal_that_reaches_beyond_the_last_plane_is_missing_at_the_far_end():
    depth, trusted = surface()
    along = np.arange(1.0, 14.5, 0.5)

    holes = find_holes(depth, trusted, trusted, along, DOF)

    assert [h.kind for h in holes] == ["far-end"]


def test_few_places_far_beyond_the_last_plane_are_haze_where_as_many_near_it_are_animal():
    depth, trusted = surface()
    along = np.arange(1.0, 21.0, 0.5)
    few = np.zeros(depth.shape, bool)
    few[27:32, 40:44] = True

    def said(beyond):
        return find_holes(np.where(few, 20.5 + beyond, depth), trusted, trusted, along, DOF)

    assert [h.kind for h in said(1.3)] == ["far-end"]
    assert said(2.9) == []


@pytest.mark.parametrize("beyond", [1.3, 2.4, 3.2])
def test_an_end_is_said_equally_deep_wherever_its_curves_seem_to_peak(beyond):
    depth, trusted = surface()
    along = np.arange(1.0, 21.0, 0.5)
    missing = np.zeros(depth.shape, bool)
    missing[25:35, 36:44] = True

    (end,) = find_holes(np.where(missing, 20.5 + beyond, depth), trusted, trusted, along, DOF)

    assert end.kind == "far-end"
    assert end.start == 21.0
    assert end.end - end.start == pytest.approx((NUMBERS.told_dof - 0.5) * DOF)


def test_what_runs_out_of_the_picture_is_not_missed_at_an_end():
    depth, trusted = surface()
    trusted[20:30, :] = True
    trusted[30:, 50:] = False
    along = np.arange(-1.0, 14.5, 0.5)

    assert find_holes(depth, trusted, trusted, along, DOF) == []


def test_a_band_across_the_picture_is_the_leaf_below_and_no_missing_end():
    depth, trusted = surface()
    depth = np.tile(np.linspace(0, 20, 60)[:, None], (1, 80))
    trusted[:] = False
    trusted[8:50, 10:-10] = True
    along = np.arange(0.0, 14.5, 0.5)

    assert find_holes(depth, trusted, trusted, along, DOF) == []


def test_an_animal_that_fills_the_picture_misses_its_far_end_without_ground_in_view(monkeypatch):
    monkeypatch.setattr("haltere.sweeps.gaps.find_ground", lambda *_: None)
    y, x = np.mgrid[0:60, 0:80]
    off = np.hypot((x - 40) / 20, (y - 29) / 22)
    depth, trusted = 13.0 * off**2, off < 1
    along = np.arange(0.0, 10.5, 0.5)

    (hole,) = find_holes(depth, trusted, trusted, along, DOF)
    assert hole.kind == "far-end"
    assert hole.start == pytest.approx(10.0 + 0.5 * DOF)


def test_there_and_back_makes_two_passes():
    along = np.concatenate([np.arange(0, 10, 0.6), np.arange(10, 0, -0.6)])
    names = [f"{k}.jpg" for k in range(len(along))]

    passes = find_passes(names, along)

    assert [p.direction for p in passes] == ["away", "toward"]
    assert sum(len(p.frames) for p in passes) == len(names)


def test_a_small_fall_back_does_not_split_a_pass():
    along = np.array([0, 0.6, 1.2, 1.0, 0.7, 1.4, 2.0, 2.6, 3.2, 3.8])

    assert len(find_passes([str(k) for k in range(10)], along)) == 1


def test_frames_without_a_plane_stay_with_their_neighbours():
    along = np.array([0, 0.6, np.nan, 1.8, 2.4, 3.0])

    passes = find_passes(list("abcdef"), along)

    assert passes[0].frames == tuple("abcdef")


def test_a_leg_behind_the_last_plane_is_missing_though_it_runs_out_of_the_picture():
    depth, trusted = surface()
    along = np.arange(1.0, 21.0, 0.5)
    leg = np.zeros(depth.shape, bool)
    leg[38:, 40:47] = True
    flat = np.zeros(depth.shape, bool)
    flat[-12:, 20:60] = True

    legs = find_holes(np.where(leg, 22.0, depth), trusted | leg, trusted | leg, along, DOF)
    haze = find_holes(np.where(flat, 22.0, depth), trusted | flat, trusted | flat, along, DOF)

    assert [h.kind for h in legs] == ["far-end"]
    assert haze == []


def test_only_places_that_rise_as_blur_does_and_to_the_usual_detail_count_at_an_end():
    depth = np.array([[0.0, 1.0, 2.0, 5.0, 5.0, 5.0, 5.0]])
    peaks = Peaks(
        depth=depth,
        amplitude=np.array([[10.0, 10.0, 10.0, 10.0, 10.0, 3.0, 10.0]]),
        noise=np.ones((1, 7)),
        fit=np.array([[1.0, 1.0, 1.0, 1.0, 0.9, 1.0, 1.0]]),
        sigma=np.full((1, 7), 0.1),
    )
    outermost = np.array([[9.0, 9.0, 9.0, 3.0, 3.0, 3.0, 1.0]])

    strong = strong_places(peaks, np.ones((1, 7), bool), outermost, (-1.0, 3.0))

    assert strong[0, 3:].tolist() == [True, False, False, False]
