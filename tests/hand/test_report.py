"""What is said of invented hands whose numbers are known; the large table is in benchmarks."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from haltere.hand import numbers_for_plan, report_on
from haltere.hand.groups import hour_name, magnification_name
from haltere.hand.seen import BurstSeen
from haltere.hand.told import causes_of, pushes_of, wander_along
from tests.hand.made import Hand, burst, outing, some_hand, sweep


def test_intervals_hold_the_truth_of_a_fixed_set_of_hands() -> None:
    draw = np.random.default_rng(11)
    held: Counter[str] = Counter()
    for _ in range(24):
        hand = some_hand(draw)
        bursts, sweeps = outing(hand, draw)
        along, pushes, causes = wander_along(bursts), pushes_of(sweeps), causes_of(bursts)
        assert along is not None
        assert pushes.speed_mm_s is not None
        assert pushes.unevenness is not None
        assert pushes.speed_spread is not None
        told = {
            "spread_mm": along.spread(), "sway_s": along.sway(), "bias_mm": along.bias(),
            "motion": causes.motion, "misfire": causes.misfire,
            "push_mm_s": pushes.speed_mm_s, "unevenness": pushes.unevenness,
            "push_log_sd": pushes.speed_spread,
        }  # fmt: skip
        for name, one in told.items():
            held[name] += one.low <= getattr(hand, name) <= one.high
    # of 24 at 90 %, fewer than 18 come once in 200 times
    assert {name: n for name, n in held.items() if n < 18} == {}


def bursts_of(hand: Hand, count: int, seed: int = 1, **words: object) -> list[BurstSeen]:
    draw = np.random.default_rng(seed)
    return [replace(burst(hand, draw, 1 + n // 12), **words) for n in range(count)]  # type: ignore[arg-type]


def test_predictions_beat_the_habit_and_the_assumed_hand() -> None:
    made = bursts_of(Hand(spread_mm=2.5, bias_mm=0.5), 96)
    scored = report_on(made, []).scored
    assert scored is not None
    assert scored.bursts == 84
    assert scored.brier < min(scored.brier_habit, scored.brier_plan)


def test_little_is_known_of_two_bursts() -> None:
    report = report_on(bursts_of(Hand(), 2), [])
    assert (report.moves, report.hit_rate, report.groups, report.scored) == (None, None, (), None)
    assert "tell nothing" in report.advice[0]


def test_nothing_at_all_is_answered_too() -> None:
    report = report_on([], [])
    assert (report.bursts, report.sweeps, report.pushes.speed_mm_s) == (0, 0, None)
    assert len(report.advice) == 2


@pytest.mark.parametrize(
    ("hand", "says"),
    [
        (Hand(misfire=0.4), "without flash"),
        (Hand(motion=0.5, misfire=0.0), "smeared"),
        (Hand(bias_mm=1.5, motion=0.0, misfire=0.0), "behind the eye: lean back"),
        (Hand(bias_mm=-1.5, motion=0.0, misfire=0.0), "in front of the eye: lean forward"),
        (Hand(bias_mm=0.0, motion=0.0, misfire=0.0), "95 of 100"),
    ],
)
def test_the_advice_names_what_costs_most(hand: Hand, says: str) -> None:
    report = report_on(bursts_of(hand, 40), [])
    assert len(report.advice) == 2
    assert says in report.advice[1]


def test_a_better_support_is_named() -> None:
    steady = bursts_of(Hand(spread_mm=0.4, bias_mm=0, motion=0, misfire=0), 30, support="a stick")
    free = bursts_of(Hand(spread_mm=2.0, bias_mm=0, motion=0, misfire=0), 30, 2, support="nothing")
    report = report_on(steady + free, [])
    assert "take a stick along" in report.advice[1]
    names = {one.name for one in report.groups if one.by == "support"}
    assert names == {"a stick", "nothing"}


def test_too_fast_a_push_is_named() -> None:
    draw = np.random.default_rng(3)
    sweeps = [sweep(Hand(push_mm_s=9.0), draw) for _ in range(8)]
    report = report_on(bursts_of(Hand(bias_mm=0, motion=0, misfire=0), 20), sweeps)
    assert "depths of field: go at" in report.advice[1]


def test_the_plan_gets_the_mean_beside_the_eye_as_well() -> None:
    report = report_on(bursts_of(Hand(spread_mm=0.5, bias_mm=2.0), 40), [])
    assert report.plan.hand_spread_mm is not None
    assert report.plan.hand_spread_mm > 1.7


def test_errors_of_planes_are_no_unevenness() -> None:
    draw = np.random.default_rng(4)
    even = [sweep(Hand(unevenness=0.25, push_mm_s=2.0), draw) for _ in range(30)]
    told = pushes_of(even).unevenness
    assert told is not None
    assert told.low < 0.25 < told.high


def test_magnifications_and_hours_have_names() -> None:
    assert [magnification_name(m) for m in (0.5, 1.0, 1.3, 2.2)] == [
        "about 0.5:1", "about 1:1", "about 1.4:1", "about 2:1",
    ]  # fmt: skip
    assert [hour_name(h) for h in (5, 10, 16)] == ["before 10 h", "10 to 16 h", "after 16 h"]


def test_sweeps_are_told_by_what_they_have_in_common() -> None:
    draw = np.random.default_rng(6)
    slow = [sweep(Hand(push_mm_s=2.0), draw, support="a stick") for _ in range(8)]
    fast = [sweep(Hand(push_mm_s=5.0), draw, support="nothing") for _ in range(8)]
    groups = report_on([], [*slow, *fast]).push_groups
    speeds = {one.name: one.speed_mm_s for one in groups if one.by == "support"}
    assert speeds["a stick"] is not None
    assert speeds["nothing"] is not None
    assert speeds["a stick"].low < 2.0 < speeds["a stick"].high < speeds["nothing"].low
    (only,) = (one for one in groups if one.by == "magnification")
    assert only.sweeps == 16


def test_the_plan_s_numbers_are_those_of_the_whole_report() -> None:
    draw = np.random.default_rng(7)
    bursts, sweeps = outing(Hand(), draw)
    assert numbers_for_plan(bursts, sweeps) == report_on(bursts, sweeps).plan


def test_shaking_is_told_only_where_it_stands_out() -> None:
    calm = report_on(bursts_of(Hand(tremor_mm=0.02), 12), []).moves
    shaky = report_on(bursts_of(Hand(aside_mm=0.3, tremor_mm=0.4), 30), []).moves
    assert calm is not None
    assert calm.tremor_um is None
    assert shaky is not None
    assert shaky.tremor_um is not None
    assert shaky.tremor_um.low < 400 < shaky.tremor_um.high
