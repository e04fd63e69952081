"""A hand's view wanders sideways, a camera's on a stand does not."""

from __future__ import annotations

import numpy as np
import pytest

from haltere.align.wander import measure_shift, measure_wander

FOCAL_PX = 8000.0
ALL = np.ones(12, dtype=bool)


def poses(sway_px: float, centre_px: float = 0.0) -> np.ndarray:
    """Twelve planes; the picture grows about a point `centre_px` right of the middle."""
    out = np.zeros((12, 6))
    out[:, 2] = np.linspace(-0.03, 0.03, 12)
    rng = np.random.default_rng(3)
    out[:, 3:5] = sway_px * rng.normal(size=(12, 2))
    out[:, 3] -= centre_px * out[:, 2]
    return out


def test_a_picture_that_only_grows_does_not_wander() -> None:
    assert measure_wander(poses(0.0), ALL, FOCAL_PX) < 0.01


def test_growing_about_another_point_than_the_middle_is_no_wander() -> None:
    assert measure_wander(poses(0.0, centre_px=300.0), ALL, FOCAL_PX) < 0.1


def test_sway_is_measured_in_pixels() -> None:
    # the median of a Rayleigh-distributed length is 1.18 of the spread along each axis
    assert measure_wander(poses(10.0), ALL, FOCAL_PX) == pytest.approx(11.8, rel=0.4)


def test_frames_that_were_lost_do_not_count() -> None:
    some = poses(0.0)
    some[4, 3] = 500.0
    found = ALL.copy()
    found[4] = False
    assert measure_wander(some, found, FOCAL_PX) < 0.01


def test_three_frames_tell_nothing() -> None:
    assert np.isnan(measure_wander(poses(1.0)[:3], ALL[:3], FOCAL_PX))


@pytest.mark.parametrize("share", [1.0, 0.4, 0.0, -0.5])
def test_the_share_of_shift_in_the_sway_is_told(share: float) -> None:
    some = poses(10.0)
    sway = some[:, 3:5].copy()
    # a camera that goes to the right moves the picture to the left
    some[:, :2] = -share * sway
    some[:, 3:5] = (1.0 - share) * sway
    told = measure_shift(some, 4.0 * np.tile(np.eye(6), (12, 1, 1)), ALL, FOCAL_PX)
    assert told is not None
    assert told.share == pytest.approx(share, abs=0.01)
    assert told.error == pytest.approx(2.0 / np.sqrt((sway**2).sum()), rel=0.2)


def test_three_frames_tell_no_share() -> None:
    assert measure_shift(poses(1.0)[:3], np.zeros((3, 6, 6)), ALL[:3], FOCAL_PX) is None
