"""Contrast in white light and lightness, as the eye weights them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haltere import optics

EVERY_5_NM = np.arange(380.0, 781.0, 5.0)


def white(
    frequency: Any, effective: float, off_mm: Any, m: float, form: Callable[[Any, Any], Any]
) -> Any:
    """Average over every wavelength of the table: slow, and what the fast form stands for."""
    weights = optics.luminous_efficiency(EVERY_5_NM)
    na = optics.numerical_aperture(m, effective)
    return sum(
        weight * form(frequency * effective * wavelength, off_mm * na**2 / (2 * wavelength))
        for weight, wavelength in zip(weights / weights.sum(), EVERY_5_NM * 1e-6, strict=True)
    )


def test_the_eye_s_curve_is_the_one_that_rayoptics_carries() -> None:
    import rayoptics

    table = np.loadtxt(Path(rayoptics.__file__).parent / "util" / "cie-cmf.txt")
    assert len(table) == 81
    ours = optics.luminous_efficiency(table[:, 0])
    assert np.abs(ours - table[:, 2]).max() < 0.000051  # four digits are printed there


def test_outside_its_range_the_eye_sees_nothing() -> None:
    assert optics.luminous_efficiency([300.0, 379.9, 780.1, 900.0]).tolist() == [0, 0, 0, 0]


def test_the_few_colours_have_the_mean_and_spread_of_the_many() -> None:
    weights = optics.luminous_efficiency(EVERY_5_NM)
    weights = weights / weights.sum()
    few = np.array(optics.seen_colours())
    assert few[:, 1].sum() == pytest.approx(1.0)
    for power in range(1, 2 * len(few)):
        many = weights @ (EVERY_5_NM / 555) ** power
        assert few[:, 1] @ (few[:, 0] / 555e-6) ** power == pytest.approx(many)


@pytest.mark.parametrize("effective", [4.0, 16.0, 48.0])
def test_the_few_colours_cost_less_than_two_thousandths(effective: float) -> None:
    frequency, off = np.linspace(0, 150, 40)[:, None], np.linspace(0, 2, 40)[None, :]
    got = optics.photopic_otf(frequency, effective, off, 1.0)
    assert got.shape == (40, 40)
    slow = white(frequency, effective, off, 1.0, optics.defocus_otf_fast)
    assert np.abs(got - slow).max() < 0.002


def test_all_in_all_white_defocus_is_within_its_stated_error() -> None:
    frequency, off = np.linspace(0, 100, 30)[:, None], np.linspace(0, 1.5, 20)[None, :]
    exact = white(frequency, 16.0, off, 1.0, optics.defocus_otf)
    assert np.abs(optics.photopic_otf(frequency, 16.0, off, 1.0) - exact).max() < 0.018


@given(st.floats(0.5, 200), st.floats(1.5, 60))
def test_in_focus_the_defocused_form_is_the_plain_one(frequency: float, effective: float) -> None:
    sharp = optics.photopic_otf(frequency, effective, 0.0, 1.0)
    assert float(sharp) == pytest.approx(float(optics.photopic_mtf(frequency, effective)), abs=2e-3)


@given(st.floats(0, 200), st.floats(1.5, 60), st.floats(0.1, 10))
def test_finer_patterns_and_smaller_apertures_lose_contrast(
    frequency: float, effective: float, more: float
) -> None:
    here = float(optics.photopic_mtf(frequency, effective))
    rounding = 1e-12
    assert float(optics.photopic_mtf(frequency + more, effective)) <= here + rounding
    assert float(optics.photopic_mtf(frequency, effective + more)) <= here + rounding
    assert 0 <= here <= 1 + rounding


def test_defocus_to_either_side_blurs_alike() -> None:
    nu = np.linspace(0, 80, 20)
    assert np.allclose(
        optics.photopic_otf(nu, 16.0, 0.4, 1.0), optics.photopic_otf(nu, 16.0, -0.4, 1.0)
    )


def test_white_light_passes_a_little_less_than_green_alone() -> None:
    green = optics.diffraction_mtf(50 / optics.cutoff_per_mm(16.0))
    assert 0 < float(green - optics.photopic_mtf(50.0, 16.0)) < 0.02


@given(st.floats(0, 100))
def test_lightness_and_luminance_are_each_other_s_inverse(level: float) -> None:
    assert optics.lightness(optics.luminance_of_lightness(level)) == pytest.approx(level, abs=1e-9)


@given(st.floats(0, 1), st.floats(1e-6, 0.1))
def test_more_light_looks_lighter(luminance: float, more: float) -> None:
    assert optics.lightness(luminance + more) > optics.lightness(luminance)


def test_black_and_white_are_the_ends_and_the_join_is_smooth() -> None:
    join = (6 / 29) ** 3
    assert optics.lightness(0.0) == 0.0
    assert optics.lightness(1.0) == pytest.approx(100.0)
    assert optics.lightness(join) == pytest.approx(optics.lightness(join * (1 + 1e-12)))
    assert optics.lightness(join) == pytest.approx(8.0)
