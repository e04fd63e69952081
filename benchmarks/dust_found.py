"""Is dust on the sensor found? Spots of known place are laid over the frames of merged sweeps.

    haltere demo --seed 1 --out DEMO
    python dust_found.py DEMO/evening/run-03 DEMO/evening/run-06 ...

Nothing is written. Each sweep is looked at clean and with spots; a spot counts as found where one
is reported within its radius, and as false where it lies farther from every true one.
"""

from __future__ import annotations

import argparse
import subprocess
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from haltere.finish.dust import Map, find_spots, frames_apart, maps_to
from haltere.finish.limits import DUST
from haltere.frames import Decoder, find_frames, to_linear
from haltere.merge.views import read_views

SPOTS, SEED = 14, 5
Floats = NDArray[np.float32]


def spots_of(size: tuple[int, int], seed: int) -> NDArray[np.float64]:
    """Places, radii and darkening (8 to 30 per cent) of spots, full-size pixels."""
    rng = np.random.default_rng(seed)
    wide, high = size
    place = rng.uniform((0.05 * wide, 0.06 * high), (0.95 * wide, 0.94 * high), (SPOTS, 2))
    return np.column_stack([place, rng.uniform(3, 7, SPOTS), rng.uniform(0.08, 0.3, SPOTS)])


def passed(shape: tuple[int, int], scale: float, spots: NDArray[np.float64]) -> Floats:
    """Share of the light that the spots let through, at some size of the picture."""
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]]
    out = np.ones(shape, np.float32)
    for cx, cy, r, dark in spots:
        away = np.hypot((x + 0.5) / scale - 0.5 - cx, (y + 0.5) / scale - 0.5 - cy)
        out *= (1.0 - dark / (1.0 + np.exp(np.clip((away - r) / 0.8, -50, 50)))).astype(np.float32)
    return out


def lights_of(
    folder: Path, decoder: Decoder
) -> tuple[list[Floats], list[Map], float, tuple[int, int]]:
    """Frames of a merged sweep that lie apart, as linear light, small."""
    views, _ = read_views(folder)
    scale = min(1.0, DUST.look_px / max(views.size_px))
    lights = []
    chosen = frames_apart(views, scale)
    for index in chosen:
        (frame,) = find_frames([Path(views.views[index].path)]).frames
        pixels = decoder.luma(frame, round(scale * max(views.size_px)))
        lights.append(to_linear(pixels.array, pixels.icc, pixels.linear).astype(np.float32))
        scale = pixels.scale
    return lights, [maps_to(views, one, scale) for one in chosen], scale, views.size_px


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("merged", nargs="+", type=Path)
    parser.add_argument("--seed", type=int, default=SEED)
    said = parser.parse_args()
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False
    )
    print(f"commit {commit.stdout.strip()}, {SPOTS} spots, seed {said.seed}")
    print("| sweep | frames apart | found | false | false when clean | darkness of those missed |")
    with Decoder(2) as decoder:
        for folder in said.merged:
            lights, maps, scale, size = lights_of(folder, decoder)
            true = spots_of(size, said.seed)
            clean = find_spots(lights, scale, maps)
            through = passed(lights[0].shape, scale, true) if lights else np.ones((1, 1))
            told = find_spots([light * through for light in lights], scale, maps)
            at = np.array([(one.x_px, one.y_px) for one in told]).reshape(-1, 2)
            away = np.hypot(*(true[:, None, :2] - at[None]).transpose(2, 0, 1))
            near = away <= np.maximum(true[:, 2], 3.0)[:, None]
            missed = true[~near.any(axis=1)]
            dark = ", ".join(f"{100 * one:.0f}" for one in sorted(missed[:, 3]))
            print(
                f"| {folder.parent.parent.name}/{folder.name} | {len(lights)} | "
                f"{int(near.any(axis=1).sum())} of {len(true)} | {int((~near.any(axis=0)).sum())} "
                f"| {len(clean)} | {dark} % |",
                flush=True,
            )


if __name__ == "__main__":
    main()
