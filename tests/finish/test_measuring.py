"""Lengths on the animal hold what they state."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest

from haltere.errors import UsageError
from haltere.finish.measuring import Depths, measure_line, said_mm
from haltere.finish.scale import Scale, scale_of_kit, scale_of_object
from haltere.kit import capture
from haltere.scene import animal as animals
from haltere.scene.camera import Lens
from haltere.scene.render import _reference_maps
from haltere.scene.stage import set_stage

SURE = Scale(0.004, 0.01, "calibrated", 100.0, 0.02)
CENTRE = (319.5, 239.5)
PLANS: tuple[animals.Plan, ...] = ("fly", "spider", "beetle", "wasp")


@pytest.fixture(scope="module")
def maps() -> list[tuple[Lens, np.ndarray, np.ndarray]]:
    """Depth (mm) and animal of five simulated views."""
    out = []
    for seed, plan in enumerate(PLANS, 51):
        lens = Lens(1.5, 60.0, 8.0, 17.3, 640, 480)
        stage = set_stage(animals.grow(seed, plan), lens, seed, fill=1.0)
        found = _reference_maps(stage, lens)
        on = cv2.erode((found.mask >= 2).astype(np.uint8), np.ones((3, 3), np.uint8))
        out.append((lens, found.depth_mm, on > 0))
    return out


def true_points(lens: Lens, depth: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Places in space by the simulator's own projection, undone."""
    s, k = lens.pupil_distance_mm, lens.focal_px
    z = depth[at[:, 1], at[:, 0]]
    cx, cy = lens.centre_px
    return np.column_stack([(at[:, 0] - cx) * (s + z) / k, (at[:, 1] - cy) * (s + z) / k, z])


def one_case(
    rng: np.random.Generator, lens: Lens, depth: np.ndarray, on: np.ndarray
) -> tuple[float, Scale, Depths, np.ndarray]:
    """A line on the animal; kit, depth map and clicks each err as they are said to."""
    rows, columns = np.nonzero(on & np.isfinite(depth))
    while True:
        pick = rng.choice(len(rows), int(rng.integers(2, 5)), replace=False)
        at = np.column_stack([columns[pick], rows[pick]])
        if np.linalg.norm(np.diff(at, axis=0), axis=1).min() > 60:
            break
    length = float(np.linalg.norm(np.diff(true_points(lens, depth, at), axis=0), axis=1).sum())
    magnification = 0.01 * rng.standard_normal()
    pupil = 0.02 * rng.standard_normal()
    scale = Scale(
        lens.pixel_pitch_mm / lens.magnification * (1 + magnification), 0.01, "calibrated",
        lens.pupil_distance_mm * (1 + pupil), 0.02,
    )  # fmt: skip
    sigma = 0.2 * lens.depth_of_field_mm
    waves = cv2.GaussianBlur(rng.standard_normal(depth.shape), (0, 0), 3.0)
    told = depth * (1 + pupil) + sigma * waves / waves.std()
    clicked = at + rng.standard_normal(at.shape)
    clicked = np.clip(clicked, 0, np.array(depth.shape[::-1]) - 1)
    return length, scale, Depths(told.astype(np.float32), sigma), clicked


def test_stated_intervals_hold_and_are_narrow(
    maps: list[tuple[Lens, np.ndarray, np.ndarray]],
) -> None:
    rng = np.random.default_rng(8)
    held, widths = 0, []
    for case in range(200):
        lens, depth, on = maps[case % len(maps)]
        length, scale, depths, clicked = one_case(rng, lens, depth, on)
        found = measure_line(clicked, scale, lens.centre_px, depths)
        assert found.in_depth
        held += found.length_mm.low <= length <= found.length_mm.high
        widths.append((found.length_mm.high - found.length_mm.low) / 2 / length)
    print(f"held {held} of 200, median half width {100 * np.median(widths):.2f} %")
    assert 184 <= held <= 196  # 92 to 98 per cent
    assert np.median(widths) <= 0.05


