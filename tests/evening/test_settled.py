"""What a crop of a merge carries follows from how its planes lie."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from haltere.evening.settled import smear_of, widest_half_step
from haltere.fieldbook import keep_frames, keep_runs, open_book, place_outing, record
from haltere.finish.source import sources_of
from haltere.frames import find_frames
from haltere.keepers.verdict import JudgedFrame, Keepers, Verdict
from haltere.merge.views import View, Views
from haltere.runs.run import Run

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


def test_the_smear_of_a_judged_frame_is_known_without_being_told(tmp_path: Path) -> None:
    lane = tmp_path / "lane"
    lane.mkdir()
    for name in ("a.jpg", "b.jpg"):
        Image.new("RGB", (160, 120), "grey").save(lane / name)
    moved, still = (sources_of(lane / name)[0] for name in ("a.jpg", "b.jpg"))
    with open_book(tmp_path / "book") as book:
        assert smear_of(book, moved) == 0.0
        outing = place_outing(book, lane, "lane", day="2031-06-20", in_place=True)
        keep_frames(book, outing, find_frames([lane]).frames)
        keep_runs(book, outing, [Run("run-01", "burst", ("a.jpg", "b.jpg"), (), "")])
        judged = tuple(
            JudgedFrame(name, rank, None, 1.0, None, None, None, (), True, smear_px=smear)
            for rank, (name, smear) in enumerate((("a.jpg", 4.5), ("b.jpg", None)), 1)
        )
        result = Keepers(None, judged, Verdict("keeper", ""))
        record(book, outing, "keepers", "run-01", "key", {}, result)
        assert smear_of(book, moved) == 4.5
        assert smear_of(book, still) == 0.0
