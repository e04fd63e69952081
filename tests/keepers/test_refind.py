"""Whether the eye is found again when frames are moved, turned, blurred, or when the head moves."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from haltere.frames import Decoder, find_frames
from haltere.keepers import Keepers, judge_burst
from haltere.kit import Capture, capture
from haltere.scene import render_burst

WIDTH, HEIGHT = 800, 600
Point = NDArray[np.float64]
Rgb = NDArray[np.uint8]


@dataclass(frozen=True)
class Sharp:
    picture: Rgb
    eye: Point
    taken: Capture


@pytest.fixture(scope="module")
def sharp(tmp_path_factory: pytest.TempPathFactory) -> Sharp:
    folder = tmp_path_factory.mktemp("sharp")
    render_burst(2004, folder, frames=2, width_px=WIDTH, height_px=HEIGHT, views=24, plan="spider")
    truth = json.loads((folder / "truth.json").read_text())
    near = int(np.argmin([eye["point_mm"][2] for eye in truth["eyes"]]))
    frame = truth["frames"][0]
    taken = capture(
        magnification=truth["magnification"],
        focal_mm=truth["focal_length_mm"],
        f_number=truth["f_number_marked"],
        pixel_pitch_mm=truth["sensor_width_mm"] / WIDTH,
    )
    with Image.open(folder / frame["file"]) as opened:
        return Sharp(np.asarray(opened), np.array(frame["eyes_px"][near]), taken)


def similar(scale: float, degrees: float, x: float, y: float) -> NDArray[np.float64]:
    matrix = cv2.getRotationMatrix2D(((WIDTH - 1) / 2, (HEIGHT - 1) / 2), degrees, scale)
    matrix[:, 2] += (x, y)
    return np.asarray(matrix, np.float64)


def moved(picture: Rgb, matrix: NDArray[np.float64]) -> Rgb:
    size = (WIDTH, HEIGHT)
    flags = cv2.INTER_CUBIC
    return np.asarray(
        cv2.warpAffine(picture, matrix, size, flags=flags, borderMode=cv2.BORDER_REFLECT)
    )


def defocused(picture: Rgb, disc_px: float) -> Rgb:
    half = int(np.ceil(disc_px / 2)) + 1
    y, x = np.mgrid[-half : half + 1, -half : half + 1]
    disc = np.clip(disc_px / 2 + 0.5 - np.hypot(x, y), 0, 1)
    light = (picture / 255.0) ** 2.2
    soft = cv2.filter2D(light, -1, disc / disc.sum())
    return np.asarray(np.rint(255 * np.clip(soft, 0, 1) ** (1 / 2.2)), np.uint8)


def smeared(picture: Rgb, length_px: int) -> Rgb:
    light = (picture / 255.0) ** 2.2
    soft = cv2.blur(light, (length_px, 1))
    return np.asarray(np.rint(255 * np.clip(soft, 0, 1) ** (1 / 2.2)), np.uint8)


def judged(frames: list[Rgb], folder: Path, made: Sharp, decoder: Decoder) -> Keepers:
    for k, picture in enumerate(frames):
        Image.fromarray(picture).save(folder / f"shot_{k:03d}.jpg", quality=95)
    found = find_frames([folder]).frames
    x, y = made.eye
    return judge_burst(found, decoder, made.taken, eye=(x, y), eye_frame="shot_000.jpg")


def eyes(said: Keepers) -> list[Point]:
    places = {f.frame: f.eye_px for f in said.frames}
    return [np.array(places[name]) for name in sorted(places)]


def test_the_eye_is_followed_through_scale_turn_shift_defocus_and_smear(
    sharp: Sharp, tmp_path: Path, decoder: Decoder
) -> None:
    ways = [
        (1.0, 0, 0, 0), (1.05, 1, 14, -8), (1.10, 3, 30, -20), (1.15, 6, 20, 12),
        (1.20, 8, -30, 25), (1.08, 4, -70, 40), (0.97, -2, -40, 10), (1.0, 0.5, 6, 4),
    ]  # fmt: skip
    maps = [similar(*way) for way in ways]
    frames = [moved(sharp.picture, m) for m in maps]
    frames[1] = defocused(frames[1], 9.0)
    frames[3] = defocused(frames[3], 5.0)
    frames[5] = smeared(frames[5], 9)
    said = judged(frames, tmp_path, sharp, decoder)
    true = [m[:, :2] @ sharp.eye + m[:, 2] for m in maps]
    off = [float(np.hypot(*(a - b))) for a, b in zip(eyes(said), true, strict=True)]
    assert max(off) < 0.01 * WIDTH


def test_a_head_that_moves_by_itself_takes_its_eye_along(
    sharp: Sharp, tmp_path: Path, decoder: Decoder
) -> None:
    frames = [moved(sharp.picture, similar(1.0, 0, 3 * k, -2 * k)) for k in range(6)]
    # the head of one frame is pushed aside, the rest of the picture stays
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH].astype(np.float32)
    at = sharp.eye + np.array([12.0, -8.0])
    share = np.exp(-0.5 * (np.hypot(x - at[0], y - at[1]) / 75.0) ** 4).astype(np.float32)
    push = np.array([14.0, 6.0])
    frames[4] = np.asarray(
        cv2.remap(
            frames[4], x - share * np.float32(push[0]), y - share * np.float32(push[1]),
            cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT,
        )
    )  # fmt: skip
    said = judged(frames, tmp_path, sharp, decoder)
    found = eyes(said)
    assert np.hypot(*(found[4] - (at + push))) < 4.0
    assert np.hypot(*(found[3] - (sharp.eye + np.array([9.0, -6.0])))) < 2.0


def test_an_eye_behind_a_blade_of_grass_is_called_hidden(
    sharp: Sharp, tmp_path: Path, decoder: Decoder
) -> None:
    frames = [moved(sharp.picture, similar(1.0, 0, 3 * k, -2 * k)) for k in range(6)]
    x = int(sharp.eye[0] + 6.0)
    blade = frames[2].copy()
    cv2.line(blade, (x - 70, 0), (x + 70, HEIGHT), (70, 120, 50), 120)
    frames[2] = np.asarray(cv2.GaussianBlur(blade, (0, 0), 1.0))
    said = judged(frames, tmp_path, sharp, decoder)
    hidden = [f.frame for f in said.frames for x in f.faults if x.kind == "hidden"]
    assert hidden == ["shot_002.jpg"]
    assert not next(f for f in said.frames if f.frame == "shot_002.jpg").keeper
