"""Scale bars: round, right, readable."""

from __future__ import annotations

import io

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from haltere.errors import UsageError
from haltere.finish.scale_bar import Corner, bar_for, burnt_in, overlay


@given(st.integers(200, 9000), st.floats(1e-5, 0.1))
def test_a_bar_is_round_and_about_a_fifth_of_the_picture(wide: int, size: float) -> None:
    bar = bar_for(wide, size)
    digits = f"{bar.length_mm:.0e}"
    assert digits[0] in "125"
    assert bar.length_px == pytest.approx(bar.length_mm / size)
    assert 0.1 <= bar.length_px / wide <= 0.4


def test_the_bar_that_is_drawn_has_its_length() -> None:
    bar = bar_for(1200, 0.004, 1.0)
    picture = np.full((900, 1200, 3), 0.5, np.float32)
    drawn = burnt_in(picture, bar)[..., 1] > 0.99
    longest = max(int(row.sum()) for row in drawn)
    assert longest == 250


@pytest.mark.parametrize("corner", ["bottom-right", "bottom-left", "top-right", "top-left"])
def test_it_stands_in_its_corner(corner: Corner) -> None:
    drawn = burnt_in(np.zeros((900, 1200, 3), np.float32), bar_for(1200, 0.004), corner)
    rows, columns = np.nonzero(drawn[..., 0] > 0.9)
    assert (rows.min() > 450) == corner.startswith("bottom")
    assert (columns.min() > 600) == corner.endswith("right")
    assert columns.max() < 1195
    assert rows.max() < 895


@pytest.mark.parametrize("ground", [0.0, 1.0])
def test_it_is_readable_on_light_and_on_dark(ground: float) -> None:
    drawn = burnt_in(np.full((600, 800, 3), ground, np.float32), bar_for(800, 0.004))
    assert (drawn > 0.95).any()
    assert ground == 0.0 or (drawn < 0.2).any()


def test_the_overlay_is_clear_where_nothing_stands() -> None:
    layer = np.asarray(Image.open(io.BytesIO(overlay((800, 600), bar_for(800, 0.004)))))
    assert layer.shape == (600, 800, 4)
    assert (layer[:300, :, 3] == 0).all()
    assert (layer[..., 3] == 255).any()


@pytest.mark.parametrize("length", [0.0, -1.0, float("nan"), 100.0, 0.001])
def test_a_bar_that_does_not_fit_is_refused(length: float) -> None:
    with pytest.raises(UsageError, match="--bar"):
        bar_for(1000, 0.004, length)
