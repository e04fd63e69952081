"""The leaf under an animal is told from the animal."""

from __future__ import annotations

import numpy as np
import pytest

from haltere.sweeps.gaps import find_holes
from haltere.sweeps.ground import find_ground

SHAPE = (90, 120)
Y, X = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]].astype(float)
BODY = np.hypot((X - 60) / 34, (Y - 42) / 24) < 1
EVERYWHERE = np.ones(SHAPE, bool)


def leaf(bend: float = 6.0) -> np.ndarray:
    """A tilted, curved sheet, nearer at the bottom of the picture."""
    across, down = (X - 60) / 120, (Y - 45) / 120
    return 16.0 - 30.0 * down + bend * across**2


def scene(rng: np.random.Generator, bend: float = 6.0) -> np.ndarray:
    """A dome of an animal before a leaf, depths as uncertain as measured ones."""
    dome = -9.0 + 14.0 * np.hypot((X - 60) / 34, (Y - 42) / 24) ** 2
    depth = np.where(BODY, np.minimum(dome, leaf(bend) - 3.0), leaf(bend))
    return np.asarray(depth + rng.normal(0, 0.25, SHAPE))


@pytest.mark.parametrize("bend", [-8.0, 0.0, 8.0])
def test_a_leaf_is_found_and_the_animal_is_not_taken_for_it(bend: float) -> None:
    ground = find_ground(scene(np.random.default_rng(1), bend), EVERYWHERE)
    assert ground is not None
    assert ground[~BODY].mean() > 0.98
    assert ground[BODY].mean() < 0.02


def test_no_ground_is_seen_where_the_animal_fills_the_picture() -> None:
    rng = np.random.default_rng(2)
    dome = 20.0 * np.hypot((X - 60) / 60, (Y - 45) / 45) ** 2 + rng.normal(0, 4.0, SHAPE)
    assert find_ground(dome, EVERYWHERE) is None


def test_no_ground_is_sought_in_a_handful_of_places() -> None:
    few = np.zeros(SHAPE, bool)
    few[:10, :10] = True
    assert find_ground(scene(np.random.default_rng(3)), few) is None


def test_leaf_beyond_the_last_plane_is_no_missing_far_end() -> None:
    depth = scene(np.random.default_rng(4))
    planes = np.arange(-9.5, 20.0, 0.6)
    holes = find_holes(depth, EVERYWHERE, EVERYWHERE, planes, 1.0)
    assert [hole.kind for hole in holes] == []


def test_an_animal_before_the_first_plane_is_a_missing_near_end_though_it_reaches_the_border() -> (
    None
):
    depth = scene(np.random.default_rng(5))
    feeler = (np.abs(Y - 30) < 3) & (X < 60)
    depth[feeler] = -7.5
    planes = np.arange(-5.0, 40.0, 0.6)
    holes = find_holes(depth, EVERYWHERE, EVERYWHERE, planes, 1.0)
    assert [hole.kind for hole in holes] == ["near-end"]
    assert holes[0].places[feeler].any()


def test_a_hole_between_planes_where_only_leaf_lies_is_none() -> None:
    depth = scene(np.random.default_rng(6))
    planes = np.concatenate([np.arange(-9.5, 13.0, 0.6), np.arange(16.0, 40.0, 0.6)])
    leafy = EVERYWHERE & ~((depth > 12) & (depth < 17) & BODY)
    assert [hole.kind for hole in find_holes(depth, leafy, EVERYWHERE, planes, 1.0)] == []
    planes = np.concatenate([np.arange(-9.5, -4.0, 0.6), np.arange(-1.0, 40.0, 0.6)])
    assert [hole.kind for hole in find_holes(depth, EVERYWHERE, EVERYWHERE, planes, 1.0)] == [
        "inside"
    ]


def stem() -> np.ndarray:
    """A stem along the picture seen from slightly above: nearest in a ridge, steep at its rim."""
    down = np.clip((Y - 58) / 31, 0.02, 1.0)
    return np.asarray(24.0 - 26.0 * np.sqrt(1 - (1 - down) ** 2))


