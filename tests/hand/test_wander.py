"""How a hand wanders, told from its places in bursts."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import multivariate_normal

from haltere.hand.told import wander_along, wander_aside
from haltere.hand.wander import Prior, Series, _likelihood, _padded, fit_wander
from tests.hand.made import Hand, burst, wandering

PRIOR = Prior(1.5, 0.5, None, 1.0)


def series(
    count: int, frames: int, seed: int, spread: float = 1.0, sway: float = 0.4
) -> list[Series]:
    draw = np.random.default_rng(seed)
    made = []
    for _ in range(count):
        times = np.concatenate(([0.0], np.cumsum(draw.uniform(0.05, 0.2, frames - 1))))
        at = wandering(times, spread, sway, draw)
        made.append(Series(times, at, np.full(frames, 0.05)))
    return made


@settings(max_examples=25, deadline=None)
@given(
    st.integers(0, 99),
    st.floats(0.2, 3),
    st.floats(0.05, 2),
    st.floats(0.001, 0.5),
    st.floats(0.1, 2),
    st.booleans(),
)
def test_the_likelihood_is_that_of_a_multivariate_normal_law(
    seed: int, spread: float, sway: float, tremor: float, mean: float, gap: bool
) -> None:
    bursts = series(2, 6, seed)
    if gap:
        bursts[1].at_mm[2:4] = np.nan
    one = np.ones(1)
    got, _, _ = _likelihood(_padded(bursts), spread * one, sway * one, tremor * one, mean)
    times = np.concatenate([bursts[0].times_s, 1e6 + bursts[1].times_s])
    at = np.concatenate([b.at_mm for b in bursts])
    known = np.isfinite(at)
    cov = spread**2 * np.exp(-np.abs(times[:, None] - times[None, :]) / sway)
    cov += np.eye(len(times)) * (0.05**2 + tremor**2) + mean**2
    want = multivariate_normal(np.zeros(known.sum()), cov[np.ix_(known, known)]).logpdf(at[known])
    # constants that are the same for every hand are left out
    want += 0.5 * known.sum() * np.log(2 * np.pi) + np.log(mean)
    assert got[0] == pytest.approx(want, abs=1e-5)


def test_more_bursts_tell_more() -> None:
    few = fit_wander(series(4, 15, 1), PRIOR).spread()
    many = fit_wander(series(64, 15, 1), PRIOR).spread()
    assert 2.5 < (few.high - few.low) / (many.high - many.low) < 6.5
    assert many.low < 1.0 < many.high


def test_without_much_to_go_by_the_plan_s_assumption_stays() -> None:
    told = fit_wander(series(1, 2, 1), PRIOR).spread()
    assert told.low < 1.5 < told.high
    assert told.high > 3 * told.low


@pytest.mark.parametrize("spread", [0.1, 0.3, 10.0])
def test_unusual_hands_are_found_too(spread: float) -> None:
    made = series(60, 20, 3, spread=spread)
    tight = [Series(one.times_s, one.at_mm, np.full(20, 0.001)) for one in made]
    told = fit_wander(tight, PRIOR).spread()
    assert told.low / 1.1 < spread < told.high * 1.1


def test_where_the_animal_is_put_in_the_picture_says_nothing_of_the_hand() -> None:
    made = [burst(Hand(), np.random.default_rng(n)) for n in range(10)]
    told = wander_aside(made)
    assert told is not None
    moved = wander_aside([_moved(one) for one in made])
    assert moved is not None
    assert moved.spread().value == pytest.approx(told.spread().value, rel=1e-6)


def _moved(one):  # type: ignore[no-untyped-def]
    from dataclasses import replace

    return replace(one, aside_mm=one.aside_mm + 7.0)


def test_bursts_with_few_placed_frames_are_left_out() -> None:
    from dataclasses import replace

    one = burst(Hand(), np.random.default_rng(1))
    far = one.offset_mm.copy()
    far[np.abs(far) > 0.3] = np.nan  # only near planes could be placed
    assert wander_along([replace(one, offset_mm=far)]) is None


def test_the_same_bursts_tell_the_same() -> None:
    made = series(5, 10, 2)
    one, other = fit_wander(made, PRIOR), fit_wander(made, PRIOR)
    assert one.spread() == other.spread()
    assert all(np.array_equal(a, b) for a, b in zip(one.drawn(8), other.drawn(8), strict=True))
