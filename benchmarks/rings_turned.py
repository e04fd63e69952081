"""Series of a focus ring turned, or of a push, on a stand or in the hand, of sharp pictures.

    python rings_turned.py SWEEP --out FOLDER --growth -2 [--sway 1 --depth-sway 1 --hand 1]

SWEEP is a folder of `sweeps_random.py` with its sharp picture and its depths.  Twelve planes 0.8
depths of field apart, going deeper; layers of one depth of field, each blurred by its disc and laid
over the nearer.  With `--growth G` a ring is turned and the picture grows by G times what a plane
is deeper over the distance of the entrance pupil, alike for near and far (negative: it shrinks);
without it the camera is pushed, and every layer grows as its distance has it.  A lens that focuses
as a whole, on a body that stands, has G = m / (m - 1) (thin lens).  `--sway` lets the hand of
`haltere.scene.hand` number `--hand` shift, tilt and roll the camera at eight frames a second, as
much as in a simulated sweep; `--depth-sway` lets it rock to and fro by so much of that as well.
Prints what the solver says, magnification given (or, with `--unknown`, not).
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from haltere.frames import Decoder, find_frames
from haltere.kit import capture
from haltere.scene.hand import make_hand
from haltere.sweeps import solve_sweep

WIDTH_PX, MARGIN_PX, GAMMA = 800, 120, 2.2
FARTHEST_DOF = 28.0
FRAMES_PER_S = 8.0


@dataclass(frozen=True)
class How:
    """How the plane was moved and who held the camera.

    `growth` is None for a push; `sway` and `depth_sway` are shares of a simulated hand's, `hand`
    its number.
    """

    growth: float | None = None
    sway: float = 0.0
    depth_sway: float = 0.0
    hand: int = 1
    planes: int = 12
    step_dof: float = 0.8


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


def blurred_layer(picture: np.ndarray, own: np.ndarray, radius_px: float) -> np.ndarray:
    """Mean over a disc of what one layer shows; beside it there is nothing to blur."""
    rows, columns = (np.flatnonzero(own.any(axis)) for axis in (1, 0))
    room = int(np.ceil(radius_px)) * 2 + 16
    part = np.s_[
        max(0, rows[0] - room) : rows[-1] + room, max(0, columns[0] - room) : columns[-1] + room
    ]
    out = np.zeros_like(picture)
    out[part] = blurred(np.where(own[part], picture[part], np.float32(0)), radius_px)
    return out


def cut(folder: Path, truth: dict[str, Any]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Light, depth in mm and the animal's places, from the middle of the sharp picture."""
    sharp = cv2.imread(str(folder / "sharp.png"), cv2.IMREAD_GRAYSCALE).astype(np.float32)
    counts = cv2.imread(str(folder / "depth.png"), cv2.IMREAD_UNCHANGED)
    animal = cv2.imread(str(folder / "mask.png"), cv2.IMREAD_UNCHANGED) >= 2
    png = truth["depth_png"]
    depth = counts * png["scale_mm"] + png["depth_min_mm"]
    nothing = counts == png["nothing"]
    depth[nothing] = depth[~nothing].max() + 3 * truth["depth_of_field_mm"]
    # what sways into the view must be there
    width, height = WIDTH_PX + 2 * MARGIN_PX, WIDTH_PX * 3 // 4 + 2 * MARGIN_PX
    y, x = (sharp.shape[0] - height) // 2, (sharp.shape[1] - width) // 2
    part = np.s_[y : y + height, x : x + width]
    return (sharp[part] / 255) ** GAMMA, depth[part], animal[part]


def layers(depth_dof: np.ndarray) -> np.ndarray:
    """Layers of a depth of field, thicker where all planes leave them blurred."""
    thick = np.select([np.abs(depth_dof) < 7, np.abs(depth_dof) < 13], [1.0, 2.0], 4.0)
    return np.clip(np.round(depth_dof / thick) * thick, -FARTHEST_DOF, FARTHEST_DOF)


