"""Light and colour: what is asked for, no more."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haltere.errors import UsageError
from haltere.finish.tone import Tone, balance_of, toned

RAMP = np.linspace(0.0, 1.0, 300, dtype=np.float32).reshape(10, 10, 3)


def test_nothing_asked_changes_nothing() -> None:
    assert toned(RAMP, Tone()) is RAMP


def test_a_stop_doubles_the_light() -> None:
    np.testing.assert_allclose(toned(RAMP, Tone(1.0)), 2.0 * RAMP)


def test_black_and_white_points_go_where_they_are_said() -> None:
    out = toned(np.array([[[0.1, 0.5, 0.9]]], np.float32), Tone(black=0.1, white=0.9))
    np.testing.assert_allclose(out[0, 0], [0.0, 0.5, 1.0], atol=1e-6)


@given(st.floats(-5, 5), st.floats(0, 0.4), st.floats(0.5, 1.0), st.floats(0, 1))
def test_lighter_stays_lighter(stops: float, black: float, white: float, high: float) -> None:
    grey = np.repeat(np.linspace(0, 1, 64, dtype=np.float32), 3).reshape(8, 8, 3)
    out = toned(grey, Tone(stops, black, white, highlights=high))[..., 0].ravel()
    assert (np.diff(out) >= -1e-5).all()
    assert np.isfinite(out).all()
    assert out.min() >= 0.0


def test_a_patch_turns_grey_and_keeps_its_lightness() -> None:
    picture = np.full((20, 20, 3), (0.4, 0.3, 0.2), np.float32)
    balance = balance_of(picture, (2, 2, 10, 10))
    out = toned(picture, Tone(balance=balance))[5, 5]
    assert np.ptp(out) < 1e-3
    weights = np.array([0.2126, 0.7152, 0.0722])
    assert out @ weights == pytest.approx(float(picture[5, 5] @ weights), rel=1e-3)


@pytest.mark.parametrize("box", [(0, 0, 2, 2), (5, 5, 5, 9), (0, 0, 30, 3), (-1, 0, 9, 9)])
def test_a_patch_that_is_none_is_refused(box: tuple[int, int, int, int]) -> None:
    with pytest.raises(UsageError, match="--grey"):
        balance_of(np.full((20, 20, 3), 0.3, np.float32), box)


@pytest.mark.parametrize("light", [0.001, 1.0])
def test_a_patch_too_dark_or_clipped_is_refused(light: float) -> None:
    with pytest.raises(UsageError, match="mid-grey"):
        balance_of(np.full((20, 20, 3), light, np.float32), (0, 0, 9, 9))


def test_a_clipped_highlight_gets_its_colour_back() -> None:
    """A red-brown cuticle whose highlight clips in red only comes nearer to the truth."""
    y, x = np.mgrid[0:120, 0:120] - 60.0
    shine = np.exp(-(x * x + y * y) / 400.0)
    true = ((0.3 + 1.3 * shine)[..., None] * np.array([1.0, 0.55, 0.35])).astype(np.float32)
    clipped = np.minimum(true, 1.0)
    dim = Tone(-1.0)
    plain = toned(clipped, dim)
    rebuilt = toned(clipped, Tone(-1.0, highlights=1.0))
    want = toned(true, dim)

    def hue(picture: np.ndarray) -> np.ndarray:
        return picture / picture.sum(axis=2, keepdims=True)

    spot = true[..., 0] > 1.05
    before = np.abs(hue(plain) - hue(want))[spot].mean()
    after = np.abs(hue(rebuilt) - hue(want))[spot].mean()
    assert after < 0.3 * before


def test_what_is_not_clipped_keeps_its_hue_under_highlight_recovery() -> None:
    rng = np.random.default_rng(3)
    picture = cv2.GaussianBlur(rng.random((60, 60, 3)).astype(np.float32), (0, 0), 2.0) * 0.9
    out = toned(picture, Tone(1.0, highlights=0.8))
    ratio = out / np.maximum(picture, 1e-6)
    assert np.ptp(ratio, axis=2).max() < 1e-3 * ratio.max()


def test_white_stays_white_under_highlight_recovery() -> None:
    picture = np.zeros((30, 30, 3), np.float32)
    picture[10:20, 10:20] = 1.0
    assert toned(picture, Tone(1.0, highlights=1.0))[15, 15] == pytest.approx([1.0] * 3, abs=1e-4)


@pytest.mark.parametrize(
    "wrong",
    [
        {"exposure_stops": 6.0}, {"exposure_stops": float("nan")}, {"black": 0.5, "white": 0.5},
        {"black": -0.1}, {"highlights": 1.1}, {"balance": (1.0, 0.0, 1.0)},
    ],
)  # fmt: skip
def test_absurd_wishes_are_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(UsageError):
        Tone(**wrong)  # type: ignore[arg-type]
