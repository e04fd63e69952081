"""Passes are found among uneven steps, tremor, lost frames, holes and wrong planes."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from haltere.sweeps.passes import find_passes
from tests.sweeps.pushed import made_push, split_right


def names_of(count):
    return [f"f{k:03d}.jpg" for k in range(count)]


def cut(along, **more):
    along = np.asarray(along, float)
    return [
        (one.direction, len(one.frames)) for one in find_passes(names_of(len(along)), along, **more)
    ]


def share_right(count, *, times):
    rng = np.random.default_rng(2031)
    right = 0
    for _ in range(count):
        made = made_push(rng)
        known = made.times_s if times else None
        found = find_passes(names_of(len(made.seen)), made.seen, times_s=known)
        right += split_right(found, made)
    return right / count


def test_of_made_up_pushes_with_times_97_in_100_are_split_right():
    assert share_right(400, times=True) >= 0.97


def test_without_times_most_made_up_pushes_are_split_right():
    assert share_right(400, times=False) >= 0.93


def test_one_even_push_is_one_pass():
    assert cut(np.arange(12) * 0.7) == [("away", 12)]


def test_a_push_to_and_fro_is_cut_at_its_turn():
    there = np.arange(10) * 0.8
    assert cut([*there, *there[::-1] - 0.4]) == [("away", 10), ("toward", 10)]


def test_a_pass_begun_anew_the_same_way_is_one_of_its_own():
    there = np.arange(10) * 0.8
    assert cut([*there, *there]) == [("away", 10), ("away", 10)]


def test_a_fall_back_of_one_frame_is_no_turn():
    along = np.arange(14) * 0.6
    along[7] -= 1.6
    assert cut(along) == [("away", 14)]


def test_one_wrong_plane_makes_no_pass():
    along = np.arange(14) * 0.6
    along[7] = 40.0
    assert cut(along) == [("away", 14)]


def test_a_short_pass_of_five_frames_is_found():
    there = np.arange(12) * 0.9
    back = there[-1] - np.arange(1, 6) * 0.9
    assert cut([*there, *back]) == [("away", 12), ("toward", 5)]


def test_a_hole_in_the_push_is_no_turn():
    along = np.arange(14) * 0.6
    along[7:] += 5.0
    assert cut(along) == [("away", 14)]


def test_waiting_at_the_far_end_belongs_to_the_pass_that_ends():
    there = np.arange(10) * 0.8
    wait = np.full(4, there[-1])
    assert cut([*there, *wait, *there[-2::-1]]) == [("away", 14), ("toward", 9)]


def test_frames_without_a_plane_keep_their_place_in_time():
    along = np.arange(10) * 0.8
    along[[0, 4, 9]] = np.nan
    (one,) = find_passes(names_of(10), along)
    assert one.frames == tuple(names_of(10))


def test_a_pause_tells_a_turn_that_planes_alone_leave_open():
    along = np.array([0, 0.3, 0.6, 0.9, 1.2, 1.5, 1.3, 1.0, 0.7, 0.5])
    times = np.array([0, 0.1, 0.2, 0.3, 0.4, 0.5, 2.5, 2.6, 2.7, 2.8])
    assert cut(along, times_s=times) == [("away", 6), ("toward", 4)]


@pytest.mark.parametrize("count", [0, 1])
def test_hardly_any_plane_says_no_direction(count):
    found = cut([np.nan] * 3 + [1.0] * count)
    assert found == [("unknown", 3 + count)]


@settings(deadline=None, max_examples=60)
@given(st.lists(st.floats(-30, 30) | st.just(float("nan")), min_size=1, max_size=40))
def test_every_frame_is_in_exactly_one_pass_in_order_of_time(along):
    found = find_passes(names_of(len(along)), np.array(along))
    assert [name for one in found for name in one.frames] == names_of(len(along))


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 10_000))
def test_the_mirror_image_of_a_push_is_cut_at_the_same_frames(seed):
    made = made_push(np.random.default_rng(seed))
    names = names_of(len(made.seen))
    one, other = find_passes(names, made.seen), find_passes(names, -made.seen)
    assert [p.frames for p in one] == [p.frames for p in other]
    swapped = {"away": "toward", "toward": "away", "unknown": "unknown"}
    assert [p.direction for p in one] == [swapped[p.direction] for p in other]
