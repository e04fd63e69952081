"""Rail, ladder and strip: marks where the numbers say, legible, not by colour alone."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haltere.frames.frame import Frame, Shooting
from haltere.keepers.verdict import JudgedFrame, Keepers, Verdict
from haltere.show import words
from haltere.show.colours import DAY, NIGHT, UNKNOWN_RGB, contrast, depth_shades, lightness
from haltere.show.drawing import Line, Shape, Text, hatching
from haltere.show.ladder_time import nice_step
from haltere.show.outing import Outing
from haltere.show.paint import drawable
from haltere.show.rail import rail
from haltere.show.strip import strip

offsets = st.lists(st.floats(-40, 40, allow_nan=False) | st.none(), min_size=1, max_size=12)


def burst(places: list[float | None]) -> Keepers:
    frames = tuple(
        JudgedFrame(
            f"f{i}.jpg", i + 1, (5.0, 5.0), 0.5, None, at, 0.2, (), at is not None and abs(at) < 0.5
        )
        for i, at in enumerate(places)
    )
    return Keepers(None, frames, Verdict("unsure", "made up"))


@pytest.mark.parametrize("theme", [DAY, NIGHT], ids=["day", "night"])
@pytest.mark.parametrize(
    ("ink", "ground"),
    [
        *(
            (ink, ground)
            for ink in ("ink", "soft", "accent", "warn")
            for ground in ("paper", "card")
        ),
        ("accent", "wash"),  # only the eye's own words stand on the wash
    ],
)
def test_words_stand_out_from_the_ground(theme: dict[str, str], ink: str, ground: str) -> None:
    assert contrast(theme[ink], theme[ground]) >= 4.5


def test_contrast_of_black_on_white_is_21() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


def test_depth_shades_darken_steadily_and_evenly() -> None:
    steps = np.diff(lightness(depth_shades(32)))
    assert (steps < 0).all()
    assert steps.min() > 1.5 * steps.max()


def test_no_depth_shade_is_taken_for_the_hatching() -> None:
    far = np.abs(depth_shades(64)[:, None].astype(int) - np.array(UNKNOWN_RGB)[None]).max(axis=2)
    assert far.min() > 20


@given(offsets)
def test_every_placed_frame_has_one_sign_on_the_rail(places: list[float | None]) -> None:
    drawing = rail(burst(places), 1040)
    signs = [m for m in drawing.marks if isinstance(m, Shape) and m.kind in ("disc", "ring")]
    assert len(signs) == sum(at is not None for at in places)
    for sign in signs:
        assert 0 <= sign.x <= drawing.width
        assert 0 <= sign.y <= drawing.height


@given(offsets)
def test_no_two_signs_on_the_rail_touch(places: list[float | None]) -> None:
    signs = [m for m in rail(burst(places), 1040).marks if isinstance(m, Shape)]
    signs = [m for m in signs if m.kind in ("disc", "ring")]
    for i, one in enumerate(signs):
        for other in signs[:i]:
            assert abs(one.x - other.x) >= 12 or abs(one.y - other.y) >= 12


def test_a_frame_behind_the_eye_hangs_right_of_it() -> None:
    marks = rail(burst([0.9]), 1000).marks
    (sign,) = [m for m in marks if isinstance(m, Shape) and m.kind == "ring"]
    assert sign.x > 500


def test_keepers_and_faults_differ_by_shape() -> None:
    keepers = burst([0.1, 1.0])
    marks = rail(keepers, 1000).marks
    kinds = [m.kind for m in marks if isinstance(m, Shape) and m.kind in ("disc", "ring")]
    assert sorted(kinds) == ["disc", "ring"]


@given(st.floats(1e-4, 1e4))
def test_steps_of_a_scale_are_round_and_not_too_small(rough: float) -> None:
    step = nice_step(rough)
    assert rough * 0.99 <= step <= rough * 2.51
    assert round(step / 10 ** np.floor(np.log10(step) + 1e-9), 6) in (1, 2, 5)


@given(st.floats(0, 50), st.floats(0, 50), st.floats(1, 90), st.floats(1, 90))
def test_hatching_stays_inside_its_box(x0: float, y0: float, wide: float, high: float) -> None:
    for mark in hatching(x0, y0, x0 + wide, y0 + high, "warn"):
        assert isinstance(mark, Line)
        for x in (mark.x0, mark.x1):
            assert x0 - 1e-6 <= x <= x0 + wide + 1e-6
        for y in (mark.y0, mark.y1):
            assert y0 - 1e-6 <= y <= y0 + high + 1e-6


@given(st.floats(300, 1100))
def test_the_strip_stays_inside_its_width(width: float) -> None:
    from pathlib import Path

    from haltere.runs.run import Run
    from haltere.show.outing import WorkedRun

    frame = Frame(Path("a.jpg"), "a.jpg", "jpeg", 10, 10, 1, Shooting())
    runs = tuple(WorkedRun(Run(f"run-{i:02d}", "single", ("a.jpg",), (), "")) for i in range(13))
    drawing = strip(Outing("o", runs, (), {"a.jpg": frame}), width)
    links = [m for m in drawing.marks if isinstance(m, Text) and m.href]
    assert [m.href for m in links] == [f"#run-{i:02d}" for i in range(13)]
    assert all(m.x < width for m in links)


@pytest.mark.parametrize(
    ("given_", "drawn"),
    [("Käfer", "Kafer"), ("\u22121.2", "-1.2"), ("plain", "plain"), ("\u8776", "?")],
)
def test_words_without_letters_in_the_typeface_stay_readable(given_: str, drawn: str) -> None:
    assert drawable(given_) == drawn


@pytest.mark.parametrize(
    ("mm", "dof", "said"),
    [
        (0.12, 0.6, "0.12 mm behind the eye"),
        (-0.12, -0.6, "0.12 mm in front of the eye"),
        (None, -2.0, "2.0 depths of field in front of the eye"),
        (None, None, "place not known"),
        (0.0, 0.01, "on the eye"),
    ],
)
def test_places_are_said_in_words(mm: float | None, dof: float | None, said: str) -> None:
    frame = JudgedFrame("f.jpg", 1, None, 1.0, mm, dof, None, (), False)
    assert words.place(frame) == said


def test_a_length_is_said_as_one_says_it() -> None:
    assert [words.lasting(s) for s in (5, 240, 3600, 4320)] == [
        "5 s", "4 min", "1 h", "1 h 12 min",
    ]  # fmt: skip
