"""What a crop carries."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haltere.errors import UsageError
from haltere.finish import crop_box, crop_budget
from haltere.kit import capture

SHARP = capture(magnification=1.0, f_number=2.8, pixel_pitch_mm=0.006)
SOFT = capture(magnification=2.0, f_number=11.0, pixel_pitch_mm=0.0033)  # effective f/33


@given(
    st.integers(1, 9000), st.integers(1, 9000), st.integers(1, 40), st.integers(1, 40),
    st.floats(-1e5, 1e5), st.floats(-1e5, 1e5),
)  # fmt: skip
def test_a_shape_always_lies_inside_the_picture(
    wide: int, high: int, a: int, b: int, x: float, y: float
) -> None:
    x0, y0, x1, y1 = crop_box((wide, high), f"{a}:{b}", (x, y))
    assert 0 <= x0 < x1 <= wide
    assert 0 <= y0 < y1 <= high


def test_a_shape_is_as_large_as_fits() -> None:
    assert crop_box((6000, 4000), "1:1") == (1000, 0, 5000, 4000)
    assert crop_box((6000, 4000), "3:2") == (0, 0, 6000, 4000)
    assert crop_box((6000, 4000), "1:1", (0.0, 0.0)) == (0, 0, 4000, 4000)


@pytest.mark.parametrize("words", ["0,0,0,5", "5990,0,20,20", "wide", "0:2", "1,2,3", ":", "-1:2"])
def test_a_crop_that_is_none_is_refused_in_words(words: str) -> None:
    with pytest.raises(UsageError, match="--crop"):
        crop_box((6000, 4000), words)


def test_where_the_lens_brings_all_the_pixels_are_the_limit() -> None:
    budget = crop_budget((0, 0, 3000, 2000), SHARP)
    assert budget.limited_by == "pixels"
    assert budget.detail_mp == budget.kept_mp == 6.0
    assert budget.warnings == ()


def test_waves_leave_as_much_as_the_white_light_contrast_says() -> None:
    from haltere import optics

    budget = crop_budget((0, 0, 5000, 4000), SOFT)
    per_mm = optics.detail_px_per_mm(33.0, 0.0033)
    assert budget.limited_by == "diffraction"
    assert budget.detail_mp == pytest.approx(20.0 * (per_mm * 0.0033) ** 2, rel=0.01)


def test_a_crop_that_promises_more_than_the_lens_brought_is_told() -> None:
    assert "promise more than diffraction left" in crop_budget((0, 0, 900, 600), SOFT).warnings[0]


def test_defocus_and_movement_each_take_detail_and_are_named() -> None:
    whole = crop_budget((0, 0, 3000, 2000), SHARP)
    off = crop_budget((0, 0, 3000, 2000), SHARP, off_mm=0.2)
    moved = crop_budget((0, 0, 3000, 2000), SHARP, motion_px=6.0)
    assert whole.detail_mp is not None
    assert off.limited_by == "defocus"
    assert off.detail_mp is not None
    assert off.detail_mp < whole.detail_mp
    assert moved.limited_by == "motion"
    # a smear of 6 px has its first zero at a sixth of a cycle a pixel, a third of what pixels hold
    assert moved.detail_mp is not None
    assert moved.detail_mp == pytest.approx(6.0 * (2 * 0.152) ** 2, rel=0.05)


def test_a_print_twice_as_far_away_may_be_twice_as_large() -> None:
    near = crop_budget((0, 0, 3000, 2000), SHARP, viewing_mm=400.0)
    far = crop_budget((0, 0, 3000, 2000), SHARP, viewing_mm=800.0)
    assert far.print_mm[0] == pytest.approx(2 * near.print_mm[0], rel=0.01)


def test_a_print_larger_than_the_crop_carries_is_warned_of() -> None:
    small = crop_budget((0, 0, 300, 200), SHARP)
    assert crop_budget((0, 0, 300, 200), SHARP, print_mm=small.print_mm[0] - 1).warnings == ()
    asked = crop_budget((0, 0, 300, 200), SHARP, print_mm=600.0)
    assert "a print of 60 cm will look soft from 40 cm" in asked.warnings[0]


def test_what_no_frame_saw_sharp_is_warned_of() -> None:
    sure = np.ones((20, 30), np.float32)
    sure[:, 20:] = 0.1
    budget = crop_budget((0, 0, 30, 20), SHARP, confidence=sure)
    assert budget.sharp_share == pytest.approx(2 / 3, abs=0.001)
    assert "33 per cent" in budget.warnings[0]


def test_backdrop_is_not_counted_as_unsharp() -> None:
    sure = np.full((20, 30), np.nan, np.float32)
    sure[5:15, 5:15] = 0.9
    budget = crop_budget((0, 0, 30, 20), SHARP, confidence=sure)
    assert budget.sharp_share == 1.0
    assert budget.warnings == ()


def test_without_an_f_number_nothing_is_promised() -> None:
    budget = crop_budget((0, 0, 3000, 2000), capture(magnification=1.0, pixel_pitch_mm=0.004))
    assert budget.detail_mp is None
    assert budget.limited_by == "unknown"
    assert "not known" in budget.text


@pytest.mark.parametrize("number", [0.0, -1.0, float("nan"), float("inf")])
def test_absurd_numbers_are_refused(number: float) -> None:
    with pytest.raises(UsageError):
        crop_budget((0, 0, 30, 20), SHARP, viewing_mm=number)
    with pytest.raises(UsageError):
        crop_budget((0, 0, 30, 20), SHARP, print_mm=number)


def test_an_empty_crop_is_refused() -> None:
    with pytest.raises(UsageError, match="no pixel"):
        crop_budget((5, 5, 5, 9), SHARP)
