"""Marks on a line are found, numbered and placed."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter

from haltere.calibration.blur import drawn_marks
from haltere.calibration.marks import find_chain, find_marks
from haltere.calibration.spacing import fit_line


def line_of_marks(at: np.ndarray, width: float = 1.2, count: int = 900) -> np.ndarray:
    x = np.arange(count)
    return 1.0 - 0.8 * np.exp(-0.5 * ((x[:, None] - at) / width) ** 2).sum(axis=1)


def test_a_chain_follows_spacings_that_change_slowly() -> None:
    at = 40.0 + np.cumsum(np.linspace(22.0, 40.0, 25))
    chain = find_chain(line_of_marks(at))
    assert chain is not None
    assert chain.at_px == pytest.approx(at, abs=0.3)


def test_a_missing_mark_is_counted() -> None:
    at = np.delete(np.arange(50.0, 850.0, 30.0), 9)
    chain = find_chain(line_of_marks(at))
    assert chain is not None
    assert list(np.diff(chain.number)) == [2 if k == 8 else 1 for k in range(len(at) - 1)]


def test_a_scratch_between_marks_does_not_halve_the_spacing() -> None:
    at = np.sort(np.append(np.arange(50.0, 850.0, 30.0), 65.0 + 30.0 * 7))
    chain = find_chain(line_of_marks(at))
    assert chain is not None
    assert chain.spacing_px == pytest.approx(30.0, abs=0.2)


def test_noise_is_no_rule() -> None:
    for seed in range(8):
        rng = np.random.default_rng(seed)
        leaf = gaussian_filter(rng.standard_normal((360, 540)), 2.0 + seed)
        leaf *= 0.08 / leaf.std()
        noise = 0.02 * rng.standard_normal(leaf.shape)
        leaf += 0.4
        assert find_marks((leaf + noise).astype(np.float32)) is None


@given(
    st.floats(5.0, 200.0), st.floats(-0.012, 0.012), st.floats(-300.0, 300.0), st.integers(7, 40)
)
def test_a_projective_line_is_fitted_exactly(a: float, b: float, e: float, count: int) -> None:
    t = np.arange(count) - count // 2
    assume(np.all(1.0 + b * t > 0.5))
    fit = fit_line(t.astype(float), (a * t + e) / (1.0 + b * t))
    spacing, _ = fit.spacing_at(e)
    assert spacing == pytest.approx(a - b * e, rel=1e-5, abs=1e-6)


def test_one_wild_mark_does_not_bend_the_line() -> None:
    t = np.arange(20.0)
    at = 30.0 * t / (1.0 + 0.004 * t)
    at[7] += 9.0
    assert fit_line(t, at).b == pytest.approx(0.004, abs=1e-5)


@given(st.floats(0.0, 6.0), st.floats(0.4, 3.0))
def test_blur_takes_no_light_and_moves_no_mark(growth: float, soft: float) -> None:
    columns = np.arange(-150.0, 151.0)
    q = np.array([3.0, 30.0, 0.0, 0.0, growth, 0.2, soft])
    drawn = drawn_marks(columns, np.array([-2.0, 0.0, 2.0]), q)
    assert drawn.sum(axis=0) == pytest.approx([6.0] * 3, rel=0.01)
    assert (drawn * columns[:, None]).sum(axis=0) / drawn.sum(axis=0) == pytest.approx(
        [-57.0, 3.0, 63.0], abs=0.1
    )


def test_a_blurred_mark_is_as_wide_as_its_disc() -> None:
    columns = np.arange(-150.0, 151.0)
    q = np.array([0.0, 30.0, 0.0, 0.0, 8.0, 0.05, 0.5])
    drawn = drawn_marks(columns, np.array([2.0]), q)[:, 0]
    spread = (drawn * (columns - 60.0) ** 2).sum() / drawn.sum()
    # a disc has a sixteenth of its squared diameter as variance along a line
    assert spread == pytest.approx(16.0**2 / 16.0 + 0.5**2 + 1.5**2 / 12.0, rel=0.02)
