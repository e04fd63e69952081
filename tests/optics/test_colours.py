"""Diffraction as each colour of a picture shows it."""

from __future__ import annotations

import numpy as np

from haltere import optics


def test_the_observer_sees_even_light_as_white() -> None:
    nm = np.arange(380.0, 781.0, 5.0)
    sums = optics.colour_matching(nm).sum(axis=1)
    assert np.ptp(sums) / sums.mean() < 0.005  # CIE 1931: all three integrals are alike


def test_the_observer_agrees_with_the_table_of_the_eye() -> None:
    nm = np.arange(380.0, 781.0, 5.0)
    apart = optics.colour_matching(nm)[1] - optics.luminous_efficiency(nm)
    assert np.abs(apart).max() < 0.01


def test_blue_keeps_more_contrast_than_green_and_green_more_than_red() -> None:
    red, green, blue = optics.channel_mtf([20.0, 40.0, 60.0], 24.0)
    assert (red < green).all()
    assert (green < blue).all()


def test_the_three_colours_weighed_as_light_give_the_contrast_that_the_eye_sees() -> None:
    nu = np.linspace(0.0, 80.0, 40)
    # luminance of sRGB light (IEC 61966-2-1)
    mixed = np.array([0.2126, 0.7152, 0.0722]) @ optics.channel_mtf(nu, 16.0)
    np.testing.assert_allclose(mixed, optics.photopic_mtf(nu, 16.0), atol=0.01)