def swayed(how: How, magnification: float) -> np.ndarray:
    """Where the hand is at each frame against the middle one: x, y, z in mm, three turns."""
    scale = float(np.sqrt(1.0 / magnification))
    times = np.arange(how.planes) / FRAMES_PER_S
    side = make_hand(how.hand, scale=how.sway * scale)
    at = np.array([side.at(float(t)) for t in times])
    along = make_hand(how.hand + 1000, scale=how.sway * how.depth_sway * scale)
    at[:, 2] = [along.at(float(t))[0] for t in times]
    return np.asarray(at - at[how.planes // 2])


def make(folder: Path, out: Path, how: How) -> dict[str, Any]:
    """Write the frames and their truth; returns the truth of the sweep they were made from."""
    out.mkdir(parents=True, exist_ok=True)
    truth: dict[str, Any] = json.loads((folder / "truth.json").read_text("utf-8"))
    light, depth, animal = cut(folder, truth)
    dof, pupil_mm = truth["depth_of_field_mm"], truth["entrance_pupil_to_plane_mm"]
    coc_px = truth["coc_mm"] * truth["width_px"] / truth["sensor_width_mm"]
    low, high = np.percentile(depth[animal], (1, 99))
    planes = np.arange(low - 0.5 * dof, high + 0.5 * dof, how.step_dof * dof)
    first = max(0, (len(planes) - how.planes) // 2)
    planes = planes[first : first + how.planes]
    middle = float(planes[len(planes) // 2])
    layer = layers((depth - middle) / dof)
    h, w = light.shape
    rng = np.random.default_rng(int(truth["seed"]))
    hand = swayed(how, truth["magnification"])
    for k, plane in enumerate(planes):
        x, y, z, pitch, yaw, roll = hand[k]
        ring, pushed = (plane - middle, 0.0) if how.growth is not None else (0.0, plane - middle)
        size = 1 + (how.growth or 0.0) * ring / pupil_mm
        picture, covered = 0.0, 0.0
        for one in np.unique(layer)[::-1]:
            own = layer == one
            away = float(one) * dof
            radius_px = abs(away - ring - pushed - z) / dof * coc_px
            distance = pupil_mm + away - pushed - z
            zoom = cv2.getRotationMatrix2D(
                ((w - 1) / 2, (h - 1) / 2),
                float(np.degrees(roll)),
                float(size * (pupil_mm + away) / distance),
            )
            aside = np.array([yaw - x / distance, pitch - y / distance])
            zoom[:, 2] += size * truth["focal_px"] * aside
            zoom[:, 2] -= MARGIN_PX
            both = [blurred_layer(part, own, radius_px) for part in (np.ones_like(light), light)]
            over, shine = cv2.split(
                cv2.warpAffine(
                    np.dstack(both),
                    zoom,
                    (w - 2 * MARGIN_PX, h - 2 * MARGIN_PX),
                    flags=cv2.INTER_CUBIC,
                    borderMode=cv2.BORDER_REFLECT,
                )
            )
            picture = picture * (1 - over) + shine
            covered = covered * (1 - over) + over
        bright = np.clip(picture / np.maximum(covered, 1e-3), 0, 1)
        grey = bright ** (1 / GAMMA) * 255 + rng.normal(0, 1.5, bright.shape)
        whole = np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[..., None], 3, axis=2)
        cv2.imwrite(str(out / f"R_{k:04d}.jpg"), whole, [cv2.IMWRITE_JPEG_QUALITY, 93])
    return truth


def main() -> None:
    """Make one series and print what is said of it."""
    asked = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    asked.add_argument("sweep", type=Path)
    asked.add_argument("--out", type=Path, required=True)
    asked.add_argument("--growth", type=float)
    asked.add_argument("--sway", type=float, default=0.0)
    asked.add_argument("--depth-sway", type=float, default=0.0)
    asked.add_argument("--hand", type=int, default=1)
    asked.add_argument("--planes", type=int, default=12)
    asked.add_argument("--step-dof", type=float, default=0.8)
    asked.add_argument("--unknown", action="store_true")
    given = asked.parse_args()
    moved = How(
        given.growth, given.sway, given.depth_sway, given.hand, given.planes, given.step_dof
    )
    truth = make(given.sweep, given.out, moved)
    how = capture(
        magnification=None if given.unknown else truth["magnification"],
        focal_mm=truth["focal_length_mm"],
        f_number=truth["f_number_marked"],
        pixel_pitch_mm=truth["sensor_width_mm"] / truth["width_px"],
    )
    with Decoder() as decoder:
        sweep = solve_sweep(find_frames([given.out]).frames, decoder, how)
        sweep.close()
    said = sweep.coverage
    planes = [None if p.position_dof is None else round(p.position_dof, 2) for p in said.planes]
    print(truth["seed"], truth["magnification"], moved, said.focusing, said.complete, planes)


if __name__ == "__main__":
    main()
