"""The ladder over time: turns from left to right, depth downwards, gaps hatched and said."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from haltere.doors.cli import run
from haltere.errors import UsageError
from haltere.focus.fault import Fault
from haltere.frames import Decoder, find_frames
from haltere.runs.run import Pass
from haltere.show.colours import DAY, NIGHT, contrast
from haltere.show.drawing import Box, Line, Shape, Strokes, Text
from haltere.show.ladder_time import SIGNS, gap_size, time_ladder
from haltere.show.sweep_drawing import sweep_svg
from haltere.show.sweep_picture import draw_sweep
from haltere.show.sweep_subject import subject
from haltere.sweeps.choice import Choice
from haltere.sweeps.coverage import Cells, Coverage, EyePlace, Gap, Plane
from tests.standins import made_coverage

GAP = Gap("inside", 0.4, 1.2, 2.0, 6.0, (20, 30, 120, 90), ("f1.jpg", "f2.jpg"))


def sweep(positions: list[float | None], passes: int = 1, gaps: tuple[Gap, ...] = ()) -> Coverage:
    names = [f"f{k}.jpg" for k in range(len(positions))]
    planes = tuple(
        Plane(n, None, at, None, 0.1, at is not None, ())
        for n, at in zip(names, positions, strict=True)
    )
    size = -(-len(names) // passes)
    ways = ("away", "toward")
    cut = tuple(
        Pass(ways[k % 2], tuple(names[k * size : (k + 1) * size]))  # type: ignore[arg-type]
        for k in range(passes)
    )
    rule = "2 c N_eff / m^2"
    return Coverage("f0.jpg", 0.2, rule, 0.015, 0.002, "given", planes, cut, gaps, None, "made up")


def test_a_pass_without_a_way_is_drawn_without_one() -> None:
    one = sweep([0.0, 1.0, 2.0, 3.0])
    words = {
        way: [
            m.words
            for m in time_ladder(replace(one, passes=(Pass(way, one.passes[0].frames),)), 640).marks
            if isinstance(m, Text)
        ]
        for way in ("toward", "unknown")
    }
    assert "toward you" in words["toward"]
    assert not [text for text in words["unknown"] if "away" in text or "toward" in text]


def signs(coverage: Coverage) -> list[Shape]:
    """Signs of planes: below the titles."""
    marks = time_ladder(coverage, 640).marks
    return [m for m in marks if isinstance(m, Shape) and m.y > 40 and m.kind != "cross"]


@settings(deadline=None)
@given(st.lists(st.floats(-40, 40), min_size=2, max_size=60))
def test_planes_stand_in_order_of_time_and_deeper_ones_lower(positions: list[float]) -> None:
    found = signs(sweep(list(positions)))
    assert len(found) == len(positions)
    assert all(a.x < b.x for a, b in pairwise(found))
    for one, other in pairwise(zip(found, positions, strict=True)):
        if one[1] < other[1]:
            assert one[0].y <= other[0].y
        if one[1] > other[1]:
            assert one[0].y >= other[0].y


@settings(deadline=None)
@given(st.integers(2, 200), st.sampled_from([358.0, 640.0]))
def test_nothing_leaves_the_drawing(count: int, width: float) -> None:
    drawing = time_ladder(sweep([0.5 * k for k in range(count)], passes=2), width)
    for mark in drawing.marks:
        if isinstance(mark, Shape):
            assert 0 <= mark.x <= width
            assert 0 <= mark.y <= drawing.height


def test_four_passes_have_four_shapes_and_colours() -> None:
    found = signs(sweep([0.5 * k for k in range(16)], passes=4))
    assert len({m.kind for m in found}) == 4
    assert len({m.ink for m in found}) == 4


@pytest.mark.parametrize("theme", [DAY, NIGHT], ids=["day", "night"])
def test_passes_stand_out_from_the_ground(theme: dict[str, str]) -> None:
    for _, ink in SIGNS:
        assert contrast(theme[ink], theme["paper"]) >= 4.5


def test_a_gap_is_hatched_and_says_its_size() -> None:
    marks = time_ladder(sweep([0, 1, 7, 8], gaps=(GAP,)), 640).marks
    assert sum(isinstance(m, Line) and m.ink == "warn" for m in marks) > 5
    assert any(isinstance(m, Text) and m.words == "1: 0.80 mm, 4.0 depths of field" for m in marks)


def test_a_gaps_size_is_said_in_depths_of_field_where_mm_are_unknown() -> None:
    assert gap_size(replace(GAP, from_mm=None, to_mm=None)) == "4.0 depths of field"


def test_a_label_covers_no_plane_where_there_is_room() -> None:
    coverage = sweep([8, 7, 1, 0], gaps=(GAP,))
    marks = time_ladder(coverage, 640).marks
    label = next(m for m in marks if isinstance(m, Box) and m.fill == "paper")
    for sign in signs(coverage):
        beside = sign.x + sign.radius < label.x0 or sign.x - sign.radius > label.x1
        assert beside or not label.y0 < sign.y < label.y1


def test_the_eye_is_a_dashed_line_at_its_depth_and_is_named() -> None:
    eye = EyePlace("f0.jpg", 5.0, 5.0, "proposed", None, 1.0)
    coverage = replace(sweep([0, 1, 2]), eye=eye)
    drawing = time_ladder(coverage, 640)
    (line,) = [m for m in drawing.marks if isinstance(m, Line) and m.dashed and m.ink == "accent"]
    assert line.y0 == pytest.approx(signs(coverage)[1].y)
    assert any(isinstance(m, Text) and m.words == "eye" for m in drawing.marks)
    assert "eye" in drawing.alt


def test_the_eyes_name_lies_over_the_planes_and_covers_none_where_there_is_room() -> None:
    eye = EyePlace("f0.jpg", 5.0, 5.0, "proposed", None, 0.0)
    planes = [0.1 * k for k in range(8)]
    marks = time_ladder(replace(sweep([*planes, 6.0, 7.0, 8.0]), eye=eye), 640).marks
    name = next(m for m in marks if isinstance(m, Text) and m.words == "eye")
    shapes = [m for m in marks if isinstance(m, Shape) and m.y > 40]
    assert marks.index(name) > max(marks.index(m) for m in shapes)
    assert not any(name.x - 6 < m.x < name.x + 24 and abs(m.y - name.y + 4) < 10 for m in shapes)


def test_a_faulty_frame_is_dashed_and_crossed() -> None:
    coverage = sweep([0, 1, 2])
    bad = replace(coverage.planes[1], usable=False, faults=(Fault("motion", 0.9, "smeared"),))
    coverage = replace(coverage, planes=(coverage.planes[0], bad, coverage.planes[2]))
    marks = time_ladder(coverage, 640).marks
    assert any(isinstance(m, Box) and m.dashed for m in marks)
    assert any(isinstance(m, Shape) and m.kind == "cross" for m in marks)


def test_a_frame_without_a_place_is_marked_below() -> None:
    drawing = time_ladder(sweep([0, None, 2]), 640)
    (cross,) = [m for m in drawing.marks if isinstance(m, Shape) and m.kind == "cross"]
    assert cross.y > drawing.height - 40
    assert any(isinstance(m, Text) and m.words == "no place" for m in drawing.marks)


def test_only_chosen_frames_have_filled_bars() -> None:
    coverage = replace(sweep([0, 1, 2, 3]), choice=Choice(("f0.jpg", "f2.jpg"), (), 0.2))
    marks = time_ladder(coverage, 640).marks
    assert sum(isinstance(m, Box) and m.fill == "wash" for m in marks) == 2


def test_places_of_a_gap_are_hatched_where_they_lie() -> None:
    gap = replace(GAP, cells=Cells(16.0, ((2, 1, 4), (3, 1, 3))))
    marks = subject((gap,), (320, 240), 320).marks
    strokes = [m for m in marks if isinstance(m, Strokes)]
    assert strokes
    xs = [x for m in strokes for end in m.ends for x in (end[0], end[2])]
    ys = [y for m in strokes for end in m.ends for y in (end[1], end[3])]
    assert (min(xs), max(xs)) == (16, 64)
    assert (min(ys), max(ys)) == (32, 64)


def test_without_places_the_box_is_hatched() -> None:
    marks = subject((GAP,), (320, 240), 320).marks
    assert any(isinstance(m, Box) and (m.x0, m.y1) == (20, 90) for m in marks)


@pytest.mark.parametrize("ending", ["png", "svg", "html"])
def test_a_picture_of_each_kind_is_written(card: Path, tmp_path: Path, ending: str) -> None:
    frames = find_frames([card]).frames[4:9]
    path = tmp_path / f"sweep.{ending}"
    with Decoder() as decoder:
        draw_sweep(made_coverage(frames), frames, decoder, path)
    if ending == "png":
        with Image.open(path) as picture:
            assert picture.width > 1000
        return
    text = path.read_text(encoding="utf-8")
    assert "0.30 mm" in text
    assert not re.search(r'(?:src|href)="(?!data:)', text)


def test_the_svg_is_well_formed_and_follows_day_and_night() -> None:
    from xml.etree.ElementTree import fromstring

    text = sweep_svg(sweep([0, 1, 7, 8], gaps=(GAP,)), Image.new("RGB", (32, 24)), (320, 240))
    assert fromstring(text).tag.endswith("svg")
    assert "prefers-color-scheme:dark" in text


def test_the_svg_says_the_verdicts_sentence() -> None:
    coverage = sweep([0.0, 1.0, 6.0], gaps=())
    written = sweep_svg(replace(coverage, reason="Nothing is sharp & more."), None, (4, 3))
    assert "Nothing is sharp &amp; more." in written


def test_another_ending_is_refused_before_any_work(card: Path, tmp_path: Path) -> None:
    frames = find_frames([card]).frames[4:9]
    with Decoder() as decoder, pytest.raises(UsageError, match=r"end in \.png, \.svg or \.html"):
        draw_sweep(made_coverage(frames), frames, decoder, tmp_path / "sweep.pdf")


def test_the_verb_draws_and_names_the_file(
    card: Path, engine: object, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "ladder.png"
    assert run(["gaps", str(card), "--picture", str(path)]) == 0
    assert path.stat().st_size > 1000
    assert f"Written: {path}" in capsys.readouterr().out
