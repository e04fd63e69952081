"""The photographed rule keeps to geometry, so that a calibration can be held against it."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from haltere.frames import read_shooting
from haltere.scene.camera import Camera, Lens, project, rotation_matrix
from haltere.scene.rule import Rule, render_rule, rule_light

from .targets import straight_on

LENS = Lens(1.0, 60.0, 16.0, 17.3, 600, 120)
PLAIN = Rule(numbers=False)
LONE = Rule(pitch_mm=40.0, mark_mm=0.3, grain=0.0, numbers=False)


def mark_at(row: np.ndarray, guess: float, reach: int = 10) -> float:
    """Centroid of what is missing of the light around `guess`."""
    first = round(guess) - reach
    part = row[first : first + 2 * reach + 1].astype(float)
    card = np.linspace(part[:2].mean(), part[-2:].mean(), part.size)
    missing = np.clip(card - part, 0.0, None)
    return first + float((missing * np.arange(part.size)).sum() / missing.sum())


@pytest.mark.parametrize("pupil_magnification", [0.7, 1.0, 1.5])
def test_marks_lie_where_projection_says(pupil_magnification: float) -> None:
    lens = Lens(1.0, 60.0, 16.0, 17.3, 600, 120, 0.015, pupil_magnification)
    camera = Camera((0.3, 0.1, -lens.pupil_distance_mm + 0.4), rotation_matrix(0.0, 0.002, 0.0))
    tilt = math.radians(40.0)
    light = rule_light(PLAIN, lens, camera, tilt_deg=40.0, turn_deg=0.0, views=64, seed=3)
    for number in (-3, -1, 2, 4):
        point = number * np.array([math.cos(tilt), 0.0, math.sin(tilt)])
        x, y = project(lens, camera, point)
        assert mark_at(light[round(y) - 2 : round(y) + 3].mean(axis=0), x) == pytest.approx(
            x, abs=0.2
        )


def spread_px2(lens: Lens, too_near_mm: float) -> float:
    """Variance of what a lone mark takes of the light, along the rule."""
    camera = straight_on(lens, forward_mm=too_near_mm)
    light = rule_light(LONE, lens, camera, tilt_deg=0.0, turn_deg=0.0, views=150, seed=2)
    row = light.mean(axis=0).astype(float)
    x = np.arange(row.size) - (row.size - 1) / 2
    # card to either side, a straight line
    card = np.polyval(np.polyfit(x[np.abs(x) > 120], row[np.abs(x) > 120], 1), x)
    missing = np.where(np.abs(x) < 60, 1.0 - row / card, 0.0)
    centre = (missing * x).sum() / missing.sum()
    return float((missing * (x - centre) ** 2).sum() / missing.sum())


@pytest.mark.parametrize("too_near_mm", [-4.0, 5.0])
def test_a_mark_off_the_plane_spreads_over_the_disc_that_geometry_gives(too_near_mm: float) -> None:
    lens = Lens(1.0, 60.0, 8.0, 6.0, 600, 90)
    scale = lens.pupil_distance_mm / (lens.pupil_distance_mm - too_near_mm)
    gained = spread_px2(lens, too_near_mm) - scale**2 * spread_px2(lens, 0.0)
    # a disc has a sixteenth of its squared diameter as variance along a line
    assert 4.0 * np.sqrt(gained) == pytest.approx(abs(lens.blur_disc_px(-too_near_mm)), rel=0.04)


def test_every_fifth_and_tenth_mark_is_longer() -> None:
    lens = Lens(0.5, 60.0, 16.0, 17.3, 600, 400)
    light = rule_light(PLAIN, lens, straight_on(lens), tilt_deg=0.0, turn_deg=0.0, views=32, seed=1)
    middle = (lens.height_px - 1) / 2 - 0.55 * PLAIN.short * lens.px_per_mm

    def dark(number: int, mm: float) -> bool:
        x = round((lens.width_px - 1) / 2 + number * lens.px_per_mm)
        row = light[round(middle + mm * lens.px_per_mm)]
        return bool(row[x] < 0.6 * np.median(row))

    assert [dark(n, 3.0) for n in (1, 5, 10)] == [True, True, True]
    assert [dark(n, 5.0) for n in (1, 5, 10)] == [False, True, True]
    assert [dark(n, 6.2) for n in (1, 5, 10)] == [False, False, True]


def test_the_same_seed_gives_the_same_pictures(tmp_path: Path) -> None:
    lens = Lens(1.0, 60.0, 8.0, 17.3, 120, 80)
    one = [
        render_rule(4, tmp_path / name, lens=lens, tilt_deg=45.0, frames=2, advance_mm=2.0)
        for name in ("a", "b")
    ]
    assert [f.read_bytes() for f in one[0].files] == [f.read_bytes() for f in one[1].files]
    assert one[0].advance_mm == one[1].advance_mm


def test_the_pictures_say_when_they_were_taken(tmp_path: Path) -> None:
    lens = Lens(1.0, 60.0, 8.0, 17.3, 120, 80)
    truth = render_rule(
        5, tmp_path, lens=lens, tilt_deg=45.0, frames=3, advance_mm=3.0, push_mm_s=2.0
    )
    times = [read_shooting(f).time for f in truth.files]
    assert times[0] is not None
    assert times[2] is not None
    assert (times[2] - times[0]).total_seconds() == pytest.approx(1.5, abs=0.002)
    assert truth.push_mm_s == pytest.approx(2.0)
