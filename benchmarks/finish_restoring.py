"""Bring back what diffraction took, on simulated truth, beside general deconvolution.

`python finish_restoring.py --plan fly [--out FOLDER]` takes the simulator's view without
diffraction for the truth, blurs it as a camera's three colours see the waves (another weighting
than the restoring kernel's), adds a sensor's noise, cuts it to 8 bits and restores it. Beside it
stand scikit-image's Richardson-Lucy and unsupervised Wiener with the restoring kernel, each at the
setting whose result is most like the truth. `--edge` measures the slanted edge instead.
"""

from __future__ import annotations

import argparse
import subprocess
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from skimage.metrics import structural_similarity
from skimage.restoration import richardson_lucy, unsupervised_wiener

from haltere import optics
from haltere.finish.restoring import Wanted, restore
from haltere.focus.edge import slanted_edge
from haltere.frames import encode, to_linear
from haltere.scene import animal as animals
from haltere.scene.camera import Camera, Lens
from haltere.scene.exposure import gather
from haltere.scene.render import quick_gain
from haltere.scene.sensor import Sensor, add_noise
from haltere.scene.stage import set_stage

Light = NDArray[np.float32]
PITCH_MM = 0.004
STOPS = (16.0, 24.0, 32.0)
ISOS = (200, 400, 800, 1600)
ROUNDS = (2, 4, 6, 8, 12, 16, 24, 32, 48, 64, 96)
MARGIN = 48


def camera_mtf(nu_per_mm: NDArray[np.float64], effective: float) -> NDArray[np.float64]:
    """Contrast in sRGB of a camera with three bell-shaped sensitivities and its colour matrix."""
    nm = np.arange(400.0, 701.0, 10.0)
    bells = ((600.0, 35.0), (535.0, 40.0), (460.0, 30.0))
    seen = np.array([np.exp(-0.5 * ((nm - middle) / width) ** 2) for middle, width in bells])
    to_srgb = [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]]
    weights = (np.array(to_srgb) @ optics.colour_matching(nm) @ np.linalg.pinv(seen)) @ seen
    weights /= weights.sum(axis=1, keepdims=True)
    parts = [optics.diffraction_mtf(nu_per_mm * effective * one * 1e-6) for one in nm]
    return np.einsum("cw,wyx->cyx", weights, np.array(parts))


def view(plan: animals.Plan, seed: int, size: tuple[int, int]) -> Light:
    """All-sharp view of an animal without diffraction."""
    lens = Lens(2.0, 60.0, 8.0, size[0] * PITCH_MM, *size)
    stage = set_stage(animals.grow(seed, plan), lens, seed, fill=1.2, texels_per_px=1.5)
    camera = Camera((0.0, 0.0, -lens.pupil_distance_mm), np.eye(3))
    light = gather(stage, lens, camera, views=36, seed=seed, pinhole=True)
    return np.asarray(light * np.float32(quick_gain(stage, lens)), np.float32)


def taken(light: Light, effective: float, iso: int, seed: int) -> Light:
    """Give what the camera writes: waves, noise, 8 bits; back in linear light."""
    m = MARGIN
    padded = np.pad(light, ((m, m), (m, m), (0, 0)), mode="reflect")
    rows, columns = padded.shape[:2]
    nu = np.hypot(np.fft.fftfreq(rows)[:, None], np.fft.rfftfreq(columns)[None, :]) / PITCH_MM
    passed = camera_mtf(nu, effective)
    blurred = np.stack(
        [
            np.fft.irfft2(np.fft.rfft2(padded[..., c]) * passed[c], s=(rows, columns))
            for c in range(3)
        ],
        axis=-1,
    )[m:-m, m:-m]
    sensor = Sensor(full_electrons=24000.0 * 200.0 / iso)
    noisy = add_noise(np.maximum(blurred, 0.0).astype(np.float32), sensor, seed)
    return to_linear(encode(noisy, None, 8), None, False)


def kernel(effective: float, channel: int, side: int = 33) -> NDArray[np.float64]:
    """Give the restoring kernel of a channel as a picture that adds up to 1."""
    nu = np.hypot(np.fft.fftfreq(side)[:, None], np.fft.fftfreq(side)[None, :]) / PITCH_MM
    spread = np.fft.fftshift(np.fft.ifft2(optics.channel_mtf(nu, effective)[channel]).real)
    spread = np.maximum(spread, 0.0)
    return np.asarray(spread / spread.sum(), np.float64)


def likeness(said: Light, true: Light) -> float:
    """SSIM of luma as shown."""
    weights = np.array([0.2126, 0.7152, 0.0722])
    a, b = (encode(np.asarray(x, np.float32), None, 16) / 65535.0 @ weights for x in (said, true))
    return float(
        structural_similarity(
            a, b, gaussian_weights=True, sigma=1.5, use_sample_covariance=False, data_range=1.0
        )
    )


