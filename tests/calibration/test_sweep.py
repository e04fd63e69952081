"""A sweep over a tilted rule gives pupil distance, depth of field and push."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from haltere.calibration import RuleError, SweepScale, measure_rule, measure_sweep
from haltere.errors import UsageError
from haltere.frames import Decoder, find_frames
from haltere.scene.camera import Lens
from haltere.scene.rule import render_rule

from .made import LENSES, Set

PULLS: dict[str, Callable[[SweepScale, Set], tuple[float, float, float]]] = {
    "magnification": lambda s, t: (s.magnification, t.sweep.magnification, s.magnification_sigma),
    "pupil distance": lambda s, t: (
        s.pupil_distance_mm, t.sweep.pupil_distance_mm, s.pupil_distance_sigma_mm,
    ),
    "effective f-number": lambda s, t: (
        s.effective_f_number, t.sweep.f_number_effective, s.effective_f_number_sigma,
    ),
    "depth of field": lambda s, t: (
        s.depth_of_field_mm, t.sweep.depth_of_field_mm, s.depth_of_field_sigma_mm,
    ),
    "push": lambda s, t: (s.push.mm_s or 0.0, t.sweep.push_mm_s, s.push.mm_s_sigma or 0.0),
}  # fmt: skip


@pytest.mark.parametrize("lens", LENSES)
@pytest.mark.parametrize("what", PULLS)
def test_each_number_is_recovered_within_three_per_cent(
    sets: dict[str, Set], measured: dict[str, SweepScale], lens: str, what: str
) -> None:
    said, true, sigma = PULLS[what](measured[lens], sets[lens])
    assert said == pytest.approx(true, rel=0.03)
    assert abs(said - true) < 3.0 * sigma


@pytest.mark.parametrize("lens", ["retrofocus", "telephoto"])
def test_the_pupil_is_not_where_the_thin_lens_has_it(
    measured: dict[str, SweepScale], lens: str
) -> None:
    thin = replace(LENSES[lens], pupil_magnification=1.0).pupil_distance_mm
    assert abs(measured[lens].pupil_distance_mm / thin - 1.0) > 0.1


@pytest.mark.parametrize("lens", LENSES)
def test_a_flat_picture_stands_in_for_the_tilt(
    sets: dict[str, Set], decoder: Decoder, lens: str
) -> None:
    made = sets[lens]
    pitch, pixel = made.sweep.pitch_mm, made.sweep.pixel_pitch_mm
    flat = measure_rule(made.flat_frame, decoder, pitch, pixel)
    said = measure_sweep(
        made.frames, decoder, pitch, pixel, magnification=flat.magnification,
        magnification_sigma=flat.magnification_sigma, coc_mm=made.sweep.coc_mm,
    )  # fmt: skip
    assert said.tilt_deg == pytest.approx(made.sweep.tilt_deg, abs=1.0)
    for what, pull in PULLS.items():
        value, true, _ = pull(said, made)
        assert value == pytest.approx(true, rel=0.03), what


@pytest.mark.parametrize("lens", LENSES)
def test_planes_are_placed_as_the_camera_went(
    sets: dict[str, Set], measured: dict[str, SweepScale], lens: str
) -> None:
    truth, said = sets[lens].sweep, measured[lens]
    index = [int(Path(name).stem.split("_")[-1]) for name in said.frames]
    advance = np.array(truth.advance_mm)[index]
    advance -= advance[0]
    assert np.array(said.positions_mm) == pytest.approx(advance, abs=0.03 * np.ptp(advance))
    steps = np.diff(advance)
    assert said.push.unevenness == pytest.approx(steps.std() / steps.mean(), abs=0.05)


def test_a_picture_taken_the_other_way_round_says_the_same(
    sets: dict[str, Set], measured: dict[str, SweepScale], decoder: Decoder, tmp_path: Path
) -> None:
    from PIL import Image

    made = sets["retrofocus"]
    for file in made.sweep.files:
        with Image.open(file) as picture:
            turned = picture.transpose(Image.Transpose.ROTATE_180)
            turned.save(tmp_path / file.name, quality=95, exif=picture.info["exif"])
    said = measure_sweep(
        find_frames([tmp_path]).frames, decoder, made.sweep.pitch_mm, made.sweep.pixel_pitch_mm,
        tilt_deg=made.sweep.tilt_deg,
    )  # fmt: skip
    before = measured["retrofocus"]
    assert said.pupil_distance_mm == pytest.approx(before.pupil_distance_mm, rel=0.01)
    assert said.positions_mm[-1] == pytest.approx(before.positions_mm[-1], rel=0.01)


def test_fewer_frames_than_it_needs_are_refused_with_the_cure(
    sets: dict[str, Set], decoder: Decoder
) -> None:
    made = sets["retrofocus"]
    with pytest.raises(RuleError, match="push more slowly"):
        measure_sweep(made.frames[:3], decoder, 1.0, made.sweep.pixel_pitch_mm, tilt_deg=45.0)


def test_a_rule_that_lies_flat_is_refused(tmp_path: Path, decoder: Decoder) -> None:
    lens = Lens(1.0, 60.0, 8.0, 17.3, 600, 400)
    render_rule(3, tmp_path, lens=lens, tilt_deg=0.5, frames=6, advance_mm=0.4)
    frames = find_frames([tmp_path]).frames
    with pytest.raises(RuleError, match="tilt"):
        measure_sweep(frames, decoder, 1.0, lens.pixel_pitch_mm, tilt_deg=45.0)


def test_a_focus_that_never_crosses_the_rule_is_said(tmp_path: Path, decoder: Decoder) -> None:
    lens = Lens(1.0, 60.0, 11.0, 17.3, 600, 400)
    render_rule(3, tmp_path, lens=lens, tilt_deg=30.0, frames=6, advance_mm=1.0, too_near_mm=8.0)
    frames = find_frames([tmp_path]).frames
    with pytest.raises(RuleError, match=r"cross|no row"):
        measure_sweep(frames, decoder, 1.0, lens.pixel_pitch_mm, tilt_deg=30.0)


def test_with_a_flat_picture_a_wrong_tilt_is_the_first_suspect(
    sets: dict[str, Set], decoder: Decoder
) -> None:
    made = sets["retrofocus"]
    with pytest.raises(RuleError, match=r"--tilt 30 is not .* says 4[456] degrees; leave --tilt"):
        measure_sweep(
            made.frames, decoder, 1.0, made.sweep.pixel_pitch_mm, tilt_deg=30.0,
            magnification=1.0, magnification_sigma=0.002,
        )  # fmt: skip


@pytest.mark.parametrize("tilt_deg", [-45.0, 0.0, 5.0, 89.0, math.nan])
def test_a_tilt_that_says_nothing_is_refused(
    sets: dict[str, Set], decoder: Decoder, tilt_deg: float
) -> None:
    with pytest.raises(UsageError, match="--tilt"):
        measure_sweep(sets["close"].frames, decoder, 1.0, 0.02, tilt_deg=tilt_deg)


@pytest.mark.parametrize("magnification", [-1.0, 0.0, 50.0, math.nan])
def test_a_magnification_that_can_not_be_is_refused(
    sets: dict[str, Set], decoder: Decoder, magnification: float
) -> None:
    with pytest.raises(UsageError):
        measure_sweep(sets["close"].frames, decoder, 1.0, 0.02, magnification=magnification)


def test_without_tilt_and_magnification_both_cures_are_named(
    sets: dict[str, Set], decoder: Decoder
) -> None:
    with pytest.raises(UsageError, match=r"--tilt 45.*--flat FILE"):
        measure_sweep(sets["close"].frames, decoder, 1.0, 0.02)
