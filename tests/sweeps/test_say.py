"""When planes can't be told, nothing is said of gaps."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from haltere.frames import Decoder, find_frames
from haltere.kit import capture
from haltere.sweeps import solve_sweep
from haltere.sweeps.say import why_not_told

ALONG = np.linspace(-0.03, 0.03, 20)
FOUND = np.ones(20, bool)


def test_planes_that_are_told_apart_need_no_excuse() -> None:
    assert why_not_told(ALONG, np.full(20, 0.0005), FOUND) is None


def test_a_picture_that_does_not_grow_leaves_the_planes_open() -> None:
    said = why_not_told(ALONG, np.full(20, 0.004), FOUND)
    assert said is not None
    assert "grows" in said


def test_a_sweep_of_which_a_quarter_has_no_place_is_not_called_complete() -> None:
    found = np.arange(20) < 15
    said = why_not_told(ALONG[found], np.full(15, 0.0005), found)
    assert said == "5 of 20 frames could not be placed: too many to tell"


def test_where_planes_are_not_told_apart_neither_frames_nor_a_pace_are_advised(
    tmp_path: Path, decoder: Decoder
) -> None:
    # as through a microscope: the picture sharpens and blurs, and nothing grows
    rng = np.random.default_rng(4)
    thing = cv2.GaussianBlur(rng.uniform(0, 255, (240, 320)), (0, 0), 1.2)
    for k in range(12):
        seen = cv2.GaussianBlur(thing, (0, 0), 0.3 + 0.4 * abs(k - 5))
        seen += rng.normal(0, 2, thing.shape)
        cv2.imwrite(str(tmp_path / f"z{k:02d}.tif"), np.clip(seen, 0, 255).astype(np.uint8))
    sweep = solve_sweep(find_frames([tmp_path]).frames, decoder, capture())
    sweep.close()
    assert sweep.coverage.complete is None
    assert sweep.coverage.choice is None
    assert sweep.coverage.push is None
