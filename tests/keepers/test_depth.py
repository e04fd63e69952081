import numpy as np
import pytest

from haltere.keepers.depth import _middle

DEPTHS = np.arange(-12.0, 20.0, 0.1)


def bell(middle: float, sigma: float, far: float = 0.0) -> np.ndarray:
    """A normal distribution, with a share of it fifteen depths of field farther away."""

    def one(at: float) -> np.ndarray:
        heights = np.exp(-0.5 * ((DEPTHS - at) / sigma) ** 2)
        return np.asarray(heights / heights.sum())

    return (1 - far) * one(middle) + far * one(middle + 15.0)


def test_a_plain_distribution_gives_its_mean_and_standard_deviation() -> None:
    assert _middle(DEPTHS, bell(0.7, 0.4)) == pytest.approx((0.7, 0.4), abs=0.01)


def test_a_hundredth_part_far_away_changes_next_to_nothing() -> None:
    assert _middle(DEPTHS, bell(0.7, 0.4, far=0.01)) == pytest.approx((0.7, 0.4), abs=0.03)


def test_a_tenth_part_far_away_makes_the_depth_uncertain() -> None:
    depth, sigma = _middle(DEPTHS, bell(0.7, 0.4, far=0.1))
    assert depth == pytest.approx(0.7, abs=0.1)
    assert sigma > 3.0


def test_a_depth_that_fits_alone_has_hardly_any_spread() -> None:
    alone = np.where(np.arange(len(DEPTHS)) == 130, 1.0, 0.0)
    depth, sigma = _middle(DEPTHS, alone)
    assert depth == pytest.approx(DEPTHS[130])
    assert sigma < 0.05
