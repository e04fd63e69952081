"""Windows cut from a real photo with a known motion between them are put back where they were."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from scipy.ndimage import affine_transform

from haltere.align.lumas import light_of
from haltere.align.pair import register_pair

PHOTO = Path(__file__).parents[1] / "data" / "open" / "photos" / "butterfly_493.jpg"
SHAPE = (280, 400)  # rows, columns of a window: what a sweep's frames are shrunk to
BAR_PX = 0.1


def disc(diameter: float) -> np.ndarray:
    fine = (np.arange(40) - 19.5) / 8
    whole = (np.hypot(fine[:, None], fine) <= max(diameter / 2, 0.08)).astype(float)
    kernel = whole.reshape(5, 8, 5, 8).mean(axis=(1, 3))
    return kernel / kernel.sum()


def soft(light: np.ndarray, diameters: np.ndarray) -> np.ndarray:
    levels = np.arange(0.0, 2.5, 0.5)
    out = np.zeros_like(light)
    for d in levels:
        blurred = cv2.filter2D(light, -1, disc(d)) if d else light
        out += blurred * np.maximum(0.0, 1.0 - np.abs(diameters - d) / 0.5)
    return out


def window(
    light: np.ndarray,
    turn: np.ndarray,
    shift: np.ndarray,
    diameters: np.ndarray,
    rng: np.random.Generator,
) -> np.ndarray:
    """Cut a window, moved as told, blurred by its own discs, with noise, in 8 bits."""
    own, middle = (np.array(SHAPE)[::-1] - 1) / 2, (np.array(light.shape)[::-1] - 1) / 2
    back = np.linalg.inv(turn)
    start = middle - back @ (own + shift)
    cut = affine_transform(
        light, back[::-1, ::-1], start[::-1], SHAPE, order=5, mode="mirror", output=np.float64
    )
    noisy = soft(cut, diameters).clip(0, 1) + rng.normal(0, 0.004, SHAPE)
    codes = np.round(255 * noisy.clip(0, 1) ** (1 / 2.2)).astype(np.uint8)
    return light_of(codes)


@pytest.mark.parametrize("seed", range(4))
def test_windows_of_a_photo_that_are_sharp_on_opposite_sides_are_brought_together(seed):
    # the picture is taken as a frame shrunk to a quarter: discs of 8 px are 2 px there
    rng = np.random.default_rng(seed)
    light = light_of(cv2.imread(str(PHOTO), cv2.IMREAD_GRAYSCALE)).astype(np.float64) / 255
    scale, roll = rng.uniform(0.97, 1.03), rng.normal(0, 0.01)
    shift = rng.uniform(-8, 8, 2)
    turn = scale * np.array([[np.cos(roll), -np.sin(roll)], [np.sin(roll), np.cos(roll)]])
    ramp = np.linspace(0, 2, SHAPE[1])
    first = window(light, np.eye(2), np.zeros(2), ramp, rng)
    second = window(light, turn, shift, ramp[::-1], rng)

    found = register_pair(first, second).matrix

    y, x = np.mgrid[0 : SHAPE[0] : 8, 0 : SHAPE[1] : 8]
    points = np.stack([x.ravel() - (SHAPE[1] - 1) / 2, y.ravel() - (SHAPE[0] - 1) / 2])
    miss = (found[:, :2] - turn) @ points + (found[:, 2] - shift)[:, None]
    assert np.sqrt((miss**2).sum(axis=0).mean()) <= BAR_PX
