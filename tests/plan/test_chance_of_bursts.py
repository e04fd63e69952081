"""Whether a burst has the eyes sharp once, by closed forms, limits and seeded simulation."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import multivariate_normal, norm

from haltere.errors import UsageError
from haltere.plan import chance_of_bursts as bursts

DEPTHS = st.floats(0.02, 5.0)
SPREADS = st.floats(0.1, 5.0)
ALIKE = st.floats(0.0, 0.98)
FRAMES = st.integers(1, 60)


@given(DEPTHS, SPREADS)
def test_one_frame_hits_by_the_normal_law(depth: float, spread: float) -> None:
    expected = 1.0 - 2.0 * norm.sf(0.5 * depth, scale=spread)
    assert bursts.frame_hits(depth, spread) == pytest.approx(expected, abs=1e-12)


def test_one_frame_hits_by_the_uniform_law_until_the_depth_holds_all() -> None:
    assert bursts.frame_hits(0.5, 1.0, "uniform") == 0.25
    assert bursts.frame_hits(3.0, 1.0, "uniform") == 1.0
    assert bursts.burst_hits(3.0, 1.0, 4, "uniform") == 1.0


@given(DEPTHS, SPREADS, FRAMES)
def test_frames_that_know_nothing_of_each_other_miss_independently(
    depth: float, spread: float, frames: int
) -> None:
    missed = (1.0 - bursts.frame_hits(depth, spread)) ** frames
    assert bursts.burst_hits(depth, spread, frames) == pytest.approx(1.0 - missed, abs=1e-12)


@given(DEPTHS, SPREADS, FRAMES)
@settings(max_examples=40)
def test_hardly_alike_tends_to_independent(depth: float, spread: float, frames: int) -> None:
    alone = bursts.burst_hits(depth, spread, frames)
    assert bursts.correlated_burst_hits(depth, spread, frames, 0.0) == alone
    nearly = bursts.correlated_burst_hits(depth, spread, frames, 1e-4)
    assert nearly == pytest.approx(alone, abs=1e-6)


@given(DEPTHS, SPREADS, FRAMES)
def test_frames_all_alike_are_one_frame(depth: float, spread: float, frames: int) -> None:
    alike = bursts.correlated_burst_hits(depth, spread, frames, 1.0)
    assert alike == bursts.frame_hits(depth, spread)


@given(DEPTHS, SPREADS, ALIKE)
@settings(max_examples=40)
def test_a_burst_of_one_is_one_frame(depth: float, spread: float, alike: float) -> None:
    told = bursts.correlated_burst_hits(depth, spread, 1, alike)
    assert told == pytest.approx(bursts.frame_hits(depth, spread), abs=1e-9)


@given(DEPTHS, SPREADS, st.floats(0.02, 0.98), FRAMES)
@settings(max_examples=40)
def test_frames_that_are_alike_are_worth_less(
    depth: float, spread: float, alike: float, frames: int
) -> None:
    told = bursts.correlated_burst_hits(depth, spread, frames, alike)
    assert told <= bursts.burst_hits(depth, spread, frames) + 1e-9
    assert told >= bursts.frame_hits(depth, spread) - 1e-9


@given(DEPTHS, SPREADS, ALIKE, FRAMES)
@settings(max_examples=40)
def test_a_longer_burst_is_never_worse(
    depth: float, spread: float, alike: float, frames: int
) -> None:
    told = [bursts.correlated_burst_hits(depth, spread, n, alike) for n in (frames, frames + 1)]
    assert told[0] <= told[1] + 1e-9


@given(DEPTHS, SPREADS, ALIKE, FRAMES, st.floats(1.0, 3.0))
@settings(max_examples=40)
def test_more_depth_is_never_worse_and_a_wider_sway_never_better(
    depth: float, spread: float, alike: float, frames: int, more: float
) -> None:
    told = bursts.correlated_burst_hits(depth, spread, frames, alike)
    assert bursts.correlated_burst_hits(more * depth, spread, frames, alike) >= told - 1e-9
    assert bursts.correlated_burst_hits(depth, more * spread, frames, alike) <= told + 1e-9


@pytest.mark.parametrize("alike", [0.3, 0.9, 0.99, 0.999])
@pytest.mark.parametrize("half", [0.05, 0.2, 1.5])
def test_two_frames_agree_with_the_normal_law_of_the_plane(alike: float, half: float) -> None:
    cov = [[1.0, alike], [alike, 1.0]]
    box = [half, half], [-half, -half]
    inside = multivariate_normal.cdf(box[0], cov=cov, lower_limit=box[1], abseps=1e-9)
    expected = 2.0 * bursts.frame_hits(2 * half, 1.0) - inside
    told = bursts.correlated_burst_hits(2 * half, 1.0, 2, alike)
    assert told == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    ("alike", "frames", "depth"),
    [(0.5, 15, 0.4), (0.9, 15, 0.4), (0.97, 30, 0.6), (0.995, 40, 1.0)],
)
def test_simulated_sways_hit_as_often_as_told(alike: float, frames: int, depth: float) -> None:
    trials, rng = 20_000, np.random.default_rng(3)
    at = rng.normal(size=trials)
    hit = np.abs(at) < 0.5 * depth
    for _ in range(frames - 1):
        at = alike * at + math.sqrt(1.0 - alike**2) * rng.normal(size=trials)
        hit |= np.abs(at) < 0.5 * depth
    told = bursts.correlated_burst_hits(depth, 1.0, frames, alike)
    # four standard deviations of a count of successes
    slack = 4.0 * math.sqrt(told * (1.0 - told) / trials)
    assert hit.mean() == pytest.approx(told, abs=slack)


@given(st.floats(0.1, 3.0), st.floats(0.3, 2.0), st.floats(0.0, 0.95), st.floats(0.2, 0.99))
@settings(max_examples=40)
def test_the_frames_needed_are_enough_and_one_less_is_not(
    depth: float, spread: float, alike: float, certainty: float
) -> None:
    (needed,) = bursts.frames_needed(depth, spread, (certainty,), alike)
    chance = bursts.correlated_burst_hits(depth, spread, needed or 500, alike)
    assert (chance >= certainty) == bool(needed)
    if needed and needed > 1:
        assert bursts.correlated_burst_hits(depth, spread, needed - 1, alike) < certainty


@given(st.floats(0.1, 3.0), st.floats(0.3, 2.0), ALIKE)
@settings(max_examples=40)
def test_more_certainty_never_needs_fewer_frames(depth: float, spread: float, alike: float) -> None:
    needed = bursts.frames_needed(depth, spread, (0.5, 0.9, 0.95, 0.99), alike)
    assert all(a <= b for a, b in pairwise(n or 501 for n in needed))


def test_certainties_are_answered_in_the_order_they_were_asked() -> None:
    up, down = (bursts.frames_needed(0.4, 1.0, c, 0.5) for c in ((0.9, 0.99), (0.99, 0.9)))
    assert up == down[::-1]
    assert up[0] != up[1]


def test_a_burst_beyond_every_buffer_is_said_to_be_out_of_reach() -> None:
    assert bursts.frames_needed(0.001, 1.0) == (None, None, None)
    assert bursts.frames_needed(0.4, 1.0, (0.1, 0.9), 1.0) == (1, None)


def test_a_depth_that_holds_every_sway_needs_one_frame() -> None:
    assert bursts.frames_needed(40.0, 1.0, correlation=0.5) == (1, 1, 1)
    assert bursts.frames_needed(40.0, 1.0) == (1, 1, 1)


@given(st.floats(0.5, 120.0), st.floats(0.05, 5.0), st.floats(1.01, 4.0))
def test_faster_frames_of_a_slower_sway_are_more_alike(
    rate: float, tau: float, more: float
) -> None:
    alike = bursts.correlation_between_frames(rate, tau)
    assert 0.0 <= alike < 1.0
    assert bursts.correlation_between_frames(rate * more, tau) >= alike
    assert bursts.correlation_between_frames(rate, tau * more) >= alike
    assert bursts.correlation_between_frames(rate * more, tau / more) == pytest.approx(alike)


def test_after_one_time_constant_one_part_in_e_is_left() -> None:
    assert bursts.correlation_between_frames(4.0, 0.25) == pytest.approx(1.0 / math.e)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_absurd_lengths_rates_and_times_are_refused(bad: float) -> None:
    for call in (
        lambda: bursts.frame_hits(bad, 1.0),
        lambda: bursts.frame_hits(0.4, bad),
        lambda: bursts.burst_hits(0.4, bad, 5),
        lambda: bursts.correlated_burst_hits(bad, 1.0, 5, 0.5),
        lambda: bursts.frames_needed(0.4, bad),
        lambda: bursts.correlation_between_frames(bad, 1.0),
        lambda: bursts.correlation_between_frames(10.0, bad),
    ):
        with pytest.raises(UsageError, match="above zero"):
            call()


@pytest.mark.parametrize("bad", [0, -1, 1.5, 501, math.nan])
def test_absurd_bursts_are_refused(bad: int) -> None:
    with pytest.raises(UsageError, match="frames"):
        bursts.burst_hits(0.4, 1.0, bad)
    with pytest.raises(UsageError, match="frames"):
        bursts.correlated_burst_hits(0.4, 1.0, bad, 0.5)


@pytest.mark.parametrize("bad", [-0.1, 1.1, math.nan])
def test_absurd_likeness_is_refused(bad: float) -> None:
    with pytest.raises(UsageError, match="correlation"):
        bursts.correlated_burst_hits(0.4, 1.0, 5, bad)
    with pytest.raises(UsageError, match="correlation"):
        bursts.frames_needed(0.4, 1.0, correlation=bad)


def test_an_impossible_certainty_and_an_unknown_law_are_refused() -> None:
    with pytest.raises(UsageError, match="certainty"):
        bursts.frames_needed(0.4, 1.0, (0.9, 1.0))
    with pytest.raises(UsageError, match="cauchy"):
        bursts.frame_hits(0.4, 1.0, "cauchy")  # type: ignore[arg-type]
