"""The curves of a plan: read without colour, inside the picture, the same each time."""

from __future__ import annotations

import io
import math
import xml.etree.ElementTree as ET
from functools import cache
from itertools import combinations, pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from haltere.errors import UsageError
from haltere.kit import Kit
from haltere.plan import Plan, make_plan, wishes_of
from haltere.show import draw_plan
from haltere.show.curves import LONG, curves, dashed, svg_file
from haltere.show.drawing import Line, Text, text_width

LENS = Kit(
    name="Meadow kit",
    sensor_width_mm=17.3,
    sensor_height_mm=13.0,
    width_px=5184,
    focal_mm=60.0,
    magnification_max=1.0,
    f_number_min=2.8,
    f_number_max=22.0,
)
CASES = ((0.3, 20.0), (0.5, 2.0), (1.0, 1.0), (1.0, 5.0), (0.7, 0.05))


@cache
def plan(magnification: float, depth_mm: float) -> Plan:
    return make_plan(LENS, wishes_of({"magnification": magnification, "depth_mm": depth_mm}))


def texts(made: Plan) -> list[Text]:
    return [mark for mark in curves(made).marks if isinstance(mark, Text)]


@pytest.mark.parametrize("case", CASES)
def test_both_recommended_f_numbers_are_named(case: tuple[float, float]) -> None:
    made = plan(*case)
    said = " ".join(text.words for text in texts(made))
    assert f"f/{made.aperture.best_f_number:g}" in said
    assert f"f/{made.aperture.sweep_f_number:g}" in said


def test_the_larger_f_number_stands_farther_right() -> None:
    made = plan(1.0, 1.0)
    assert made.aperture.sweep_f_number < made.aperture.best_f_number
    upright = [
        m.x0
        for m in curves(made).marks
        if isinstance(m, Line) and m.ink == "accent" and m.x0 == m.x1 and not m.dashed
    ]
    assert len(upright) == 2
    sweep, single = upright
    assert sweep < single


@pytest.mark.parametrize("case", CASES)
def test_every_axis_names_its_unit(case: tuple[float, float]) -> None:
    said = [text.words for text in texts(plan(*case))]
    assert any("µm" in words and "animal" in words for words in said)
    assert any(words.startswith("Blur on the sensor at f/") and "µm" in words for words in said)
    assert any("f-number" in words for words in said)
    assert any(words.startswith("mm from") for words in said)


@pytest.mark.parametrize("case", CASES)
def test_each_curve_is_named_beside_it(case: tuple[float, float]) -> None:
    said = {text.words for text in texts(plan(*case))}
    assert {"near and far end, one shot", "sweep, anywhere", "plane of focus"} <= said


@pytest.mark.parametrize("case", CASES)
def test_no_names_of_curves_cover_each_other(case: tuple[float, float]) -> None:
    names = [
        text
        for text in texts(plan(*case))
        if text.words in ("near and far end, one shot", "sweep, anywhere", "plane of focus")
    ]
    for a, b in combinations(names, 2):
        beside = (
            a.x + text_width(a.words, a.size) <= b.x or b.x + text_width(b.words, b.size) <= a.x
        )
        assert beside or abs(a.y - b.y) >= 13


@pytest.mark.parametrize("case", CASES)
def test_nothing_is_drawn_outside_the_picture(case: tuple[float, float]) -> None:
    drawing = curves(plan(*case))
    for mark in drawing.marks:
        if isinstance(mark, Text):
            wide = text_width(mark.words, mark.size) * 0.92
            left = mark.x - {"start": 0.0, "middle": wide / 2, "end": wide}[mark.anchor]
            assert left >= 0
            assert left + wide <= drawing.width
            assert mark.size <= mark.y <= drawing.height - 3
        elif isinstance(mark, Line):
            assert min(mark.x0, mark.x1, mark.y0, mark.y1) >= 0
            assert max(mark.x0, mark.x1) <= drawing.width
            assert max(mark.y0, mark.y1) <= drawing.height


def test_a_very_long_name_is_cut() -> None:
    from dataclasses import replace

    made = make_plan(replace(LENS, name="w" * 300), wishes_of({"magnification": 1.0}))
    assert texts(made)[0].words.endswith("…")
    assert text_width(texts(made)[0].words, texts(made)[0].size) <= curves(made).width


corners = st.lists(
    st.tuples(st.integers(0, 700), st.integers(0, 700)), min_size=2, max_size=12, unique=True
)


@given(corners)
def test_dashes_go_on_around_corners(points: list[tuple[int, int]]) -> None:
    path = [(float(x), float(y)) for x, y in points]
    marks = [m for m in dashed(path, LONG, "ink", 1.0) if isinstance(m, Line)]
    drawn = sum(math.dist((m.x0, m.y0), (m.x1, m.y1)) for m in marks)
    whole = sum(math.dist(a, b) for a, b in pairwise(path))
    turns, rest = divmod(whole, sum(LONG))
    assert drawn == pytest.approx(turns * LONG[0] + min(rest, LONG[0]), abs=1e-6)


@pytest.mark.parametrize("case", CASES)
def test_the_svg_stands_alone_for_light_and_dark(case: tuple[float, float]) -> None:
    text = svg_file(curves(plan(*case)))
    root = ET.fromstring(text)
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert "prefers-color-scheme:dark" in text
    assert text.count("http") == 1
    assert "f/" in str(root.get("aria-label"))


def test_the_png_is_a_picture_of_the_same_shape(tmp_path: Path) -> None:
    path = draw_plan(plan(1.0, 1.0), tmp_path / "new" / "curves.png")
    drawing = curves(plan(1.0, 1.0))
    with Image.open(path) as picture:
        assert picture.width / picture.height == pytest.approx(drawing.width / drawing.height)
        assert picture.getextrema() != ((0, 0),) * 3


@pytest.mark.parametrize("suffix", [".svg", ".png"])
def test_the_same_plan_is_drawn_the_same(tmp_path: Path, suffix: str) -> None:
    made = [draw_plan(plan(0.5, 2.0), tmp_path / f"{k}{suffix}").read_bytes() for k in range(2)]
    assert made[0] == made[1]
    assert io.BytesIO(made[0]).read(4) in (b"<svg", b"\x89PNG")


@pytest.mark.parametrize("name", ["curves.pdf", "curves", "curves.jpg"])
def test_another_suffix_is_refused_with_the_cure(tmp_path: Path, name: str) -> None:
    with pytest.raises(UsageError, match=r"\.svg or \.png"):
        draw_plan(plan(1.0, 1.0), tmp_path / name)
