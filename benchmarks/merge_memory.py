"""Peak memory of a merge of few and of many frames of 20 megapixels, or of 60.

    python benchmarks/merge_memory.py [--large] [FRAMES ...]

Each count runs in a process of its own, on frames made up of blurred texture, a dozen different
ones at most; the poses are given, so that only merging is measured.  Told are the peak of the
merging process and that of all processes together (resident, sampled ten times a second; pages
that processes share are counted once).  Wanted are 1.5 GiB and, of 60 megapixels, 4 GiB.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import threading
from contextlib import suppress
from pathlib import Path

import cv2
import numpy as np
import simplejpeg
from merge_speed import EVERY_S, memory_mib
from numpy.typing import NDArray

from haltere.align.lumas import Lumas
from haltere.focus.curves import Peaks
from haltere.frames import Decoder, Frame, Shooting
from haltere.kit.capture import Capture
from haltere.merge import merge_sweep
from haltere.sweeps.coverage import Coverage
from haltere.sweeps.sweep import Sweep

USUAL, LARGE = (5472, 3648), (9504, 6336)
DIFFERENT = 12
ANALYSIS_PX = 1600
DOF = 0.002


def made(folder: Path, count: int, size: tuple[int, int]) -> Sweep:
    """Frames of one textured slope, one depth of field apart or closer."""
    rng = np.random.default_rng(0)
    small = rng.normal(0, 1, (size[1] // 4, size[0] // 4)).astype(np.float32)
    small = 110 + 60 * cv2.GaussianBlur(small, (0, 0), 1.0)
    scale = ANALYSIS_PX / size[0]
    analysis = (ANALYSIS_PX, round(size[1] * scale))
    frames, lumas = [], Lumas()
    written: dict[int, tuple[bytes, NDArray[np.uint8]]] = {}
    for k in range(count):
        which = k * min(count, DIFFERENT) // count
        if which not in written:
            blur = 0.3 + 0.5 * abs(k - count / 2) / count * 10
            grey = cv2.resize(cv2.GaussianBlur(small, (0, 0), blur), size)
            grey8 = np.clip(grey, 0, 255).astype(np.uint8)
            data = simplejpeg.encode_jpeg(np.repeat(grey8[..., None], 3, axis=2), 92)
            luma = np.asarray(cv2.resize(grey8, analysis, interpolation=cv2.INTER_AREA), np.uint8)
            written[which] = (data, luma)
        path = folder / f"frame_{k:03d}.jpg"
        path.write_bytes(written[which][0])
        frames.append(Frame(path, path.name, "jpeg", *size, 1, Shooting()))
        lumas.add(written[which][1])
    poses = np.zeros((count, 6))
    poses[:, 2] = np.linspace(0, 10 * DOF, count)
    capture = Capture(2.0, None, None, 1.0, 90.0, 0.015, 0.003, "given")
    name = frames[count // 2].name
    coverage = Coverage(name, 0.18, "", 0.015, None, "given", (), (), (), True, "")
    nothing = np.zeros((1, 1))
    return Sweep(
        tuple(frames),
        capture,
        coverage,
        count // 2,
        lumas,
        scale,
        poses,
        np.ones(count),
        np.ones(count, bool),
        16000.0,
        DOF,
        1.4,
        2.0,
        Peaks(nothing, nothing, nothing, nothing, nothing),
        np.zeros((1, 1), bool),
    )


def measure(count: int, size: tuple[int, int]) -> None:
    """Merge so many frames here, and tell the memory of this process and of all together."""
    with tempfile.TemporaryDirectory() as name, Decoder() as decoder:
        sweep = made(Path(name), count, size)
        peak, own = [0.0], [0.0]
        over = threading.Event()

        def watch() -> None:
            while not over.wait(EVERY_S):
                with suppress(OSError):  # one of them has just ended
                    peak[0] = max(peak[0], memory_mib(os.getpid()))
                    own[0] = max(own[0], memory_mib(os.getpid(), alone=True))

        threading.Thread(target=watch, daemon=True).start()
        with sweep.lumas:
            merge = merge_sweep(sweep, decoder, Path(name) / "out")
        over.set()
    pixels = size[0] * size[1] / 1e6
    print(
        f"| {pixels:.0f} | {count} | {own[0]:.0f} | {peak[0]:.0f} | {merge.seconds:.0f} |",
        flush=True,
    )


def main() -> None:
    """Measure each count in a process of its own."""
    words = [word for word in sys.argv[1:] if word != "--large"]
    large = ["--large"] if "--large" in sys.argv else []
    if words[:1] == ["--one"]:
        measure(int(words[1]), LARGE if large else USUAL)
        return
    print("| megapixels | frames | merging process, MiB | all processes, MiB | s |")
    print("| --- | --- | --- | --- | --- |", flush=True)
    for count in words or ["10", "60"]:
        subprocess.run([sys.executable, __file__, *large, "--one", count], check=True)


if __name__ == "__main__":
    main()
