"""One rendered sweep with a gap, and how it was taken, for all who need one."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from haltere.frames import Decoder, Frame, find_frames
from haltere.kit import Capture, capture
from haltere.scene import render_sweep
from haltere.sweeps import Sweep, solve_sweep

Rendered = tuple[tuple[Frame, ...], dict[str, Any]]


def taken(truth: dict[str, Any], magnification: float | None) -> Capture:
    return capture(
        None,
        magnification=magnification,
        focal_mm=truth["focal_length_mm"],
        f_number=truth["f_number_marked"],
        pixel_pitch_mm=truth["sensor_width_mm"] / truth["width_px"],
    )


@pytest.fixture(scope="session")
def rendered(tmp_path_factory: pytest.TempPathFactory) -> Rendered:
    out = tmp_path_factory.mktemp("gap")
    render_sweep(11, out, frames=16, gap=True, width_px=800, height_px=600, views=16)
    return find_frames([Path(out)]).frames, json.loads((out / "truth.json").read_text())


@pytest.fixture(scope="session")
def solved(rendered: Rendered, decoder: Decoder) -> Iterator[tuple[Sweep, dict[str, Any]]]:
    frames, truth = rendered
    sweep = solve_sweep(frames, decoder, taken(truth, truth["magnification"]))
    yield sweep, truth
    sweep.close()
