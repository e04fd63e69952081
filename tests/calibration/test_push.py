"""Speed and evenness of a push."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest

from haltere.calibration.push import Push, measure_push, push_doubt

START = datetime(2031, 6, 14, 9, 30)


def push(steps: list[float], seconds: float = 0.1, sigma: float = 0.0, whole: bool = False) -> Push:
    at = np.concatenate([[0.0], np.cumsum(steps)])
    times = [START + timedelta(seconds=seconds * k) for k in range(len(at))]
    if whole:
        times = [t.replace(microsecond=0) for t in times]
    return measure_push(at, np.full(len(at), sigma), 0.0, times)


def test_speed_is_way_over_time() -> None:
    said = push([0.3, 0.5, 0.4, 0.4])
    assert said.mm_s == pytest.approx(4.0)
    assert said.mm_per_frame == pytest.approx(0.4)


def test_pulling_back_is_as_fast_as_pushing() -> None:
    assert push([-0.3, -0.5, -0.4]).mm_s == pytest.approx(push([0.3, 0.5, 0.4]).mm_s)


def test_an_even_push_measured_with_errors_stays_even() -> None:
    rng = np.random.default_rng(0)
    noise = np.diff(0.05 * rng.standard_normal(201))
    assert push(list(0.4 + noise), sigma=0.05).unevenness < 0.06


def test_unevenness_is_the_spread_of_the_steps() -> None:
    steps = [0.2, 0.6, 0.2, 0.6]
    assert push(steps).unevenness == pytest.approx(0.5)


def test_a_step_back_is_counted() -> None:
    assert push([0.4, 0.4, -0.2, 0.4]).backward == 1
    assert push([0.4, 0.4, -0.2, 0.4], sigma=0.2).backward == 0


def test_whole_seconds_give_no_speed_of_a_short_push() -> None:
    said = push([0.4] * 12, whole=True)
    assert said.mm_s is None
    assert said.why_no_speed is not None
    assert "whole seconds" in said.why_no_speed


def test_whole_seconds_do_for_a_long_push() -> None:
    said = push([0.1] * 300, whole=True)
    assert said.mm_s == pytest.approx(1.0, rel=0.03)
    assert said.mm_s_sigma is not None
    assert said.mm_s_sigma > 0.01


def test_pictures_without_time_give_steps_only() -> None:
    said = measure_push(np.arange(4.0), np.zeros(4), 0.0, [None] * 4)
    assert said.mm_s is None
    assert said.mm_per_frame == pytest.approx(1.0)


def test_a_push_well_measured_is_not_doubted() -> None:
    assert push_doubt(push([0.3, 0.5, 0.4, 0.4, 0.4, 0.3]), 6) is None


@pytest.mark.parametrize(
    ("steps", "sigma", "why"),
    [
        ([0.4, 0.5, 0.4, 0.3], 0.0, "too few"),
        ([0.1, 0.12, 0.1, 0.1, 0.1], 0.3, "more than a third"),
        ([0.9, -0.3, 0.9, -0.3, 0.9, -0.2], 0.0, "3 of 6 steps went backwards"),
        ([0.1, 0.1, 0.1, 0.1, 0.1, 3.0], 0.0, "spread more than they are long"),
    ],
)
def test_a_push_hardly_known_is_doubted(steps: list[float], sigma: float, why: str) -> None:
    doubt = push_doubt(push(steps, sigma=sigma), len(steps))
    assert doubt is not None
    assert why in doubt


def test_a_push_without_speed_says_why() -> None:
    said = replace(push([0.4] * 6), mm_s=None, mm_s_sigma=None, why_no_speed="no time")
    assert push_doubt(said, 6) == "no time"
