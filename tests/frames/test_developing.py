"""What developing raw files gives, and what it holds meanwhile."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from haltere.frames import Decoder, find_frames
from haltere.frames.decode import DEVELOPED
from haltere.frames.limits import LIMITS
from tests.frames.made import write_dng

SIZE = (4000, 3000)


def status_mib(process: int, name: str) -> float:
    lines = Path(f"/proc/{process}/status").read_text().splitlines()
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith(name))


def children() -> list[int]:
    tasks = Path("/proc/self/task").glob("*/children")
    return [int(one) for task in tasks for one in task.read_text().split()]


def test_developed_pixels_are_those_of_the_library(tmp_path: Path) -> None:
    import rawpy

    draw = np.random.default_rng(2)
    write_dng(tmp_path / "a.dng", draw.integers(256, 4095, (720, 960)).astype(np.uint16))
    with Decoder(1) as decoder, rawpy.imread(str(tmp_path / "a.dng")) as raw:
        got = decoder.rgb(find_frames([tmp_path]).frames[0])
        np.testing.assert_array_equal(got.array, raw.postprocess(**DEVELOPED))


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads Linux's account")
def test_developing_one_after_the_other_holds_what_was_planned(tmp_path: Path) -> None:
    for name in "abc":
        write_dng(tmp_path / f"{name}.dng", np.full(SIZE[::-1], 900, np.uint16))
    before = set(children())
    with Decoder(1) as decoder:
        frames = find_frames([tmp_path]).frames
        decoder.luma(frames[0], 64)
        (process,) = set(children()) - before
        # what the first of a sort took is given back
        idle = status_mib(process, "VmRSS")
        for frame in frames:
            decoder.rgb(frame)
        held = status_mib(process, "VmHWM") - idle
    planned = LIMITS.developing_bytes * SIZE[0] * SIZE[1] / (1 << 20)
    assert held == pytest.approx(planned, rel=0.15)
