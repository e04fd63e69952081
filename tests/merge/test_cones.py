"""Rims of discs, plane after plane, are told from surfaces."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from haltere.merge.cones import cones

BLUR = 0.7  # places for one depth of field


def beside_an_edge(depth_of: object, strength: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A strong edge at depth 0 down the middle, and what is told on its right."""
    x = np.arange(120)
    right = np.maximum(x - 60, 0).astype(np.float32)
    depth = np.where(x <= 60, 0, depth_of(right)).astype(np.float32)  # type: ignore[operator]
    peak = np.where(x <= 60, 0.01, strength).astype(np.float32)
    peak[60] = 1.0
    shape = (80, 120)
    return (
        np.broadcast_to(peak, shape).copy(),
        np.broadcast_to(depth, shape).copy(),
        np.broadcast_to(right, shape).copy(),
    )


def test_depth_that_grows_with_distance_as_a_disc_does_is_a_cone() -> None:
    peak, depth, right = beside_an_edge(lambda away: np.minimum(away, 20) / BLUR, 0.1)
    found = cones(peak, depth, BLUR)
    assert found[(right >= 5) & (right <= 18)].mean() > 0.95
    assert not found[right == 0].any()


def test_rims_behind_and_before_the_edge_are_told_alike() -> None:
    peak, depth, right = beside_an_edge(lambda away: -np.minimum(away, 20) / BLUR, 0.1)
    assert cones(peak, depth, BLUR)[(right >= 5) & (right <= 18)].mean() > 0.95


@given(st.floats(-0.25, 0.25), st.floats(3, 25))
def test_a_surface_that_leans_away_behind_an_edge_is_none(lean: float, behind: float) -> None:
    peak, depth, _ = beside_an_edge(lambda away: behind + lean * away, 0.1)
    assert cones(peak, depth, BLUR).mean() < 0.02


def test_a_leaf_that_slants_along_the_edge_is_none() -> None:
    peak, depth, right = beside_an_edge(lambda away: away, 0.1)
    slanted = 8 + np.arange(80, dtype=np.float32)[:, None] / 5
    depth = np.where(right > 0, slanted, depth).astype(np.float32)
    assert cones(peak, depth, BLUR).mean() < 0.02


def test_detail_as_strong_as_the_edge_is_no_rim() -> None:
    peak, depth, _ = beside_an_edge(lambda away: np.minimum(away, 20) / BLUR, 0.8)
    assert not cones(peak, depth, BLUR).any()


def test_one_depth_everywhere_has_no_cone() -> None:
    flat = np.ones((40, 40), np.float32)
    assert not cones(flat, flat, BLUR).any()
