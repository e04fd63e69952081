"""What a crop of a merge carries follows from how its planes lie."""

from __future__ import annotations

import numpy as np
import pytest

from haltere.evening.settled import widest_half_step
from haltere.merge.views import View, Views

SIZE = (40, 30)
UNIT = 100.0


def views(depths: tuple[float, ...]) -> Views:
    """Planes at some depths, mm, all upright."""
    # a frame pushed by t sees its plane at t of the relative depth, or a test here fails
    made = tuple(
        View(f"{k}.jpg", f"{k}.jpg", None, (0.0, 0.0, depth / UNIT, 0.0, 0.0, 0.0), 1.0)
        for k, depth in enumerate(depths)
    )
    return Views(SIZE, (0, 0, *SIZE), SIZE, 5000.0, 0.002, UNIT, False, made, 0.004)


def depth(near: float, far: float) -> np.ndarray:
    return np.linspace(near, far, 1200, dtype=np.float32).reshape(30, 40)


def test_planes_lie_where_the_test_puts_them() -> None:
    one = views((0.0, 0.3))
    assert one.plane_at(0, 20, 15) == pytest.approx(0.0)
    assert abs(one.plane_at(1, 20, 15)) == pytest.approx(0.3, rel=0.02)


def test_the_widest_step_within_the_animal_counts() -> None:
    sign = 1.0 if views((0.0, 0.3)).plane_at(1, 20, 15) > 0 else -1.0
    planes = views(tuple(sign * one for one in (0.0, 0.1, 0.5, 0.6, 2.0)))
    box = (0, 0, *SIZE)
    assert widest_half_step(planes, depth(0.0, 0.6), box) == pytest.approx(0.2, rel=0.05)
    # a crop of what lies between two near planes has the fine step only
    assert widest_half_step(planes, depth(0.0, 0.09), box) == pytest.approx(0.05, rel=0.05)


def test_an_animal_beyond_the_last_plane_counts_by_how_far() -> None:
    sign = 1.0 if views((0.0, 0.3)).plane_at(1, 20, 15) > 0 else -1.0
    planes = views((0.0, sign * 0.1))
    found = widest_half_step(planes, depth(0.0, 0.5), (0, 0, *SIZE))
    assert found == pytest.approx(0.39, abs=0.02)


def test_without_any_depth_nothing_is_claimed() -> None:
    assert (
        widest_half_step(views((0.0, 0.1)), np.full((3, 3), np.nan, np.float32), (0, 0, 3, 3)) == 0
    )
