"""The sayings of the craft, answered for three invented kits with numbers that are computed."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from haltere.kit import Kit
from haltere.plan.sayings import Saying, sayings
from tests.plan.invented_kits import KITS, LARGE, SMALL, start


def answers(kit: Kit, **wishes: float) -> dict[str, Saying]:
    begin = start(kit, **{"magnification": 1.0, **wishes})
    keys = ("sweeps", "single", "tiny", "shade", "close-up", "millimetre", "one in", "crop")
    return dict(zip(keys, sayings(begin), strict=True))


@pytest.mark.parametrize("kit", KITS)
def test_every_saying_is_answered_with_numbers_and_a_reason(kit: Kit) -> None:
    for saying in answers(kit).values():
        assert saying.verdict in ("agree", "partly", "disagree")
        assert len(re.findall(r"\d", saying.text)) > 5
        assert saying.text.endswith(".")
        assert saying.practice.endswith(".")


def test_f_8_for_sweeps_is_right_where_pixels_are_large() -> None:
    assert answers(LARGE)["sweeps"].verdict == "agree"
    assert answers(SMALL)["sweeps"].verdict == "partly"
    assert "7.5 of 20 megapixels" in answers(SMALL)["sweeps"].text


@pytest.mark.parametrize("kit", KITS)
def test_f_13_is_right_for_some_two_millimetres_and_wrong_for_twenty(kit: Kit) -> None:
    assert answers(kit, depth_mm=1.8)["single"].verdict == "agree"
    assert answers(kit, depth_mm=20.0)["single"].verdict == "disagree"


@pytest.mark.parametrize("kit", KITS)
def test_f_16_at_2_to_1_loses_most_of_the_pixels(kit: Kit) -> None:
    assert answers(kit)["tiny"].verdict == "partly"
    assert "1.5 mm of depth" in answers(kit)["tiny"].text


@pytest.mark.parametrize("kit", KITS)
def test_the_sun_is_a_stop_under_the_flash_and_shade_four(kit: Kit) -> None:
    told = answers(kit)["shade"]
    assert told.verdict == "agree"
    assert "f/13 the sun is 1.0 stops under" in told.text
    assert "open shade is 4.0 stops under" in told.text
    assert "at f/8 the sun is 0.4 stops over" in told.text


def test_five_dioptres_on_60_mm_give_one_and_a_half_and_no_loss_of_light() -> None:
    kit = replace(SMALL, close_up_dpt=5.0, close_up_separation_mm=20.0)
    told = answers(kit)["close-up"]
    assert told.verdict == "agree"
    assert "give 1.5:1" in told.text


def test_a_stronger_lens_than_that_gives_more() -> None:
    kit = replace(LARGE, close_up_dpt=10.0, close_up_separation_mm=0.0)
    told = answers(kit)["close-up"]
    assert told.verdict == "partly"
    assert "give 3:1" in told.text


@pytest.mark.parametrize("kit", KITS)
def test_a_frame_a_millimetre_at_2_to_1_is_far_too_coarse(kit: Kit) -> None:
    told = answers(kit)["millimetre"]
    assert told.verdict == "disagree"
    assert "0.18 mm deep" in told.text


@pytest.mark.parametrize("kit", KITS)
def test_one_in_fifteen_belongs_to_a_hand_that_wanders_by_millimetres(kit: Kit) -> None:
    assert answers(kit, hand_spread_mm=1.5)["one in"].verdict == "agree"
    assert answers(kit, hand_spread_mm=0.1)["one in"].verdict == "disagree"
    assert answers(kit, hand_spread_mm=40.0)["one in"].verdict == "disagree"


@pytest.mark.parametrize("kit", KITS)
def test_cropping_life_size_costs_nothing_at_equal_depth(kit: Kit) -> None:
    told = answers(kit)["crop"]
    assert told.verdict == "agree"
    assert "nothing is gained" in told.text


def test_cropping_costs_detail_where_pixels_are_coarse() -> None:
    coarse = replace(LARGE, width_px=3000, height_px=2000)
    assert answers(coarse)["crop"].verdict == "partly"


def test_a_kit_that_starts_above_life_size_is_answered_too() -> None:
    kit = replace(SMALL, tube_mm=80.0)
    assert len(sayings(start(kit, magnification=2.0))) == 8


def test_sayings_about_life_size_mean_the_lens_alone() -> None:
    attached = answers(replace(SMALL, close_up_dpt=5.0))
    alone = answers(SMALL)
    for key in ("sweeps", "single", "shade", "crop"):
        assert attached[key] == alone[key]


def test_the_documentation_s_verdicts_are_those_of_the_tool() -> None:
    page = (Path(__file__).parents[2] / "docs" / "sources.md").read_text(encoding="utf-8")
    listed = {}
    for line in page.split("## What the craft says")[1].split("\n## ")[0].splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if len(cells) == 5:
            listed[cells[0]] = cells[1:4]
    found = [sayings(start(kit, magnification=1.0)) for kit in KITS]
    for of_kits in zip(*found, strict=True):
        assert listed[of_kits[0].saying] == [one.verdict for one in of_kits]
