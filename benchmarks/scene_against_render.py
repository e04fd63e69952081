"""Hold the simulator's frames against geometry, and against frames of another renderer.

usage: scene_against_render.py [--other SWEEP] [--seed N] [--frames N]

For each set the same three figures are measured from the pictures alone, with truth.json saying
where to look:

- blur: patches of even depth are cut from the all-sharp view, moved into a frame by its pose,
  blurred by discs of many diameters, and compared with what the frame shows there; the best disc
  over the disc of geometry should be 1;
- scale: what is left of the patch's shift away from the frame's middle, over what the change of
  scale foretells for the frame's position, should be 0;
- noise: standard deviation about a blur of 4 px in even, dim background, grey levels.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import tempfile
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from haltere.scene import render_sweep
from haltere.scene.camera import Camera, Lens, project

HALF = 40  # half size of a patch, px


def linear(picture: np.ndarray) -> np.ndarray:
    """Green channel of an sRGB picture as linear light."""
    v = picture[..., 1].astype(np.float64) / 255.0
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def disc(diameter: float) -> np.ndarray:
    """Blur kernel of a disc with an anti-aliased edge."""
    r = int(np.ceil(diameter / 2)) + 1
    y, x = np.mgrid[-r : r + 1, -r : r + 1]
    k = np.clip(diameter / 2 - np.hypot(x, y) + 0.5, 0.0, 1.0)
    return k / k.sum()


def read(folder: Path) -> tuple[dict[str, Any], Lens, np.ndarray, np.ndarray]:
    """Truth, lens, sharp view (linear), depth in mm (NaN = nothing) of a set."""
    t = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    lens = Lens(
        t["magnification"], t["focal_length_mm"], t["f_number_marked"], t["sensor_width_mm"],
        t["width_px"], t["height_px"],
    )  # fmt: skip
    sharp = linear(cv2.imread(str(folder / "sharp.png")))
    raw = cv2.imread(str(folder / "depth.png"), cv2.IMREAD_UNCHANGED).astype(float)
    depth = t["depth_png"]["depth_min_mm"] + raw * t["depth_png"]["scale_mm"]
    depth[raw == t["depth_png"]["nothing"]] = np.nan
    return t, lens, sharp, depth


def even_patches(depth: np.ndarray, sharp: np.ndarray, count: int) -> list[tuple[int, int, float]]:
    """Middles (x, y) and depth of textured patches that lie nearly across the axis."""
    found = []
    for y in range(HALF * 2, depth.shape[0] - HALF * 2, 20):
        for x in range(HALF * 2, depth.shape[1] - HALF * 2, 20):
            d = depth[y - HALF : y + HALF, x - HALF : x + HALF]
            if np.isnan(d).any():
                continue
            texture = sharp[y - HALF : y + HALF, x - HALF : x + HALF]
            even = float(np.ptp(d))
            found.append(
                (
                    even / float(texture.std() / texture.mean() + 0.05),
                    x,
                    y,
                    float(np.median(d)),
                    even,
                )
            )
    found.sort()
    kept: list[tuple[int, int, float]] = []
    for _, x, y, z, _ in found:
        if all(abs(x - a) + abs(y - b) > HALF for a, b, _ in kept):
            kept.append((x, y, z))
        if len(kept) == count:
            break
    return kept


def measure(folder: Path, patches: int = 40, every: int = 3) -> dict[str, float]:
    """Figures of one set, see the top of this file."""
    t, lens, sharp, depth = read(folder)
    spots = even_patches(depth, sharp, patches)
    k, s = lens.focal_px, lens.pupil_distance_mm
    cx, cy = lens.centre_px
    ratios, shifts, noise = [], [], []
    for row in t["frames"][::every]:
        if row["faults"]:
            continue
        picture = cv2.imread(str(folder / row["file"]))
        frame = linear(picture)
        noise += even_noise(picture)
        camera = Camera(tuple(row["camera_mm"]), np.array(row["rotation"]))
        for x, y, z in spots:
            here = np.array([[0.0, 0.0], [HALF, 0.0], [0.0, HALF]]) + np.array([x, y])
            world = np.column_stack([(here - (cx, cy)) / k * (s + z), np.full(3, z)])
            there = project(lens, camera, world)
            off = float(camera.to_camera(world[:1])[0, 2]) - s
            expected = lens.blur_disc_px(off)
            reach = HALF - 14
            u, v = np.rint(there[0]).astype(int)
            if (
                not 6.0 < expected < 24.0
                or min(u, v) < HALF
                or u > lens.width_px - HALF
                or v > lens.height_px - HALF
            ):
                continue
            spread = np.ptp(depth[y - HALF : y + HALF, x - HALF : x + HALF])
            if spread > 0.15 * abs(off):
                continue
            m = cv2.getAffineTransform(
                here.astype(np.float32), (there - (u - HALF, v - HALF)).astype(np.float32)
            )
            moved = cv2.warpAffine(sharp, m, (2 * HALF, 2 * HALF), flags=cv2.INTER_LINEAR)
            shown = frame[v - HALF : v + HALF, u - HALF : u + HALF]
            inner = slice(HALF - reach, HALF + reach)
            best = (np.inf, 0.0)
            wanted = shown[inner, inner] - shown[inner, inner].mean()
            for d in expected * np.arange(0.80, 1.2001, 0.02):
                soft = cv2.filter2D(moved, -1, disc(d))[inner, inner]
                soft = soft - soft.mean()
                gain = float((soft * wanted).sum() / (soft**2).sum())
                best = min(best, (float(((wanted - gain * soft) ** 2).sum()), d))
            left = best[0] / float((wanted**2).sum())
            if left > 0.02:  # something else came into the patch
                continue
            ratios.append(best[1] / expected)
            soft = cv2.filter2D(moved, -1, disc(expected))[inner, inner]
            (dx, dy), _ = cv2.phaseCorrelate(
                soft,
                shown[inner, inner],
                cv2.createHanningWindow((2 * reach, 2 * reach), cv2.CV_64F),
            )
            radius = np.hypot(there[0, 0] - cx, there[0, 1] - cy)
            away = ((there[0, 0] - cx) * dx + (there[0, 1] - cy) * dy) / radius
            shifts.append((radius * row["position_mm"] / s, away))
    a = np.array(shifts)
    # robust slope: the largest leftovers are occlusions
    keep = np.abs(a[:, 1]) < 3.0 * np.median(np.abs(a[:, 1])) + 1e-9
    slope = float((a[keep, 0] * a[keep, 1]).sum() / (a[keep, 0] ** 2).sum())
    return {
        "patches": len(ratios),
        "blur_over_geometry": float(np.median(ratios)),
        "blur_spread": float(np.subtract(*np.percentile(ratios, [75, 25]))),
        "scale_error": slope,
        "shift_left_px": float(np.median(np.abs(a[:, 1]))),
        "noise_levels": float(np.median(noise)) if noise else float("nan"),
    }


def even_noise(picture: np.ndarray) -> list[float]:
    """Deviation of the green channel in even dim tiles, grey levels."""
    g = picture[..., 1].astype(np.float32)
    smooth = cv2.GaussianBlur(g, (0, 0), 4)
    out = []
    for y in range(0, g.shape[0] - 63, 64):
        for x in range(0, g.shape[1] - 63, 64):
            level = smooth[y : y + 64, x : x + 64]
            if 24 < level.mean() < 80 and np.ptp(level) < 5:
                out.append(float((g - smooth)[y : y + 64, x : x + 64].std()))
    return out


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--other", type=Path, help="folder of a sweep made with another renderer")
    parser.add_argument("--ours", type=Path, help="folder of a finished sweep instead of a new one")
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--frames", type=int, default=24)
    options = parser.parse_args()
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False
    ).stdout.strip()
    print(f"commit {commit or 'none'}, seed {options.seed}, {options.frames} frames")
    rows = {}
    with tempfile.TemporaryDirectory() as place:
        ours = options.ours
        if ours is None:
            ours = Path(place)
            render_sweep(options.seed, ours, frames=options.frames)
        rows["ours"] = measure(ours, every=1)
    if options.other is not None:
        rows["other"] = measure(options.other)
    keys = list(next(iter(rows.values())))
    print(f"{'set':8}" + "".join(f"{k:>20}" for k in keys))
    for name, row in rows.items():
        print(f"{name:8}" + "".join(f"{row[k]:20.4f}" for k in keys))


if __name__ == "__main__":
    main()
