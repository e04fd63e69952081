"""The contrast measured on a tilted edge is the published one, and the one its blur leaves."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import j1

from haltere.focus.edge import NUMBERS, slanted_edge

Numbers = dict[str, Any]

ENTRIES: list[Numbers] = json.loads(
    Path(__file__).with_name("edge.json").read_text(encoding="utf-8")
)


def edge(tilt_deg: float, disc_px: float = 0.0, shape: tuple[int, int] = (100, 64)) -> np.ndarray:
    """An edge through square pixels, 16 x 16 points in each, behind a disc of blur."""
    rows, cols = shape
    y = (np.arange(rows * 16) + 0.5) / 16 - rows / 2
    x = (np.arange(cols * 16) + 0.5) / 16 - cols / 2
    tilt = np.radians(tilt_deg)
    away = x[None, :] * np.cos(tilt) - y[:, None] * np.sin(tilt)
    if disc_px:
        u = np.clip(2 * away / disc_px, -1, 1)  # the part of a disc on one side of a line
        lit = 0.5 + (u * np.sqrt(1 - u * u) + np.arcsin(u)) / np.pi
    else:
        lit = (away > 0).astype(float)
    return 0.2 + 0.6 * lit.reshape(rows, 16, cols, 16).mean(axis=(1, 3))


def disc_and_pixel(frequency: float, disc_px: float) -> float:
    x = np.pi * disc_px * frequency
    return abs(2 * j1(x) / x if x else 1.0) * np.sinc(frequency)


@pytest.mark.parametrize("entry", ENTRIES, ids=[entry["id"] for entry in ENTRIES])
def test_a_published_response_of_an_edge_is_met_within_its_tolerance(entry: Numbers) -> None:
    given = entry["inputs"]
    response = slanted_edge(edge(given["edge_angle_deg"]), tone="linear", white=1.0)

    assert given["oversampling"] == NUMBERS.per_px
    for frequency, expected in zip(
        given["frequency_cy_per_px"], entry["expected"]["sfr"], strict=True
    ):
        assert response.at(frequency) == pytest.approx(expected, abs=entry["tolerance"]["abs"])


def test_every_copied_response_says_its_source() -> None:
    assert ENTRIES
    assert all(len(entry["source"]) > 5 for entry in ENTRIES)


@pytest.mark.parametrize("tilt_deg", [2.0, -5.0, 9.0, 13.0])
def test_a_square_pixel_leaves_the_same_contrast_at_any_tilt(tilt_deg: float) -> None:
    response = slanted_edge(edge(tilt_deg), tone="linear", white=1.0)

    expected = np.sinc(response.frequencies) * np.sinc(response.frequencies / NUMBERS.per_px)
    below = response.frequencies < 0.6
    assert np.abs(response.mtf - expected)[below].max() < 0.025


@pytest.mark.parametrize("disc_px", [1.0, 2.0, 4.0, 8.0, 12.0, 16.0])
def test_half_the_contrast_is_left_where_the_disc_of_blur_says_so(disc_px: float) -> None:
    response = slanted_edge(edge(5.0, disc_px), tone="linear", white=1.0)

    expected = brentq(lambda f: disc_and_pixel(f, disc_px) - 0.5, 1e-6, 0.8 / max(disc_px, 1.2))
    assert response.mtf50 == pytest.approx(expected, rel=0.04)


def test_a_disc_takes_all_contrast_at_its_first_zero_and_gives_some_back() -> None:
    response = slanted_edge(edge(5.0, 8.0), tone="linear", white=1.0)

    zero, second = 1.2197 / 8.0, 1.635 / 8.0
    assert response.at(zero) < 0.03
    assert response.at(second) == pytest.approx(disc_and_pixel(second, 8.0), abs=0.03)
