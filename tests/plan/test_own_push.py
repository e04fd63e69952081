"""What a photographer's usual push gives with a plan."""

from __future__ import annotations

import pytest

from haltere.kit import Kit
from haltere.plan import make_plan, put_together
from haltere.plan.plan import Plan
from haltere.plan.sweep import at_push


@pytest.fixture(scope="module")
def plan() -> Plan:
    kit = Kit(sensor_width_mm=17.3, sensor_height_mm=13.0, width_px=5184, focal_mm=60.0)
    return make_plan(*put_together(kit, {"magnification": 1.4, "depth_mm": 4.0}))


def test_the_planned_speed_gives_what_was_planned(plan: Plan) -> None:
    planned = plan.chosen.sweep
    own = at_push(plan, planned.push_mm_s)
    assert own is not None
    assert own.step_mm == pytest.approx(planned.step_mm)
    assert own.gap_chance == pytest.approx(planned.gap_chance)
    assert own.passes == planned.passes


def test_a_faster_push_leaves_more_gaps_and_needs_more_passes(plan: Plan) -> None:
    usual = plan.chosen.sweep.push_mm_s
    slow, fast = at_push(plan, 0.5 * usual), at_push(plan, 2.0 * usual)
    assert slow is not None
    assert fast is not None
    assert slow.gap_chance < fast.gap_chance
    assert (slow.passes or 99) <= (fast.passes or 99)


@pytest.mark.parametrize("speed", [0.0, -1.0, float("nan"), float("inf")])
def test_a_speed_that_is_none_says_nothing(plan: Plan, speed: float) -> None:
    assert at_push(plan, speed) is None
