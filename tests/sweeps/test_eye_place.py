"""Gaps are told against the eye, and the eye's depth is that of the places about it."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haltere.errors import UsageError
from haltere.sweeps import Gap
from haltere.sweeps.coverage import EyePlace
from haltere.sweeps.eye_place import against_eye, in_reference, with_eye

EYE = EyePlace("f.jpg", 10.0, 20.0, "given", 0.5, 2.5)


def gap(start: float, end: float, mm: float | None = 0.2) -> Gap:
    at = (None, None) if mm is None else (start * mm, end * mm)
    return Gap("inside", *at, start, end, (0, 0, 1, 1), ("a.jpg",))


@pytest.mark.parametrize(
    ("start", "end", "mm", "words"),
    [
        (4.5, 6.0, 0.2, "about 0.4 mm behind the eye"),
        (2.9, 6.0, 0.2, "about 0.08 mm behind the eye"),
        (-1.0, 0.0, 0.2, "about 0.5 mm in front of the eye"),
        (4.5, 6.0, None, "about 2.0 depths of field behind the eye"),
        (2.6, 6.0, 0.2, "just behind the eye"),
        (0.0, 2.4, 0.2, "just in front of the eye"),
        (2.0, 3.0, 0.2, "across the eye itself"),
    ],
)
def test_a_gap_is_told_against_the_eye(start, end, mm, words):
    eye = EYE if mm is not None else replace(EYE, depth_mm=None)
    assert against_eye(gap(start, end, mm), eye) == words


@given(st.floats(-20, 20), st.floats(0.1, 5))
def test_the_side_that_is_said_is_the_side_it_lies_on(start, wide):
    said = against_eye(gap(start, start + wide), EYE)
    assert said.endswith("behind the eye") == (start > EYE.depth_dof)
    assert said.endswith("in front of the eye") == (start + wide < EYE.depth_dof)


@pytest.fixture(scope="module")
def by_name(solved):
    return {Path(f["file"]).name: f for f in solved[1]["frames"]}


def test_the_depth_of_the_eye_is_the_true_one(solved, by_name):
    sweep, truth = solved
    here = by_name[sweep.frames[sweep.reference].name]
    nearer = int(np.argmax(here["eye_depth_offset_mm"]))
    said = with_eye(sweep, tuple(here["eyes_px"][nearer]), 25.0, "given")
    # offsets are told of the plane against the eye
    true = -here["eye_depth_offset_mm"][nearer]
    assert said.eye is not None
    assert said.eye.depth_mm == pytest.approx(true, abs=0.75 * truth["depth_of_field_mm"])
    assert all(one.where is not None and one.where.endswith(("eye", "itself")) for one in said.gaps)


def test_an_eye_read_in_any_frame_lands_on_the_reference_frames_eye(solved, by_name):
    sweep, _ = solved
    here = by_name[sweep.frames[sweep.reference].name]
    for name in (sweep.frames[1].name, sweep.frames[-2].name):
        for k, at in enumerate(by_name[name]["eyes_px"]):
            carried = in_reference(sweep, name, tuple(at))
            assert carried is not None
            assert np.hypot(*np.subtract(carried, here["eyes_px"][k])) < 4.0


def test_a_frame_without_a_place_carries_nothing(solved):
    sweep, _ = solved
    assert in_reference(sweep, "nowhere.jpg", (10.0, 10.0)) is None


def test_a_given_eye_outside_the_reference_frame_is_refused(solved):
    sweep, _ = solved
    with pytest.raises(UsageError, match="outside"):
        with_eye(sweep, (-40.0, 10.0), 25.0, "given")


def test_an_eye_where_nothing_is_believed_changes_nothing(solved):
    sweep, _ = solved
    blind = replace(sweep, trusted=np.zeros_like(sweep.trusted))
    assert with_eye(blind, (400.0, 300.0), 25.0, "proposed") == sweep.coverage
