"""The proposed crop: inside the frame, the animal with air, the eye on a calm place, told truly."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from haltere import optics
from haltere.errors import UsageError
from haltere.keepers.crop import HABITS, crop_of
from haltere.kit import capture
from haltere.plan.crop import crop as planned
from haltere.plan.wishes import Wishes
from tests.plan.invented_kits import SMALL, start

TAKEN = capture(magnification=1.0, focal_mm=60.0, f_number=8.0, pixel_pitch_mm=0.0033)
BARE = replace(TAKEN, f_number=None, magnification=None)
SIZE = (5184, 3888)

Shot = tuple[int, int, tuple[float, float], float, tuple[float, float, float, float] | None]

sizes = st.tuples(st.integers(8, 9000), st.integers(8, 9000))
parts = st.floats(0.0, 1.0)


@st.composite
def shots(draw: st.DrawFn) -> Shot:
    """Draw a frame, an eye in it, and an animal that may reach out of it."""
    wide, high = draw(sizes)
    eye = (draw(parts) * wide - 0.5, draw(parts) * high - 0.5)
    radius = draw(st.floats(0.5, 2000.0))
    ends = draw(st.none() | st.tuples(*[st.floats(-0.5, 1.5)] * 4))
    box = None
    if ends is not None:
        x0, x1 = sorted((ends[0] * wide, ends[1] * wide))
        y0, y1 = sorted((ends[2] * high, ends[3] * high))
        box = (x0, y0, x1, y1)
    return wide, high, eye, radius, box


@given(shots())
def test_a_crop_lies_in_the_frame_and_holds_the_eye(shot: Shot) -> None:
    wide, high, eye, radius, box = shot
    x0, y0, x1, y1 = crop_of(wide, high, eye, radius, box, TAKEN).box_px
    assert 0 <= x0 < x1 <= wide
    assert 0 <= y0 < y1 <= high
    assert x0 - 0.5 <= eye[0] <= x1 - 0.5
    assert y0 - 0.5 <= eye[1] <= y1 - 0.5


@given(shots())
def test_a_crop_keeps_the_shape_of_the_frame(shot: Shot) -> None:
    wide, high, eye, radius, box = shot
    x0, y0, x1, y1 = crop_of(wide, high, eye, radius, box, TAKEN).box_px
    assert abs((x1 - x0) * high / wide - (y1 - y0)) <= 1.0


@given(shots())
def test_a_crop_is_never_smaller_than_its_least_share(shot: Shot) -> None:
    wide, high, eye, radius, box = shot
    x0, _, x1, _ = crop_of(wide, high, eye, radius, box, TAKEN).box_px
    assert x1 - x0 >= HABITS.least * wide - 1


@given(parts, parts, st.floats(0.02, 0.5), st.floats(0.02, 0.5), st.floats(1.0, 3.0))
def test_a_larger_animal_gets_a_larger_crop(
    x: float, y: float, across: float, down: float, factor: float
) -> None:
    eye = (x * 5183, y * 3887)

    def kept(size: float) -> float:
        half = (across * 5184 * size, down * 3888 * size)
        box = (eye[0] - half[0], eye[1] - half[1], eye[0] + half[0], eye[1] + half[1])
        return crop_of(*SIZE, eye, 50.0, box, TAKEN).megapixels

    assert kept(factor) >= kept(1.0)


@given(st.floats(0.2, 0.5), st.floats(0.2, 0.5), st.floats(0.1, 0.5), st.floats(0.1, 0.5))
def test_the_whole_animal_is_in_with_air_about_it(
    x: float, y: float, across: float, down: float
) -> None:
    box = (x * 5184, y * 3888, (x + across * 0.8) * 5184, (y + down * 0.8) * 3888)
    eye = (box[0] + 40.0, box[1] + 40.0)
    x0, y0, x1, y1 = crop_of(*SIZE, eye, 40.0, box, TAKEN).box_px
    air = 0.08 * max(box[2] - box[0], box[3] - box[1])
    assert x0 <= max(0.0, box[0] - air)
    assert y0 <= max(0.0, box[1] - air)
    assert x1 >= min(5184.0, box[2] + air)
    assert y1 >= min(3888.0, box[3] + air)


def test_a_small_animal_has_its_eye_a_third_in_and_above_the_middle() -> None:
    eye = (2600.0, 1900.0)
    x0, y0, x1, y1 = crop_of(*SIZE, eye, 40.0, (2500, 1850, 2900, 2100), TAKEN).box_px
    across, down = (eye[0] - x0) / (x1 - x0), (eye[1] - y0) / (y1 - y0)
    assert min(abs(across - 1 / 3), abs(across - 2 / 3)) < 0.01
    assert down == pytest.approx(1 / 3, abs=0.01)


def test_the_free_part_lies_ahead_of_a_small_animal() -> None:
    left = crop_of(*SIZE, (2500.0, 1900.0), 40.0, (2450, 1850, 2900, 2100), TAKEN).box_px
    right = crop_of(*SIZE, (2850.0, 1900.0), 40.0, (2450, 1850, 2900, 2100), TAKEN).box_px
    assert 2500 - left[0] > left[2] - 2500
    assert 2850 - right[0] < right[2] - 2850


def test_there_is_more_room_where_the_animal_looks() -> None:
    box = (1200.0, 1500.0, 3400.0, 2400.0)
    ahead = crop_of(*SIZE, (1250.0, 1900.0), 60.0, box, TAKEN)
    middle = crop_of(*SIZE, (2300.0, 1900.0), 60.0, box, TAKEN)
    assert ahead.megapixels > middle.megapixels


def test_without_an_outline_there_is_room_about_the_eye() -> None:
    near = crop_of(*SIZE, (2600.0, 1900.0), 200.0, None, TAKEN)
    x0, _, x1, _ = near.box_px
    assert x1 - x0 > 2 * 5 * 200
    assert near.megapixels < 20.0


def test_pixels_detail_and_print_are_those_that_a_plan_tells() -> None:
    told = planned(start(SMALL, magnification=1.0, crop=0.5), 8.0)
    given_ = start(SMALL, magnification=1.0)
    wide, high = given_.picture_px
    factor = given_.lens.f_number_factor
    taken = replace(TAKEN, pixel_pitch_mm=given_.pitch_mm, f_number_factor=factor)
    half = (0.25 * wide, 0.25 * high, 0.75 * wide, 0.75 * high)
    air = 1 + 2 * HABITS.air
    middle = ((wide - 1) / 2, (high - 1) / 2)
    box = tuple((edge - m - 0.5) / air + m + 0.5 for edge, m in zip(half, middle * 2, strict=True))
    said = crop_of(wide, high, middle, 5.0, (box[0], box[1], box[2], box[3]), taken)
    assert said.box_px[2] - said.box_px[0] == pytest.approx(told.width_px, rel=0.06)
    scale = (said.box_px[2] - said.box_px[0]) / told.width_px
    assert said.effective_megapixels == pytest.approx(
        told.effective_megapixels * scale**2, rel=0.01
    )
    least = min(told.print_width_mm, told.detail_print_width_mm)
    assert said.print_width_mm == pytest.approx(least * scale, rel=0.01)


def test_a_crop_is_read_from_where_a_plan_reads_its_prints() -> None:
    assert Wishes().viewing_mm == optics.READING_MM


def test_diffraction_makes_the_print_smaller_not_larger() -> None:
    open_, closed = (
        crop_of(*SIZE, (2600.0, 1900.0), 60.0, None, replace(TAKEN, f_number=n)) for n in (2.8, 22)
    )
    assert closed.megapixels == open_.megapixels
    assert closed.effective_megapixels < 0.3 * open_.effective_megapixels  # type: ignore[operator]
    assert closed.print_width_mm < 0.6 * open_.print_width_mm


def test_the_words_repeat_the_numbers() -> None:
    said = crop_of(*SIZE, (2600.0, 1900.0), 60.0, (1500, 1200, 3700, 2700), TAKEN)
    assert said.text.startswith(f"keeps {said.megapixels:.1f} of 20 megapixels; ")
    assert f"leaves {said.effective_megapixels:.1f} to see" in said.text
    assert said.text.endswith("looked at from 40 cm")


def test_without_a_known_f_number_diffraction_is_not_made_up() -> None:
    said = crop_of(*SIZE, (2600.0, 1900.0), 60.0, None, BARE)
    assert said.effective_megapixels is None
    assert "not known" in said.text


@pytest.mark.parametrize(
    ("size", "eye", "radius"),
    [
        ((0, 10), (0.0, 0.0), 1.0),
        ((10, 10), (10.0, 3.0), 1.0),
        ((10, 10), (float("nan"), 3.0), 1.0),
        ((10, 10), (3.0, 3.0), 0.0),
        ((10, 10), (3.0, 3.0), float("nan")),
    ],
)
def test_what_can_not_be_cropped_is_refused(
    size: tuple[int, int], eye: tuple[float, float], radius: float
) -> None:
    with pytest.raises(UsageError):
        crop_of(*size, eye, radius, None, TAKEN)


def test_the_same_frame_gets_the_same_crop() -> None:
    told = [crop_of(*SIZE, (2600.2, 1900.7), 61.3, None, TAKEN) for _ in range(2)]
    assert told[0] == told[1]
