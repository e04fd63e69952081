"""An unknown kit's depth of field is told from how fast detail fades beside each plane."""

from __future__ import annotations

import math

import numpy as np
import pytest

from haltere.focus.blur import TABLE_PX, Blur, kept_power
from haltere.focus.curves import Stack, curve_shape
from haltere.focus.patches import SECTORS, Patches, window_for
from haltere.focus.widths import NUMBERS, Width, measure_airy, measure_depth_of_field

C_PX = 1.1
DOF = 0.002
PLANES = np.linspace(-0.02, 0.02, 45)
EVERY = np.ones(len(PLANES), bool)


def stack(airy_px: float, rng: np.random.Generator) -> Stack:
    """Detail of places at many depths, seen through a lens with that Airy disc."""
    depth = rng.uniform(-0.016, 0.016, (36, 48))
    along = np.broadcast_to(PLANES[:, None, None], (len(PLANES), *depth.shape))
    blur = 2 * C_PX * np.abs(along - depth) / DOF
    energy = rng.uniform(50.0, 200.0, depth.shape) * curve_shape(blur, airy_px) + 0.05
    return Stack(
        energy.astype(np.float32),
        along.astype(np.float32),
        np.zeros((depth.size, 2)),
        np.ones(depth.shape, np.float32),
    )


def patches(
    depth: np.ndarray, rng: np.random.Generator, *, falls: float = 2.0, slant_dof: float = 0.0
) -> Patches:
    """Spectra of places at those depths; their texture falls by that power of the frequency."""
    window = window_for(C_PX)
    table = kept_power(window.frequencies, window.side_px)
    blur = Blur(DOF, C_PX)
    along = np.broadcast_to(PLANES[:, None], (len(PLANES), len(depth)))
    power = 0.0
    for part in slant_dof * DOF * np.linspace(-1.0, 1.0, 15 if slant_dof else 1):
        disc = blur.disc_px(depth + part, along)
        power = power + table[np.minimum((disc / TABLE_PX).astype(int), len(table) - 1)]
    texture = rng.uniform(100.0, 400.0, len(depth))[:, None] * window.frequencies**-falls
    energy = power / power.max() * texture + 0.5
    whole = np.repeat(energy[..., None], SECTORS, axis=-1).astype(np.float32)
    return Patches(whole, along, np.ones(len(PLANES)), window.frequencies, window.side_px)


@pytest.mark.parametrize("guess", [0.8, 1.25])
@pytest.mark.parametrize("falls", [0.5, 2.0, 3.5])
def test_depth_of_field_is_told_whatever_the_texture(guess: float, falls: float) -> None:
    rng = np.random.default_rng(1)
    depth = rng.uniform(-0.016, 0.016, 120)
    told = patches(depth, rng, falls=falls)
    dof = measure_depth_of_field(told, EVERY, depth, guess * DOF, C_PX).dof
    assert dof == pytest.approx(DOF, rel=0.02)


def test_surfaces_that_slant_within_a_patch_do_not_make_it_larger() -> None:
    rng = np.random.default_rng(2)
    depth = rng.uniform(-0.016, 0.016, 120)
    told = patches(depth, rng, slant_dof=1.0)
    dof = measure_depth_of_field(told, EVERY, depth, DOF, C_PX).dof
    assert dof == pytest.approx(DOF, rel=0.03)


def test_where_no_place_tells_the_rough_one_stays() -> None:
    rng = np.random.default_rng(3)
    depth = np.full(60, 0.05)
    told = patches(depth, rng)
    assert measure_depth_of_field(told, EVERY, depth, 0.0017, C_PX) == Width(0.0017, math.inf, 0)


@pytest.mark.parametrize("airy_px", [1.5, 4.5])
def test_the_lens_s_own_blur_is_told_from_the_curves_shape(airy_px: float) -> None:
    told = stack(airy_px, np.random.default_rng(1))
    assert measure_airy(told, EVERY, DOF, C_PX) == pytest.approx(airy_px, abs=0.3)


def test_curves_of_nothing_leave_the_lens_within_what_lenses_do() -> None:
    told = stack(3.0, np.random.default_rng(2))
    grey = np.random.default_rng(3).uniform(0.9, 1.0, told.energy.shape).astype(np.float32)
    airy = measure_airy(Stack(grey, told.along, told.points_px, told.luma), EVERY, DOF, C_PX)
    low, high = NUMBERS.airy
    assert low * C_PX <= airy <= high * C_PX
