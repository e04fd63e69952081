"""The hand moves as hands do, and pushes without leaving holes nobody asked for."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from haltere.scene.hand import HandHabits, make_hand, push_positions


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.integers(5, 60), st.floats(0.3, 0.62), st.booleans())
def test_a_push_is_uneven_but_never_steps_over_a_depth_of_field(
    seed: int, steps: int, mean: float, back: bool
) -> None:
    rng = np.random.default_rng(seed)
    end = mean * steps * (-1.0 if back else 1.0)
    p = push_positions(rng, 0.0, end, steps, 1.0)
    step = np.diff(p) * np.sign(end)
    assert p[0] == 0.0
    assert abs(p[-1] - end) < 1e-9
    assert step.min() > 0.0
    assert step.max() <= 0.95


def test_the_steps_of_a_push_vary_by_about_a_third() -> None:
    rng = np.random.default_rng(3)
    step = np.concatenate([np.diff(push_positions(rng, 0.0, 27.0, 50, 1.0)) for _ in range(40)])
    assert 0.27 < step.std() / step.mean() < 0.40


def test_the_hand_is_still_from_one_tremor_to_the_next() -> None:
    hand = make_hand(4)
    jump = np.abs(hand.at(1.001) - hand.at(1.0))[:2].max()
    away = np.abs(hand.at(3.0) - hand.at(1.0))[:2].max()
    assert jump < 0.02 < away


def test_speed_is_the_slope_of_the_path() -> None:
    hand = make_hand(5)
    slope = (hand.at(2.0 + 1e-6) - hand.at(2.0 - 1e-6)) / 2e-6
    np.testing.assert_allclose(hand.speed(2.0), slope, rtol=1e-4, atol=1e-6)


def test_most_of_the_movement_is_slow_sway() -> None:
    habits = HandHabits()
    t = np.arange(0, 60, 0.02)
    x = np.array([make_hand(6).at(float(v))[0] for v in t])
    power = np.abs(np.fft.rfft(x - x.mean())) ** 2
    f = np.fft.rfftfreq(t.size, 0.02)
    bands = (habits.sway_hz, habits.pulse_hz, habits.tremor_hz)
    share = [power[(f > lo - 0.1) & (f < hi + 0.1)].sum() / power.sum() for lo, hi in bands]
    assert sum(share) > 0.98
    assert share[0] > 0.8
    assert 0.1 > share[1] > share[2] > 0.0
