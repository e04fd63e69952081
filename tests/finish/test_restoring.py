"""Sharpness brought back: nearer to the truth, no rings, no noise made into detail."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.finish_restoring import (
    PITCH_MM,
    edge,
    likeness,
    overshoot,
    taken,
    view,
)
from haltere.errors import UsageError
from haltere.finish import Noise, Wanted, measure_noise, restore
from haltere.finish import restoring as room
from haltere.focus.edge import slanted_edge


@pytest.fixture(scope="module")
def fly() -> np.ndarray:
    return view("fly", 31, (240, 180))


@pytest.mark.parametrize(("effective", "iso"), [(16.0, 1600), (24.0, 200), (32.0, 400)])
def test_a_restored_picture_is_more_like_the_truth(
    fly: np.ndarray, effective: float, iso: int
) -> None:
    shown = np.clip(fly, 0.0, 1.0)
    got = taken(fly, effective, iso, 5)
    done = restore(got, Wanted(effective, PITCH_MM))
    assert likeness(done, shown) > likeness(got, shown) + 0.03


def test_an_edge_gains_contrast_and_no_ring() -> None:
    got = edge(24.0, 200, 7)
    done = restore(got, Wanted(24.0, PITCH_MM))
    before, after = (
        slanted_edge(one[16:-16, 16:-16, 1], tone="linear", white=1.0).mtf50 for one in (got, done)
    )
    assert before is not None
    assert after is not None
    assert after >= 1.25 * before
    assert overshoot(done) <= 0.05


def test_no_dark_ring_stands_about_a_clipped_catch_light() -> None:
    y, x = np.mgrid[0:160, 0:160] - 80
    scene = np.where(np.hypot(x, y) < 9, 6.0, 0.1).astype(np.float32)
    got = taken(np.repeat(scene[..., None], 3, axis=2), 24.0, 200, 3)
    done = restore(got, Wanted(24.0, PITCH_MM))
    about = (np.hypot(x, y) > 9) & (np.hypot(x, y) < 30)
    assert got.max() > 0.999  # it is clipped
    assert done[about].min() > 0.1 - 0.05 * 0.9


def test_the_wrong_way_round_is_not_taken_for_restoring(fly: np.ndarray) -> None:
    """A kernel far too wide must not do as well as the right one."""
    shown = np.clip(fly, 0.0, 1.0)
    got = taken(fly, 16.0, 200, 5)
    right, wide = (likeness(restore(got, Wanted(n, PITCH_MM)), shown) for n in (16.0, 40.0))
    assert right > wide


def test_nothing_asked_leaves_the_picture_as_it_is(fly: np.ndarray) -> None:
    got = taken(fly, 24.0, 400, 5)
    np.testing.assert_array_equal(restore(got, Wanted(24.0, PITCH_MM, 0.0, 0.0)), got)


def test_half_the_sharpness_gives_some_of_it(fly: np.ndarray) -> None:
    got = taken(fly, 24.0, 200, 5)
    steps = [
        np.abs(np.diff(restore(got, Wanted(24.0, PITCH_MM, s)), axis=1)).mean()
        for s in (0.0, 0.5, 1.0)
    ]
    assert steps[0] < steps[1] < steps[2]


def test_calming_alone_takes_noise_out_of_an_even_place() -> None:
    even = np.full((120, 120, 3), 0.2, np.float32)
    noisy = (even + np.random.default_rng(4).normal(0, 0.02, even.shape)).astype(np.float32)
    done = restore(noisy, Wanted(16.0, 0.004, 0.0, 1.0))
    assert done.std() < 0.2 * noisy.std()
    assert done.mean() == pytest.approx(0.2, abs=0.002)


def test_noise_is_not_sharpened_into_detail() -> None:
    even = np.full((200, 200, 3), 0.2, np.float32)
    noisy = (even + np.random.default_rng(4).normal(0, 0.02, even.shape)).astype(np.float32)
    assert restore(noisy, Wanted(32.0, 0.0033)).std() < 0.5 * noisy.std()


def test_measured_noise_is_that_which_was_put_in() -> None:
    light = np.broadcast_to(np.linspace(0.01, 0.7, 320)[None, :, None], (256, 320, 3))
    true = 4e-4 * light + 1e-5
    noisy = light + np.random.default_rng(4).normal(0, 1, light.shape) * np.sqrt(true)
    found = measure_noise(noisy.astype(np.float32))
    np.testing.assert_allclose(found.variance(light.astype(np.float32)), true, rtol=0.3)


def test_tiles_leave_no_seams(fly: np.ndarray, monkeypatch: pytest.MonkeyPatch) -> None:
    from dataclasses import replace

    got = taken(fly, 24.0, 400, 5)
    noise = measure_noise(got)
    whole = restore(got, Wanted(24.0, PITCH_MM), noise)
    monkeypatch.setattr(room, "RESTORE", replace(room.RESTORE, tile_px=64))
    tiled = restore(got, Wanted(24.0, PITCH_MM), noise)
    assert np.abs(whole - tiled).max() < 0.01
    assert np.abs(whole - tiled).mean() < 5e-4


def test_threads_change_nothing(fly: np.ndarray, monkeypatch: pytest.MonkeyPatch) -> None:
    from dataclasses import replace

    monkeypatch.setattr(room, "RESTORE", replace(room.RESTORE, tile_px=128))
    got = taken(fly, 24.0, 400, 5)
    one, three = (restore(got, Wanted(24.0, PITCH_MM), threads=n) for n in (1, 3))
    np.testing.assert_array_equal(one, three)


def test_a_step_that_is_cancelled_ends(fly: np.ndarray) -> None:
    def stop(step: str, done: int, total: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        restore(taken(fly, 24.0, 400, 5), Wanted(24.0, PITCH_MM), progress=stop)


@pytest.mark.parametrize(
    "wanted",
    [
        Wanted(0.0, 0.004), Wanted(float("nan"), 0.004), Wanted(16.0, -1.0),
        Wanted(16.0, 0.004, 1.5), Wanted(16.0, 0.004, 1.0, float("nan")),
    ],
)  # fmt: skip
def test_absurd_wishes_are_refused(wanted: Wanted) -> None:
    with pytest.raises(UsageError):
        restore(np.zeros((99, 99, 3), np.float32), wanted)


def test_a_picture_with_holes_is_refused() -> None:
    holed = np.zeros((99, 99, 3), np.float32)
    holed[3, 3, 0] = np.nan
    with pytest.raises(UsageError, match="numbers that are none"):
        restore(holed, Wanted(16.0, 0.004), Noise(1e-4, 1e-6))
