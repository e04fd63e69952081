"""What a merge holds while it paints."""

from __future__ import annotations

import re
import tracemalloc
import weakref
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from haltere.frames import Decoder, Frame, Pixels
from haltere.merge.depth import DepthMap
from haltere.merge.limits import MEMORY, planned_mib
from haltere.merge.paint import paint
from tests.merge.made import DOF, sweep_of

SHAPE = (240, 360)
FRAMES = 5


def painted_frames(folder: Path, shape: tuple[int, int]) -> None:
    """Paint some black frames."""
    poses = np.zeros((FRAMES, 6))
    poses[:, 2] = np.arange(FRAMES) * DOF
    made = sweep_of(folder, [np.zeros((*shape, 3), np.uint8)] * FRAMES, poses)
    nothing = np.zeros((shape[0] // 8, shape[1] // 8), np.float32)
    ground = DepthMap(nothing, nothing == 0, nothing + 1, nothing, 8.0)
    with made.lumas, Decoder(1) as decoder:
        paint(made, decoder, [*range(FRAMES)], np.ones(FRAMES), ground)


def test_a_painted_frame_is_let_go_before_the_next_is_waited_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    held = []

    def stream(
        _: Decoder, frames: list[Frame], *__: Any, **___: Any
    ) -> Iterator[tuple[Frame, Pixels]]:
        for frame in frames:
            array = np.zeros((*SHAPE, 3), np.uint8)
            still = weakref.ref(array)
            yield frame, Pixels(array, 1.0, False, None)
            del array
            held.append(still() is not None)

    monkeypatch.setattr(Decoder, "stream", stream)
    painted_frames(tmp_path, SHAPE)
    # the last one waits for nobody
    assert held == [False] * (FRAMES - 1)


def test_painting_holds_what_was_planned_however_many_frames(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shape = (1200, 1600)
    frame = Pixels(np.zeros((*shape, 3), np.uint8), 1.0, False, None)
    monkeypatch.setattr(
        Decoder, "stream", lambda _, frames, *__, **___: ((f, frame) for f in frames)
    )
    painted_frames(tmp_path, shape)  # what is loaded and compiled once is no matter here
    tracemalloc.start()
    painted_frames(tmp_path, shape)
    each = tracemalloc.get_traced_memory()[1] / (shape[0] * shape[1])
    tracemalloc.stop()
    assert each == pytest.approx(MEMORY.painting_bytes, rel=0.1)


def test_what_is_planned_agrees_with_what_was_measured() -> None:
    told = (Path(__file__).parents[2] / "benchmarks" / "README.md").read_text("utf-8")
    rows = re.findall(r"^\| (\d+) x (\d+) \| \d+ (raw|JPEG)[^|]*\| (\d+) \| (\d+) \|", told, re.M)
    assert {(int(width), kind) for width, _, kind, *_ in rows} == {
        (width, kind) for width in (5472, 9576) for kind in ("raw", "JPEG")
    }
    for width, height, kind, measured, said in rows:
        planned = planned_mib(int(width), int(height), raw=kind == "raw")
        assert planned == pytest.approx(int(measured), rel=0.15)
        assert round(planned) == int(said)
