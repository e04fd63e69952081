"""Which edges are measured, which are refused, and what does not change the answer."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from haltere.errors import UsageError
from haltere.focus.edge import EdgeError, slanted_edge
from haltere.frames.icc import SRGB


def edge(
    tilt_deg: float = 5.0,
    *,
    shape: tuple[int, int] = (80, 64),
    levels: tuple[float, float] = (0.15, 0.6),
    bow_px: float = 0.0,
    width_px: float = 1.5,
    aside_px: float = 0.0,
) -> np.ndarray:
    """Linear light across a soft edge; `bow_px` is how far its middle stands off."""
    rows, cols = shape
    y, x = np.mgrid[0:rows, 0:cols].astype(float)
    y -= (rows - 1) / 2
    x -= (cols - 1) / 2 + aside_px
    tilt = np.radians(tilt_deg)
    away = x * np.cos(tilt) - y * np.sin(tilt) + bow_px * (1 - (2 * y / rows) ** 2)
    return levels[0] + (levels[1] - levels[0]) / (1 + np.exp(-away / (0.3 * width_px)))


def code(light: np.ndarray) -> np.ndarray:
    return np.rint(255 * SRGB.code(light))


def beside_a_hair() -> np.ndarray:
    y, x = np.mgrid[0:80, 0:64].astype(float)
    away = (x - 31.5) * np.cos(np.radians(5)) - (y - 39.5) * np.sin(np.radians(5))
    return edge() + 0.3 * np.exp(-(((away - 16) / 2) ** 2))


def in_noise(seed: int) -> np.ndarray:
    light = edge(levels=(0.3, 0.42), width_px=3.0)
    return light + np.random.default_rng(seed).normal(0.0, 0.03, light.shape)


def response(light: np.ndarray):
    return slanted_edge(light, tone="linear", white=1.0)


@settings(max_examples=25, deadline=None)
@given(st.floats(2.0, 14.0), st.floats(-4.0, 4.0), st.booleans())
def test_the_tilt_is_found_to_a_tenth_of_a_degree(tilt_deg, aside_px, mirrored):
    light = edge(-tilt_deg if mirrored else tilt_deg, aside_px=aside_px)

    assert response(light).tilt_deg == pytest.approx(tilt_deg, abs=0.1)


@pytest.mark.parametrize("turns", [0, 1, 2, 3])
def test_a_turned_picture_has_the_same_response(turns):
    straight, turned = response(edge()), response(np.rot90(edge(), turns))

    assert turned.upright == (turns % 2 == 0)
    assert turned.mtf50 == pytest.approx(straight.mtf50, rel=0.005)


@pytest.mark.parametrize("factor", [0.5, 0.8, 1.4])
def test_exposure_does_not_change_the_response(factor):
    first, second = (slanted_edge(code(edge() * f)) for f in (1.0, factor))

    assert second.mtf50 == pytest.approx(first.mtf50, rel=0.02)


def test_coded_values_are_measured_in_linear_light():
    light = edge(levels=(0.05, 0.8), width_px=3.0)

    assert slanted_edge(code(light)).mtf50 == pytest.approx(response(light).mtf50, rel=0.02)
    # the same numbers taken as light give another answer: the curve is not a matter of taste
    assert abs(slanted_edge(code(light), tone="linear").mtf50 / response(light).mtf50 - 1) > 0.03


@pytest.mark.parametrize("seed", range(5))
def test_noise_moves_half_contrast_by_a_few_per_cent_only(seed):
    light = edge(width_px=3.0)
    noisy = light + np.random.default_rng(seed).normal(0.0, 0.02, light.shape)

    assert response(noisy).mtf50 == pytest.approx(response(light).mtf50, rel=0.05)


def test_contrast_is_that_of_light_and_dark_side():
    assert response(edge(levels=(0.2, 0.6))).contrast == pytest.approx(0.5, abs=0.01)


@pytest.mark.parametrize(
    ("light", "why"),
    [
        (edge(bow_px=2.0), "not straight"),
        (edge(levels=(0.40, 0.44)), "contrast"),
        (edge(0.5), "tilted 0.5 degrees"),
        (edge(24.0), "tilted 2"),
        (edge(width_px=40.0), "shading"),
        (edge(aside_px=26.0), "side of the piece"),
        (np.full((60, 60), 0.3), "no edge"),
        (np.random.default_rng(3).uniform(0.1, 0.6, (80, 64)), "edge"),
        (edge() + 0.25 * np.sin(np.arange(64) / 1.5), "edge"),
        (np.where(np.arange(80)[:, None] < 40, edge(), 0.15), "run clearly"),
        (edge(levels=(0.2, 1.0)), "blown out"),
        (beside_a_hair(), "not plain"),
        (edge(1.7, shape=(20, 64)), "too few rows"),
        (in_noise(0), "edge"),
        (in_noise(1), "edge"),
        (in_noise(2), "edge"),
        (in_noise(3), "edge"),
    ],
    ids=["bowed", "flat", "upright", "slanting", "shading", "aside", "plain", "noise", "striped",
         "half", "blown", "hair", "short", "noise 0", "noise 1", "noise 2", "noise 3"],
)  # fmt: skip
def test_what_is_no_straight_edge_is_refused_in_plain_words(light, why):
    with pytest.raises(EdgeError, match=why) as told:
        response(light)

    assert "choose" in str(told.value) or "put" in str(told.value) or "narrow" in str(told.value)


@pytest.mark.parametrize("bow_px", [0.0, 0.2])
def test_an_edge_that_is_straight_to_a_fraction_of_a_pixel_is_taken(bow_px):
    assert response(edge(bow_px=bow_px)).bow_px == pytest.approx(bow_px, abs=0.05)


@pytest.mark.parametrize(
    "absurd",
    [np.zeros((5, 80)), np.zeros((60, 60, 3)), np.full((60, 60), np.nan), np.zeros(60)],
    ids=["thin", "coloured", "no numbers", "one row"],
)
def test_absurd_pieces_are_a_wrong_call(absurd):
    with pytest.raises(UsageError):
        slanted_edge(absurd)


@pytest.mark.parametrize("white", [0.0, -1.0, float("nan")])
def test_an_absurd_white_is_a_wrong_call(white):
    with pytest.raises(UsageError, match="white"):
        slanted_edge(edge(), white=white)


@pytest.mark.parametrize("frequency", [-0.1, 1.5, float("nan")])
def test_contrast_is_told_between_zero_and_one_cycle_per_pixel_only(frequency):
    with pytest.raises(UsageError):
        response(edge()).at(frequency)
