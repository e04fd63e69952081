"""The merge to beat: affine registration and a Laplacian pyramid of the largest details.

    python benchmarks/plain_recipe.py FOLDER OUT

Frames are registered to the middle one by maximising the enhanced correlation coefficient
(Evangelidis & Psarakis 2008), each starting from its neighbour's result; then each coefficient
of a Laplacian pyramid (Burt & Adelson 1983) is taken from the frame where it is largest in luma
(Burt & Kolczynski 1993), the base is the mean.  Nothing is judged and nothing is repaired.
"""

from __future__ import annotations

import json
import sys
import time
from dataclasses import asdict
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.frames import Decoder, Frame, find_frames, write_map, write_picture
from haltere.merge import LeftOut, Merge
from haltere.merge.sweep import peak_mib

Floats = NDArray[np.float64]
Map = NDArray[np.float32]
LUMA = np.array([0.2126, 0.7152, 0.0722], np.float32)
WORK_PX = 1300
DETAILS_FOR_ORIGIN = 3


def colour(decoder: Decoder, frame: Frame) -> Map:
    """Code values 0..1 of a frame."""
    pixels = decoder.rgb(frame).array
    return pixels.astype(np.float32) / np.float32(np.iinfo(pixels.dtype).max)


def shrunk(grey: Map, size: float) -> Map:
    if size == 1:
        return grey
    height, width = (max(8, round(side * size)) for side in grey.shape)
    return np.asarray(cv2.resize(grey, (width, height), interpolation=cv2.INTER_AREA))


def registered(fixed: Map, moving: Map, start: Floats, sizes: list[float]) -> Floats | None:
    """Map of pixels of `fixed` to `moving`, from coarse to fine; None when it fails."""
    found = start
    for size in sizes:
        middle = 0.5 * size - 0.5
        down = np.array([[size, 0, middle], [0, size, middle], [0, 0, 1.0]])
        guess = (down @ found @ np.linalg.inv(down))[:2].astype(np.float32)
        stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 60, 1e-5)
        try:
            _, guess = cv2.findTransformECC(
                shrunk(fixed, size), shrunk(moving, size), guess, cv2.MOTION_AFFINE, stop, None, 5
            )
        except cv2.error:
            return None
        found = np.linalg.inv(down) @ np.vstack([guess, [0, 0, 1]]) @ down
    return found


def details(picture: Map, levels: int) -> tuple[list[Map], Map]:
    """Laplacian pyramid: details from fine to coarse, and the base."""
    bands = []
    for _ in range(levels):
        small = cv2.pyrDown(picture)
        bands.append(picture - cv2.pyrUp(small, dstsize=picture.shape[1::-1]))
        picture = small
    return bands, picture


def register_all(frames: tuple[Frame, ...], decoder: Decoder, middle: int) -> dict[int, Floats]:
    """Affine map from frame `middle` to every frame that can be registered."""
    fixed = colour(decoder, frames[middle]) @ LUMA
    top = 1.0
    while max(fixed.shape) * top > WORK_PX:
        top /= 2
    sizes = [top / 4, top / 2, top]
    maps = {middle: np.eye(3)}
    for order in (range(middle - 1, -1, -1), range(middle + 1, len(frames))):
        start = np.eye(3)
        for k in order:
            found = registered(fixed, colour(decoder, frames[k]) @ LUMA, start, sizes)
            if found is not None:
                maps[k] = start = found
    return maps


class LargestDetails:
    """Keeps, of all pictures given, the largest detail at every place and level."""

    def __init__(self, shape: tuple[int, int]) -> None:
        self.levels = max(3, int(np.log2(min(shape))) - 4)
        self.size = shape[::-1]
        self.best: list[Map] = []
        self.kept: list[Map] = []
        self.base: Map | None = None
        self.sharpest = np.full(shape, -1, np.float32)
        self.origin = np.full(shape, 65535, np.uint16)
        self.count = 0

    def add(self, picture: Map) -> None:
        """Take what is largest in one more picture."""
        bands, base = details(picture, self.levels)
        strength = [np.abs(one @ LUMA) for one in bands]
        if self.base is None:
            self.best, self.kept, self.base = strength, bands, base
        else:
            self.base += base
            for level, strong in enumerate(strength):
                better = strong > self.best[level]
                self.best[level][better] = strong[better]
                self.kept[level][better] = bands[level][better]
        sharp = sum(cv2.resize(one, self.size) for one in strength[:DETAILS_FOR_ORIGIN])
        sharp = cv2.GaussianBlur(np.asarray(sharp), (0, 0), 3)
        better = sharp > self.sharpest
        self.sharpest[better] = sharp[better]
        self.origin[better] = self.count
        self.count += 1

    def picture(self) -> Map:
        """Put the kept details together."""
        assert self.base is not None
        whole = self.base / self.count
        for kept in reversed(self.kept):
            whole = cv2.pyrUp(whole, dstsize=kept.shape[1::-1]) + kept
        return np.clip(whole, 0, 1)


def merge_plainly(
    frames: tuple[Frame, ...], decoder: Decoder, out: Path, reference: int | None = None
) -> Merge:
    """Merge frames of one sweep by the plain recipe, seen from the middle one or another."""
    begun = time.monotonic()
    chosen = len(frames) // 2 if reference is None else reference
    maps = register_all(frames, decoder, chosen)
    middle = frames[chosen]
    size = (middle.width_px, middle.height_px)
    largest = LargestDetails(size[::-1])
    flags = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    for k in sorted(maps):
        picture = colour(decoder, frames[k])
        warped = cv2.warpAffine(
            picture, maps[k][:2], size, flags=flags, borderMode=cv2.BORDER_REFLECT
        )
        largest.add(np.asarray(warped, np.float32))
    out.mkdir(parents=True, exist_ok=True)
    write_picture(out / "picture.tif", np.rint(largest.picture() * 65535).astype(np.uint16), None)
    write_map(out / "origin.tif", largest.origin)
    write_map(out / "depth.tif", np.full(size[::-1], np.nan, np.float32))
    lost = [frame.name for k, frame in enumerate(frames) if k not in maps]
    return Merge(
        picture="picture.tif",
        picture_jpeg="",
        origin_map="origin.tif",
        depth_map="depth.tif",
        confidence_map="",
        seen_map="",
        views="",
        kept_share=1.0,
        depth_unit="dof",
        reference=middle.name,
        frames_used=tuple(frames[k].name for k in sorted(maps)),
        left_out=tuple(LeftOut(name, "registration failed") for name in lost),
        crop_px=(0, 0, *size),
        suspicious=(),
        seconds=time.monotonic() - begun,
        peak_mib=peak_mib(),
    )


def main() -> None:
    folder, out = Path(sys.argv[1]), Path(sys.argv[2])
    # the truth's own pictures lie beside the frames and are none
    frames = tuple(f for f in find_frames([folder]).frames if f.kind == "jpeg")
    with Decoder() as decoder:
        merge = merge_plainly(frames, decoder, out)
    (out / "result.json").write_text(json.dumps(asdict(merge), indent=1))
    print(f"{len(merge.frames_used)} frames, {merge.seconds:.1f} s, {merge.peak_mib:.0f} MiB")


if __name__ == "__main__":
    main()
