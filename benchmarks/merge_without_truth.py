"""How much of what the frames hold does a merge hold? Told where nobody knows the truth.

    python benchmarks/merge_without_truth.py --test
    python benchmarks/merge_without_truth.py [--made FOLDER] SERIES [SERIES ...]

A series is a folder of frames that need no registration to each other (a stage that moves, not a
hand), or whose merges may be held against frames as they lie. Each is merged by haltere and by the
plain recipe of `plain_recipe.py`; both are measured against all frames, within the crop of the
first. `--made` writes a series first: a real photograph whose depth was measured (the stereo pair
of a motorcycle that comes with scikit-image), blurred layer by layer as twelve planes of focus
would show it, near layers over far ones. None of the measures knows what is right: they reward
noise and halos that the frames hold.

q_abf    edges kept in strength and direction, weighted by strength (Xydeas & Petrovic, Electronics
         Letters 36(4), 2000), their constants, over what identical pictures get.
q_mi     mutual information over the sum of entropies (Hossny, Nahavandi & Creighton, Electronics
         Letters 44(18), 2008), 256 levels; mean over frames, so that identical pictures get 1.
q, q_w, q_e
         universal quality index (Wang & Bovik, IEEE Signal Processing Letters 9(3), 2002) in 7 x 7
         windows, weighted by each frame's share of variance; the same with windows weighted by
         their largest variance; and that times the same of the edge pictures (Piella & Heijmans,
         A new quality metric for image fusion, ICIP 2003; exponent 1).

All from memory. The papers have two frames; here sums run over all of them, which is the same
where there are two.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from plain_recipe import merge_plainly
from truth_view import luma, read_rgb

from haltere.errors import HaltereError
from haltere.frames import Decoder, find_frames
from haltere.kit import capture
from haltere.merge import merge_sweep
from haltere.sweeps import solve_sweep

Floats = NDArray[np.float64]
STRENGTH = (0.9994, -15.0, 0.5)  # height, steepness and place of the step: strength of an edge
TURN = (0.9879, -22.0, 0.8)  # and its direction
WINDOW_PX = 7
TINY = 1e-12
PLANES, LAYERS, BLUR_PX = 12, 24, 0.25  # of the made series; radius for a pixel of disparity


def _edges(picture: Floats) -> tuple[Floats, Floats]:
    """Strength and direction (-90 to 90 degrees, radians) of edges by Sobel."""
    across = cv2.Sobel(picture, cv2.CV_64F, 1, 0, borderType=cv2.BORDER_REFLECT)
    down = cv2.Sobel(picture, cv2.CV_64F, 0, 1, borderType=cv2.BORDER_REFLECT)
    flat = across == 0
    steep = np.where(down == 0, 0.0, np.sign(down) * np.pi / 2)
    turn = np.where(flat, steep, np.arctan(down / np.where(flat, 1.0, across)))
    return np.hypot(across, down), turn


def _step(value: Floats | float, numbers: tuple[float, float, float]) -> Floats | float:
    height, steep, at = numbers
    return height / (1 + np.exp(steep * (value - at)))


def edges_kept(frames: Sequence[Floats], merged: Floats) -> float:
    """Edge preservation of Xydeas & Petrovic, 1 where all pictures are one."""
    strength, turn = _edges(merged)
    total = weights = 0.0
    for frame in frames:
        own, direction = _edges(frame)
        more, less = np.maximum(own, strength), np.minimum(own, strength)
        ratio = np.where(more > 0, less / np.maximum(more, TINY), 1.0)
        along = np.abs(np.abs(direction - turn) - np.pi / 2) / (np.pi / 2)
        total += float((_step(ratio, STRENGTH) * _step(along, TURN) * own).sum())
        weights += float(own.sum())
    best = float(_step(1.0, STRENGTH) * _step(1.0, TURN))
    return total / weights / best if weights else 1.0


def _entropy(shares: Floats) -> float:
    some = shares[shares > 0]
    return float(-(some * np.log2(some)).sum())


def shared_information(frames: Sequence[Floats], merged: Floats) -> float:
    """Normalised mutual information, 1 where all pictures are one."""
    codes = np.clip(np.rint(merged * 255), 0, 255).ravel()
    found = []
    for frame in frames:
        own = np.clip(np.rint(frame * 255), 0, 255).ravel()
        both = np.histogram2d(own, codes, bins=256, range=[[0, 256], [0, 256]])[0] / own.size
        one, other = _entropy(both.sum(1)), _entropy(both.sum(0))
        found.append(2 * (one + other - _entropy(both.ravel())) / max(one + other, TINY))
    return float(np.mean(found))


def _mean(picture: Floats) -> Floats:
    return np.asarray(
        cv2.boxFilter(picture, -1, (WINDOW_PX, WINDOW_PX), borderType=cv2.BORDER_REFLECT)
    )


def _quality(frames: Sequence[Floats], merged: Floats) -> tuple[float, float]:
    """Piella & Heijmans' index, plain and weighted by the largest variance of each window."""
    level = _mean(merged)
    spread = np.maximum(_mean(merged**2) - level**2, 0)
    index, shares = np.zeros_like(merged), np.zeros_like(merged)
    even, largest = np.zeros_like(merged), np.zeros_like(merged)
    for frame in frames:
        own = _mean(frame)
        variance = np.maximum(_mean(frame**2) - own**2, 0)
        both = _mean(frame * merged) - own * level
        light = (2 * own * level + TINY) / (own**2 + level**2 + TINY)
        agreed = light * (2 * both + TINY) / (variance + spread + TINY)
        index += variance * agreed
        shares += variance
        even += agreed / len(frames)
        largest = np.maximum(largest, variance)
    found = np.where(shares > TINY, index / np.maximum(shares, TINY), even)
    if largest.sum() > 0:
        return float(found.mean()), float((found * largest).sum() / largest.sum())
    return float(found.mean()), float(found.mean())


