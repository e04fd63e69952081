"""The verdict says no more than is known."""

from __future__ import annotations

import pytest

from haltere.keepers.verdict import JudgedFrame
from haltere.keepers.words import told_only, verdict_of


def frame(dof: float, sigma: float, keeper: bool = False) -> JudgedFrame:
    return JudgedFrame("a.jpg", 1, (5.0, 5.0), 0.9, dof * 0.2, dof, sigma, (), keeper)


def code_of(*frames: JudgedFrame) -> str:
    return verdict_of(frames, 1.0, given=True, measured=True).code


@pytest.mark.parametrize(
    ("dof", "sigma", "keeper", "code"),
    [
        (0.2, 0.1, True, "keeper"),
        (0.2, 1.0, True, "unsure"),
        (0.52, 0.1, False, "unsure"),
        (0.7, 0.1, False, "none"),
        (1.6, 5.0, False, "unsure"),
    ],
)
def test_the_verdict_follows_the_uncertainty(
    dof: float, sigma: float, keeper: bool, code: str
) -> None:
    assert code_of(frame(dof, sigma, keeper)) == code


def test_an_offset_that_is_a_guess_is_left_out_and_its_uncertainty_stays() -> None:
    told = told_only(frame(1.6, 5.0))
    assert told.eye_offset_dof is None
    assert told.eye_offset_mm is None
    assert told.uncertainty_dof == 5.0
    assert told_only(frame(1.6, 0.4)) == frame(1.6, 0.4)


def test_an_eye_that_shows_nothing_in_any_frame_is_sharp_in_none() -> None:
    said = verdict_of([frame(0.2, 12.0)], 1.0, given=True, measured=True, bare=True)
    assert said.code == "none"
    assert "shows detail" in said.text


def test_a_place_that_may_be_no_eye_is_not_called_bare() -> None:
    said = verdict_of([frame(0.2, 12.0)], 0.2, given=False, measured=True, bare=True)
    assert said.code == "unsure"
