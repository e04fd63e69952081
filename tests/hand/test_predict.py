"""Predictions of bursts."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from haltere.hand.predict import chance_of_one, score, wilson
from haltere.plan.chance_of_bursts import correlated_burst_hits


@settings(max_examples=40, deadline=None)
@given(st.floats(0.05, 3), st.integers(1, 40), st.floats(0.0, 0.97))
def test_a_hand_without_faults_is_what_the_plan_reckons(
    depth: float, frames: int, correlation: float
) -> None:
    ours = chance_of_one(depth, frames, correlation, 0.0, 1.0)
    assert ours == pytest.approx(correlated_burst_hits(depth, 1.0, frames, correlation), abs=5e-3)


def test_simulation_agrees_with_a_mean_beside_the_eye_and_spoilt_frames() -> None:
    draw = np.random.default_rng(1)
    frames, r, mean, clean, depth = 12, 0.8, 0.7, 0.85, 0.6
    at = draw.standard_normal(40_000)
    hit = np.zeros(len(at), bool)
    for _ in range(frames):
        hit |= (np.abs(at + mean) <= depth / 2) & (draw.random(len(at)) < clean)
        at = r * at + math.sqrt(1 - r * r) * draw.standard_normal(len(at))
    assert chance_of_one(depth, frames, r, mean, clean) == pytest.approx(hit.mean(), abs=0.01)


def test_a_hand_that_stands_still_sees_one_place() -> None:
    assert chance_of_one(1.0, 50, 1.0, 0.0, 1.0) == pytest.approx(0.3829, abs=0.005)


@given(st.floats(0.1, 2), st.floats(0, 2), st.floats(0.1, 1))
def test_more_frames_never_hurt_and_faults_never_help(
    depth: float, mean: float, clean: float
) -> None:
    few = chance_of_one(depth, 5, 0.5, mean, clean)
    assert 0 <= few <= chance_of_one(depth, 10, 0.5, mean, clean) <= 1
    assert few <= chance_of_one(depth, 5, 0.5, mean, 1.0) + 1e-12


def test_a_perfect_prediction_scores_so() -> None:
    draw = np.random.default_rng(2)
    p = draw.random(4000)
    hits = list(draw.random(4000) < p)
    scored = score(list(p), [0.5] * 4000, list(1 - p), hits)
    assert scored.slope == pytest.approx(1.0, abs=0.05)
    assert scored.brier < scored.brier_habit < scored.brier_plan
    assert sum(one.bursts for one in scored.bins) == 4000
    for one in scored.bins:
        assert one.low <= one.predicted <= one.high


def test_interval_of_a_share_agrees_with_another_library() -> None:
    from scipy.stats import binomtest

    want = binomtest(3, 11).proportion_ci(0.9, method="wilson")
    assert wilson(3, 11) == pytest.approx((want.low, want.high))