def measures(frames: Sequence[Floats], merged: Floats) -> dict[str, float]:
    """All measures of a merge of frames, luma on 0..1."""
    plain, weighted = _quality(frames, merged)
    _, edges = _quality([_edges(one)[0] for one in frames], _edges(merged)[0])
    return {
        "q_abf": edges_kept(frames, merged),
        "q_mi": shared_information(frames, merged),
        "q": plain,
        "q_w": weighted,
        "q_e": weighted * edges,
    }


def make(folder: Path) -> None:
    """Write twelve frames of a photograph with measured depth, focused from near to far."""
    from skimage import data

    photo, _, disparity = data.stereo_motorcycle()
    known = np.isfinite(disparity) & (disparity > 0)
    depth = np.where(known, disparity, np.median(disparity[known])).astype(np.float32)
    depth = cv2.medianBlur(depth, 5)
    levels = np.linspace(depth.min(), depth.max(), LAYERS)
    within = np.abs(depth[..., None] - levels).argmin(2)
    light = (photo.astype(np.float32) / 255) ** 2.2
    rng = np.random.default_rng(7)
    folder.mkdir(parents=True, exist_ok=True)
    for number, focus in enumerate(np.linspace(levels[-1], levels[0], PLANES)):
        seen = np.zeros_like(light)
        for layer in range(LAYERS):  # far to near: disparity grows
            radius = max(0.3, BLUR_PX * abs(levels[layer] - focus))
            side = 2 * int(np.ceil(radius)) + 1
            y, x = np.mgrid[:side, :side] - side // 2
            disc = np.clip(radius + 0.5 - np.hypot(x, y), 0, 1).astype(np.float32)
            disc /= disc.sum()
            # what lies behind an edge is continued under it, not black
            here = (within >= layer).astype(np.float32)
            cover = cv2.filter2D(here, -1, disc, borderType=cv2.BORDER_REFLECT)[..., None]
            own = (within == layer).astype(np.float32)[..., None]
            around = cv2.GaussianBlur(own, (0, 0), 8)[..., None]
            fill = cv2.GaussianBlur(light * own, (0, 0), 8) / np.maximum(around, 1e-4)
            whole = np.where(own > 0, light, fill)
            blurred = cv2.filter2D(whole, -1, disc, borderType=cv2.BORDER_REFLECT)
            seen = seen * (1 - cover) + blurred * cover
        noisy = np.clip(seen, 0, 1) ** (1 / 2.2) + rng.normal(0, 1.5 / 255, seen.shape)
        codes = np.clip(np.rint(noisy * 255), 0, 255).astype(np.uint8)
        name = str(folder / f"M_{number:04d}.jpg")
        cv2.imwrite(name, codes[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 95])


