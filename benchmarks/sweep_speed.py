"""What the analysis of a sweep costs, decoding its frames included.

    python benchmarks/sweep_speed.py PLACE [--frames 40] [--times 3] [--seed 1] [--gap]

Makes, once, the sweep of 20-megapixel JPEGs that `watch_speed.py` makes, in the folder PLACE, and
solves it as `haltere gaps` does: with the magnification given, and with nothing known of the kit.
JPEGs are read by threads of the same process, so their decoding is counted with it; what decoding
alone takes is told before. Told are seconds of processor time for each frame, all threads together,
so that other work on the machine does not matter: what one core needs (at most 0.25 beyond decoding
is wanted). The first line has loading in it, as in a fresh process; the others have not.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import shutil
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

import cv2
from watch_speed import SMALL, TIMES, _commit, make

from haltere.frames import Decoder, Frame, find_frames
from haltere.kit import Capture, capture
from haltere.sweeps import solve_sweep
from haltere.sweeps.advance import NUMBERS


def decode_alone(frames: Sequence[Frame]) -> float:
    """Seconds of processor time to decode every frame to analysis size, one process."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    with Decoder(workers=1) as decoder:
        for _ in decoder.stream(frames, longest_px=NUMBERS.analysis_px):
            pass
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def solve(frames: Sequence[Frame], taken: Capture) -> tuple[float, float, str]:
    """Seconds of processor time and of the clock to solve a sweep, and what was said."""
    with Decoder(workers=1) as decoder:
        decoder.luma(frames[0], 64)  # the process is there before the clock runs
        clock, begun = time.perf_counter(), time.process_time()
        sweep = solve_sweep(frames, decoder, taken)
        spent = time.process_time() - begun
        passed = time.perf_counter() - clock
        sweep.close()
    return spent, passed, sweep.coverage.reason


def main() -> None:
    """Make the sweep, solve it, print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("place", type=Path)
    parser.add_argument("--frames", type=int, default=40)
    parser.add_argument("--times", type=int, default=3)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--gap", action="store_true", help="leave a hole in the sweep")
    words = parser.parse_args()
    cv2.setNumThreads(1)
    folder = words.place / f"{'gap' if words.gap else 'whole'}-{words.frames}-{words.seed}"
    make(folder, words.frames, words.seed, words.gap)
    told = json.loads((folder / "told.json").read_text())
    frames = find_frames(sorted(folder.glob("*.JPG"))).frames
    megabytes = sum(frame.path.stat().st_size for frame in frames) / len(frames) / 1e6
    print(f"commit {_commit()}, seed {words.seed}, {len(frames)} frames of {SMALL[0] * TIMES} x")
    print(f"{SMALL[1] * TIMES} px, {megabytes:.1f} MB each")
    alone = decode_alone(frames)
    print(f"decoding alone: {alone / len(frames):.3f} s of processor time a frame\n")
    print("| kit | analysis, s of processor time a frame | s by the clock, decoding and all "
          "| others running | said |")  # fmt: skip
    print("| --- | --- | --- | --- | --- |")
    shot = frames[0].shooting
    size = (frames[0].width_px, frames[0].height_px)
    ways = {
        "given": capture(
            magnification=told["magnification"], focal_mm=shot.focal_mm, f_number=shot.f_number,
            pixel_pitch_mm=shot.pixel_pitch_mm, picture_px=size,
        ),
        "unknown": capture(picture_px=size),
    }  # fmt: skip
    for way, taken in ways.items():
        for _ in range(words.times):
            busy = os.getloadavg()[0]
            spent, passed, said = solve(frames, taken)
            each = spent / len(frames), passed / len(frames)
            print(f"| {way} | {each[0]:.3f} | {each[1]:.3f} | {busy:.1f} | {said} |", flush=True)


if __name__ == "__main__":
    if shutil.disk_usage(tempfile.gettempdir()).free < 2 << 30:
        sys.exit("2 GB of room are needed in the temporary folder")
    main()
