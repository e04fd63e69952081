"""Marks out of focus are not taken for a rule, and slight softness widens the error."""

from __future__ import annotations

from pathlib import Path

import pytest

from haltere.calibration import RuleError, RuleScale, measure_rule
from haltere.calibration.sharpness import MarkLook, misplaced
from haltere.frames import Decoder, find_frames
from haltere.scene.camera import Lens
from haltere.scene.rule import Rule, render_rule

HALVES = Rule(pitch_mm=0.5, mark_mm=0.08)


def measured(
    folder: Path, decoder: Decoder, f_number: float, too_near_mm: float, rule: Rule = HALVES
) -> RuleScale:
    lens = Lens(1.5, 65.0, f_number, 17.3, 720, 480, 0.015, 1.0)
    truth = render_rule(11, folder, lens=lens, rule=rule, too_near_mm=too_near_mm, views=48)
    frame = find_frames(list(truth.files)).frames[0]
    return measure_rule(
        frame, decoder, rule.pitch_mm, truth.pixel_pitch_mm, focal_mm=65.0, f_number=f_number
    )


@pytest.mark.parametrize(("f_number", "too_near_mm"), [(2.8, 2.0), (2.8, 3.0), (8.0, 4.0)])
def test_marks_out_of_focus_are_refused_with_the_cure(
    tmp_path: Path, decoder: Decoder, f_number: float, too_near_mm: float
) -> None:
    # at f/2.8 and 3 mm only every fifth mark is left to be seen, evenly spaced
    with pytest.raises(RuleError, match="only its longer ones; move until"):
        measured(tmp_path, decoder, f_number, too_near_mm)


@pytest.mark.parametrize("too_near_mm", [-1.0, 0.5, 1.0, 2.0])
def test_a_soft_picture_says_how_wrong_it_may_be(
    tmp_path: Path, decoder: Decoder, too_near_mm: float
) -> None:
    said = measured(tmp_path, decoder, 8.0, too_near_mm)
    assert abs(said.magnification - 1.5) < 2.5 * said.magnification_sigma
    assert said.magnification_sigma < 0.05 * 1.5


def test_a_sharp_picture_keeps_its_small_error(tmp_path: Path, decoder: Decoder) -> None:
    said = measured(tmp_path, decoder, 8.0, 0.0)
    assert said.magnification_sigma < 0.002 * 1.5


def test_sharp_marks_in_pale_ink_will_do(tmp_path: Path, decoder: Decoder) -> None:
    pale = Rule(pitch_mm=0.5, mark_mm=0.08, dark=0.35)
    assert measured(tmp_path, decoder, 8.0, 0.0, pale).magnification == pytest.approx(1.5, rel=0.01)


def test_a_disc_costs_as_much_as_its_distance_from_focus() -> None:
    # 1:1, f/8, 2 mm off a pupil 120 mm away: a disc of 2 / 16 mm, five pixels, hence 3.3 of edge
    sharp = misplaced(MarkLook(0.9, 2.0), 1.0, 0.025, 60.0, 8.0)
    soft = misplaced(MarkLook(0.9, (2.4**2 + 3.33**2) ** 0.5), 1.0, 0.025, 60.0, 8.0)
    assert sharp == 0.0
    assert soft == pytest.approx(2.0 / 120.0, rel=0.03)
