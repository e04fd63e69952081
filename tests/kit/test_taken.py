"""Options win over the kit, the kit over what the pictures say."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from haltere.errors import UsageError
from haltere.kit import (
    Capture,
    Kit,
    blur_px_per_mm,
    capture,
    depth_of_field_mm,
    effective_f_number_of,
    mm_per_px,
)

GARDEN = Kit(
    sensor_width_mm=17.3,
    sensor_height_mm=13.0,
    width_px=5184,
    height_px=3888,
    focal_mm=60.0,
    f_number=8.0,
    magnification=1.0,
    pupil_distance_mm=130.0,
    coc_mm=0.012,
)


def test_options_win_over_the_kit() -> None:
    taken = capture(GARDEN, magnification=2.0, pupil_distance_mm=95.0, coc_mm=0.02)
    assert (taken.magnification, taken.pupil_distance_mm, taken.coc_mm) == (2.0, 95.0, 0.02)
    assert taken.scale_source == "given"


def test_the_kit_wins_over_the_pictures() -> None:
    taken = capture(GARDEN, focal_mm=100.0, f_number=11.0)
    assert (taken.focal_mm, taken.f_number, taken.scale_source) == (60.0, 8.0, "kit")


def test_pictures_fill_what_nobody_says() -> None:
    taken = capture(None, focal_mm=100.0, f_number=11.0, pixel_pitch_mm=0.004)
    assert taken == Capture(None, 100.0, 11.0, 1.0, None, 0.015, 0.004, "unknown")


def test_the_pupil_distance_is_a_thin_lens_when_nobody_measured_it() -> None:
    assert capture(None, magnification=2.0, focal_mm=60.0).pupil_distance_mm == pytest.approx(90)
    telephoto = Kit(focal_mm=60.0, magnification=1.0, pupil_magnification=0.7)
    assert capture(telephoto).pupil_distance_mm == pytest.approx(145.714, abs=1e-3)
    assert capture(None, magnification=2.0).pupil_distance_mm is None


def test_it_is_said_whether_somebody_measured_the_pupil_distance() -> None:
    assert not capture(None, magnification=2.0, focal_mm=60.0).pupil_distance_measured
    assert capture(None, magnification=2.0, pupil_distance_mm=95.0).pupil_distance_measured
    kit = Kit(focal_mm=60.0, magnification=1.0, pupil_distance_mm=110.0)
    assert capture(kit).pupil_distance_measured
    assert not capture(kit, magnification=2.0).pupil_distance_measured


@pytest.mark.parametrize(
    ("picture", "pitch"),
    [
        (None, 17.3 / 5184),
        ((5184, 3888), 17.3 / 5184),
        ((3888, 5184), 17.3 / 5184),
        ((1600, 1200), 17.3 / 1600),  # the same shape smaller: reduced
        ((1000, 1000), 17.3 / 5184),  # another shape: cropped
    ],
)
def test_the_kit_gives_the_pixel_pitch_of_these_pictures(
    picture: tuple[int, int] | None, pitch: float
) -> None:
    assert capture(GARDEN, picture_px=picture).pixel_pitch_mm == pytest.approx(pitch)


def test_the_pictures_own_pixel_pitch_wins_over_the_kit() -> None:
    assert capture(GARDEN, pixel_pitch_mm=0.01).pixel_pitch_mm == 0.01


@pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), float("inf"), 1000.0])
def test_an_option_that_makes_no_sense_is_a_wrong_call(value: float) -> None:
    with pytest.raises(UsageError, match="--magnification: expected a number above 0"):
        capture(None, magnification=value)


def test_the_sweep_at_two_to_one_has_the_known_numbers() -> None:
    # a rendered sweep's own truth: f 60, f/8, 2:1, 17.3 mm over 1600 px
    taken = capture(
        None, magnification=2.0, focal_mm=60.0, f_number=8.0, pixel_pitch_mm=17.3 / 1600
    )
    assert effective_f_number_of(taken) == pytest.approx(24.0)
    assert depth_of_field_mm(taken) == pytest.approx(0.18)
    assert mm_per_px(taken) == pytest.approx(17.3 / 1600 / 2)
    # blur disc m D dz / s = 2 * 7.5 / 90 mm a mm
    assert blur_px_per_mm(taken) == pytest.approx(2 * 7.5 / 90 / (17.3 / 1600))


@given(
    magnification=st.one_of(st.none(), st.floats(0.5, 5)),
    f_number=st.one_of(st.none(), st.floats(2, 22)),
    pitch=st.one_of(st.none(), st.floats(0.001, 0.02)),
)
def test_what_is_unknown_stays_none(
    magnification: float | None, f_number: float | None, pitch: float | None
) -> None:
    taken = capture(None, magnification=magnification, f_number=f_number, pixel_pitch_mm=pitch)
    assert (mm_per_px(taken) is None) == (magnification is None or pitch is None)
    assert (depth_of_field_mm(taken) is None) == (magnification is None or f_number is None)
    assert (blur_px_per_mm(taken) is None) == (None in (magnification, f_number, pitch))
