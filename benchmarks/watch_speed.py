"""How long after the last frame of a sweep `haltere watch` says whether it is complete.

    python benchmarks/watch_speed.py PLACE [--frames 40] [--rate 8] [--times 3] [--seed 1] [--gap]

Makes, once, a hand-pushed sweep of 20-megapixel JPEGs in the folder PLACE: rendered small, enlarged
four times, each frame with its own sensor noise.  Then, as often as asked, starts `haltere watch
--once --json` on an empty folder, and from this other process writes the frames into it at the
given rate, in pieces and not in one go, as a camera's program does.  Prints the seconds from the
last byte of the last frame to the line of the answer (at most 5 are wanted, the pause that must be
noticed included), beside what decoding all frames takes alone with two processes.
"""

from __future__ import annotations

import argparse
import json
import os
import queue
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from datetime import datetime, timedelta, timezone
from pathlib import Path

import cv2
import numpy as np

from haltere.frames import Decoder, find_frames
from haltere.scene.dng import mosaic, write_dng
from haltere.scene.exif import Shot, exif_bytes
from haltere.scene.exposure import expose
from haltere.scene.kits import pick_outfit
from haltere.scene.render import quick_gain
from haltere.scene.runs import RunShape, plan_sweep
from haltere.scene.sensor import Sensor, add_noise, tone

SMALL = (1368, 912)
TIMES = 4
VIEWS = 16
QUALITY = 97
NOISE = Sensor(full_electrons=5000.0)
"""So that a file has some 6 MB, as a 20-megapixel camera's finest JPEGs do."""

PIECES = 6
"""A camera's file comes over the cable bit by bit."""


