"""How likely a gap is in one sweep, by closed forms, limits and seeded simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import gamma, norm

from haltere.errors import UsageError
from haltere.plan import chance_of_gaps as gaps

RATIOS = st.floats(0.05, 6.0)
UNEVEN = st.floats(0.05, 1.5)
LAWS = st.sampled_from(["gamma", "normal"])


def four_sigma(chance: float, trials: int) -> float:
    """Four standard deviations of a count of successes: a seeded run fails 1 time in 16 000."""
    return 4.0 * math.sqrt(max(chance * (1.0 - chance), 1.0 / trials) / trials)


@given(RATIOS, UNEVEN)
def test_a_step_follows_the_gamma_law(ratio: float, uneven: float) -> None:
    expected = gamma.sf(ratio, uneven**-2, scale=uneven**2)
    assert gaps.step_exceeds(ratio, uneven) == pytest.approx(expected, abs=1e-12)


@given(RATIOS, UNEVEN)
def test_a_step_follows_the_normal_law_when_asked(ratio: float, uneven: float) -> None:
    expected = norm.sf(ratio, 1.0, uneven)
    assert gaps.step_exceeds(ratio, uneven, "normal") == pytest.approx(expected, abs=1e-12)


def test_as_uneven_as_chance_is_the_exponential_law() -> None:
    assert gaps.step_exceeds(2.5, 1.0) == pytest.approx(math.exp(-2.5))


def test_a_rail_never_leaves_a_step_longer_than_it_was_set_to() -> None:
    assert gaps.step_exceeds(1.0, 0.0) == 0.0
    assert gaps.step_exceeds(0.99, 0.0) == 1.0
    assert gaps.any_gap(0.99, 5, 0.0) == 1.0


@pytest.mark.parametrize(
    ("ratio", "uneven", "law"), [(1.76, 0.3, "normal"), (1.92, 0.3, "gamma"), (2.71, 0.5, "gamma")]
)
def test_nineteen_steps_need_this_reserve_for_one_gap_in_ten_passes(
    ratio: float, uneven: float, law: gaps.Law
) -> None:
    assert gaps.any_gap(ratio, 19, uneven, law) == pytest.approx(0.1, abs=0.005)


@given(RATIOS, st.floats(1.0, 200.0), UNEVEN, LAWS, st.floats(1.01, 3.0))
def test_a_longer_gap_is_never_likelier(
    ratio: float, steps: float, uneven: float, law: gaps.Law, more: float
) -> None:
    longer = gaps.any_gap(more * ratio, steps, uneven, law)
    assert longer <= gaps.any_gap(ratio, steps, uneven, law)


@given(RATIOS, st.floats(1.0, 200.0), UNEVEN, LAWS)
def test_more_steps_never_make_a_gap_less_likely(
    ratio: float, steps: float, uneven: float, law: gaps.Law
) -> None:
    fewer, more = (gaps.any_gap(ratio, n, uneven, law) for n in (steps, steps + 1.0))
    assert fewer <= more


def test_one_in_a_million_is_not_rounded_away() -> None:
    one = gaps.step_exceeds(9.0, 0.4)
    assert 0.0 < one < 1e-15
    assert gaps.any_gap(9.0, 10, 0.4) == pytest.approx(10 * one, rel=1e-6, abs=0)


def test_simulated_passes_hold_a_gap_as_often_as_told() -> None:
    trials, told = 20_000, gaps.any_gap(1.7, 12, 0.4)
    steps = np.random.default_rng(5).gamma(0.4**-2, 0.4**2, (trials, 12))
    assert np.mean((steps > 1.7).any(axis=1)) == pytest.approx(told, abs=four_sigma(told, trials))


@given(st.floats(0.05, 3.0), st.floats(0.1, 60.0), st.floats(0.0, 1.5), st.floats(0.001, 0.9))
def test_the_step_asked_for_keeps_the_chance_and_a_longer_one_does_not(
    gap: float, depth: float, uneven: float, chance: float
) -> None:
    def told(step: float) -> float:
        # a push arrives in the middle of a step; below 0.05 no hand is told from one of 0.05
        known = max(uneven, 0.05) if uneven else 0.0
        return gaps.any_gap(gap / step, depth / step + max(1.0, known**2), known)

    step = gaps.step_for(gap, depth, uneven, chance)
    assert told(step) <= chance
    assert told(1.001 * step) > chance


@given(st.floats(0.05, 3.0), st.floats(3.0, 60.0), st.floats(0.05, 0.9), st.floats(0.01, 0.3))
def test_a_less_even_hand_needs_a_shorter_step(
    gap: float, gaps_deep: float, uneven: float, chance: float
) -> None:
    # an animal of a single gap at even odds is another matter: there a median step counts
    depth = gap * gaps_deep
    even, worse = (gaps.step_for(gap, depth, u, chance) for u in (uneven, 1.1 * uneven))
    assert worse <= even * (1 + 1e-9)


def test_a_rail_may_step_as_far_as_one_frame_is_deep() -> None:
    assert gaps.step_for(0.4, 6.0, 0.0, 0.1) == pytest.approx(0.4)


def test_frames_stand_at_both_ends_of_the_animal() -> None:
    assert gaps.frames_at(0.5, 3.0) == 7
    assert gaps.frames_at(0.3, 2.1) == 8  # 7.000000000000001 steps to a computer
    assert gaps.frames_at(0.5, 3.1) == 8


@given(st.integers(2, 60), st.floats(0.0, 1.0))
def test_the_largest_spacing_is_a_chance_and_certain_below_the_mean(n: int, part: float) -> None:
    told = gaps.largest_spacing_exceeds(n, part)
    assert 0.0 <= told <= 1.0
    assert told == 1.0 or part > 1.0 / n


@given(st.integers(2, 60), st.floats(0.5, 1.0))
def test_above_half_only_one_spacing_can_be_that_large(n: int, part: float) -> None:
    expected = n * (1.0 - part) ** (n - 1)
    assert gaps.largest_spacing_exceeds(n, part) == pytest.approx(expected, abs=1e-12)


def test_many_spacings_keep_their_digits() -> None:
    # the limit for many spacings: exp(-n exp(-n a))
    n, part = 500, 0.0184
    limit = 1.0 - math.exp(-n * math.exp(-n * part))
    assert gaps.largest_spacing_exceeds(n, part) == pytest.approx(limit, abs=0.01)
    # twice the mean is always exceeded; the terms of the sum reach 10^29 on the way
    assert gaps.largest_spacing_exceeds(n, 2.0 / n) == pytest.approx(1.0, abs=1e-12)


def test_simulated_spacings_are_as_large_as_told() -> None:
    cuts = np.sort(np.random.default_rng(7).uniform(size=(20_000, 9)), axis=1)
    parts = np.diff(cuts, axis=1, prepend=0.0, append=1.0).max(axis=1)
    told = gaps.largest_spacing_exceeds(10, 0.3)
    assert np.mean(parts > 0.3) == pytest.approx(told, abs=four_sigma(told, 20_000))
    mean, error = float(parts.mean()), float(parts.std() / math.sqrt(20_000))
    assert mean == pytest.approx(gaps.expected_largest_spacing(10), abs=4 * error)


@given(st.integers(2, 40), st.floats(0.0, 0.5))
def test_points_crowd_into_a_short_arc_by_the_simple_formula(points: int, arc: float) -> None:
    expected = points * arc ** (points - 1)
    assert gaps.all_within_arc(points, arc) == pytest.approx(expected, abs=1e-12)


def test_three_points_leave_half_a_circle_one_time_in_four_and_always_fit_the_whole() -> None:
    assert gaps.all_within_arc(3, 0.5) == pytest.approx(0.75)
    assert gaps.all_within_arc(3, 2 / 3) == pytest.approx(1.0)
    assert gaps.all_within_arc(1, 0.0) == 1.0


@pytest.mark.parametrize(("passes", "told"), [(3, 0.52), (4, 0.744), (5, 0.872)])
def test_even_passes_cover_a_gap_of_six_tenths(passes: int, told: float) -> None:
    assert gaps.passes_cover(passes, 0.6) == pytest.approx(told)


@given(st.integers(1, 11), st.floats(0.01, 1.2))
def test_another_even_pass_never_leaves_more_gaps(passes: int, ratio: float) -> None:
    assert gaps.passes_cover(passes, ratio) <= gaps.passes_cover(passes + 1, ratio)


def test_one_even_pass_covers_once_its_step_is_no_longer_than_a_frame_is_deep() -> None:
    assert gaps.passes_cover(1, 1.0) == 1.0
    assert gaps.passes_cover(1, 0.999) == 0.0


ABSURD = [0.0, -1.0, math.nan, math.inf]


@pytest.mark.parametrize("bad", ABSURD)
def test_absurd_lengths_are_refused(bad: float) -> None:
    for call in (
        lambda: gaps.step_exceeds(bad, 0.3),
        lambda: gaps.any_gap(1.5, bad, 0.3),
        lambda: gaps.step_for(bad, 3.0, 0.3, 0.1),
        lambda: gaps.step_for(0.4, bad, 0.3, 0.1),
        lambda: gaps.frames_at(bad, 3.0),
        lambda: gaps.passes_cover(3, bad),
    ):
        with pytest.raises(UsageError):
            call()


@pytest.mark.parametrize("bad", [-0.1, 2.1, math.nan])
def test_absurd_unevenness_is_refused(bad: float) -> None:
    with pytest.raises(UsageError, match="unevenness"):
        gaps.step_exceeds(1.5, bad)
    with pytest.raises(UsageError, match="unevenness"):
        gaps.step_for(0.4, 3.0, bad, 0.1)


@pytest.mark.parametrize("bad", [0.0, 1.0, -0.2, 50.0, math.nan])
def test_a_chance_that_is_none_is_refused(bad: float) -> None:
    with pytest.raises(UsageError, match="gap chance"):
        gaps.step_for(0.4, 3.0, 0.3, bad)


@pytest.mark.parametrize("bad", [0, -3, 2.5, math.nan, 10**6])
def test_absurd_counts_are_refused(bad: int) -> None:
    for call in (
        lambda: gaps.largest_spacing_exceeds(bad, 0.3),
        lambda: gaps.expected_largest_spacing(bad),
        lambda: gaps.all_within_arc(bad, 0.3),
        lambda: gaps.passes_cover(bad, 0.5),
    ):
        with pytest.raises(UsageError, match="whole number"):
            call()


def test_an_unknown_law_is_refused_by_name() -> None:
    with pytest.raises(UsageError, match="cauchy"):
        gaps.step_exceeds(1.5, 0.3, "cauchy")  # type: ignore[arg-type]
