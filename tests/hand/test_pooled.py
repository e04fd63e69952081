"""Rates and means in which a few cases do not shout."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from haltere.hand.pooled import mean_of_logs, rates, share, shrunk, spread_of_logs
from haltere.hand.seen import Estimate


def test_five_bursts_do_not_shout() -> None:
    large, small = rates([(60, 100), (0, 5)])
    assert large.value == pytest.approx(0.6, abs=0.03)
    assert small.value > 0.15  # not 0
    assert small.high - small.low > 2 * (large.high - large.low)


def test_many_bursts_speak_for_themselves() -> None:
    good, bad = rates([(180, 200), (20, 200)])
    assert good.value == pytest.approx(0.9, abs=0.02)
    assert bad.value == pytest.approx(0.1, abs=0.02)


@settings(max_examples=15, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 20), st.integers(0, 20)), min_size=1, max_size=5))
def test_rates_lie_within_their_intervals(parts: list[tuple[int, int]]) -> None:
    counts = [(min(a, b), max(a, b)) for a, b in parts]
    for one in rates(counts):
        assert 0 <= one.low <= one.value <= one.high <= 1


def test_clusters_widen_a_share() -> None:
    spread_out = share([(2, 10)] * 10)
    clustered = share([(10, 10)] * 2 + [(0, 10)] * 8)
    assert spread_out.low < 0.2 < spread_out.high
    assert clustered.low < 0.2 < clustered.high
    assert clustered.high - clustered.low > 1.5 * (spread_out.high - spread_out.low)


def test_intervals_of_a_mean_hold_the_truth_nine_times_in_ten() -> None:
    draw = np.random.default_rng(5)
    held = 0
    for _ in range(400):
        errors = draw.uniform(0.05, 0.3, 6)
        logs = 1.0 + 0.2 * draw.standard_normal(6) + errors * draw.standard_normal(6)
        told = mean_of_logs(list(np.exp(logs)), list(errors))
        assert told is not None
        held += told.low <= np.e <= told.high
    assert 0.86 * 400 <= held <= 0.95 * 400


def test_intervals_of_a_spread_hold_the_truth_nine_times_in_ten() -> None:
    draw = np.random.default_rng(6)
    held = 0
    for _ in range(400):
        logs = 1.0 + 0.2 * draw.standard_normal(6) + 0.05 * draw.standard_normal(6)
        told = spread_of_logs(list(np.exp(logs)), 0.05)
        assert told is not None
        held += told.low <= 0.2 <= told.high
    assert 0.86 * 400 <= held <= 0.94 * 400


def test_equal_speeds_have_no_spread() -> None:
    told = spread_of_logs([3.0, 3.0, 3.0], 0.02)
    assert told == Estimate(0.0, 0.0, 0.0)


def test_two_sweeps_tell_no_mean() -> None:
    assert spread_of_logs([1.0, 2.0], 0.1) is None
    assert mean_of_logs([1.0, 2.0], [0.1, 0.1]) is None


def test_groups_that_agree_lean_on_each_other_and_others_do_not() -> None:
    alike = shrunk([Estimate(1.0, 0.8, 1.25), Estimate(1.1, 0.7, 1.7)])
    assert alike[0].value == pytest.approx(alike[1].value, rel=0.02)
    apart = shrunk([Estimate(1.0, 0.95, 1.05), Estimate(3.0, 2.8, 3.2)])
    assert apart[1].value == pytest.approx(3.0, rel=0.03)
    alone = Estimate(1.0, 0.5, 2.0)
    assert shrunk([alone]) == [alone]
