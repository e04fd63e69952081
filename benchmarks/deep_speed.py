"""How soon 20 megapixels are laid open on the bench, and how long a patch keeps waiting.

    python benchmarks/deep_speed.py [FRAMES]

Makes a book with a sweep of FRAMES pictures of 5472 x 3648 px (17 unless said; noise and texture,
some 8 MB each, seed 0) and a merge of them whose views are made up, opens the bench on it and asks
as a page would, over three connections: all tiles that fill a window of 1400 x 1000 px of a frame
that was not opened before, then tiles of it one by one, of half and of full size in turn: of every
second frame the moment that the view is there, of the others after the shortest pause of a person;
the first tile of a frame and all after it are told apart. Then what lies under a patch of 5 % of
the picture, how it looks from each frame, which frame is sharpest there, and the patch itself.
Medians and worst cases; the decoding processes run already, as on any page that showed a frame
before.
"""

from __future__ import annotations

import json
import statistics
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import cv2
import numpy as np
from bench_opened import Bench, heading, opened

from haltere.fieldbook import (
    frame_ids,
    keep_frames,
    keep_runs,
    open_book,
    place_outing,
    record,
    step_key,
)
from haltere.frames import find_frames, write_jpeg, write_map, write_picture
from haltere.merge.merged import Merge
from haltere.merge.views import View, Views, write_views
from haltere.runs.run import Run

WIDTH_PX, HEIGHT_PX = 5472, 3648
PAUSE_S = 0.1
"""Nobody zooms sooner: between seeing something and pressing a key lie some 0.2 s even where one
waits for it (simple reaction to light; Woodworth and Schlosberg 1954, from memory), half of which
is taken off for the sake of safety."""

WINDOW_LEVEL = 2
"""Quarter size: the first at which a window of 1400 x 1000 px is filled."""


def write_frames(folder: Path, count: int) -> None:
    """Write noisy pictures of texture, each shifted a little and written anew."""
    rng = np.random.default_rng(0)
    grain = rng.normal(0, 9, (HEIGHT_PX, WIDTH_PX, 3)).astype(np.float32)
    soft = cv2.resize(rng.uniform(30, 220, (228, 342, 3)).astype(np.float32), (WIDTH_PX, HEIGHT_PX))
    rgb = np.clip(soft + cv2.GaussianBlur(grain, (0, 0), 0.7), 0, 255).astype(np.uint8)
    folder.mkdir()
    for number in range(count):
        shifted = np.ascontiguousarray(np.roll(rgb, 7 * number, 1))
        write_jpeg(folder / f"L_{number:04d}.JPG", shifted, None, quality=90)


def make_book(folder: Path, shot: Path) -> tuple[list[int], float]:
    """Write the frames down as a merged sweep; gives their numbers and the size of one, MB."""
    frames = find_frames([shot]).frames
    out = folder / "derived" / "1" / "run-01"
    out.mkdir(parents=True)
    names = tuple(frame.name for frame in frames)
    views = tuple(
        View(frame.name, str(frame.path), None, (0.5 * k, -0.3 * k, 0.002 * k, 0.0, 0.0, 0.0), 1.0)
        for k, frame in enumerate(frames)
    )
    size = (WIDTH_PX, HEIGHT_PX)
    write_views(Views(size, (0, 0, *size), (1600, 1067), 16000.0, 0.002, 90.0, False, views), out)
    rgb = cv2.cvtColor(cv2.imread(str(frames[0].path)), cv2.COLOR_BGR2RGB)
    write_picture(out / "picture.tif", np.asarray(rgb, np.uint16) * 257, None)
    write_jpeg(out / "picture.jpg", np.asarray(rgb, np.uint8), None)
    write_map(out / "origin.tif", np.zeros((HEIGHT_PX, WIDTH_PX), np.uint16))
    write_map(out / "depth.tif", np.full((HEIGHT_PX, WIDTH_PX), 0.5, np.float32))
    write_map(out / "confidence.tif", np.ones((HEIGHT_PX, WIDTH_PX), np.float32))
    write_map(out / "seen.tif", np.full((HEIGHT_PX, WIDTH_PX), 255, np.uint8))
    merge = Merge(
        "picture.tif", "picture.jpg", "origin.tif", "depth.tif", "confidence.tif", "seen.tif",
        "views.json", "mm", names[0], names, (), (0, 0, *size), 1.0, (), 1.0, 1.0,
    )  # fmt: skip
    made = [one for one in out.iterdir() if one.is_file()]
    with open_book(folder) as book:
        outing = place_outing(book, shot, "large", in_place=True)
        keep_frames(book, outing, frames)
        keep_runs(book, outing, (Run("run-01", "sweep", names, (), ""),))
        record(book, outing, "merge", "run-01", step_key("merge", frames, {}), {}, merge, made)
        ids = frame_ids(book, outing)
    return [ids[name] for name in names], frames[0].path.stat().st_size / 1e6


