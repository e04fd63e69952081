"""A merge at a quarter of its size shows what the whole one will."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
import tifffile
from PIL import Image

from haltere.frames import Decoder
from haltere.merge import merge_sweep, preview_sweep
from haltere.merge.merged import Merge
from haltere.merge.preview import Preview
from tests.merge.made import two_depths


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> tuple[Preview, Merge, Path]:
    place = tmp_path_factory.mktemp("preview")
    sweep, _ = two_depths(place)
    with Decoder(1) as decoder, sweep.lumas:
        small = preview_sweep(sweep, decoder, place / "small")
        return small, merge_sweep(sweep, decoder, place / "whole"), place


def test_the_preview_shows_the_merge_at_a_quarter(both: tuple[Preview, Merge, Path]) -> None:
    small, merge, place = both
    with Image.open(place / "small" / small.preview) as picture:
        shown = np.asarray(picture, np.float32)
    whole = tifffile.imread(place / "whole" / merge.picture).astype(np.float32) / 257
    assert small.scale == 0.25
    canvas = np.full((120, 160, 3), np.nan, np.float32)
    x0, y0, x1, y1 = merge.crop_px
    canvas[y0:y1, x0:x1] = whole
    quarter = cv2.resize(canvas, (40, 30), interpolation=cv2.INTER_AREA)
    left, top = (round(edge * small.scale) for edge in small.crop_px[:2])
    part = quarter[top : top + shown.shape[0], left : left + shown.shape[1]]
    apart = (part - shown)[np.isfinite(part)]
    assert abs(apart.mean()) < 2
    assert apart.std() < 0.35 * shown.std()


def test_the_preview_writes_one_picture_and_no_more(both: tuple[Preview, Merge, Path]) -> None:
    small, _, place = both
    assert [path.name for path in (place / "small").iterdir()] == [small.preview]


def test_the_part_shown_is_told_in_pixels_of_the_whole_frame(
    both: tuple[Preview, Merge, Path],
) -> None:
    small, _, place = both
    x0, y0, x1, y1 = small.crop_px
    assert 0 <= x0 < x1 <= 160
    assert 0 <= y0 < y1 <= 120
    with Image.open(place / "small" / small.preview) as shown:
        size = shown.size
    assert size == (round((x1 - x0) / 4), round((y1 - y0) / 4))
    assert small.kept_share == pytest.approx((x1 - x0) * (y1 - y0) / (160 * 120))


def test_the_preview_takes_the_frames_of_the_merge(both: tuple[Preview, Merge, Path]) -> None:
    small, merge, _ = both
    assert small.frames_used == merge.frames_used
    assert small.left_out == merge.left_out


def test_a_frame_that_is_gone_is_left_out_of_the_preview(tmp_path: Path) -> None:
    sweep, _ = two_depths(tmp_path)
    frames = list(sweep.frames)
    frames[2] = replace(frames[2], path=tmp_path / "gone.tif")
    sweep = replace(sweep, frames=tuple(frames))
    with Decoder(1) as decoder, sweep.lumas:
        small = preview_sweep(sweep, decoder, tmp_path / "out")
    assert [one.frame for one in small.left_out] == [frames[2].name]
    assert frames[2].name not in small.frames_used
