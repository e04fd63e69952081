"""How exactly are two frames, and whole sweeps, brought together? Known motion and rendered truth.

usage: registration.py [--photos FOLDER] [--pictures NAME...] [--disc 8 16] [--cases 30] [--seed 1]
                       [--truth SET...]

`--photos FOLDER`: windows of larger real pictures. The second of a pair is turned, scaled and
shifted by a known similarity and resampled once from the larger picture (splines of fifth order).
Each gets a disc defocus of its own that runs from 0 to `--disc` px in diameter across the picture,
in opposite directions, so that each is sharp where the other is not; then a short smear, shot and
read noise, the sRGB curve and 8 bits. Both are shrunk to a quarter and registered from there, by
haltere and by others: OpenCV's findTransformECC (Evangelidis & Psarakis 2008; from memory), from a
phase-correlation start on bands, coarse to fine; scikit-image's phase_cross_correlation
(Guizar-Sicairos et al. 2008; from memory), to 1/20 px, where there is a shift only. Error: root
mean square over the first picture, quarter-size pixels. One thread; median processor time.

`--truth SET...`: folders with a truth.json of camera poses, each solved as a sweep. A frame's error
is how far its pose misses where the truth puts the content of its own plane of focus, seen from
the frame that the solution took as its reference, at those places of animal and support that lie
within half a depth of field of the plane; full-size pixels. 'Neighbours' is the same for one frame
against the one before it.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

# read when numpy is loaded: threads that wait for the next matrix would count as time spent
os.environ["OPENBLAS_NUM_THREADS"] = "1"

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy.ndimage import affine_transform

from haltere.align.bands import band, shrink
from haltere.align.lumas import light_of
from haltere.align.pair import register_pair
from haltere.align.pose import plane_depth, project
from haltere.frames import Decoder, find_frames
from haltere.kit import capture
from haltere.sweeps import solve_sweep

Array = NDArray[np.float64]
Picture = NDArray[np.float32]

FULL_ELECTRONS, READ_ELECTRONS = 12000.0, 4.0  # white at ISO 400 on small pixels (assumed)
PICTURES = ("dslr_pendant_2000.jpg", "chrysanthemum_2268.jpg", "CMU-1-Small-Region.svs")
BAR_PX, SWEEP_BAR_PX = 0.1, 0.3
LOST_PX = 400.0  # what failed, or ran away by more, counts as this
LEAST_PLACES = 20


@dataclass(frozen=True, slots=True)
class Case:
    """Two frames at a quarter of their size, linear light on 0..255, and the motion between."""

    first: Picture
    second: Picture
    truth: Array


def commit() -> str:
    """Short commit."""
    words = ["git", "-C", str(Path(__file__).parent), "rev-parse", "--short", "HEAD"]
    return subprocess.run(words, capture_output=True, text=True, check=False).stdout.strip()


def read_light(path: Path) -> Picture:
    """Linear light of a picture's first page, 0..1."""
    grey = np.asarray(Image.open(path).convert("L"))
    return np.asarray(light_of(grey) / np.float32(255), np.float32)


def disc(diameter: float) -> Picture:
    """Blur disc with a soft edge of one pixel, sum 1."""
    reach = int(np.ceil(diameter / 2 + 1))
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    # eight by eight points a pixel: a disc of two pixels is no square
    fine = (np.arange(8) - 3.5) / 8
    far = np.hypot(x[..., None, None] + fine[:, None], y[..., None, None] + fine)
    kernel = (far <= max(diameter / 2, 0.08)).mean(axis=(2, 3))
    return np.asarray(kernel / kernel.sum(), np.float32)


def defocused(light: Picture, diameters: Array) -> Picture:
    """Blur each column by a disc of its own diameter."""
    levels = np.arange(0.0, np.ceil(diameters.max()) + 1.0)
    stack = [light if d < 1 else cv2.filter2D(light, -1, disc(d)) for d in levels]
    out = np.zeros_like(light)
    for d, picture in zip(levels, stack, strict=True):
        out += picture * np.maximum(0.0, 1.0 - np.abs(diameters - d)).astype(np.float32)
    return out


def smeared(light: Picture, length: float, angle: float) -> Picture:
    """Blur along a straight path of `length` px, centred."""
    if length < 0.3:
        return light
    along = np.linspace(-length / 2, length / 2, 401)
    kernel, _, _ = np.histogram2d(
        along * np.sin(angle), along * np.cos(angle), bins=15, range=[[-7.5, 7.5]] * 2
    )
    return np.asarray(cv2.filter2D(light, -1, kernel / kernel.sum()), np.float32)