def told(what: str, times: list[float]) -> None:
    """Print a median and the worst case."""
    print(f"{what}: median {statistics.median(times):.0f} ms, worst {max(times):.0f} ms")


def look(page: Bench, numbers: list[int]) -> None:
    """Lay frames open, and zoom into them."""
    page.ms(f"/api/frames/{numbers[0]}/tiles/{WINDOW_LEVEL}/0/0")
    views: list[float] = []
    at_once: list[float] = []
    after_pause: list[float] = []
    nexts: list[float] = []
    wide, high = -(-WIDTH_PX // (512 << WINDOW_LEVEL)), -(-HEIGHT_PX // (512 << WINDOW_LEVEL))
    for turn, number in enumerate(numbers[1:]):
        tiles = [
            f"/api/frames/{number}/tiles/{WINDOW_LEVEL}/{x}/{y}"
            for x in range(wide)
            for y in range(high)
        ]
        begun = time.perf_counter()
        with ThreadPoolExecutor(3) as connections:
            list(connections.map(page.ms, tiles))
        views.append(1000 * (time.perf_counter() - begun))
        zooms, level = (at_once, after_pause)[turn % 2], turn // 2 % 2
        time.sleep(PAUSE_S * (turn % 2))
        zooms.append(page.ms(f"/api/frames/{number}/tiles/{level}/1/2")[0])
        nexts += [page.ms(f"/api/frames/{number}/tiles/0/{x}/3")[0] for x in range(5)]
    told(f"first view of a frame, {wide * high} tiles", views)
    told("its first nearer tile, asked at once", at_once)
    told(f"its first nearer tile, asked {1000 * PAUSE_S:.0f} ms later", after_pause)
    told("a tile of it after that", nexts)


def patch(page: Bench, numbers: list[int]) -> None:
    """Put a patch on the merged picture."""
    side = (0.05 * WIDTH_PX * HEIGHT_PX) ** 0.5
    x0, y0 = 2000.0, 1200.0
    around = [[x0, y0], [x0 + side, y0], [x0 + side, y0 + side], [x0, y0 + side]]
    around = [[round(x, 1), round(y, 1)] for x, y in around]
    said = ";".join(f"{x},{y}" for x, y in around)
    where = "/api/outings/1/runs/run-01/patches"
    told("what lies under a patch", [page.ms(f"{where}/under", {"around": around})[0]
                                     for _ in range(3)])  # fmt: skip
    told(
        "a patch of 5 % seen from one frame",
        [page.ms(f"{where}/preview?around={said}&frame={n}")[0] for n in numbers],
    )
    print(f"sharpest of {len(numbers)} frames: "
          f"{page.ms(f'{where}/sharpest', {'around': around})[0] / 1000:.1f} s")  # fmt: skip
    begun = time.perf_counter()
    _, came = page.ms(where, {"around": around, "frame": numbers[2]})
    number = json.loads(came)["standing"][0]["number"]
    page.ms(f"{where}/{number}/look?rev=1")
    print(f"patch put and shown: {1000 * (time.perf_counter() - begun):.0f} ms")


def processor_time(path: Path) -> None:
    """Print what each part of opening a frame costs a processor, whatever else is running."""
    from haltere.doors.bench.pyramid import pyramid, tile
    from haltere.frames.decode import decode
    from haltere.frames.frame import Pixels
    from haltere.show.pictures import srgb_array

    cv2.setNumThreads(1)
    got = decode(path, "jpeg", 1, "rgb", None)
    pixels = Pixels(got.array, got.scale, got.linear, got.icc)
    levels = pyramid(srgb_array(pixels))
    parts = {
        "decode to a quarter": lambda: decode(path, "jpeg", 1, "rgb", WIDTH_PX >> WINDOW_LEVEL),
        "decode": lambda: decode(path, "jpeg", 1, "rgb", None),
        "colours": lambda: srgb_array(pixels),
        "halvings": lambda: pyramid(levels[0]),
        "a tile": lambda: tile(levels, WINDOW_LEVEL, 0, 0),
    }
    costs = []
    for name, do in parts.items():
        times = []
        for _ in range(5):
            begun = time.thread_time()
            do()
            times.append(time.thread_time() - begun)
        costs.append(f"{name} {1000 * min(times):.0f} ms")
    print(f"processor time: {', '.join(costs)}")


def main() -> None:
    """Make the book, open the bench, ask."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 17
    print(heading(f"seed 0, {count} frames"))
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        write_frames(folder / "frames", count)
        numbers, size_mb = make_book(folder / "book", folder / "frames")
        print(f"{WIDTH_PX} x {HEIGHT_PX} px, {size_mb:.1f} MB each")
        processor_time(next(iter(sorted((folder / "frames").glob("*.JPG")))))
        with opened(folder / "book") as bench:
            look(bench, numbers)
            patch(bench, numbers)


if __name__ == "__main__":
    main()