def test_a_stem_that_curves_away_is_ground() -> None:
    rng = np.random.default_rng(7)
    body = np.hypot((X - 60) / 30, (Y - 45) / 20) < 1
    seen = body | (Y > 58)
    depth = np.where(body, 6.0, stem()) + rng.normal(0, 0.25, SHAPE)
    ground = find_ground(depth, seen)
    assert ground is not None
    assert ground[seen & ~body].mean() > 0.9
    assert ground[body & (Y < 55)].mean() < 0.02


def test_the_blurred_rim_of_a_leaf_is_no_far_end_but_a_far_leg_is() -> None:
    rng = np.random.default_rng(8)
    leafy = Y > 50
    planes = np.arange(-6.0, 14.7, 0.6)
    rim = (Y > 40) & ~leafy & ~BODY
    depth = np.where(BODY, -3.0, leaf(0.0)) + rng.normal(0, 0.25, SHAPE)
    depth[rim] = 16.5
    assert find_holes(depth, BODY | leafy | rim, EVERYWHERE, planes, 1.0) == []
    leg = (np.abs(X - 104) < 4) & (Y > 25) & ~leafy
    depth[leg] = 16.5
    holes = find_holes(depth, BODY | leafy | leg, EVERYWHERE, planes, 1.0)
    assert [hole.kind for hole in holes] == ["far-end"]


def test_what_shows_far_more_detail_than_the_leaf_it_adjoins_is_a_missing_far_end() -> None:
    rng = np.random.default_rng(12)
    leafy = Y > 38
    planes = np.arange(-6.0, 14.7, 0.6)
    lying = (Y > 28) & (Y < 35) & (X > 96) & (X < 116)
    depth = np.where(BODY, -3.0, leaf(0.0)) + rng.normal(0, 0.25, SHAPE)
    depth[lying] = 16.5
    seen = BODY | leafy | lying
    as_leaf, hairy = np.ones(SHAPE), np.where(lying, 8.0, 1.0)
    assert find_holes(depth, seen, EVERYWHERE, planes, 1.0, as_leaf) == []
    holes = find_holes(depth, seen, EVERYWHERE, planes, 1.0, hairy)
    assert [hole.kind for hole in holes] == ["far-end"]


def test_a_hole_in_which_the_animal_ends_reaches_no_farther_than_the_animal() -> None:
    rng = np.random.default_rng(9)
    depth = np.where(BODY, -4.0 + 8.0 * np.hypot((X - 60) / 34, (Y - 42) / 24), 0.0)
    depth += rng.normal(0, 0.1, SHAPE)
    planes = np.concatenate([np.arange(-5.0, 2.0, 0.6), np.arange(7.0, 9.0, 0.6)])
    holes = find_holes(depth, BODY, EVERYWHERE, planes, 1.0)
    assert [hole.kind for hole in holes] == ["inside"]
    assert holes[0].end == pytest.approx(4.0, abs=0.5)


def test_a_leaf_goes_on_beyond_the_last_plane() -> None:
    depth = leaf(0.0) + np.random.default_rng(10).normal(0, 0.25, SHAPE)
    seen = Y > 38
    ground = find_ground(depth, seen, -6.0, 14.4)
    assert ground is not None
    assert ground[seen & (depth > 15.5)].mean() > 0.95


def test_blur_that_runs_over_from_a_feeler_is_no_near_end() -> None:
    rng = np.random.default_rng(11)
    depth = scene(rng, 0.0)
    halo = (np.abs(Y - 20) < 2) & (X > 92)
    dab = (np.abs(Y - 23) < 1) & (np.abs(X - 100) < 2)
    depth[halo], depth[dab] = -12.0, -9.0
    seen = BODY | (Y > 50) | halo | dab
    planes = np.arange(-9.5, 40.0, 0.6)
    assert find_holes(depth, seen, EVERYWHERE, planes, 1.0) == []


@pytest.mark.parametrize(("rows", "kinds"), [(14, ["near-end"]), (6, [])])
def test_much_of_an_animal_in_the_border_is_missing_where_the_ground_is_known(rows, kinds) -> None:
    depth = scene(np.random.default_rng(6))
    # a leg that is sharp where it comes in, and two depths of field nearer where it goes out
    depth[60 : 60 + rows, 7:14], depth[60 : 60 + rows, :7] = -9.0, -11.6
    planes = np.arange(-9.5, 20.0, 0.6)

    holes = find_holes(depth, EVERYWHERE, EVERYWHERE, planes, 1.0)

    assert [hole.kind for hole in holes] == kinds