def others(got: Light, true: Light, effective: float) -> tuple[float, int, float]:
    """Best SSIM of Richardson-Lucy with its rounds, and of the unsupervised Wiener filter."""
    m = MARGIN
    padded = np.pad(got, ((m, m), (m, m), (0, 0)), mode="reflect").astype(np.float64)
    kernels = [kernel(effective, c) for c in range(3)]
    best, rounds = 0.0, 0
    for count in ROUNDS:
        parts = [
            richardson_lucy(padded[..., c], kernels[c], num_iter=count, clip=False)
            for c in range(3)
        ]
        found = likeness(np.stack(parts, -1)[m:-m, m:-m], true)
        if found < best:
            break
        best, rounds = found, count
    laplacian = np.array([[0.0, 1.0, 0.0], [1.0, -4.0, 1.0], [0.0, 1.0, 0.0]])
    squared = np.zeros((5, 5))
    for (y, x), value in np.ndenumerate(laplacian):
        squared[y : y + 3, x : x + 3] += value * laplacian
    wiener = 0.0
    for rule in (laplacian, squared):
        parts = [
            unsupervised_wiener(padded[..., c], kernels[c], reg=rule, clip=False, rng=1)[0]
            for c in range(3)
        ]
        wiener = max(wiener, likeness(np.stack(parts, -1)[m:-m, m:-m], true))
    return best, rounds, wiener


def edge(effective: float, iso: int, seed: int, dark: float = 0.08, light: float = 0.5) -> Light:
    """Draw a straight edge tilted by 5 degrees, as the camera writes it."""
    side, fine, tilt = 160, 8, np.tan(np.radians(5.0))
    y, x = np.mgrid[0 : side * fine, 0 : side * fine] / fine
    step = np.where(x - side / 2 + tilt * (y - side / 2) > 0, light, dark)
    small = step.reshape(side, fine, side, fine).mean((1, 3)).astype(np.float32)
    return taken(np.repeat(small[..., None], 3, axis=2), effective, iso, seed)


def overshoot(picture: Light, dark: float = 0.08, light: float = 0.5) -> float:
    """How far the mean profile across the edge leaves its two sides, share of the step."""
    side = picture.shape[0]
    y, x = np.mgrid[0:side, 0:side] + 0.5
    tilt = np.radians(5.0)
    away = (x - side / 2 + np.tan(tilt) * (y - side / 2)) * np.cos(tilt)
    used = (np.abs(away) < 20) & (y > 20) & (y < side - 20)
    bins = np.floor(away[used] * 4).astype(int) + 80
    profile = np.bincount(bins, picture[..., 1][used]) / np.bincount(bins)
    profile = (profile - dark) / (light - dark)
    return float(max(profile.max() - 1.0, -profile.min()))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--plan", default="fly")
    parser.add_argument("--seed", type=int, default=31)
    parser.add_argument("--iso", type=int, nargs="*", default=list(ISOS))
    parser.add_argument("--alone", action="store_true", help="leave the other methods out")
    parser.add_argument("--edge", action="store_true")
    parser.add_argument("--out", type=Path)
    said = parser.parse_args()
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False
    )
    print(f"commit {commit.stdout.strip()}, seed {said.seed}, pixels of {PITCH_MM * 1000:g} um")
    if said.edge:
        print("| eff. f | ISO | MTF50 before | after | times | overshoot |")
        for effective in STOPS:
            for iso in said.iso:
                got = edge(effective, iso, said.seed)
                done = restore(got, Wanted(effective, PITCH_MM))
                before, after = (
                    slanted_edge(one[16:-16, 16:-16, 1], tone="linear", white=1.0).mtf50 or 0.0
                    for one in (got, done)
                )
                print(
                    f"| {effective:g} | {iso} | {before:.4f} | {after:.4f} | "
                    f"{after / before:.2f} | {100 * overshoot(done):.1f} % |",
                    flush=True,
                )
        return
    true = view(said.plan, said.seed, (480, 360))
    shown = np.clip(true, 0.0, 1.0)
    print("| animal | eff. f | ISO | as taken | restored | R.-L. (rounds) | uns. Wiener |")
    for effective in STOPS:
        for iso in said.iso:
            got = taken(true, effective, iso, said.seed)
            done = restore(got, Wanted(effective, PITCH_MM))
            line = f"| {said.plan} | {effective:g} | {iso} | {likeness(got, shown):.4f} | "
            line += f"{likeness(done, shown):.4f} | "
            if not said.alone:
                best, rounds, wiener = others(got, shown, effective)
                line += f"{best:.4f} ({rounds}) | {wiener:.4f} |"
            print(line, flush=True)
            if said.out is not None:
                from PIL import Image

                said.out.mkdir(parents=True, exist_ok=True)
                row = np.concatenate([encode(one, None, 8) for one in (got, done, shown)], axis=1)
                Image.fromarray(row).save(said.out / f"{said.plan}_{effective:g}_{iso}.png")


if __name__ == "__main__":
    main()
