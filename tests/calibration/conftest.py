"""Rules photographed once for all tests of this room."""

from __future__ import annotations

import pytest

from haltere.calibration import SweepScale, measure_sweep
from haltere.frames import Decoder

from .made import LENSES, Set, make_set


@pytest.fixture(scope="session")
def sets(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Set]:
    """Answer a sweep and a flat picture of each lens."""
    return {name: make_set(name, tmp_path_factory.mktemp(name)) for name in LENSES}


@pytest.fixture(scope="session")
def measured(sets: dict[str, Set], decoder: Decoder) -> dict[str, SweepScale]:
    """Answer what each sweep says when the tilt is told."""
    return {
        name: measure_sweep(
            made.frames, decoder, made.sweep.pitch_mm, made.sweep.pixel_pitch_mm,
            tilt_deg=made.sweep.tilt_deg, coc_mm=made.sweep.coc_mm,
        )
        for name, made in sets.items()
    }  # fmt: skip
