"""A depth that coarse detail contradicts is not believed; one that it bears out is."""

from __future__ import annotations

import numpy as np

from haltere.merge.coarse import contradicted, on_places

ROWS, COLS, LABELS = 40, 60, 31


def hill(at: float, width: float, height: float) -> np.ndarray:
    """Detail over depth, highest at a label."""
    return height * np.exp(-0.5 * ((np.arange(LABELS) - at) / width) ** 2)


def told(coarse: np.ndarray, label: float, energy: float) -> np.ndarray:
    """Which places are contradicted where all lie at one label with so much fine detail."""
    few = np.broadcast_to(coarse, (ROWS // 4, COLS // 4, LABELS))
    shape = (ROWS, COLS)
    return contradicted(
        np.ascontiguousarray(few, np.float32),
        np.full(shape, label, np.float32),
        np.full(shape, energy, np.float32),
        0.5,
    )


def test_a_chance_far_from_where_coarse_detail_is_largest_is_not_believed():
    assert told(hill(30, 8, 20.0), 6, 2.0).all()


def test_weak_detail_where_coarse_detail_is_largest_is_believed():
    assert not told(hill(6, 2, 20.0), 6, 2.0).any()
    assert not told(hill(7, 2, 20.0), 6, 2.0).any()


def test_a_hair_before_something_blurred_is_believed():
    assert not told(hill(30, 8, 20.0), 6, 60.0).any()


def test_where_nothing_is_coarse_fine_detail_decides():
    assert not told(np.zeros(LABELS), 6, 2.0).any()


def test_a_strong_place_speaks_for_the_coarse_ones_beside_it():
    few = np.broadcast_to(hill(30, 8, 20.0), (ROWS // 4, COLS // 4, LABELS)).astype(np.float32)
    energy = np.full((ROWS, COLS), 2.0, np.float32)
    energy[16:20, 28:32] = 60.0
    found = contradicted(few.copy(), np.full((ROWS, COLS), 6, np.float32), energy, 0.5)
    assert not found[12:24, 24:36].any()
    assert found[:8].all() and found[:, :20].all()


def test_every_place_lies_in_a_coarse_one():
    rows, cols = on_places((10, 15), (41, 61))
    assert rows.shape == (41, 1) and cols.shape == (1, 61)
    assert rows.min() == cols.min() == 0 and rows.max() == 9 and cols.max() == 14
    assert (np.diff(rows[:, 0]) >= 0).all() and (np.diff(cols[0]) >= 0).all()