def identities() -> bool:
    """Tell whether the measures do on made pictures what their definitions say."""
    rng = np.random.default_rng(3)
    grain = cv2.GaussianBlur(rng.normal(size=(160, 200)), (0, 0), 1.2)
    sharp = np.clip(0.5 + 0.16 * grain / grain.std(), 0, 1)
    soft = cv2.GaussianBlur(sharp, (0, 0), 3)
    half = np.arange(200)[None, :] < 100
    two = [np.where(half, sharp, soft), np.where(half, soft, sharp)]
    same = measures([sharp, sharp], sharp)
    right, mean = measures(two, sharp), measures(two, (two[0] + two[1]) / 2)
    noise, turned = measures(two, rng.random(sharp.shape)), measures(two[::-1], sharp)
    good = all(abs(value - 1) < 1e-9 for value in same.values())
    for name in right:
        good &= right[name] > mean[name] > noise[name]
        good &= abs(right[name] - turned[name]) < 1e-12
    return good


def judge(folder: Path, decoder: Decoder) -> dict[str, dict[str, float]]:
    """Measures of haltere's merge and of the plain recipe's, over one series."""
    frames = find_frames([folder]).frames
    size = (frames[0].width_px, frames[0].height_px)
    with tempfile.TemporaryDirectory() as tmp:
        sweep = solve_sweep(frames, decoder, capture(picture_px=size))
        with sweep.lumas:
            merge = merge_sweep(sweep, decoder, Path(tmp, "merge"), keep_share=0.0)
            index = sweep.reference
        plain = merge_plainly(frames, decoder, Path(tmp, "plain"), index)
        x0, y0, x1, y1 = merge.crop_px
        grey = [luma(read_rgb(frame.path))[y0:y1, x0:x1].copy() for frame in frames]
        ours = luma(read_rgb(Path(tmp, "merge", merge.picture)))
        theirs = luma(read_rgb(Path(tmp, "plain", plain.picture)))[y0:y1, x0:x1].copy()
    return {"merge": measures(grey, ours), "plain": measures(grey, theirs)}


def main() -> None:
    """Print a table, or the identities."""
    ask = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    ask.add_argument("series", nargs="*", type=Path)
    ask.add_argument("--made", type=Path)
    ask.add_argument("--test", action="store_true")
    said = ask.parse_args()
    if said.test:
        print("identities hold" if identities() else "identities FAIL")
        sys.exit(0 if identities() else 1)
    if said.made is not None:
        make(said.made)
    heads = ("series", "way", "q_abf", "q_mi", "q", "q_w", "q_e")
    print("| " + " | ".join(heads) + " |\n" + "| --- " * len(heads) + "|")
    with Decoder() as decoder:
        for folder in said.series:
            try:
                found = judge(folder, decoder)
            except HaltereError as error:
                print(f"| {folder.name} | {error} | | | | | |")
                continue
            for way, row in found.items():
                figures = " | ".join(f"{value:.3f}" for value in row.values())
                print(f"| {folder.name} | {way} | {figures} |", flush=True)


if __name__ == "__main__":
    main()
