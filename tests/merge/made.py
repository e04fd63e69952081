"""Small sweeps with known poses, written to disk, for the tests of this room."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.align.lumas import Lumas
from haltere.focus.curves import Peaks
from haltere.frames import Frame, Shooting
from haltere.kit.capture import Capture
from haltere.sweeps.coverage import Coverage, Gap
from haltere.sweeps.focusing import Focusing, without_scale
from haltere.sweeps.sweep import Sweep

FOCAL_PX = 3000.0
DOF = 0.002


def texture(shape: tuple[int, int], seed: int) -> NDArray[np.float32]:
    noise = np.random.default_rng(seed).normal(0, 1, shape).astype(np.float32)
    soft = cv2.GaussianBlur(noise, (0, 0), 1.0) - cv2.GaussianBlur(noise, (0, 0), 6.0)
    return np.asarray(128 + 45 * soft / soft.std(), np.float32)


def sweep_of(
    folder: Path,
    pictures: list[NDArray[np.uint8]],
    poses: NDArray[np.float64],
    *,
    usable: list[bool] | None = None,
    gaps: tuple[Gap, ...] = (),
    magnification: float | None = 2.0,
) -> Sweep:
    """Sweep of the given RGB pictures; the caller closes `lumas`."""
    frames = []
    lumas = Lumas()
    for k, picture in enumerate(pictures):
        path = folder / f"f{k:03d}.png.tif"
        import tifffile

        tifffile.imwrite(path, picture, photometric="rgb")
        height, width = picture.shape[:2]
        frames.append(Frame(path, path.name, "tiff", width, height, 1, Shooting()))
        lumas.add(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY))
    n = len(frames)
    capture = Capture(magnification, None, None, 1.0, 90.0, 0.015, 0.005, "given")
    coverage = Coverage(
        frames[0].name, 0.18, "", 0.015, None, "given", (), (), gaps, not gaps, "made"
    )
    nothing = np.zeros((1, 1))
    return Sweep(
        tuple(frames),
        capture,
        coverage,
        0,
        lumas,
        1.0,
        poses,
        np.ones(n),
        np.asarray(usable if usable is not None else [True] * n),
        FOCAL_PX,
        DOF,
        1.4,
        2.0,
        Peaks(nothing, nothing, nothing, nothing, nothing),
        np.zeros((1, 1), bool),
    )


def turned(sweep: Sweep) -> Sweep:
    """The same sweep as one whose focus ring was turned: nothing in mm, near and far not told."""
    focusing = Focusing("turned", 9.0, 2.0, "made")
    coverage = replace(sweep.coverage, focusing=focusing, depth_of_field_mm=None)
    return replace(sweep, capture=without_scale(sweep.capture, focusing), coverage=coverage)


def blurred(picture: NDArray[np.float32], sigma_px: float) -> NDArray[np.float32]:
    """Blur as a lens does, in light (taken as the square of code values)."""
    light = cv2.GaussianBlur(np.maximum(picture, 0) ** 2, (0, 0), sigma_px)
    return np.asarray(np.sqrt(light), np.float32)


def grown(picture: NDArray[np.float32], along: float) -> NDArray[np.uint8]:
    """Picture at depth 0 as a frame sees it whose pose lies `along` the axis."""
    height, width = picture.shape
    far = 1.0 / (1.0 - along)
    x, y = (width - 1) / 2, (height - 1) / 2
    centre = np.array([[far, 0, x * (1 - far)], [0, far, y * (1 - far)]])
    seen = cv2.warpAffine(
        picture, centre, (width, height), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT
    )
    return np.asarray(np.clip(np.rint(seen), 0, 255), np.uint8)


def two_depths(folder: Path, planes: int = 7) -> tuple[Sweep, NDArray[np.uint8]]:
    """Left half sharp in the second plane, right half in the last but one; and the sharp truth."""
    sharp = texture((120, 160), 3)
    depth = np.where(np.arange(160) < 80, 1, planes - 2)
    poses = np.zeros((planes, 6))
    poses[:, 2] = np.arange(planes) * DOF
    pictures = []
    for k in range(planes):
        picture = np.empty_like(sharp)
        for z in (1, planes - 2):
            blur = abs(k - z) * 1.4
            soft = blurred(sharp, blur) if blur else sharp
            picture[:, depth == z] = soft[:, depth == z]
        grey = grown(picture, poses[k, 2])
        pictures.append(np.repeat(grey[..., None], 3, axis=2))
    truth = np.clip(np.rint(sharp), 0, 255).astype(np.uint8)
    return sweep_of(folder, pictures, poses), truth
