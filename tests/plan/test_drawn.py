"""Where everything stands in a drawing: the plan's own lengths, and the same formulas beyond."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from haltere.kit import Kit, lens_at
from haltere.plan import drawn, make_plan
from haltere.plan.wishes import Wishes
from tests.plan.invented_kits import KITS, SMALL

LIT = replace(SMALL, guide_number_m=20.0, flash_distance_mm=90.0, power_step_stops=1 / 3)


@pytest.mark.parametrize("kit", KITS)
def test_the_cone_from_the_animal_to_the_opening_makes_the_blur_of_the_plan(kit: Kit) -> None:
    plan = make_plan(kit, Wishes(magnification=0.8, f_number=8))
    lengths = drawn(plan)
    # half the depth of field off, the cone is as wide as the circle of confusion on the animal
    half = plan.chosen.sharpness.geometric_mm / 2
    wide = half * lengths.opening_mm / lengths.lens.pupil_mm
    assert wide == pytest.approx(plan.given.coc_mm / 0.8, rel=1e-6)


def test_between_two_places_of_the_lens_a_straight_line_is_near_enough() -> None:
    track = drawn(make_plan(SMALL, Wishes(magnification=1))).track
    for near, far in pairwise(track):
        middle = (near.magnification + far.magnification) / 2
        true = lens_at(SMALL, middle).working_distance_mm
        assert (near.glass_mm + far.glass_mm) / 2 == pytest.approx(true, rel=0.01)


@pytest.mark.parametrize("radius", [None, 25.0])
@pytest.mark.parametrize("place", [0, 4, -1])
def test_a_flash_put_where_a_step_of_its_dial_stands_needs_that_step(
    radius: float | None, place: int
) -> None:
    kit = replace(LIT, diffuser_radius_mm=radius, diffuser_stops=1.0 if radius else None)
    wishes = Wishes(magnification=1, f_number=11)
    one = drawn(make_plan(kit, wishes)).flash_places[place]
    moved = make_plan(replace(kit, flash_distance_mm=one.distance_mm), wishes).chosen.flash
    assert moved is not None
    assert moved.power == pytest.approx(one.power, rel=1e-9)


def test_the_planes_of_a_sweep_stand_a_step_apart_around_the_middle() -> None:
    plan = make_plan(SMALL, Wishes(magnification=1, depth_mm=3, f_number=8))
    planes = drawn(plan).planes_mm
    assert len(planes) == plan.chosen.sweep.frames
    assert sum(planes) == pytest.approx(0, abs=1e-9)
    assert planes[0] - planes[1] == pytest.approx(plan.chosen.sweep.step_mm)


def test_an_animal_too_deep_for_a_sweep_has_no_planes_drawn() -> None:
    assert drawn(make_plan(SMALL, Wishes(magnification=1, depth_mm=500))).planes_mm == ()


def test_without_a_flash_none_is_drawn() -> None:
    lengths = drawn(make_plan(SMALL, Wishes(magnification=1)))
    assert (lengths.flash_mm, lengths.flash_places) == (None, ())
