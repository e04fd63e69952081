"""Focus curves: their shape, and peaks found on irregular planes."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from haltere.focus.curves import NUMBERS, Stack, curve_shape, find_peaks
from haltere.focus.depths import believed, estimate_depth_of_field
from haltere.focus.run_optics import run_optics
from haltere.kit import capture

DOF, C_PX, AIRY_PX = 0.002, 1.4, 3.0


def made_stack(depth: np.ndarray, along: np.ndarray, height=40.0, noise=0.3, seed=0) -> Stack:
    rng = np.random.default_rng(seed)
    off = np.abs(along[:, None, None] - depth[None])
    energy = height * curve_shape(off * 2 * C_PX / DOF, AIRY_PX) + noise
    energy *= rng.normal(1.0, 0.03, energy.shape)
    where = np.broadcast_to(along[:, None, None], energy.shape)
    return Stack(
        energy.astype(np.float32),
        where.astype(np.float32),
        np.zeros((depth.size, 2)),
        np.full(depth.shape, 90, np.float32),
    )


def test_the_curve_is_one_in_focus_and_falls_with_blur():
    shape = curve_shape(np.array([0.0, 1.0, 2.0, 4.0, 8.0]), AIRY_PX)

    assert shape[0] == pytest.approx(1.0)
    assert np.all(np.diff(shape) < 0)


def test_diffraction_widens_the_curve():
    blur = np.array([3.0])

    assert curve_shape(blur, 12.0)[0] > curve_shape(blur, 2.0)[0]


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 1000))
def test_peaks_between_uneven_planes_are_found_to_a_tenth_of_a_depth_of_field(seed):
    rng = np.random.default_rng(seed)
    along = np.cumsum(rng.gamma(8, 0.5 * DOF / 8, 30))
    rng.shuffle(along)
    depth = rng.uniform(along.min() + DOF, along.max() - DOF, (6, 7))

    peaks = find_peaks(made_stack(depth, along, seed=seed), np.ones(30, bool), DOF, C_PX, AIRY_PX)

    assert np.abs(peaks.depth - depth).mean() < 0.1 * DOF


def test_noise_alone_is_not_believed():
    rng = np.random.default_rng(5)
    along = np.arange(25) * 0.5 * DOF
    energy = rng.gamma(60, 0.3 / 60, (25, 20, 20)).astype(np.float32)
    where = np.broadcast_to(along[:, None, None], energy.shape).astype(np.float32)
    stack = Stack(energy, where, np.zeros((400, 2)), np.zeros((20, 20), np.float32))

    peaks = find_peaks(stack, np.ones(25, bool), DOF, C_PX, AIRY_PX)

    assert believed(peaks).mean() < 0.02


def test_the_depth_of_field_is_measured_from_the_curves_when_the_kit_is_unknown():
    along = np.arange(40) * 0.5 * DOF
    depth = np.random.default_rng(2).uniform(3 * DOF, 17 * DOF, (30, 30))

    found = estimate_depth_of_field(made_stack(depth, along), np.ones(40, bool), C_PX, AIRY_PX)

    assert found == pytest.approx(DOF, rel=0.08)


@pytest.mark.parametrize("before", [0.2, 0.9, 1.2, 6.0])
def test_what_was_found_before_never_changes_the_depth_of_field(before):
    along = np.arange(40) * 0.5 * DOF
    depth = np.random.default_rng(2).uniform(3 * DOF, 17 * DOF, (30, 30))
    given = made_stack(depth, along), np.ones(40, bool), C_PX, AIRY_PX

    alone = estimate_depth_of_field(*given)

    assert estimate_depth_of_field(*given, near=before * DOF) == pytest.approx(alone, rel=1e-12)


def test_optics_of_a_run_follow_the_textbook():
    taken = capture(
        None, magnification=2.0, focal_mm=60.0, f_number=8.0, pixel_pitch_mm=17.3 / 1600
    )

    optics = run_optics(taken, 0.5, 1000.0)

    # f/8 at 2:1 is f/24; 2 c N / m^2 = 0.18 mm over 90 mm to the pupil
    assert optics.dof == pytest.approx(0.18 / 90, rel=1e-6)
    assert optics.c_px == pytest.approx(0.015 / (17.3 / 800), rel=1e-6)
    assert optics.focal_px == pytest.approx(90 * 2 / (17.3 / 800), rel=1e-6)


def test_an_unknown_kit_leaves_the_depth_of_field_open():
    assert run_optics(capture(None), 1.0, 2000.0).dof is None


def test_places_are_closer_than_their_windows_reach():
    assert NUMBERS.cell_px < 2 * NUMBERS.window_px
