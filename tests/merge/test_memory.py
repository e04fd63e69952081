"""What a merge holds while it paints."""

from __future__ import annotations

import weakref
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from haltere.frames import Decoder, Frame, Pixels
from haltere.merge.depth import DepthMap
from haltere.merge.paint import paint
from tests.merge.made import DOF, sweep_of

SHAPE = (240, 360)
FRAMES = 5


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

    poses = np.zeros((FRAMES, 6))
    poses[:, 2] = np.arange(FRAMES) * DOF
    made = sweep_of(tmp_path, [np.zeros((*SHAPE, 3), np.uint8)] * FRAMES, poses)
    nothing = np.zeros(SHAPE, np.float32)
    ground = DepthMap(nothing, nothing == 0, nothing + 1, nothing, 1.0)
    monkeypatch.setattr(Decoder, "stream", stream)
    with made.lumas, Decoder(1) as decoder:
        paint(made, decoder, [*range(FRAMES)], np.ones(FRAMES), ground)
    # the last one waits for nobody
    assert held == [False] * (FRAMES - 1)
