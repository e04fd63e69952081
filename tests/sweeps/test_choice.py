"""The chosen frames hold the animal, are few, and every other one has its reason."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from haltere.errors import UsageError
from haltere.focus.fault import Fault
from haltere.sweeps.choice import Candidate, check_overlap, choose, need_of


def need(near, far):
    return need_of(np.repeat(np.arange(near, far, 0.02), 4))


def planes(positions, **more):
    return [Candidate(f"f{k}.jpg", float(z), True, **more) for k, z in enumerate(positions)]


def holes(positions, near, far):
    depth = np.arange(near + 0.05, far - 0.05, 0.02)
    off = np.abs(depth[:, None] - np.asarray(positions)[None]).min(axis=1)
    return float((off > 0.56).mean())


def test_of_planes_a_third_apart_every_second_suffices():
    chosen = choose(planes(np.arange(25) * 0.35), need(0, 8.4))
    at = np.array([int(name[1:-4]) for name in chosen.frames]) * 0.35
    assert len(at) <= 13
    assert np.diff(at).max() <= 0.8


def test_more_overlap_takes_more_frames():
    frames = planes(np.arange(60) * 0.15)
    few = choose(frames, need(0, 8.8), overlap=0.1)
    many = choose(frames, need(0, 8.8), overlap=0.6)
    assert len(many.frames) > 1.5 * len(few.frames)
    assert (few.overlap, many.overlap) == (0.1, 0.6)


@pytest.mark.parametrize("overlap", [0.0, 0.3, 0.5, 0.8])
def test_neighbours_overlap_as_wished_where_frames_are_there(overlap):
    step = 0.15
    chosen = choose(planes(np.arange(60) * step), need(0, 8.8), overlap=overlap)
    apart = np.diff([int(name[1:-4]) for name in chosen.frames]) * step
    assert apart.max() < 1.0 - overlap + step
    assert np.mean(apart < 1.0 - overlap + step / 2) > 0.9
    assert np.median(apart) > 1.0 - overlap - step


@pytest.mark.parametrize("overlap", [-0.01, 0.81, 1.0, float("nan"), float("inf")])
def test_an_overlap_that_no_choice_could_keep_is_refused(overlap):
    with pytest.raises(UsageError, match=r"0 to 0\.8"):
        check_overlap(overlap)


def test_a_faulty_frame_is_never_chosen_and_says_why():
    frames = planes(np.arange(10) * 0.6)
    frames[4] = Candidate("f4.jpg", 2.4, False, (Fault("motion", 0.9, "keeps 20 %"),))
    chosen = choose(frames, need(0, 5.4))
    assert "f4.jpg" not in chosen.frames
    why = {one.frame: one.why for one in chosen.left_out}
    assert why["f4.jpg"] == "motion: keeps 20 %"


def test_a_frame_beside_the_animal_is_left_out_for_that():
    chosen = choose(planes(np.arange(-4, 12) * 0.7), need(0, 5))
    why = {one.frame: one.why for one in chosen.left_out}
    assert why["f0.jpg"] == "nothing of the animal lies there"


def test_a_frame_that_holds_only_the_leaf_is_left_out_and_says_so():
    chosen = choose(planes(np.arange(16) * 0.7), need(0, 5), ground=need(5, 12))
    why = {one.frame: one.why for one in chosen.left_out}
    assert why["f14.jpg"] == "only what the animal sits on lies there"
    assert max(_at(n, planes(np.arange(16) * 0.7)) for n in chosen.frames) < 5.6


def test_one_pass_is_preferred_where_it_suffices():
    first = planes(np.arange(12) * 0.7)
    second = [Candidate(f"g{k}.jpg", 0.3 + 0.7 * k, True, of_pass=1) for k in range(12)]
    chosen = choose([*first, *second], need(0, 8))
    assert len({name[0] for name in chosen.frames}) == 1


def test_a_hole_is_filled_from_another_pass():
    first = [one for k, one in enumerate(planes(np.arange(14) * 0.7)) if k not in (5, 6, 7)]
    second = [Candidate(f"g{k}.jpg", 0.3 + 0.7 * k, True, of_pass=1) for k in range(14)]
    chosen = choose([*first, *second[4:9]], need(0, 9))
    assert {"g5.jpg", "g6.jpg"} <= set(chosen.frames)
    assert holes([_at(n, first + second) for n in chosen.frames], 0, 9) == 0


def test_a_narrow_hole_stays_where_the_other_pass_saw_from_another_side():
    first = planes([0, 0.7, 1.4, 2.75, 3.45, 4.15])
    aside = [Candidate("g.jpg", 2.1, True, of_pass=1, pose=(3.0, 0.0))]
    chosen = choose([*first, *aside], need(0, 4.2))
    assert "g.jpg" not in chosen.frames
    (left,) = [one for one in chosen.left_out if one.frame == "g.jpg"]
    assert left.why == "seen from another side than the frames beside it"


def test_of_two_frames_at_one_plane_the_sharper_stays():
    frames = planes([0, 0.7, 1.4, 2.1])
    frames.insert(2, Candidate("smeared.jpg", 1.4, True, detail=0.6))
    chosen = choose(frames, need(0, 2.1))
    (left,) = chosen.left_out
    assert left.frame == "smeared.jpg"
    assert left.why == "same plane as f2.jpg, which moved less"


def test_depths_without_animal_between_two_parts_need_no_frame():
    depths = np.concatenate([np.arange(0, 2, 0.01), np.arange(8, 10, 0.01)])
    chosen = choose(planes(np.arange(15) * 0.7), need_of(np.repeat(depths, 3)))
    at = [int(name[1:-4]) * 0.7 for name in chosen.frames]
    assert not any(3.0 < z < 7.0 for z in at)


def test_every_frame_is_chosen_or_left_out_with_a_reason():
    frames = [*planes(np.arange(20) * 0.3), Candidate("lost.jpg", None, False)]
    chosen = choose(frames, need(0, 5))
    names = [*chosen.frames, *(one.frame for one in chosen.left_out)]
    assert sorted(names) == sorted(one.frame for one in frames)
    assert all(one.why for one in chosen.left_out)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(0, 5), min_size=1, max_size=9, unique=True))
def test_no_smaller_choice_holds_as_much(positions):
    chosen = choose(planes(positions), need(0, 5))
    at = [positions[int(name[1:-4])] for name in chosen.frames]
    best = holes(at, 0, 5)
    for fewer in combinations(positions, max(len(at) - 2, 0)):
        if fewer:
            # two frames fewer cost more in looseness or holes than they spare
            assert holes(fewer, 0, 5) > best or _loose(fewer) > _loose(at)


def _loose(positions):
    ends = np.concatenate([[-0.4], np.sort(positions), [5.4]])
    return float(np.maximum(np.diff(ends) - 0.8, 0).sum())


def _at(name, frames):
    return next(one.at_dof for one in frames if one.frame == name)


@pytest.mark.parametrize("depth", [0.05, 0.12])
def test_an_animal_flatter_than_one_bin_is_no_trouble(depth):
    need = need_of(np.linspace(0.0, depth, 50))
    assert float(need.between(-1.0, 1.0)) > 0
