"""Whether movement, ghosts and defocus are told apart on one picture treated in known ways."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from haltere.frames import Decoder, find_frames
from haltere.keepers import Keepers, judge_burst
from haltere.kit import capture

WIDTH, HEIGHT = 960, 720
Light = NDArray[np.float64]


def texture() -> Light:
    """Natural-looking light: power falls with the cube of frequency, with hairs on it."""
    rng = np.random.default_rng(5)
    f = np.hypot(np.fft.fftfreq(HEIGHT)[:, None], np.fft.rfftfreq(WIDTH)[None])
    wave = np.fft.rfft2(rng.standard_normal((HEIGHT, WIDTH))) / np.maximum(f, 0.004) ** 1.3
    ground = np.fft.irfft2(wave, s=(HEIGHT, WIDTH))
    light = 0.25 + 0.06 * ground / ground.std()
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    for _ in range(160):
        at, angle = rng.uniform(0, 1, 2) * (WIDTH, HEIGHT), rng.uniform(0, np.pi)
        dx, dy = x - at[0], y - at[1]
        along, across = (
            dx * np.cos(angle) + dy * np.sin(angle),
            dy * np.cos(angle) - dx * np.sin(angle),
        )
        light += 0.3 * np.exp(-((along / 30) ** 4) - (across / 1.2) ** 2)
    return np.clip(light, 0.01, 0.95)


def transferred(light: Light, kept: Light) -> Light:
    return np.asarray(np.fft.irfft2(np.fft.rfft2(light) * kept, s=light.shape))


def waves() -> tuple[Light, Light]:
    fy, fx = np.fft.fftfreq(HEIGHT)[:, None], np.fft.rfftfreq(WIDTH)[None]
    return fx + 0 * fy, fy + 0 * fx


def line(length_px: float, degrees: float) -> Light:
    fx, fy = waves()
    turn = np.radians(degrees)
    return np.asarray(np.sinc(length_px * (fx * np.cos(turn) + fy * np.sin(turn))))


def shift(x: float, y: float) -> Light:
    fx, fy = waves()
    return np.exp(-2j * np.pi * (fx * x + fy * y))  # type: ignore[no-any-return]


def soft(sigma_px: float) -> Light:
    fx, fy = waves()
    return np.asarray(np.exp(-2 * (np.pi * sigma_px) ** 2 * (fx**2 + fy**2)))


@pytest.fixture(scope="module")
def said(tmp_path_factory: pytest.TempPathFactory, decoder: Decoder) -> Keepers:
    folder = tmp_path_factory.mktemp("treated")
    rng = np.random.default_rng(9)
    light, lens = texture(), soft(0.7)
    treated = {
        2: line(7.0, 30.0),
        4: 0.75 + 0.25 * line(16.0, 120.0),
        6: soft(1.6),
    }
    for k in range(9):
        kept = lens * shift(1.5 * k, -0.8 * k) * treated.get(k, 1.0)
        noisy = transferred(light, kept) + rng.normal(0, 0.003, light.shape)
        encoded = np.rint(255 * np.clip(noisy, 0, 1) ** (1 / 2.2)).astype(np.uint8)
        Image.fromarray(np.dstack([encoded] * 3)).save(folder / f"shot_{k}.jpg", quality=95)
    taken = capture(magnification=1.0, focal_mm=60.0, f_number=11.0, pixel_pitch_mm=0.0108)
    frames = find_frames([folder]).frames
    return judge_burst(frames, decoder, taken, eye=(480.0, 360.0), eye_frame="shot_0.jpg")


def kinds(said: Keepers, k: int) -> set[str]:
    frame = next(f for f in said.frames if f.frame == f"shot_{k}.jpg")
    return {x.kind for x in frame.faults if x.confidence >= 0.5}


def test_a_smear_is_named_with_its_length_and_direction(said: Keepers) -> None:
    frame = next(f for f in said.frames if f.frame == "shot_2.jpg")
    assert "motion" in kinds(said, 2)
    assert frame.smear_px == pytest.approx(7.0, rel=0.25)
    assert frame.smear_deg is not None
    assert abs((frame.smear_deg - 30.0 + 90) % 180 - 90) <= 15


def test_a_ghost_is_named_and_not_called_a_smear(said: Keepers) -> None:
    assert "ghost" in kinds(said, 4)
    assert "motion" not in kinds(said, 4)


def test_what_is_blurred_evenly_has_not_moved(said: Keepers) -> None:
    assert not kinds(said, 6) & {"motion", "ghost"}


def test_clean_frames_have_neither(said: Keepers) -> None:
    assert [k for k in (0, 1, 3, 5, 7, 8) if kinds(said, k) & {"motion", "ghost", "hidden"}] == []