def make(
    folder: Path,
    frames: int,
    seed: int,
    gap: bool,
    quality: int = QUALITY,
    noise: Sensor = NOISE,
    *,
    times: int = TIMES,
    raw: bool = False,
) -> None:
    """Render the sweep as JPEG or, 12 bit a pixel, as raw, once; `told.json` is written last."""
    if (folder / "told.json").exists():
        return
    from PIL import Image

    folder.mkdir(parents=True, exist_ok=True)
    outfit = pick_outfit(seed, width_px=SMALL[0], height_px=SMALL[1])
    shape = RunShape(deepest=0.54 * frames)
    run = plan_sweep(seed, outfit, frames=frames, gap=gap, shape=shape)
    lens = outfit.lens
    gain = quick_gain(run.stage, lens)
    clock = datetime(2031, 6, 3, 6, 12, 5, tzinfo=timezone(timedelta(hours=2)))
    size = (SMALL[0] * times, SMALL[1] * times)
    for k, take in enumerate(run.takes):
        path = folder / f"HL{k + 1:06d}.{'DNG' if raw else 'JPG'}"
        if path.exists():
            continue
        light = expose(
            run.stage, lens, take.camera, views=VIEWS, seed=1000 * seed + k, smear=take.smear
        )
        light = light * np.float32(gain * take.gain)
        large = np.asarray(cv2.resize(light, size, interpolation=cv2.INTER_CUBIC), np.float32)
        noisy = add_noise(large, noise, 7919 * seed + k)
        picture = Image.fromarray(tone(noisy))
        shot = Shot(
            clock + timedelta(seconds=take.time_s), 1 / 200, lens.f_number, 200, lens.focal_mm,
            size[0] / lens.sensor_width_mm, size, "HL-3", "3141592", "macro", k + 1,
        )  # fmt: skip
        partial = path.with_suffix(".part")
        if raw:
            preview = np.asarray(picture.resize((size[0] // 2, size[1] // 2)))
            write_dng(partial, mosaic(noisy), preview, shot)
            partial.rename(path)
            continue
        picture.save(partial, "JPEG", quality=quality, subsampling="4:2:2")
        data, block = partial.read_bytes(), exif_bytes(shot)
        head = b"\xff\xd8\xff\xe1" + (len(block) + 2).to_bytes(2, "big") + block
        partial.write_bytes(head + data[2:])
        partial.rename(path)
    told = {"magnification": lens.magnification, "depth_of_field_mm": lens.depth_of_field_mm}
    (folder / "told.json").write_text(json.dumps(told))


def decode_alone(folder: Path) -> float:
    """Seconds to decode every frame to analysis size, two processes."""
    found = find_frames([folder]).frames
    with Decoder(workers=2) as decoder:
        decoder.luma(found[0], 64)  # the processes are there before the clock runs
        begun = time.perf_counter()
        for _ in decoder.stream(found, longest_px=1600):
            pass
        return time.perf_counter() - begun


def shoot(data: list[bytes], into: Path, rate: float) -> float:
    """Write files at a camera's rate; the moment at which the last was whole."""
    begun = time.perf_counter()
    for k, whole in enumerate(data):
        wait = begun + k / rate - time.perf_counter()
        if wait > 0:
            time.sleep(wait)
        step = -(-len(whole) // PIECES)
        with (into / f"HL{k + 1:06d}.JPG").open("wb") as stream:
            for at in range(0, len(whole), step):
                stream.write(whole[at : at + step])
                stream.flush()
                time.sleep(0.4 / rate / PIECES)
    return time.perf_counter()


def watched(
    data: list[bytes], rate: float, magnification: float
) -> tuple[float, dict[str, object]]:
    """Seconds from the last byte to the line, and what the line said."""
    with tempfile.TemporaryDirectory(prefix="haltere-watch-") as place:
        command = [
            sys.executable, "-m", "haltere", "watch", place, "--once", "--json",
            "--magnification", f"{magnification:g}",
        ]  # fmt: skip
        process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        lines: queue.Queue[tuple[float, str]] = queue.Queue()

        def listen() -> None:
            assert process.stdout is not None
            for line in process.stdout:
                lines.put((time.perf_counter(), line))

        threading.Thread(target=listen, daemon=True).start()
        time.sleep(6.0)  # the photographer starts it well before the first frame
        last = shoot(data, Path(place), rate)
        at, line = lines.get(timeout=120)
        process.wait(timeout=30)
        return at - last, json.loads(line)


def _commit() -> str:
    words = ["git", "-C", str(Path(__file__).parent), "describe", "--always", "--dirty"]
    return subprocess.run(words, capture_output=True, text=True, check=False).stdout.strip()


def main() -> None:
    """Make the sweep, watch it, print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("place", type=Path)
    parser.add_argument("--frames", type=int, default=40)
    parser.add_argument("--rate", type=float, default=8.0)
    parser.add_argument("--times", type=int, default=3)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--gap", action="store_true", help="leave a hole in the sweep")
    words = parser.parse_args()
    kind = "gap" if words.gap else "whole"
    folder = words.place / f"{kind}-{words.frames}-{words.seed}"
    make(folder, words.frames, words.seed, words.gap)
    told = json.loads((folder / "told.json").read_text())
    data = [path.read_bytes() for path in sorted(folder.glob("*.JPG"))]
    size = sum(map(len, data)) / len(data) / 1e6
    print(f"commit {_commit()}, seed {words.seed}, {os.cpu_count()} cores, {len(data)} frames of")
    print(
        f"{SMALL[0] * TIMES} x {SMALL[1] * TIMES} px, {size:.1f} MB each, {words.rate:g} a second"
    )
    print()
    print("| last frame to line, s | others running | decoding alone, s | verdict |")
    print("| --- | --- | --- | --- |")
    for _ in range(words.times):
        busy = os.getloadavg()[0]
        seconds, said = watched(data, words.rate, told["magnification"])
        alone = decode_alone(folder)
        print(f"| {seconds:.2f} | {busy:.1f} | {alone:.2f} | {said['text']} |", flush=True)


if __name__ == "__main__":
    if shutil.disk_usage(tempfile.gettempdir()).free < 2 << 30:
        sys.exit("2 GB of room are needed in the temporary folder")
    main()