def exposed(light: Picture, gain: float, rng: np.random.Generator) -> NDArray[np.uint8]:
    """Noise, sRGB curve, 8 bits."""
    electrons = rng.poisson(np.clip(light * gain, 0, 1) * FULL_ELECTRONS)
    noisy = (electrons + rng.normal(0, READ_ELECTRONS, light.shape)) / FULL_ELECTRONS
    v = np.clip(noisy, 0, 1)
    codes = np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055)
    return np.asarray(np.round(255 * codes), np.uint8)


def cut_case(light: Picture, rng: np.random.Generator, disc_px: float, *, shift_only: bool) -> Case:
    """Cut two windows of one picture, with a known motion between them."""
    h, w = light.shape
    width, height = int(min(1600, 0.86 * w)) // 4 * 4, int(min(1200, 0.86 * h)) // 4 * 4
    scale, roll = (1.0, 0.0) if shift_only else (rng.uniform(0.97, 1.03), rng.normal(0, 0.01))
    room = 0.5 * np.array([w - width, h - height]) - 8
    at = np.round(rng.uniform(-0.3, 0.3, 2) * room)
    shift = np.clip(rng.normal(0, 30, 2), -0.5 * room, 0.5 * room)
    c, s = scale * np.cos(roll), scale * np.sin(roll)
    turn = np.array([[c, -s], [s, c]])
    middle, own = np.array([w - 1, h - 1]) / 2, np.array([width - 1, height - 1]) / 2
    corner = np.floor(middle - own + at).astype(int)
    first = light[corner[1] : corner[1] + height, corner[0] : corner[0] + width]
    # centred second pixel u shows what is at inverse(turn) (u - shift) in centred first pixels
    back = np.linalg.inv(turn)
    from_corner = corner + own - back @ (own + shift)
    # not by warpAffine, which rounds places to 1/32 px; rows before columns
    second = affine_transform(
        light, back[::-1, ::-1], from_corner[::-1], (height, width), order=5, mode="mirror"
    )
    ramp = np.linspace(0, disc_px, width)
    frames = []
    for picture, diameters in ((first, ramp), (second, ramp[::-1])):
        soft = smeared(defocused(picture, diameters), rng.uniform(0, 3), rng.uniform(0, np.pi))
        frames.append(shrink(light_of(exposed(soft, rng.uniform(0.85, 1.0), rng)), 4))
    return Case(frames[0], frames[1], np.column_stack([turn, shift / 4]))


def miss_px(case: Case, found: Array) -> float:
    """Root mean square error over the first picture, its own pixels."""
    h, w = case.first.shape
    y, x = np.mgrid[0:h:4, 0:w:4]
    points = np.column_stack([x.ravel() - (w - 1) / 2, y.ravel() - (h - 1) / 2, np.ones(x.size)])
    return float(np.sqrt((((found - case.truth) @ points.T) ** 2).sum(axis=0).mean()))


def ecc(model: int, blur: int, *, banded: bool = False) -> Callable[[Case], Array]:
    """Register by findTransformECC, coarse to fine."""

    def register(case: Case) -> Array:
        pictures = case.first, case.second
        # without a start on bands it runs away on soft pictures
        small = [band(shrink(p, 4), 1.5) for p in pictures]
        window = cv2.createHanningWindow(small[0].shape[::-1], cv2.CV_32F)
        matrix = np.eye(2, 3)
        matrix[:, 2] = 4 * np.array(cv2.phaseCorrelate(*small, window)[0])
        for factor in (4, 2, 1):
            small = [shrink(p, factor) for p in pictures]
            if banded:
                small = [band(p, 1.5) for p in small]
            h, w = small[0].shape
            centre = np.array([(w - 1) / 2, (h - 1) / 2])
            m = matrix.astype(np.float32)
            m[:, 2] = matrix[:, 2] / factor + centre - matrix[:, :2] @ centre
            stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 200, 1e-6)
            _, m = cv2.findTransformECC(small[0], small[1], m, model, stop, None, blur)
            matrix = np.asarray(m, np.float64)
            matrix[:, 2] = (matrix[:, 2] - centre + matrix[:, :2] @ centre) * factor
        return matrix

    return register


def by_phase(normalization: str | None, *, window: bool) -> Callable[[Case], Array]:
    """Find a shift by phase_cross_correlation, to a twentieth of a pixel."""

    def register(case: Case) -> Array:
        from skimage.registration import phase_cross_correlation

        pictures = [case.first, case.second]
        if window:
            hann = cv2.createHanningWindow(case.first.shape[::-1], cv2.CV_32F)
            pictures = [(p - p.mean()) * hann for p in pictures]
        shift, _, _ = phase_cross_correlation(
            *pictures, upsample_factor=20, normalization=normalization
        )
        return np.array([[1.0, 0.0, -shift[1]], [0.0, 1.0, -shift[0]]])

    return register


AFFINE, EUCLIDEAN, SHIFT = cv2.MOTION_AFFINE, cv2.MOTION_EUCLIDEAN, cv2.MOTION_TRANSLATION


