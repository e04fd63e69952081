"""How long a person waits for a repair: a region of a picture of 20 megapixels, from a JPEG frame.

    python benchmarks/repair_speed.py [TIMES]

Prints the share of the picture, the median time of the full-size region (frame decoded, carried
over, blended; the decoder is running, as it is when a second repair is asked for), the time of
writing the whole file, which is a job of its own, and the processor time of a region, which other
work on the machine matters less to.
"""

from __future__ import annotations

import resource
import statistics
import sys
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np

from haltere.frames import Decoder, Frame, Shooting, write_jpeg, write_map, write_picture
from haltere.merge.patch import polygon_mask
from haltere.merge.repairing import Region, render_part, render_repairs
from haltere.merge.views import View, Views

WIDTH_PX, HEIGHT_PX = 5472, 3648


def main() -> None:
    times = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    rng = np.random.default_rng(0)
    grain = rng.normal(0, 9, (HEIGHT_PX, WIDTH_PX, 3)).astype(np.float32)
    soft = cv2.resize(rng.uniform(30, 220, (228, 342, 3)).astype(np.float32), (WIDTH_PX, HEIGHT_PX))
    rgb = np.clip(soft + cv2.GaussianBlur(grain, (0, 0), 0.7), 0, 255).astype(np.uint8)
    side = (0.05 * WIDTH_PX * HEIGHT_PX) ** 0.5
    x0, y0 = 2000.0, 1200.0
    corners = [(x0, y0), (x0 + side, y0), (x0 + side, y0 + side), (x0, y0 + side)]
    with tempfile.TemporaryDirectory() as name, Decoder(1) as decoder:
        place = Path(name)
        write_jpeg(place / "frame.jpg", rgb, None, quality=90)
        write_picture(place / "picture.tif", rgb.astype(np.uint16) * 257, None)
        write_jpeg(place / "picture.jpg", rgb, None)
        write_map(place / "origin.tif", np.zeros((HEIGHT_PX, WIDTH_PX), np.uint16))
        path = place / "frame.jpg"
        mib = path.stat().st_size / 1e6
        frame = Frame(path, path.name, "jpeg", WIDTH_PX, HEIGHT_PX, 1, Shooting())
        pose = (3.0, -2.0, 0.01, 4.0, 1.0, 0.002)
        size = (WIDTH_PX, HEIGHT_PX)
        view = View(path.name, str(path), None, pose, 1.02)
        views = Views(size, (0, 0, *size), (1600, 1067), 16000.0, 0.002, 90.0, False, (view,))
        region = Region(0, polygon_mask(corners, size))
        waits, spent = [], []
        for _ in range(times + 1):
            begun, before = time.monotonic(), time.process_time()
            render_part(place, views, [region], {0: frame}, decoder)
            waits.append(time.monotonic() - begun)
            spent.append(time.process_time() - before)
        begun = time.monotonic()
        render_repairs(place, views, [region], {0: frame}, decoder, "one")
        whole = time.monotonic() - begun
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    decoding = (used.ru_utime + used.ru_stime) / (times + 2)
    share = side * side / (WIDTH_PX * HEIGHT_PX)
    print(
        f"{100 * share:.1f} % of {WIDTH_PX * HEIGHT_PX / 1e6:.0f} megapixels from a JPEG of "
        f"{mib:.1f} MB: median {statistics.median(waits[1:]):.2f} s of {times}, first "
        f"{waits[0]:.2f} s; the whole file {whole:.1f} s\nprocessor time of a region: "
        f"{statistics.median(spent[1:]):.2f} s, and at most {decoding:.2f} s of decoding"
    )


if __name__ == "__main__":
    main()
