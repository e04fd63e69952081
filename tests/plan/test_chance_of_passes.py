"""Whether several uneven pushes leave no gap together, against exact limits and simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from haltere.errors import UsageError
from haltere.plan.chance_of_gaps import passes_cover, step_for
from haltere.plan.chance_of_passes import passes_needed, uneven_passes_cover

# where two neighbouring values may be told the wrong way round (measured: 0.002)
WRONG_WAY = 0.005


def simulated(
    passes: int, gap: float, depth: float, uneven: float, trials: int, seed: int
) -> float:
    """Share of trials without a gap, lengths in mean steps; pushes begin 40 steps before."""
    before = 40
    steps = math.ceil(before + depth + gap + 8 * uneven * math.sqrt(before + depth) + 8)
    rng = np.random.default_rng(seed)
    pushed = rng.gamma(uneven**-2, uneven**2, (trials, passes, steps)).cumsum(axis=2)
    pushed -= before + rng.uniform(size=(trials, passes, 1))
    at = np.sort(pushed.reshape(trials, -1), axis=1)
    # a plane at z is missed if no frame lies from z to z + gap: shifted by half a gap
    first, last = at[:, :-1], at[:, 1:]
    missed = np.minimum(last - gap, depth) > np.maximum(first, 0.0)
    return 1.0 - float(missed.any(axis=1).mean())


@pytest.mark.parametrize(
    ("passes", "gap", "depth", "uneven"),
    [
        (1, 1.7, 8.0, 0.4),
        (2, 1.2, 12.0, 0.3),
        (2, 1.1, 6.0, 0.2),
        (3, 1.1, 15.0, 0.4),
        (4, 0.8, 5.0, 0.3),
        (5, 1.0, 20.0, 0.6),
        (8, 0.6, 10.0, 0.4),
        (3, 1.5, 10.0, 1.0),
        (4, 2.0, 5.0, 1.8),
    ],
)
def test_simulated_pushes_cover_as_often_as_told(
    passes: int, gap: float, depth: float, uneven: float
) -> None:
    trials = 4000
    told = uneven_passes_cover(passes, gap, 1.0, depth, uneven)
    assert 0.1 < told < 0.99
    # four sigma of the count of successes, and 0.005 for the assumption itself
    slack = 4.0 * math.sqrt(told * (1.0 - told) / trials) + 0.005
    assert simulated(passes, gap, depth, uneven, trials, seed=11) == pytest.approx(told, abs=slack)


def poisson_covers(rate: float, gap: float, depth: float) -> float:
    """Chance that frames at random leave no gap: exact.

    The law of the largest spacing (W. L. Stevens 1939), averaged over a Poisson number of frames.
    """
    length, total = depth + gap, 0.0
    for k in range(math.floor(length / gap) + 1):
        rest = rate * (length - k * gap)
        term = (-1) ** k * math.exp(-k * rate * gap) * rest ** (k - 1) / math.factorial(k)
        total += term * (rest + k)
    return total


@pytest.mark.parametrize("passes", [1, 2, 3, 6])
@pytest.mark.parametrize("depth", [0.5, 3.0, 10.0])
def test_steps_as_uneven_as_chance_are_frames_at_random(passes: int, depth: float) -> None:
    told = uneven_passes_cover(passes, 1.0, 1.0, depth, 1.0)
    assert told == pytest.approx(poisson_covers(passes, 1.0, depth), abs=2e-3)


@given(st.integers(1, 12), st.floats(0.05, 1.5))
def test_pushes_without_unevenness_are_even_passes(passes: int, gap: float) -> None:
    assert uneven_passes_cover(passes, gap, 1.0, 5.0, 0.0) == passes_cover(passes, gap)


@pytest.mark.parametrize("passes", [2, 3, 4])
def test_nearly_even_pushes_over_one_step_tend_to_even_passes(passes: int) -> None:
    even, nearly = passes_cover(passes, 0.6), uneven_passes_cover(passes, 0.6, 1.0, 1.0, 0.05)
    assert nearly == pytest.approx(even, abs=0.03)


@given(st.floats(0.05, 0.5), st.floats(0.2, 30.0), st.floats(0.01, 0.2))
@settings(max_examples=50)
def test_one_push_is_enough_with_the_step_that_one_push_was_given(
    uneven: float, depth: float, chance: float
) -> None:
    step = step_for(0.4, depth, uneven, chance)
    assert passes_needed(0.4, step, depth, uneven, 1.0 - chance) == 1


LENGTHS = st.floats(0.05, 3.0)
UNEVEN = st.floats(0.0, 2.0)
PASSES = st.integers(1, 11)


@given(PASSES, LENGTHS, st.floats(0.1, 60.0), UNEVEN)
@settings(max_examples=60)
def test_another_push_never_leaves_more_gaps(
    passes: int, gap: float, depth: float, uneven: float
) -> None:
    fewer, more = (uneven_passes_cover(n, gap, 1.0, depth, uneven) for n in (passes, passes + 1))
    assert 0.0 <= fewer <= more + 1e-9 <= 1.0 + 2e-9


@given(PASSES, LENGTHS, st.floats(0.1, 60.0), UNEVEN, st.floats(1.0, 2.0))
@settings(max_examples=60)
def test_a_deeper_animal_is_never_covered_more_surely(
    passes: int, gap: float, depth: float, uneven: float, more: float
) -> None:
    deep = uneven_passes_cover(passes, gap, 1.0, depth * more, uneven)
    assert deep <= uneven_passes_cover(passes, gap, 1.0, depth, uneven) + 1e-9


@given(PASSES, LENGTHS, st.floats(0.1, 60.0), UNEVEN, st.floats(1.0, 2.0))
@settings(max_examples=60)
def test_more_depth_in_one_frame_never_leaves_more_gaps(
    passes: int, gap: float, depth: float, uneven: float, more: float
) -> None:
    longer = uneven_passes_cover(passes, gap * more, 1.0, depth, uneven)
    assert longer >= uneven_passes_cover(passes, gap, 1.0, depth, uneven) - WRONG_WAY


@given(st.floats(0.1, 10.0), st.floats(0.3, 2.0), st.floats(0.1, 1.0))
@settings(max_examples=30)
def test_only_proportions_count(unit: float, gap: float, uneven: float) -> None:
    told = uneven_passes_cover(3, gap * unit, unit, 7.0 * unit, uneven)
    assert told == pytest.approx(uneven_passes_cover(3, gap, 1.0, 7.0, uneven), abs=2e-3)


@given(st.floats(0.5, 1.5), st.floats(0.5, 20.0), st.floats(0.0, 1.0), st.floats(0.3, 0.99))
@settings(max_examples=40)
def test_the_passes_needed_are_enough_and_one_less_is_not(
    gap: float, depth: float, uneven: float, certainty: float
) -> None:
    needed = passes_needed(gap, 1.0, depth, uneven, certainty)
    enough = needed or 12
    assert (uneven_passes_cover(enough, gap, 1.0, depth, uneven) >= certainty) == bool(needed)
    if needed and needed > 1:
        assert uneven_passes_cover(needed - 1, gap, 1.0, depth, uneven) < certainty


def test_what_a_dozen_pushes_can_not_do_is_said_so() -> None:
    assert passes_needed(0.05, 1.0, 10.0, 0.4, 0.9) is None


@given(
    st.integers(1, 12),
    st.floats(1e-6, 1e6),
    st.floats(1e-3, 1e3),
    st.floats(1e-6, 1e6),
    st.floats(1e-9, 2.0),
)
@settings(max_examples=60)
def test_extreme_lengths_give_a_chance(
    passes: int, gap: float, step: float, depth: float, uneven: float
) -> None:
    assert 0.0 <= uneven_passes_cover(passes, gap, step, depth, uneven) <= 1.0


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
@pytest.mark.parametrize("place", ["gap_mm", "step_mm", "depth_mm"])
def test_absurd_lengths_are_refused(place: str, bad: float) -> None:
    given_mm = {"gap_mm": 0.4, "step_mm": 0.3, "depth_mm": 5.0, place: bad}
    with pytest.raises(UsageError, match=place.removesuffix("_mm")):
        uneven_passes_cover(3, unevenness=0.4, **given_mm)
    with pytest.raises(UsageError, match=place.removesuffix("_mm")):
        passes_needed(unevenness=0.4, certainty=0.9, **given_mm)


@pytest.mark.parametrize("bad", [0, -1, 13, 1.5, math.nan])
def test_absurd_numbers_of_pushes_are_refused(bad: int) -> None:
    with pytest.raises(UsageError, match="passes"):
        uneven_passes_cover(bad, 0.4, 0.3, 5.0, 0.4)


@pytest.mark.parametrize("bad", [0.0, 1.0, -1.0, math.nan])
def test_absurd_certainties_are_refused(bad: float) -> None:
    with pytest.raises(UsageError, match="certainty"):
        passes_needed(0.4, 0.3, 5.0, 0.4, bad)
