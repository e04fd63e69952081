"""Whether a push is told from wandering by the travel alone."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haltere.runs.travel import course_of


def test_an_even_push_is_one_pass_away() -> None:
    course = course_of(np.linspace(0.0, 0.03, 20))
    assert course.pushed
    assert [leg.direction for leg in course.legs] == ["away"]


def test_a_push_there_and_back_is_two_passes() -> None:
    there = np.linspace(0.0, 0.03, 15)
    course = course_of(np.concatenate([there, there[::-1] + 0.0005]))
    assert [leg.direction for leg in course.legs] == ["away", "toward"]


def test_every_frame_of_a_sweep_is_in_exactly_one_pass() -> None:
    there = np.linspace(0.0, 0.03, 15)
    course = course_of(np.concatenate([there, there[::-1]]))
    told = [k for leg in course.legs for k in range(leg.first, leg.last + 1)]
    assert told == list(range(30))


def test_a_jump_in_a_push_is_a_gap_not_a_turn() -> None:
    steps = np.full(20, 0.0015)
    steps[8] = 0.009
    assert course_of(np.cumsum(steps)).pushed


def test_a_drift_in_uneven_steps_is_no_sweep() -> None:
    steps = np.array([1, 11, 1, 2, -1, 1, 5, 3, 3, -1, 1, 3, 0]) * -1e-3
    assert not course_of(np.cumsum(steps)).pushed


def test_unknown_places_do_not_end_a_pass() -> None:
    along = np.linspace(0.0, 0.03, 20)
    along[[5, 11]] = np.nan
    assert len(course_of(along).legs) == 1


@given(st.integers(0, 1000))
def test_trembling_on_one_spot_is_never_a_sweep(seed: int) -> None:
    along = np.random.default_rng(seed).normal(0.0, 2e-4, 14)
    assert not course_of(along).pushed


@given(st.integers(0, 1000), st.sampled_from([-1.0, 1.0]))
def test_a_push_is_found_through_a_tremble(seed: int, way: float) -> None:
    steps = np.random.default_rng(seed).uniform(0.8e-3, 2.2e-3, 24)
    course = course_of(way * np.cumsum(steps))
    assert [leg.direction for leg in course.legs] == ["away" if way > 0 else "toward"]


@pytest.mark.parametrize("count", [1, 2, 4])
def test_a_few_frames_are_no_sweep(count: int) -> None:
    assert not course_of(np.linspace(0.0, 0.02, count)).pushed
