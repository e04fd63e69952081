"""What to mind: about the settings that are shown, and never two advices against each other."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest

from haltere.kit import Kit
from haltere.plan import Plan, make_plan, sayings, wishes_of
from haltere.plan.shading import GHOST
from tests.plan.invented_kits import SMALL

KIT = replace(
    SMALL,
    focal_mm=70.0,
    engraved_focal_mm=100.0,
    pupil_magnification=0.8,
    close_up_dpt=8.0,
    f_number=8.0,
    guide_number_m=12.0,
    sync_s=1 / 250,
    iso_min=200.0,
    buffer_frames=20,
)


def planned(kit: Kit = KIT, **said: Any) -> Plan:
    return make_plan(kit, wishes_of({"magnification": 1.5, "depth_mm": 3.0, **said}))


def texts(code: str, kit: Kit = KIT, **said: Any) -> list[str]:
    return [one.text for one in planned(kit, **said).warnings if one.code == code]


def all_texts(kit: Kit = KIT, **said: Any) -> str:
    return " ".join(one.text for one in planned(kit, **said).warnings)


@pytest.mark.parametrize("light", ["sun", "shade"])
def test_a_warning_about_an_f_number_names_it(light: str) -> None:
    plan = planned(light=light, f_number=4.0, kit=replace(KIT, recycle_s=60.0))
    told = [one for one in plan.warnings if one.f_number is not None]
    assert {one.f_number for one in told} >= {4.0, plan.sweep.f_number}
    assert all(f"f/{one.f_number:g}" in one.text for one in told)


def test_the_kit_s_f_number_gets_warnings_of_its_own() -> None:
    kit = replace(KIT, f_number=4.0)
    plan = planned(kit, light="sun")
    assert 4.0 not in (plan.single.f_number, plan.sweep.f_number)
    assert any("f/4 (your kit's)" in one.text for one in plan.warnings)
    assert any("f/4 (yours)" in one.text for one in planned(f_number=4.0, light="sun").warnings)


def test_a_flash_at_its_smallest_power_is_never_told_to_give_less() -> None:
    slow = replace(KIT, recycle_s=500.0, smallest_power=1 / 16, burst_fps=10.0)
    at_least = planned(slow, light="dark").sweep.flash
    assert at_least is not None
    assert at_least.power_step == 1 / 16
    (told,) = texts("recycle-too-slow", slow, light="dark")
    assert "power" not in told.split("Set the camera")[1]
    assert "closer" not in all_texts(slow, light="dark")
    strong = replace(slow, smallest_power=1 / 512, guide_number_m=4.0)
    assert "lower the power" in texts("recycle-too-slow", strong, light="dark")[0]


@pytest.mark.parametrize(("iso", "advised"), [(200.0, False), (400.0, True)])
def test_the_iso_is_lowered_only_where_the_camera_can(iso: float, advised: bool) -> None:
    told = planned(light="sun", iso=iso).sweep.ambient.shading_words
    assert ("lower the ISO" in told) is advised


def test_an_iso_that_the_camera_lacks_is_told() -> None:
    (told,) = texts("iso-below-camera", iso=100.0)
    assert "--iso 200" in told
    assert not texts("iso-below-camera", iso=200.0)


def test_a_slow_shutter_is_cured_by_the_shutter_before_the_shade() -> None:
    told = planned(light="sun", shutter_s=1 / 30).sweep.ambient.shading_words
    assert told.startswith("set the shutter to 1/250 s")
    assert told.index("1/250") < told.index("shade")
    dusk = planned(light="dusk", shutter_s=1 / 15).sweep.ambient.shading_words
    assert dusk.startswith("set the shutter to 1/250 s")
    assert "body" not in dusk


def test_at_dusk_nobody_is_told_to_cast_a_shadow() -> None:
    told = planned(light="dusk", f_number=2.8, iso=25600.0).chosen.ambient.shading_words
    assert "lower the ISO" in told
    assert "body" not in told
    assert "leaf" not in told


def test_what_lets_in_less_flash_is_not_advised_to_a_weak_flash() -> None:
    weak = replace(KIT, guide_number_m=2.0, iso_min=100.0)
    told = all_texts(weak, light="sun")
    assert "flash is" in told
    assert "close the aperture" not in told
    assert "lower the ISO" not in told
    assert "raise the ISO" not in told


def test_what_a_body_does_not_take_must_come_from_elsewhere() -> None:
    light = planned(light="sun").sweep.ambient
    assert light.shading_needed_stops > GHOST.body_stops
    rest = light.shading_needed_stops - GHOST.body_stops
    assert f"the other {rest:.1f}" in light.shading_words
    assert "tent" in light.shading_words


def test_daylight_that_is_over_leaves_no_ghost_to_speak_of() -> None:
    plan = planned(light="sun", f_number=4.0, shutter_s=1 / 250)
    assert plan.chosen.ambient.stops > 0
    about = [one for one in plan.warnings if one.f_number == 4.0]
    assert [one.code for one in about if "sun" in one.code or "ambient" in one.code] == [
        "ambient-overexposes"
    ]
    assert "100 %" not in all_texts(light="sun", f_number=4.0)


def test_a_flash_longer_than_the_shutter_is_told_with_a_cure_of_its_kind() -> None:
    kit = replace(KIT, flash_kind="voltage", t05_s=1 / 100, guide_number_m=8.0)
    (single, pushed) = texts("flash-longer-than-shutter", kit, light="dark")
    assert "longer shutter" in single
    assert "less power" not in single + pushed
    assert not texts("flash-longer-than-shutter", kit, light="dark", shutter_s=1 / 15)
    cut = replace(kit, flash_kind="cut", guide_number_m=4.0)
    assert "less power" in texts("flash-longer-than-shutter", cut, light="dark")[0]


def test_an_animal_too_deep_for_any_sweep_is_told_so() -> None:
    plan = planned(depth_mm=400.0)
    assert texts("animal-too-deep", depth_mm=400.0)
    assert "parts" not in plan.sweep.reason
    assert not texts("buffer-too-small", depth_mm=400.0)
    assert not texts("animal-too-deep", depth_mm=20.0)


def test_every_assumption_about_the_flash_is_among_the_plan_s() -> None:
    plan = planned()
    assert plan.sweep.flash is not None
    assert plan.sweep.flash.assumed
    assert set(plan.sweep.flash.assumed) | set(plan.given.assumed) == set(plan.assumed)
    assert len(plan.assumed) == len(set(plan.assumed))


def test_one_frame_that_covers_the_animal_is_one_frame_one_pass_and_no_gap() -> None:
    sweep = planned(depth_mm=0.1).sweep.sweep
    assert sweep.depth_of_field_mm > 0.1
    assert (sweep.frames, sweep.passes, sweep.hand_frames, sweep.gap_chance) == (1, 1, 1, 0.0)


def test_an_even_hand_needs_no_other_pass() -> None:
    sweep = planned(unevenness=0.0).sweep.sweep
    assert sweep.frames > 1
    assert (sweep.passes, sweep.hand_frames) == (1, sweep.frames)


def test_sayings_and_plan_speak_of_one_limit_of_the_ghost() -> None:
    (told,) = [one.text for one in sayings(planned().given) if "shade the animal" in one.saying]
    assert f"From {-GHOST.unseen_stops:.1f} stops under" in told


def test_a_known_place_of_the_principal_point_gives_one_number() -> None:
    kit = replace(KIT, close_up_separation_mm=20.0)
    (told,) = [one.text for one in sayings(planned(kit).given) if "close-up" in one.saying]
    assert not re.search(r"(\d+) to \1 mm", told)
