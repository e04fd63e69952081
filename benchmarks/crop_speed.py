"""How long a picture of 20 megapixels takes to say what a crop carries.

    python benchmarks/crop_speed.py MERGED [MEGAPIXELS]

Enlarges the maps of a merge (`haltere merge --out MERGED`) to 20 megapixels unless said, in a
temporary folder, and asks five crops of it, the whole picture first.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import tifffile
from PIL import Image

from haltere.evening.settled import budget_of
from haltere.finish.crop import crop_box
from haltere.finish.source import sources_of
from haltere.frames import write_map
from haltere.kit import Capture
from haltere.merge.views import read_views, write_views


def enlarge(merged: Path, out: Path, megapixels: float) -> tuple[int, int]:
    """Write a merge with larger maps; give its size."""
    views, _ = read_views(merged)
    depth = np.asarray(tifffile.imread(merged / "depth.tif"), np.float32)
    times = (megapixels * 1e6 / depth.size) ** 0.5
    size = (round(depth.shape[1] * times), round(depth.shape[0] * times))
    for name in ("depth.tif", "confidence.tif"):
        one = np.asarray(tifffile.imread(merged / name), np.float32)
        large = np.asarray(cv2.resize(one, size, interpolation=cv2.INTER_NEAREST), np.float32)
        write_map(out / name, large)
    Image.new("RGB", size).save(out / "picture.tif")
    (out / "result.json").write_bytes((merged / "result.json").read_bytes())
    x0, y0 = (round(times * one) for one in views.crop_px[:2])
    full = (round(times * views.size_px[0]), round(times * views.size_px[1]))
    box = (x0, y0, x0 + size[0], y0 + size[1])
    write_views(replace(views, size_px=full, crop_px=box, mm_per_px=0.002), out)
    return size


def main() -> None:
    megapixels = float(sys.argv[2]) if len(sys.argv) > 2 else 20.0
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False
    ).stdout.strip()
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder)
        size = enlarge(Path(sys.argv[1]), out, megapixels)
        source = sources_of(out)[0]
        capture = Capture(1.8, 100.0, 8.0, 1.0, 90.0, 0.03, 0.0033, "given")
        print(f"commit {commit}, {size[0]} x {size[1]} px")
        for crop in ("whole", "3:2", "1:1", "1000,800,2000,1500", "2000,1500,600,400"):
            begun = time.perf_counter()
            budget = budget_of(source, crop_box(size, crop), capture)
            print(f"{crop}: {time.perf_counter() - begun:.2f} s, {budget.text}")


if __name__ == "__main__":
    main()
