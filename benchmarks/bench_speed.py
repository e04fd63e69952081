"""How fast the bench shows an outing of many frames.

    python benchmarks/bench_speed.py FRAMES_FOLDER [COUNT]

Copies the pictures of a folder (those of `haltere demo --out demo` lie in demo/card/frames) with
new times into a book of COUNT frames (2,000 unless said) in bursts of 20, shifted by some pixels
and written anew so that no two files are alike (seed 1), each with a small picture of 160 px
inside as cameras write it. Prints what the server takes for the lists, for the first and the
second look at a frame and for tiles; and, where there is a Chromium, when the browser has painted
the first run, the longest frame while it scrolls, and how long a burst takes to be decided by
keyboard.
"""

from __future__ import annotations

import statistics
import struct
import sys
import tempfile
import time
from datetime import datetime, timedelta
from pathlib import Path

import cv2
import numpy as np
import simplejpeg
from bench_opened import Bench, heading, opened, seen

from haltere.fieldbook import keep_frames, keep_runs, open_book, place_outing
from haltere.frames import find_frames
from haltere.frames.exif import packed
from haltere.frames.tags import Tag
from haltere.runs.run import Run

PER_BURST = 20
THUMB = 160
AREA = cv2.INTER_AREA


def write_frames(source: Path, out: Path, count: int) -> None:
    """Write COUNT shifted copies with times a fifth of a second apart, bursts a minute apart."""
    rng = np.random.default_rng(1)
    found = sorted(source.glob("*.JPG"))
    if not found:
        sys.exit(f"{source}: holds no JPG")
    out.mkdir()
    for first, path in enumerate(found):  # each is decoded once
        picture = simplejpeg.decode_jpeg(path.read_bytes())
        height, width = picture.shape[:2]
        small = cv2.resize(picture, (THUMB, round(THUMB * height / width)), interpolation=AREA)
        thumb = simplejpeg.encode_jpeg(small, quality=85)
        for number in range(first, count, len(found)):
            shift = [int(one) for one in rng.integers(-9, 10, 2)]
            moved = np.ascontiguousarray(np.roll(picture, shift, (0, 1)))
            data = simplejpeg.encode_jpeg(moved, quality=88)
            exif = exif_of(number, thumb)
            head = b"\xff\xe1" + (len(exif) + 2).to_bytes(2, "big") + exif
            (out / f"M_{number:05d}.JPG").write_bytes(data[:2] + head + data[2:])


def exif_of(number: int, thumb: bytes) -> bytes:
    """Say when a frame was taken, and carry a small picture as cameras do."""
    burst, place = divmod(number, PER_BURST)
    moment = datetime(2031, 6, 14, 5, 30) + timedelta(minutes=burst, seconds=0.2 * place)

    def long(value: int) -> Tag:
        return Tag(4, 1, struct.pack("<I", value), "<")

    def words(text: str) -> Tag:
        return Tag(2, len(text) + 1, text.encode() + b"\0", "<")

    inner = {
        0x9003: words(moment.strftime("%Y:%m:%d %H:%M:%S")),
        0x9291: words(f"{moment.microsecond // 10000:02d}"),
    }
    inner_at = 8 + len(packed({0x8769: long(0)}, 8))
    second_at = inner_at + len(packed(inner, inner_at))
    second = {0x0201: long(0), 0x0202: long(len(thumb))}
    second[0x0201] = long(second_at + len(packed(second, second_at)))
    tables = packed({0x8769: long(inner_at)}, 8, second_at) + packed(inner, inner_at)
    return b"Exif\0\0II*\0\x08\0\0\0" + tables + packed(second, second_at) + thumb


def make_book(folder: Path, frames_folder: Path) -> None:
    """Write the frames down as an outing of bursts that were not judged yet."""
    frames = find_frames([frames_folder]).frames
    names = [frame.name for frame in frames]
    with open_book(folder) as book:
        outing = place_outing(book, frames_folder, "many", day="2031-06-14", in_place=True)
        keep_frames(book, outing, frames)
        keep_runs(
            book,
            outing,
            [
                Run(f"run-{number:03d}", "burst", tuple(names[at : at + PER_BURST]), (), "")
                for number, at in enumerate(range(0, len(names), PER_BURST), 1)
            ],
        )


def in_browser(bench: Bench) -> str:
    """Time first paint and scrolling in Chromium."""
    base = bench.base
    with seen(bench) as page:
        if page is None:
            return "no Chromium here: the browser was not timed"
        begun = time.perf_counter()
        page.goto(base + "/#/1")
        page.reload()
        page.get_by_text(f"burst of {PER_BURST} frames").first.wait_for()
        painted = time.perf_counter() - begun
        worst = page.evaluate(
            """async () => {
              let worst = 0, last = performance.now();
              for (let i = 0; i < 60; i++) {
                scrollBy(0, 400);
                await new Promise((next) => requestAnimationFrame(next));
                const now = performance.now();
                worst = Math.max(worst, now - last);
                last = now;
              }
              return worst;
            }"""
        )
        cells = page.locator("main ol li").count()
        page.goto(base + "/#/1/run-002")
        page.get_by_text(f"{PER_BURST} frames without your word").wait_for()
        begun = time.perf_counter()
        for number in range(PER_BURST):
            page.keyboard.press("k" if number == 0 else "d")
        page.get_by_text("Every frame has your word").wait_for()
        decided = time.perf_counter() - begun
    return (
        f"browser: first run painted after {painted:.2f} s, longest frame of 60 jumps of 400 px "
        f"{worst:.0f} ms, rows in the page {cells}; a burst of {PER_BURST} decided by as many "
        f"keys, written and shown after {decided:.1f} s"
    )


def main() -> None:
    """Make the book, open the bench, ask."""
    source, count = Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 2000
    print(heading(f"seed 1, {count} frames"))
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        begun = time.perf_counter()
        write_frames(source, folder / "frames", count)
        make_book(folder / "book", folder / "frames")
        print(f"book made in {time.perf_counter() - begun:.0f} s")
        with opened(folder / "book") as bench:
            for what, path in (
                ("season", "/api/outings"),
                ("evening", "/api/outings/1"),
                ("one run", "/api/outings/1/runs/run-040"),
            ):
                times = [bench.ms(path)[0] for _ in range(9)]
                print(f"{what}: median {statistics.median(times):.0f} ms, worst {max(times):.0f}")
            for what, path in (
                ("look", "look?longest=160"),
                ("larger look", "look?longest=320"),
                ("tile", "tiles/0/0/0"),
            ):
                first = [bench.ms(f"/api/frames/{n}/{path}")[0] for n in range(101, 110)]
                again = [bench.ms(f"/api/frames/{n}/{path}")[0] for n in range(101, 110)]
                print(
                    f"{what}: first median {statistics.median(first):.0f} ms, "
                    f"again {statistics.median(again):.0f} ms"
                )
            print(in_browser(bench))


if __name__ == "__main__":
    main()
