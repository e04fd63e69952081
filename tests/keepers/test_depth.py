import numpy as np
import pytest

from haltere.keepers.depth import _domes, _laid_on, _middle

DEPTHS = np.arange(-12.0, 20.0, 0.1)


def bell(middle: float, sigma: float, far: float = 0.0) -> np.ndarray:
    """A normal distribution, with a share of it fifteen depths of field farther away."""

    def one(at: float) -> np.ndarray:
        heights = np.exp(-0.5 * ((DEPTHS - at) / sigma) ** 2)
        return np.asarray(heights / heights.sum())

    return (1 - far) * one(middle) + far * one(middle + 15.0)


def test_a_plain_distribution_gives_its_mean_and_standard_deviation() -> None:
    assert _middle(DEPTHS, bell(0.7, 0.4), 2.0) == pytest.approx((0.7, 0.4), abs=0.01)


def test_a_hundredth_part_far_away_changes_next_to_nothing() -> None:
    assert _middle(DEPTHS, bell(0.7, 0.4, far=0.01), 2.0) == pytest.approx((0.7, 0.4), abs=0.03)


def test_a_tenth_part_far_away_makes_the_depth_uncertain() -> None:
    depth, sigma = _middle(DEPTHS, bell(0.7, 0.4, far=0.1), 2.0)
    assert depth == pytest.approx(0.7, abs=0.1)
    assert sigma > 3.0


def test_a_depth_that_fits_alone_has_hardly_any_spread() -> None:
    alone = np.where(np.arange(len(DEPTHS)) == 130, 1.0, 0.0)
    depth, sigma = _middle(DEPTHS, alone, 2.0)
    assert depth == pytest.approx(DEPTHS[130])
    assert sigma < 0.05


def test_a_depth_between_two_that_were_tried_is_told_in_proportion() -> None:
    chance = np.zeros(len(DEPTHS))
    chance[130:133] = 0.1, 0.6, 0.3
    assert _middle(DEPTHS, chance, 2.0)[0] == pytest.approx(DEPTHS[131] + 0.02)


def eye_of(depth: float, right: float, bend: float) -> tuple[np.ndarray, np.ndarray]:
    """Chi-square of every depth at places on a dome, and the places, in radii."""
    y, x = np.mgrid[-5:6, -5:6] / 5.0
    on = np.hypot(x, y) <= 1.0
    place = np.column_stack([x[on], y[on]])
    lies = depth + right * place[:, 0] + bend * (place**2).sum(1)
    return 400 * (DEPTHS[:, None] - lies) ** 2, place


@pytest.mark.parametrize("right", [0.0, 0.4, -1.1])
@pytest.mark.parametrize("bend", [0.8, 3.0])
@pytest.mark.parametrize("depth", [2.0, 2.03])
def test_an_eye_is_as_deep_as_its_middle_whatever_its_shape(
    depth: float, bend: float, right: float
) -> None:
    chi, place = eye_of(depth, right, bend)
    cost, _ = _domes(chi, place, 0.0)
    chance = np.exp(-0.5 * (cost - cost.min()))
    told, _ = _middle(DEPTHS, chance / chance.sum(), 2.0)
    assert told == pytest.approx(depth, abs=0.02)


def test_a_hair_before_a_few_places_does_not_draw_the_eye_nearer() -> None:
    chi, place = eye_of(2.0, 0.0, bend=1.0)
    hair = np.abs(place[:, 1] - 0.2) < 0.05
    chi[:, hair] = 400 * (DEPTHS[:, None] + 4.0) ** 2
    cost, _ = _domes(chi, place, 0.0)
    assert DEPTHS[int(cost.argmin())] == pytest.approx(2.0, abs=0.11)


def test_costs_are_laid_on_a_shape_as_interpolation_by_hand_does() -> None:
    rng = np.random.default_rng(4)
    costs, near = rng.uniform(size=(5, 40)), rng.uniform(size=5)
    away = rng.uniform(0, 15, (3, 5))
    at = np.arange(20)
    by_hand = [
        sum(near[p] * np.interp(at + row[p], np.arange(40), costs[p]) for p in range(5))
        for row in away
    ]
    assert _laid_on(costs, away, near, 20) == pytest.approx(np.array(by_hand))