def by_haltere(case: Case) -> Array:
    """Register as haltere does."""
    return register_pair(case.first, case.second).matrix


ANY: dict[str, Callable[[Case], Array]] = {
    "haltere": by_haltere,
    "ECC affine, blur 1": ecc(AFFINE, 1),
    "ECC affine, blur 5": ecc(AFFINE, 5),
    "ECC affine, bands, blur 1": ecc(AFFINE, 1, banded=True),
    "ECC affine, bands, blur 5": ecc(AFFINE, 5, banded=True),
    "ECC euclidean (no scale), blur 5": ecc(EUCLIDEAN, 5),
}
SHIFTS: dict[str, Callable[[Case], Array]] = {
    "haltere, all four numbers": by_haltere,
    "phase correlation, normalized": by_phase("phase", window=False),
    "phase correlation, normalized, Hann": by_phase("phase", window=True),
    "phase correlation, plain": by_phase(None, window=False),
    "phase correlation, plain, Hann": by_phase(None, window=True),
    "ECC shift, blur 5": ecc(SHIFT, 5),
}


def compare(cases: Sequence[Case], ways: dict[str, Callable[[Case], Array]]) -> None:
    """Print error and processor time of every way on the same cases, taken in turn."""
    misses: dict[str, list[float]] = {name: [] for name in ways}
    seconds: dict[str, list[float]] = {name: [] for name in ways}
    for way in ways.values():  # compiled and warm
        with suppress(cv2.error):
            way(cases[0])
    for case in cases:
        for name, way in ways.items():
            begun, found = time.process_time(), np.full((2, 3), np.nan)
            with suppress(cv2.error):
                found = way(case)
            seconds[name].append(time.process_time() - begun)
            misses[name].append(miss_px(case, found))
    print("\n| way | rms px | median | worst | within 0.1 px | ms a pair |")
    print("| --- | --- | --- | --- | --- | --- |")
    for name in ways:
        told = np.minimum(np.nan_to_num(np.array(misses[name]), nan=LOST_PX), LOST_PX)
        print(f"| {name} | {np.sqrt((told**2).mean()):.3f} | {np.median(told):.3f} | "
              f"{told.max():.3f} | {(told <= BAR_PX).sum()} of {told.size} | "
              f"{1000 * np.median(seconds[name]):.1f} |", flush=True)  # fmt: skip


def windows(folder: Path, names: Sequence[str], count: int, seed: int, disc_px: float) -> None:
    """Compare on windows of every picture named."""
    cv2.setNumThreads(1)
    for name in names:
        path = next(folder.parent.rglob(name), None)
        if path is None:
            print(f"\n{name}: not there")
            continue
        light = read_light(path)
        for title, shift_only in (("shift, turn and scale", False), ("shift only", True)):
            rng = np.random.default_rng([seed, int(shift_only)])
            cases = [cut_case(light, rng, disc_px, shift_only=shift_only) for _ in range(count)]
            h, w = cases[0].first.shape
            print(f"\n### {name}: {title}, discs to {disc_px:g} px, {count} pairs of {w} x {h} px")
            compare(cases, SHIFTS if shift_only else ANY)


class Cameras:
    """True cameras of a set."""

    def __init__(self, truth: dict[str, Any]) -> None:
        self.focal, self.centre = truth["focal_px"], np.array(truth["principal_point_px"])
        self.plane = truth["entrance_pupil_to_plane_mm"]
        self.at = np.array([f["camera_mm"] for f in truth["frames"]])
        self.turn = np.array([f["rotation"] for f in truth["frames"]])

    def see(self, k: int, points: Array) -> Array:
        """Pixels of points in frame k."""
        p = (points - self.at[k]) @ self.turn[k].T
        return np.asarray(self.focal * p[:, :2] / p[:, 2:] + self.centre)

    def before_plane(self, k: int, points: Array) -> Array:
        """How far points lie behind frame k's plane of focus, mm along its axis."""
        return np.asarray(((points - self.at[k]) @ self.turn[k].T)[:, 2] - self.plane)

    def on_plane(self, k: int, pixels: Array) -> Array:
        """Points of frame k's plane of focus that it shows at `pixels`."""
        rays = np.column_stack([(pixels - self.centre) / self.focal, np.ones(len(pixels))])
        return np.asarray(self.plane * rays @ self.turn[k] + self.at[k])


