"""Raw frames: merged from the raw files, white balance of the camera, highlights white."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile

from haltere.frames import Decoder, encode, find_frames, to_linear
from haltere.kit import capture
from haltere.merge import merge_sweep
from haltere.merge.merged import Merge
from haltere.scene.kits import pick_outfit
from haltere.scene.render import render_run
from haltere.scene.runs import plan_sweep
from haltere.scene.sets import _naming
from haltere.sweeps import solve_sweep


@pytest.fixture(scope="module")
def merged(tmp_path_factory: pytest.TempPathFactory) -> tuple[Merge, Path, Any]:
    """A sweep of pairs, so bright that its highlights are clipped in every channel."""
    place = tmp_path_factory.mktemp("raw")
    outfit = pick_outfit(5, width_px=480, height_px=360)
    run = plan_sweep(5, outfit, frames=9)
    run = replace(run, takes=tuple(replace(take, gain=7.0 * take.gain) for take in run.takes))
    frames_folder = place / "frames"
    render_run(run, frames_folder, place / "truth", _naming(5, 9, tuple(range(9))), views=8)
    found = find_frames([frames_folder])
    frames = found.frames
    assert len(frames) == 9 and all(frame.raw_path is not None for frame in frames)
    with Decoder(1) as decoder:
        sweep = solve_sweep(frames, decoder, capture(magnification=2.0))
        with sweep.lumas:
            merge = merge_sweep(sweep, decoder, place / "out", keep_share=0.0)
        reference = next(frame for frame in frames if frame.name == merge.reference)
        raw = decoder.rgb(reference, member="raw")
    assert raw.linear
    light = to_linear(raw.array, raw.icc, raw.linear)
    x0, y0, x1, y1 = merge.crop_px
    return merge, place / "out", light[y0:y1, x0:x1]


def test_the_picture_is_made_of_the_raw_files(merged: tuple[Merge, Path, Any]) -> None:
    merge, out, light = merged
    picture = tifffile.imread(out / merge.picture)
    assert len(np.unique(picture)) > 2000, "more tones than a JPEG's 256"
    assert picture.shape == light.shape


def test_raw_colours_are_those_of_the_frames(merged: tuple[Merge, Path, Any]) -> None:
    merge, out, light = merged
    got = to_linear(tifffile.imread(out / merge.picture), None, False)
    fine = (light.max(2) < 0.9) & (light.min(2) > 0.01)
    ratio = got[fine].mean(0) / light[fine].mean(0)
    assert ratio.max() / ratio.min() < 1.01, "no channel gains on another"
    assert abs(ratio.mean() - 1) < 0.05


def test_burnt_highlights_of_raw_are_white_and_not_magenta(merged: tuple[Merge, Path, Any]) -> None:
    merge, out, light = merged
    burnt = encode(light, None, 8).min(2) == 255
    assert burnt.sum() > 30
    picture = tifffile.imread(out / merge.picture)[burnt] / 65535.0
    tint = picture[:, 1] - 0.5 * (picture[:, 0] + picture[:, 2])
    assert np.percentile(tint, 2) > -0.03, "green must not fall below red and blue"
    assert np.median(picture.min(1)) > 0.97
