"""What lens and attachments make together, against ray-traced values and by property."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from haltere.errors import UsageError
from haltere.kit import (
    Kit,
    capture,
    depth_of_field_mm,
    effective_f_number_of,
    f_number_factor_at,
    lens_at,
    reach,
)

# a double Gauss and a telephoto, traced paraxially with a thin close-up lens in front
# (optiland 0.6.3, its sample designs)
GAUSS = Kit(focal_mm=100.003748, pupil_magnification=1.146401, magnification_max=1.0)
TELE = Kit(focal_mm=127.016601, pupil_magnification=0.734586, magnification_max=1.0)


def with_close_up(kit: Kit, dpt: float, separation: float, converter: float | None = None) -> Kit:
    from dataclasses import replace

    return replace(kit, close_up_dpt=dpt, close_up_separation_mm=separation, converter=converter)


@pytest.mark.parametrize(
    ("kit", "marked", "total", "effective", "distance"),
    [
        (with_close_up(GAUSS, 5, 80.68299), 5.0, 1.59662, 9.36147, 74.73558),
        (with_close_up(GAUSS, 8, 80.68299), 5.0, 1.9546, 9.36147, 61.04817),
        (with_close_up(TELE, 8, -18.10872), 5.6, 3.17714, 13.22334, 85.65638),
    ],
)
def test_a_close_up_lens_on_a_one_to_one_lens_is_as_traced(
    kit: Kit, marked: float, total: float, effective: float, distance: float
) -> None:
    assert reach(kit)[1] == pytest.approx(total, rel=2e-5)
    setting = lens_at(kit, total)
    assert marked * setting.f_number_factor == pytest.approx(effective, rel=1e-4)
    assert setting.working_distance_mm == pytest.approx(distance, rel=1e-4)


def test_the_entrance_pupil_is_seen_through_the_close_up_lens() -> None:
    setting = lens_at(with_close_up(TELE, 8, -18.10872), 3.17714)
    # traced: 121.380644 mm from the plane of focus
    assert setting.pupil_distance_mm == pytest.approx(121.380644, rel=1e-3)


def test_a_converter_multiplies_magnification_and_f_number() -> None:
    kit = Kit(focal_mm=100.0, magnification_max=1.0, converter=2.0)
    assert reach(kit)[1] == pytest.approx(2.0)
    assert lens_at(kit, 2.0).f_number_factor == pytest.approx(4.0)


def test_a_tube_adds_its_length_over_the_focal_length() -> None:
    kit = Kit(focal_mm=100.0, magnification_max=1.0, tube_mm=25.0)
    assert reach(kit) == pytest.approx((0.25, 1.25))


def test_a_lens_that_gets_shorter_is_taken_at_its_short_length() -> None:
    kit = Kit(focal_mm=75.0, engraved_focal_mm=100.0, magnification_max=1.0)
    assert lens_at(kit, 1.0).focal_mm == pytest.approx(75.0)
    assert lens_at(kit, 0.5).focal_mm == pytest.approx(87.5)


def test_a_measured_working_distance_moves_with_the_animal() -> None:
    kit = Kit(focal_mm=60.0, magnification_max=1.0, working_distance_mm=90.0)
    assert lens_at(kit, 1.0).working_distance_mm == pytest.approx(90.0)
    assert lens_at(kit, 0.5).working_distance_mm == pytest.approx(150.0)
    assert lens_at(kit, 0.5).working_distance_source == "measured"


@pytest.mark.parametrize("wanted", [0.2, 2.5])
def test_out_of_reach_is_said_with_the_cure(wanted: float) -> None:
    with pytest.raises(UsageError, match="out of reach"):
        lens_at(with_close_up(GAUSS, 5, 0), wanted)


@given(st.floats(0.51, 1.99), st.floats(1, 10), st.floats(-20, 60))
def test_the_setting_found_gives_the_magnification_asked_for(
    share: float, dpt: float, separation: float
) -> None:
    kit = with_close_up(GAUSS, dpt, separation)
    low, high = reach(kit)
    wanted = low + (high - low) * (share - 0.5) / 1.5
    setting = lens_at(kit, wanted)
    fc = 1000 / dpt
    f, m0 = setting.focal_mm, setting.bare_magnification
    assert m0 + (f * (1 + m0) - m0 * separation) / fc == pytest.approx(wanted, rel=1e-6)


def test_the_depth_of_a_run_with_a_close_up_lens_takes_the_bare_f_number() -> None:
    kit = with_close_up(Kit(focal_mm=60.0, f_number=8.0, magnification_max=1.0), 10, 0)
    taken = capture(kit, magnification=2.2)
    assert effective_f_number_of(taken) == pytest.approx(16.0)
    assert depth_of_field_mm(taken) == pytest.approx(2 * 0.015 * 16 / 2.2**2)


def test_a_measured_effective_f_number_wins_and_carries_to_other_settings() -> None:
    kit = Kit(focal_mm=60.0, f_number=8.0, magnification=1.0, measured_effective_f_number=20.0)
    assert 8 * f_number_factor_at(kit, 1.0) == pytest.approx(20.0)
    # as a pupil magnification of m N / (Ne - N) = 2/3
    assert f_number_factor_at(kit, 2.0) == pytest.approx(1 + 2 / (2 / 3))
