"""Peak memory of a merge of few and of many frames of 20 megapixels.

    python benchmarks/merge_memory.py [FRAMES ...]

Each count runs in a process of its own, on frames made up of blurred texture; the poses are
given, so that only merging is measured.  Decoding processes are not counted.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

import cv2
import numpy as np

from haltere.align.lumas import Lumas
from haltere.focus.curves import Peaks
from haltere.frames import Decoder, Frame, Shooting, write_jpeg
from haltere.kit.capture import Capture
from haltere.merge import merge_sweep
from haltere.sweeps.coverage import Coverage
from haltere.sweeps.sweep import Sweep

WIDTH_PX, HEIGHT_PX = 5472, 3648
ANALYSIS_PX = 1600
DOF = 0.002


def made(folder: Path, count: int) -> Sweep:
    """Frames of one textured slope, one depth of field apart or closer."""
    rng = np.random.default_rng(0)
    small = rng.normal(0, 1, (HEIGHT_PX // 4, WIDTH_PX // 4)).astype(np.float32)
    small = 110 + 60 * cv2.GaussianBlur(small, (0, 0), 1.0)
    size = (WIDTH_PX, HEIGHT_PX)
    scale = ANALYSIS_PX / WIDTH_PX
    frames, lumas = [], Lumas()
    for k in range(count):
        blur = 0.3 + 0.5 * abs(k - count / 2) / count * 10
        grey = cv2.resize(cv2.GaussianBlur(small, (0, 0), blur), size)
        grey8 = np.clip(grey, 0, 255).astype(np.uint8)
        path = folder / f"frame_{k:03d}.jpg"
        write_jpeg(path, np.repeat(grey8[..., None], 3, axis=2), None)
        frames.append(Frame(path, path.name, "jpeg", *size, 1, Shooting()))
        analysis = (ANALYSIS_PX, round(HEIGHT_PX * scale))
        lumas.add(cv2.resize(grey8, analysis, interpolation=cv2.INTER_AREA))
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


def measure(count: int) -> None:
    with tempfile.TemporaryDirectory() as name, Decoder() as decoder:
        sweep = made(Path(name), count)
        with sweep.lumas:
            merge = merge_sweep(sweep, decoder, Path(name) / "out")
    print(f"{count} frames: peak {merge.peak_mib:.0f} MiB, {merge.seconds:.1f} s", flush=True)


def main() -> None:
    if len(sys.argv) == 3 and sys.argv[1] == "--one":
        measure(int(sys.argv[2]))
        return
    for count in sys.argv[1:] or ["10", "60"]:
        subprocess.run([sys.executable, __file__, "--one", count], check=True)


if __name__ == "__main__":
    main()
