"""Marks over the best frame: the plane's cut, the eye and the crop, readable without colour."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from haltere.keepers.verdict import Crop, Eye, FocusMap, JudgedFrame
from haltere.show.best_frame import coarser, crop_words, cut_by_plane, framed, framed_words
from haltere.show.drawing import Box, Drawing, Loop, Shape, Strokes

SIZE = (400, 300)
CROP = Crop((40, 30, 240, 180), 0.03, 0.02, 290.0, 220.0, "keeps 0.03 of 0.12 megapixels")
BEST = JudgedFrame("a.jpg", 1, (100.0, 80.0), 1.0, None, 0.1, 0.1, (), True, crop=CROP)
EYE = Eye("a.jpg", 100.0, 80.0, "given")

cells = st.lists(
    st.lists(st.none() | st.floats(-9, 9), min_size=12, max_size=12), min_size=9, max_size=9
)


def drawn(rows: list[list[float | None]], width: float = 400.0) -> Drawing:
    found = FocusMap("a.jpg", 400 / 12, tuple(tuple(row) for row in rows))
    return cut_by_plane(found, SIZE, width)


def shapes(drawing: Drawing, kind: str) -> list[Shape]:
    return [m for m in drawing.marks if isinstance(m, Shape) and m.kind == kind and m.ink == "ink"]


def field(value: float | None) -> list[list[float | None]]:
    return [[value] * 12 for _ in range(9)]


@given(cells)
def test_every_mark_stays_on_the_frame(rows: list[list[float | None]]) -> None:
    drawing = drawn(rows)
    for mark in drawing.marks:
        if isinstance(mark, Strokes):
            for x0, y0, x1, y1 in mark.ends:
                assert -1e-6 <= min(x0, x1) <= max(x0, x1) <= drawing.width + 1e-6
                assert -1e-6 <= min(y0, y1) <= max(y0, y1) <= drawing.height + 1e-6


def test_what_is_sharp_is_hatched_and_outlined() -> None:
    rows = field(3.0)
    rows[4][6] = 0.2
    strokes = [m for m in drawn(rows).marks if isinstance(m, Strokes) and m.ink == "ink"]
    hatch, outline = strokes
    cell = 400 / 12
    assert hatch.ends == ((6 * cell, 5 * cell, 7 * cell, 4 * cell),)
    assert len(outline.ends) == 4


def test_an_outline_runs_round_joined_cells_once() -> None:
    rows = field(None)
    rows[2][3] = rows[2][4] = rows[2][5] = 0.0
    outline = [m for m in drawn(rows).marks if isinstance(m, Strokes) and m.ink == "ink"][-1]
    assert len(outline.ends) == 4


def test_nothing_is_hatched_where_nothing_is_known() -> None:
    drawing = drawn(field(None))
    assert drawing.marks == ()
    assert "Nothing in a.jpg tells" in drawing.alt


@pytest.mark.parametrize(
    ("offset", "way", "other"), [(2.0, "right", "left"), (-2.0, "left", "right")]
)
def test_arrows_point_to_where_the_plane_lies(offset: float, way: str, other: str) -> None:
    drawing = drawn(field(offset))
    assert shapes(drawing, way)
    assert not shapes(drawing, other)


def test_every_mark_has_a_ground_of_the_other_shade() -> None:
    rows = field(0.0)
    rows[0] = [4.0] * 12
    for drawing in (drawn(rows), framed(BEST, EYE, SIZE, 300.0)):
        inks = [mark.ink for mark in drawing.marks if not isinstance(mark, Box)]
        assert inks.count("paper") == inks.count("ink")


@given(cells, st.integers(1, 4))
def test_joining_cells_keeps_their_values_within_bounds(
    rows: list[list[float | None]], factor: int
) -> None:
    known = [at for row in rows for at in row if at is not None]
    joined = [at for row in coarser(tuple(map(tuple, rows)), factor) for at in row]
    assert all(min(known) <= at <= max(known) for at in joined if at is not None)


def test_one_known_cell_of_nine_does_not_speak_for_all() -> None:
    rows = ((1.0, None, None), (None,) * 3, (None,) * 3)
    assert coarser(rows, 3) == [[None]]
    assert coarser(((1.0, 3.0), (None, None)), 2) == [[2.0]]


def test_a_given_eye_is_ringed_in_full_and_a_proposed_one_in_dashes() -> None:
    for eye, dashed in ((EYE, False), (replace(EYE, source="proposed"), True)):
        marks = framed(BEST, eye, SIZE, 300.0).marks
        (ring,) = [m for m in marks if isinstance(m, Loop) and m.ink == "ink"]
        assert ring.dashed is dashed
    assert "the eye you gave" in framed_words(BEST, EYE)
    assert "the proposed eye" in framed_words(BEST, replace(EYE, source="proposed"))


def test_the_eye_is_ringed_where_it_is() -> None:
    (ring,) = [
        m for m in framed(BEST, EYE, SIZE, 200.0).marks if isinstance(m, Loop) and m.ink == "ink"
    ]
    assert (ring.x, ring.y) == (50.25, 40.25)


def test_a_second_eye_has_a_smaller_ring() -> None:
    both = replace(BEST, other_eye_px=(150.0, 80.0))
    rings = [
        m for m in framed(both, EYE, SIZE, 400.0).marks if isinstance(m, Loop) and m.ink == "ink"
    ]
    assert len(rings) == 2
    assert rings[1].radius < rings[0].radius
    assert "other eye" in framed_words(both, EYE)


def test_the_crop_is_drawn_where_it_lies() -> None:
    boxes = [m for m in framed(BEST, EYE, SIZE, 200.0).marks if isinstance(m, Box)]
    assert {(b.x0, b.y0, b.x1, b.y1) for b in boxes} == {(20.0, 15.0, 120.0, 90.0)}
    assert crop_words(CROP) == "The crop keeps 0.03 of 0.12 megapixels."


def test_a_frame_without_eye_or_crop_is_shown_plain() -> None:
    bare = replace(BEST, eye_px=None, crop=None)
    drawing = framed(bare, None, SIZE, 300.0)
    assert drawing.marks == ()
    assert drawing.alt == "All of a.jpg"