def test_a_line_in_the_plane_of_focus_is_pixels_times_size() -> None:
    found = measure_line([(100, 100), (400, 500)], SURE, CENTRE)
    assert found.length_mm.value == pytest.approx(500 * 0.004)
    assert not found.in_depth
    assert "as seen" in found.text


def test_depth_makes_a_tilted_line_longer() -> None:
    x = np.arange(640.0)[None, :] + np.zeros((480, 1))
    slope = Depths(((x - 320) * 0.004).astype(np.float32), 0.01)
    found = measure_line([(220, 240), (420, 240)], SURE, CENTRE, slope)
    assert found.in_depth
    assert found.length_mm.value == pytest.approx(0.8 * math.sqrt(2.0), rel=0.01)


def test_what_lies_deeper_is_larger_by_perspective() -> None:
    near, far = (Depths(np.full((480, 640), z, np.float32), 0.001) for z in (0.0, 10.0))
    line = [(100.0, 200.0), (500.0, 200.0)]
    ratio = [measure_line(line, SURE, CENTRE, d).length_mm.value for d in (near, far)]
    assert ratio[1] / ratio[0] == pytest.approx(1.1, rel=1e-3)


def test_a_right_angle_is_one() -> None:
    found = measure_line([(100, 100), (300, 100), (300, 300)], SURE, CENTRE)
    (angle,) = found.angles_deg
    assert angle.value == pytest.approx(90.0)
    assert 0.2 < angle.sigma < 1.0
    assert len(found.parts_mm) == 2


def test_where_depth_is_unknown_the_line_is_measured_flat_and_says_so() -> None:
    depth = np.zeros((480, 640), np.float32)
    depth[:, 300:] = np.nan
    found = measure_line([(100, 100), (400, 100)], SURE, CENTRE, Depths(depth, 0.01))
    assert not found.in_depth


def test_a_click_on_a_rim_widens_the_interval() -> None:
    depth = np.zeros((480, 640), np.float32)
    calm = measure_line([(100, 100), (400, 100)], SURE, CENTRE, Depths(depth, 0.01))
    depth[:, 400:] = 3.0
    rim = measure_line([(100, 100), (400, 100)], SURE, CENTRE, Depths(depth, 0.01))
    assert rim.length_mm.sigma > 1.5 * calm.length_mm.sigma


def test_a_calibrated_kit_is_surer_than_a_number_off_the_lens() -> None:
    taken = capture(magnification=2.0, pixel_pitch_mm=0.004, focal_mm=60.0)
    sure, said = scale_of_kit(taken, 0.01, 1.0), scale_of_kit(taken)
    assert sure.mm_per_px == said.mm_per_px == 0.002
    assert (sure.source, said.source) == ("calibrated", "given")
    assert sure.share == pytest.approx(0.005)
    assert sure.share < said.share


def test_a_known_length_gives_the_scale_with_its_error() -> None:
    scale = scale_of_object((0, 0), (300, 400), 2.0, 0.02)
    assert scale.mm_per_px == pytest.approx(0.004)
    assert scale.share == pytest.approx(math.hypot(0.01, math.sqrt(2) / 500))


def test_digits_stop_where_the_error_begins() -> None:
    found = measure_line([(0, 0), (400, 0)], Scale(0.004, 0.01, "given"), CENTRE)
    assert said_mm(found.length_mm) == "1.600 ± 0.033 mm"


@pytest.mark.parametrize(
    "points",
    [[], [(1, 1)], [(1, 1), (1, 1)], [(1, 1), (float("nan"), 4)], [(0, 0), (900, 5)]],
)
def test_lines_that_are_none_are_refused(points: list[tuple[float, float]]) -> None:
    depths = Depths(np.zeros((480, 640), np.float32), 0.01)
    with pytest.raises(UsageError):
        measure_line(points, SURE, CENTRE, depths)


@pytest.mark.parametrize("length", [0.0, -1.0, float("nan")])
def test_an_absurd_known_length_is_refused(length: float) -> None:
    with pytest.raises(UsageError):
        scale_of_object((0, 0), (300, 0), length)


def test_without_any_scale_the_cure_is_named() -> None:
    with pytest.raises(UsageError, match="--known"):
        scale_of_kit(capture())
