"""What a crop leaves and what it is worth against going closer."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from haltere.kit import Kit
from haltere.plan.crop import crop, trade
from tests.plan.invented_kits import KITS, LARGE, SMALL, start

SHARES = st.floats(0.1, 0.95)
F_NUMBERS = st.floats(2.8, 32.0)


def test_a_crop_to_a_third_of_the_side_leaves_a_ninth_of_the_pixels() -> None:
    answer = crop(start(SMALL, magnification=1.0, crop=1 / 3), 8.0)
    assert (answer.width_px, answer.height_px) == (1728, 1296)
    assert answer.megapixels == pytest.approx(2.24, abs=0.01)
    assert answer.effective_megapixels == pytest.approx(0.837, abs=0.01)


def test_the_largest_print_holds_seventy_pixels_a_centimetre_at_a_quarter_metre() -> None:
    # ISO 12232:2019: 70 px/cm at 25 cm are just imperceptible, that is 30 px a degree
    answer = crop(start(SMALL, magnification=1.0, viewing_mm=250.0), 8.0)
    assert answer.width_px / (answer.print_width_mm / 10) == pytest.approx(70.0, rel=0.02)
    assert answer.fine_print_width_mm == pytest.approx(answer.print_width_mm / 2)


@settings(deadline=None)
@given(SHARES, F_NUMBERS, st.sampled_from(KITS))
def test_at_equal_depth_going_closer_gains_only_what_pixels_withheld(
    share: float, f_number: float, kit: Kit
) -> None:
    told = trade(start(kit, magnification=1.0), f_number, share)
    assert told.closer_as_deep.depth_mm == pytest.approx(told.cropped.depth_mm, rel=1e-9)
    assert told.as_deep_detail_gain >= 1.0 - 1e-9
    if told.cropped.f_number_effective > 20.0:  # diffraction, not pixels, is the limit
        assert told.as_deep_detail_gain == pytest.approx(1.0)


@settings(deadline=None)
@given(SHARES, F_NUMBERS, st.sampled_from(KITS))
def test_going_closer_at_the_same_mark_gives_detail_for_depth_and_light(
    share: float, f_number: float, kit: Kit
) -> None:
    told = trade(start(kit, magnification=1.0), f_number, share)
    assert told.detail_gain > 1.0
    assert told.depth_gain < 1.0
    stops = 2 * math.log2((1 + 1 / share) / 2)
    assert told.closer.light_stops == pytest.approx(stops)


def test_three_to_one_against_a_third_of_a_life_size_frame_is_the_worked_example() -> None:
    told = trade(start(SMALL, magnification=1.0), 8.0, 1 / 3)
    assert told.closer.magnification == pytest.approx(3.0)
    assert told.detail_gain == pytest.approx(1.5, rel=1e-6)
    assert told.cropped.effective_megapixels == pytest.approx(0.837, rel=0.01)


def test_the_print_rule_does_not_take_the_crop_twice() -> None:
    plain = trade(start(SMALL, magnification=1.0, coc_rule="print"), 8.0, 0.5)
    cropped = trade(start(SMALL, magnification=1.0, coc_rule="print", crop=0.5), 8.0, 0.5)
    assert cropped.cropped.depth_mm == pytest.approx(plain.cropped.depth_mm)


def test_a_converter_and_a_pupil_keep_their_part_of_the_effective_f_number() -> None:
    kit = replace(LARGE, converter=1.4, pupil_magnification=0.8)
    told = trade(start(kit, magnification=1.4), 8.0, 0.5)
    assert told.cropped.f_number_factor == pytest.approx((1 + 1 / 0.8) * 1.4)
    assert told.closer.f_number_factor == pytest.approx((1 + 2 / 0.8) * 1.4)


def test_the_text_names_the_pixels_where_they_are_the_limit() -> None:
    coarse = replace(LARGE, width_px=3000, height_px=2000)
    assert "pixels are the limit" in crop(start(coarse, magnification=1.0), 5.6).trade_text
    assert "no finer detail at all" in crop(start(SMALL, magnification=1.0), 16.0).trade_text