def surface(folder: Path, truth: dict[str, Any]) -> Array:
    """Points of animal and support that the truth's reference frame shows, mm."""
    png = truth["depth_png"]
    counts = cv2.imread(str(folder / "depth.png"), cv2.IMREAD_UNCHANGED)
    mask = cv2.imread(str(folder / "mask.png"), cv2.IMREAD_UNCHANGED)
    y, x = np.mgrid[2 : counts.shape[0] : 4, 2 : counts.shape[1] : 4]
    y, x = y.ravel(), x.ravel()
    its = (counts[y, x] != png["nothing"]) & (mask[y, x] >= 1)
    y, x = y[its], x[its]
    deep = counts[y, x] * png["scale_mm"] + png["depth_min_mm"]
    cams = Cameras(truth)
    k = truth["reference_index"]
    rays = np.column_stack([(np.column_stack([x, y]) - cams.centre) / cams.focal, np.ones(len(x))])
    return np.asarray(rays * (deep - cams.at[k, 2])[:, None] + cams.at[k])


def frame_misses(folder: Path, decoder: Decoder) -> tuple[Array, int]:
    """Solve a set and compare its faultless frames with the truth; also how many were left out.

    A row a frame: depths of field from the reference, miss, and miss beside the one before, px.
    """
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    frames = [f for f in find_frames([folder]).frames if f.name.startswith("frame_")]
    taken = capture(
        magnification=truth["magnification"], focal_mm=truth["focal_length_mm"],
        f_number=truth["f_number_marked"], picture_px=(truth["width_px"], truth["height_px"]),
        pixel_pitch_mm=truth["sensor_width_mm"] / truth["width_px"],
    )  # fmt: skip
    sweep = solve_sweep(frames, decoder, taken)
    sweep.close()
    index = {f["file"]: i for i, f in enumerate(truth["frames"])}
    cams, points = Cameras(truth), surface(folder, truth)
    dof = truth["depth_of_field_mm"]
    at = [f["position_mm"] / dof for f in truth["frames"]]
    home = index[sweep.frames[sweep.reference].name]
    centre, focal = cams.centre, sweep.focal_px

    def put(row: int, view: Array, deep: Array) -> Array:
        """Where the solution puts places of its reference view, full-size pixels."""
        return np.asarray(project(sweep.poses[row], view, deep, focal) / sweep.scale + centre)

    misses, left, before, beside = [], 0, -1, -1
    for row, frame in enumerate(sweep.frames):
        k = index[frame.name]
        if truth["frames"][k]["faults"]:
            continue
        if not sweep.usable[row]:
            left += 1
            continue
        seen = cams.see(k, points)
        inside = ((seen >= 0) & (seen <= 2 * centre)).all(axis=1)
        some = (np.abs(cams.before_plane(k, points)) <= dof / 2) & inside
        if some.sum() < LEAST_PLACES:
            continue
        on = cams.on_plane(k, seen[some])
        view = (cams.see(home, on) - centre) * sweep.scale
        deep = plane_depth(sweep.poses[row], view, focal)
        miss = put(row, view, deep) - seen[some]
        apart = np.nan
        if before >= 0:
            apart = rms(miss - (put(before, view, deep) - cams.see(beside, on)))
        misses.append((at[k] - at[home], rms(miss), apart))
        before, beside = row, k
    return np.array(misses), left


def rms(miss: Array) -> float:
    """Root mean square length of vectors."""
    return float(np.sqrt((miss**2).sum(axis=1).mean()))


def sweep_truth(folder: Path, decoder: Decoder) -> None:
    """Print how far a solved sweep's poses miss the truth."""
    misses, left = frame_misses(folder, decoder)
    away, alone, beside = misses.T
    all_ = alone, beside, alone[np.abs(away) <= 2]
    whole, near, close = (np.sqrt(np.nanmean(v**2)) for v in all_)
    print(f"| {folder.name} | {len(alone)} | {left} | {whole:.2f} | {np.median(alone):.2f} | "
          f"{alone.max():.2f} | {(alone <= SWEEP_BAR_PX).sum()} of {len(alone)} | {close:.2f} | "
          f"{near:.2f} | {np.nanmedian(beside):.2f} |", flush=True)  # fmt: skip


def main() -> None:
    """Print the tables asked for."""
    ask = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    ask.add_argument("--photos", type=Path)
    ask.add_argument("--pictures", nargs="+", default=list(PICTURES))
    ask.add_argument("--disc", type=float, nargs="+", default=[8.0, 16.0])
    ask.add_argument("--cases", type=int, default=30)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--truth", type=Path, nargs="+", default=[])
    said = ask.parse_args()
    print(f"commit {commit()}, seed {said.seed}")
    if said.photos:
        for disc_px in said.disc:
            windows(said.photos, said.pictures, said.cases, said.seed, disc_px)
    if said.truth:
        print("\n| set | frames | left out | rms px | median | worst | within 0.3 px | rms within "
              "2 depths of field of the reference | neighbours: rms | median |")  # fmt: skip
        print("| --- " * 10 + "|")
        with Decoder() as decoder:
            for folder in said.truth:
                sweep_truth(folder, decoder)


if __name__ == "__main__":
    main()
