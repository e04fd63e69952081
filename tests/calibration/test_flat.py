"""One picture of a flat rule gives the magnification."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from scipy.ndimage import gaussian_filter

from haltere.calibration import RuleError, measure_rule
from haltere.calibration.flat import check_rule
from haltere.errors import HaltereError, UsageError
from haltere.frames import Decoder, find_frames
from haltere.frames.frame import Frame
from haltere.scene.camera import Lens
from haltere.scene.rule import Rule, RuleTruth, render_rule

RULE = Rule()


def photographed(
    folder: Path, m: float, turn_deg: float, rule: Rule = RULE, tilt_deg: float = 0.0
) -> tuple[Frame, RuleTruth]:
    lens = Lens(m, 60.0, 8.0, 17.3, 720, 480)
    truth = render_rule(
        7, folder, lens=lens, turn_deg=turn_deg, tilt_deg=tilt_deg, rule=rule, views=32
    )
    return find_frames(list(truth.files)).frames[0], truth


@pytest.mark.parametrize(
    ("m", "turn_deg", "pitch_mm"),
    [
        (0.5, 0.0, 1.0), (0.5, 63.0, 1.0), (1.0, 3.0, 1.0), (1.0, 90.0, 1.0), (1.7, -40.0, 0.5),
        (3.0, 12.0, 0.5), (3.0, -85.0, 0.5),
    ],
)  # fmt: skip
def test_magnification_is_found_however_the_rule_lies(
    tmp_path: Path, decoder: Decoder, m: float, turn_deg: float, pitch_mm: float
) -> None:
    rule = Rule(pitch_mm=pitch_mm, mark_mm=0.16 * pitch_mm)
    frame, truth = photographed(tmp_path, m, turn_deg, rule)
    said = measure_rule(frame, decoder, pitch_mm, truth.pixel_pitch_mm)
    assert said.magnification == pytest.approx(m, rel=0.01)
    assert abs(said.magnification - m) < 4.0 * said.magnification_sigma
    assert said.mm_per_px == pytest.approx(truth.pixel_pitch_mm / m, rel=0.01)
    # a hand turns by half a degree, and a rule has no front end
    assert math.cos(math.radians(2.0 * (said.angle_deg - turn_deg))) > math.cos(math.radians(6.0))


def test_longer_marks_do_not_pass_for_the_rule(tmp_path: Path, decoder: Decoder) -> None:
    # fives and tens twice as long as the others and more of them in view
    rule = Rule(short=2.0, fifth=9.0, tenth=14.0, numbers=False)
    frame, truth = photographed(tmp_path, 0.4, 5.0, rule)
    said = measure_rule(frame, decoder, 1.0, truth.pixel_pitch_mm)
    assert said.magnification == pytest.approx(0.4, rel=0.01)


def test_a_slight_tilt_does_not_matter(tmp_path: Path, decoder: Decoder) -> None:
    frame, truth = photographed(tmp_path, 0.8, 5.0, tilt_deg=4.0)
    said = measure_rule(frame, decoder, 1.0, truth.pixel_pitch_mm, focal_mm=60.0)
    assert said.magnification == pytest.approx(0.8, rel=0.003)


def test_a_dark_rule_with_light_marks_does_as_well(tmp_path: Path, decoder: Decoder) -> None:
    rule = Rule(light=0.04, dark=0.5, behind=0.1)
    frame, truth = photographed(tmp_path, 0.8, 5.0, rule)
    said = measure_rule(frame, decoder, 1.0, truth.pixel_pitch_mm)
    assert said.magnification == pytest.approx(0.8, rel=0.01)


def test_of_two_scales_the_finer_counts_and_it_is_said(tmp_path: Path, decoder: Decoder) -> None:
    y, x = np.mgrid[0:400, 0:600]
    fine = (np.abs((x + 10) % 20 - 10) < 2) & (y < 120)
    coarse = (np.abs((x + 20) % 40 - 20) < 2) & (y > 280)
    grey = np.where(fine | coarse, 40, 200).astype(np.uint8)
    Image.fromarray(grey).save(tmp_path / "two.jpg", quality=95)
    frame = find_frames([tmp_path / "two.jpg"]).frames[0]
    said = measure_rule(frame, decoder, 0.5, 0.02)
    assert said.finer
    assert said.mm_per_px == pytest.approx(0.5 / 20.0, rel=0.002)


def test_a_picture_without_a_rule_is_refused_with_the_cure(
    tmp_path: Path, decoder: Decoder
) -> None:
    rng = np.random.default_rng(1)
    leaf = gaussian_filter(rng.standard_normal((400, 600)), 5.0)
    grey = np.clip(120 + 30 * leaf / leaf.std(), 0, 255).astype(np.uint8)
    Image.fromarray(grey).save(tmp_path / "leaf.jpg")
    frame = find_frames([tmp_path / "leaf.jpg"]).frames[0]
    with pytest.raises(RuleError, match="fill the picture with the rule"):
        measure_rule(frame, decoder, 1.0, 0.02)


def test_a_rule_that_would_mean_an_absurd_magnification_is_refused(
    tmp_path: Path, decoder: Decoder
) -> None:
    frame, truth = photographed(tmp_path, 1.0, 0.0)
    with pytest.raises(UsageError, match="--rule"):
        measure_rule(frame, decoder, 0.01, truth.pixel_pitch_mm)


@given(st.one_of(st.floats(max_value=0.0), st.just(math.nan), st.floats(min_value=101.0)))
def test_a_rule_that_can_not_be_is_refused(pitch_mm: float) -> None:
    with pytest.raises(UsageError):
        check_rule(pitch_mm, 0.004)


@given(st.one_of(st.floats(max_value=0.0), st.just(math.nan), st.floats(min_value=0.3)))
def test_a_pixel_that_can_not_be_is_refused(pixel_mm: float) -> None:
    with pytest.raises(UsageError):
        check_rule(1.0, pixel_mm)


def test_its_error_is_one_of_the_family() -> None:
    assert issubclass(RuleError, HaltereError)
