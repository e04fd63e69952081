"""One mark keeps its number through the whole sweep."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from haltere.calibration import measure_sweep
from haltere.frames import Decoder, find_frames
from haltere.scene.camera import Lens
from haltere.scene.rule import Rule, render_rule

LENS = Lens(0.6, 60.0, 8.0, 23.5, 900, 600)


def pushed(folder: Path, decoder: Decoder, rule: Rule, advance_mm: float) -> tuple[float, int]:
    """Error of the way from first to last frame, in marks along the rule, and frames in doubt."""
    truth = render_rule(
        9, folder, lens=LENS, tilt_deg=40.0, turn_deg=3.0, frames=6, advance_mm=advance_mm,
        rule=rule,
    )  # fmt: skip
    said = measure_sweep(
        find_frames([folder]).frames, decoder, 1.0, truth.pixel_pitch_mm, tilt_deg=40.0
    )
    assert len(said.frames) == 6
    off = abs(said.positions_mm[-1]) - abs(truth.advance_mm[-1] - truth.advance_mm[0])
    return abs(off) / np.sin(np.radians(40.0)), said.numbered_by_steadiness


def test_steps_of_several_marks_are_told_by_longer_marks_and_numbers(
    tmp_path: Path, decoder: Decoder
) -> None:
    # some three and a half marks from frame to frame
    off, doubtful = pushed(tmp_path, decoder, Rule(), 11.0)
    assert off < 0.4
    assert doubtful == 0


def test_without_them_short_steps_are_still_told(tmp_path: Path, decoder: Decoder) -> None:
    bare = Rule(fifth=4.0, tenth=4.0, numbers=False)
    off, _ = pushed(tmp_path, decoder, bare, 1.5)
    assert off < 0.4


def test_without_them_long_steps_are_called_doubtful(tmp_path: Path, decoder: Decoder) -> None:
    bare = Rule(fifth=4.0, tenth=4.0, numbers=False)
    _, doubtful = pushed(tmp_path, decoder, bare, 11.0)
    assert doubtful > 0


def test_a_slow_push_towards_the_camera_counts_downwards(tmp_path: Path, decoder: Decoder) -> None:
    truth = render_rule(
        9, tmp_path, lens=LENS, tilt_deg=40.0, turn_deg=3.0, frames=6, advance_mm=-6.0
    )
    said = measure_sweep(
        find_frames([tmp_path]).frames, decoder, 1.0, truth.pixel_pitch_mm, tilt_deg=40.0
    )
    assert said.positions_mm[-1] == pytest.approx(-6.0, rel=0.05)
