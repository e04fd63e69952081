"""A whole plan: its answer, its warnings, its limits."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from haltere.doors.schemas import schema
from haltere.errors import UsageError
from haltere.kit import Kit
from haltere.plan import as_dict, as_json, make_plan, wishes_of
from tests.plan.invented_kits import KITS, LARGE, SMALL

FLASH: dict[str, Any] = {
    "guide_number_m": 12.0,
    "diffuser_stops": 1.5,
    "smallest_power": 1 / 128,
    "t05_s": 1 / 900,
    "recycle_s": 2.0,
    "sync_s": 1 / 250,
    "burst_fps": 10.0,
    "buffer_frames": 40,
}
CLOSE_UP = replace(SMALL, close_up_dpt=8.0, **FLASH)


def codes(kit: Kit, **said: Any) -> set[str]:
    return {warned.code for warned in make_plan(kit, wishes_of(said)).warnings}


@pytest.mark.parametrize("kit", [*KITS, CLOSE_UP], ids=lambda kit: f"{kit.name} {kit.close_up_dpt}")
@pytest.mark.parametrize("light", ["sun", "dusk"])
def test_the_answer_has_the_promised_keys(kit: Kit, light: str) -> None:
    plan = make_plan(kit, wishes_of({"magnification": 1.0, "light": light}))
    Draft202012Validator(schema("plan")).validate(as_dict(plan))
    assert as_json(plan).endswith("}\n")


def test_the_answer_at_life_size_is_the_handbook_s() -> None:
    told = as_dict(make_plan(SMALL, wishes_of({"magnification": 1.0, "f_number": 8.0})))
    assert told["f_number_effective"] == pytest.approx(16.0)
    assert told["exposure_stops"] == pytest.approx(2.0)
    assert told["field_mm"] == pytest.approx([17.3, 13.0])
    assert told["depth_of_field_mm"]["geometric"] == pytest.approx(2 * 0.015 * 16)
    assert told["depth_of_field_mm"]["wave"] == pytest.approx(0.5632, rel=1e-3)
    assert told["airy_um"] == pytest.approx(21.47, rel=1e-3)
    assert told["step_mm"] == pytest.approx(0.48 * 0.7)


def test_a_close_up_lens_costs_no_light_and_counts_in_the_depth() -> None:
    kit = replace(SMALL, close_up_dpt=10.0)  # 1:1 becomes 2.2:1
    told = as_dict(make_plan(kit, wishes_of({"magnification": 2.2, "f_number": 8.0})))
    assert told["f_number_effective"] == pytest.approx(16.0, rel=1e-6)
    assert told["depth_of_field_mm"]["geometric"] == pytest.approx(2 * 0.015 * 16 / 2.2**2)
    assert told["working_distance_source"] == "close-up lens"


def test_the_chosen_f_number_is_the_one_asked_for_then_the_kit_s_then_the_sweep_s() -> None:
    def chosen(kit: Kit, **said: Any) -> float:
        return make_plan(kit, wishes_of({"magnification": 1.0, **said})).chosen.f_number

    assert chosen(replace(SMALL, f_number=11.0), f_number=5.6) == 5.6
    assert chosen(replace(SMALL, f_number=11.0)) == 11.0
    plan = make_plan(SMALL, wishes_of({"magnification": 1.0}))
    assert plan.chosen.f_number == plan.sweep.f_number == plan.aperture.sweep_f_number


def test_a_deeper_animal_asks_one_shot_to_close_and_a_sweep_for_more_frames() -> None:
    shallow = make_plan(SMALL, wishes_of({"magnification": 1.0, "depth_mm": 0.5}))
    deep = make_plan(SMALL, wishes_of({"magnification": 1.0, "depth_mm": 2.0}))
    assert deep.single.f_number > shallow.single.f_number
    assert deep.sweep.sweep.frames > shallow.sweep.sweep.frames


@pytest.mark.parametrize(
    ("code", "kit", "said"),
    [
        ("magnification-not-reachable", SMALL, {"magnification": 2.0}),
        ("sync-speed", CLOSE_UP, {"magnification": 1.0, "shutter_s": 1 / 1000}),
        ("aperture-beyond-useful", LARGE, {"magnification": 1.0, "f_number": 32.0, "depth_mm": 1}),
        ("f-number-not-marked", SMALL, {"magnification": 1.0, "f_number": 45.0}),
        ("sun-on-animal", SMALL, {"magnification": 1.0, "light": "sun"}),
        ("ambient-overexposes", SMALL, {"magnification": 1.0, "light": "sun", "f_number": 5.6}),
        ("sun-and-eyes", SMALL, {"magnification": 1.0, "light": "sun"}),
        ("flash-unknown", SMALL, {"magnification": 1.0}),
        (
            "flash-too-weak",
            replace(CLOSE_UP, guide_number_m=1.0),
            {"magnification": 1.0, "f_number": 22.0},
        ),
        (
            "flash-too-strong",
            replace(CLOSE_UP, smallest_power=1.0, guide_number_m=60.0),
            {"magnification": 1.0, "f_number": 4.0},
        ),
        (
            "recycle-too-slow",
            replace(CLOSE_UP, recycle_s=30.0, guide_number_m=3.0),
            {"magnification": 1.5},
        ),
        ("buffer-too-small", replace(CLOSE_UP, buffer_frames=5), {"magnification": 1.5}),
        ("working-distance-estimated", SMALL, {"magnification": 1.0}),
    ],
)
def test_each_warning_comes_when_it_is_due(code: str, kit: Kit, said: dict[str, Any]) -> None:
    assert code in codes(kit, **said)


def test_a_kit_that_fits_and_shade_leave_nothing_to_mind_but_the_buffer() -> None:
    kit = replace(CLOSE_UP, buffer_frames=500, smallest_power=1 / 512)
    quiet = codes(kit, magnification=1.5, light="dark", f_number=8.0, depth_mm=2.0)
    assert quiet <= {"very-close"}


def test_the_cure_for_a_magnification_out_of_reach_would_reach_it() -> None:
    plan = make_plan(SMALL, wishes_of({"magnification": 1.5}))
    (text,) = [w.text for w in plan.warnings if w.code == "magnification-not-reachable"]
    assert "30 mm of tubes" in text  # 0.5 x 60 mm
    assert "4 dioptres" in text  # 0.5 = 60 x 2 x P / 1000
    for cure in ({"tube_mm": 30.0}, {"close_up_dpt": 4.2}):
        assert "magnification-not-reachable" not in codes(replace(SMALL, **cure), magnification=1.5)


def test_the_cure_is_right_with_a_close_up_lens_on() -> None:
    plan = make_plan(CLOSE_UP, wishes_of({"magnification": 2.6}))
    (text,) = [w.text for w in plan.warnings if w.code == "magnification-not-reachable"]
    tube_mm = float(text.split("1.96:1. ")[1].split(" mm of tubes")[0])
    fits = replace(CLOSE_UP, tube_mm=tube_mm + 0.5)
    assert "magnification-not-reachable" not in codes(fits, magnification=2.6)
    short = replace(CLOSE_UP, tube_mm=tube_mm - 3.0)
    assert "magnification-not-reachable" in codes(short, magnification=2.6)


@pytest.mark.parametrize(
    ("said", "says"),
    [
        ({"magnification": 50}, "--magnification"),
        ({"magnification": 0}, "--magnification"),
        ({"magnification": -1}, "--magnification"),
        ({"magnification": float("nan")}, "--magnification"),
        ({"magnification": "two"}, "--magnification"),
        ({"depth_mm": 0}, "--depth"),
        ({"shutter_s": "1/0"}, "--shutter"),
        ({"light": "moon"}, "--light"),
        ({"coc_rule": "guess"}, "--coc-rule"),
        ({"latitude_deg": 91}, "--latitude"),
        ({"latitude_deg": 40}, "--longitude"),
    ],
)
def test_absurd_wishes_are_answered_with_the_option_s_name(said: dict[str, Any], says: str) -> None:
    with pytest.raises(UsageError, match=says):
        wishes_of(said)


@pytest.mark.parametrize("missing", ["sensor_width_mm", "width_px", "focal_mm"])
def test_a_number_that_nothing_stands_in_for_is_asked_for(missing: str) -> None:
    with pytest.raises(UsageError, match="give --"):
        make_plan(replace(SMALL, **{missing: None}), wishes_of({"magnification": 1.0}))


def test_a_plan_without_a_magnification_asks_for_it() -> None:
    with pytest.raises(UsageError, match="--magnification"):
        make_plan(SMALL, wishes_of({}))


def test_at_small_magnification_it_is_ordinary_photography() -> None:
    told = as_dict(make_plan(SMALL, wishes_of({"magnification": 0.01, "f_number": 8.0})))
    assert told["f_number_effective"] == pytest.approx(8.0, rel=0.02)
    assert told["exposure_stops"] == pytest.approx(0.0, abs=0.05)


@settings(max_examples=25, deadline=None)
@given(
    st.sampled_from(KITS),
    st.floats(0.1, 5.0),
    st.floats(0.05, 20.0),
    st.sampled_from([2.8, 5.6, 11.0, 22.0]),
)
def test_any_sensible_wish_gets_a_whole_answer(
    kit: Kit, magnification: float, depth_mm: float, f_number: float
) -> None:
    said = {"magnification": magnification, "depth_mm": depth_mm, "f_number": f_number}
    told = as_dict(make_plan(kit, wishes_of(said)))
    Draft202012Validator(schema("plan")).validate(told)
    assert told["frames"] * told["step_mm"] + told["step_mm"] >= 0.5 * depth_mm


@settings(max_examples=15, deadline=None)
@given(st.floats(0.2, 4.0), st.floats(1.05, 1.6))
def test_depth_of_field_falls_with_magnification_and_grows_with_the_f_number(
    magnification: float, more: float
) -> None:
    def depth(m: float, n: float) -> float:
        plan = make_plan(SMALL, wishes_of({"magnification": m, "f_number": n}))
        return plan.chosen.sharpness.combined_mm

    assert depth(magnification * more, 8.0) < depth(magnification, 8.0)
    assert depth(magnification, 8.0 * more) > depth(magnification, 8.0)


def test_a_short_side_that_nobody_said_has_the_shape_of_the_picture() -> None:
    said = make_plan(SMALL, wishes_of({"magnification": 1.0})).given
    bare = replace(SMALL, sensor_height_mm=None)
    assert make_plan(bare, wishes_of({"magnification": 1.0})).given.sensor_mm == pytest.approx(
        said.sensor_mm, rel=0.01
    )
    with pytest.raises(UsageError, match="sensor's size"):
        make_plan(replace(bare, height_px=None), wishes_of({"magnification": 1.0}))
