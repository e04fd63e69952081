"""Series of a focus ring turned on a still camera, and of a rail, made from rendered sweeps.

    python rings_turned.py SWEEP --out FOLDER --growth -2

SWEEP is a folder of `sweeps_random.py` with its sharp picture and its depths.  Twelve planes 0.8
depths of field apart, going deeper; layers of one depth of field, each blurred by its disc and laid
over the nearer.  With `--growth G` the camera stands still and the picture grows by G times what a
plane is deeper over the distance of the entrance pupil, alike for near and far (negative: it
shrinks); without it the camera moves on a rail, and every layer grows as its distance has it.
Prints what the solver says, magnification given.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from haltere.frames import Decoder, find_frames
from haltere.kit import capture
from haltere.sweeps import solve_sweep

PLANES, STEP_DOF, WIDTH_PX, GAMMA = 12, 0.8, 800, 2.2
FARTHEST_DOF = 30.0


def blurred(picture: np.ndarray, radius_px: float) -> np.ndarray:
    """Mean over a disc; large discs on a shrunk picture."""
    if radius_px <= 0.6:
        return picture
    h, w = picture.shape
    shrunk = 1
    while radius_px / shrunk > 6:
        shrunk *= 2
    small = picture
    if shrunk > 1:
        small = cv2.resize(picture, (w // shrunk, h // shrunk), interpolation=cv2.INTER_AREA)
    radius = radius_px / shrunk
    reach = int(np.ceil(radius)) + 1
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    disc = np.clip(radius + 0.5 - np.hypot(x, y), 0, 1).astype(np.float32)
    small = cv2.filter2D(small, -1, disc / disc.sum(), borderType=cv2.BORDER_REFLECT)
    return small if shrunk == 1 else cv2.resize(small, (w, h), interpolation=cv2.INTER_LINEAR)


def cut(folder: Path, truth: dict[str, Any]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Light, depth in mm and the animal's places, from the middle of the sharp picture."""
    sharp = cv2.imread(str(folder / "sharp.png"), cv2.IMREAD_GRAYSCALE).astype(np.float32)
    counts = cv2.imread(str(folder / "depth.png"), cv2.IMREAD_UNCHANGED)
    animal = cv2.imread(str(folder / "mask.png"), cv2.IMREAD_UNCHANGED) >= 2
    png = truth["depth_png"]
    depth = counts * png["scale_mm"] + png["depth_min_mm"]
    nothing = counts == png["nothing"]
    depth[nothing] = depth[~nothing].max() + 3 * truth["depth_of_field_mm"]
    height = WIDTH_PX * 3 // 4
    y, x = (sharp.shape[0] - height) // 2, (sharp.shape[1] - WIDTH_PX) // 2
    part = np.s_[y : y + height, x : x + WIDTH_PX]
    return (sharp[part] / 255) ** GAMMA, depth[part], animal[part]


def make(folder: Path, out: Path, growth: float | None) -> dict[str, Any]:
    """Write the frames; returns the truth of the sweep they were made from."""
    out.mkdir(parents=True, exist_ok=True)
    truth: dict[str, Any] = json.loads((folder / "truth.json").read_text("utf-8"))
    light, depth, animal = cut(folder, truth)
    dof, pupil_mm = truth["depth_of_field_mm"], truth["entrance_pupil_to_plane_mm"]
    coc_px = truth["coc_mm"] * truth["width_px"] / truth["sensor_width_mm"]
    low, high = np.percentile(depth[animal], (1, 99))
    planes = np.arange(low - 0.5 * dof, high + 0.5 * dof, STEP_DOF * dof)
    first = max(0, (len(planes) - PLANES) // 2)
    planes = planes[first : first + PLANES]
    middle = float(planes[len(planes) // 2])
    layer = np.clip(np.round((depth - middle) / dof), -FARTHEST_DOF, FARTHEST_DOF)
    h, w = light.shape
    rng = np.random.default_rng(int(truth["seed"]))
    for k, plane in enumerate(planes):
        picture, covered = np.zeros((h, w), np.float32), np.zeros((h, w), np.float32)
        for one in np.unique(layer)[::-1]:
            own = (layer == one).astype(np.float32)
            at = float(one) * dof + middle
            radius_px = abs(at - float(plane)) / dof * coc_px
            size = 1 + (growth or 0.0) * (plane - middle) / pupil_mm
            if growth is None:
                size = (pupil_mm + at - middle) / (pupil_mm + at - plane)
            zoom = cv2.getRotationMatrix2D(((w - 1) / 2, (h - 1) / 2), 0.0, float(size))
            over, shine = (
                cv2.warpAffine(
                    blurred(part, radius_px),
                    zoom,
                    (w, h),
                    flags=cv2.INTER_CUBIC,
                    borderMode=cv2.BORDER_REFLECT,
                )
                for part in (own, light * own)
            )
            picture = picture * (1 - over) + shine
            covered = covered * (1 - over) + over
        grey = np.clip(picture / np.maximum(covered, 1e-3), 0, 1) ** (1 / GAMMA) * 255
        grey = np.clip(grey + rng.normal(0, 1.5, (h, w)), 0, 255).astype(np.uint8)
        whole = np.repeat(grey[..., None], 3, axis=2)
        cv2.imwrite(str(out / f"R_{k:04d}.jpg"), whole, [cv2.IMWRITE_JPEG_QUALITY, 93])
    return truth


def main() -> None:
    """Make one series and print what is said of it."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("sweep", type=Path)
    asked.add_argument("--out", type=Path, required=True)
    asked.add_argument("--growth", type=float)
    given = asked.parse_args()
    truth = make(given.sweep, given.out, given.growth)
    how = capture(
        magnification=truth["magnification"],
        focal_mm=truth["focal_length_mm"],
        f_number=truth["f_number_marked"],
        pixel_pitch_mm=truth["sensor_width_mm"] / truth["width_px"],
    )
    with Decoder() as decoder:
        sweep = solve_sweep(find_frames([given.out]).frames, decoder, how)
        sweep.close()
    said = sweep.coverage
    planes = [None if p.position_dof is None else round(p.position_dof, 2) for p in said.planes]
    print(truth["seed"], truth["magnification"], given.growth, said.focusing, said.complete, planes)


if __name__ == "__main__":
    main()
