"""An unknown kit's depth of field is told from how wide focus curves are in several bands."""

from __future__ import annotations

import numpy as np
import pytest

from haltere.focus.curves import Stack, curve_shape, sharp_energy
from haltere.focus.widths import BANDS, NUMBERS, measure_widths

C_PX = 1.1
DOF = 0.002
PLANES = np.linspace(-0.02, 0.02, 45)
EVERY = np.ones(len(PLANES), bool)


def stacks(airy_px: float, rng: np.random.Generator) -> list[Stack]:
    """Detail of places at many depths, seen through a lens with that Airy disc."""
    depth = rng.uniform(-0.016, 0.016, (36, 48))
    along = np.broadcast_to(PLANES[:, None, None], (len(PLANES), *depth.shape))
    texture = rng.uniform(50.0, 200.0, depth.shape)
    told = []
    for band in BANDS:
        blur = 2 * C_PX * np.abs(along - depth) / DOF
        energy = texture * sharp_energy(airy_px, band) * curve_shape(blur, airy_px, band) + 0.05
        told.append(
            Stack(
                energy.astype(np.float32),
                along.astype(np.float32),
                np.zeros((depth.size, 2)),
                np.ones(depth.shape, np.float32),
            )
        )
    return told


@pytest.mark.parametrize("airy_px", [1.5, 4.5])
@pytest.mark.parametrize("guess", [0.8, 1.25])
def test_depth_of_field_and_diffraction_are_told_apart(airy_px: float, guess: float) -> None:
    told = stacks(airy_px, np.random.default_rng(1))
    dof, airy = measure_widths(told, EVERY, guess * DOF, C_PX, 2.2)
    assert dof == pytest.approx(DOF / NUMBERS.widening, rel=0.03)
    assert airy == pytest.approx(airy_px, abs=0.7)


def test_without_plain_peaks_the_assumed_lens_stays() -> None:
    told = stacks(3.0, np.random.default_rng(2))
    rng = np.random.default_rng(3)
    grey = [
        Stack(
            rng.uniform(0.9, 1.0, s.energy.shape).astype(np.float32), s.along, s.points_px, s.luma
        )
        for s in told
    ]
    assert measure_widths(grey, EVERY, DOF, C_PX, 2.2)[1] == 2.2
