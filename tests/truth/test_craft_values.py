"""Values told about the sayings of the craft are met by the plan's own chapters."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from haltere.kit import Kit
from haltere.plan.aperture import CHOOSING
from haltere.plan.chance_of_bursts import frame_hits
from haltere.plan.given import given
from haltere.plan.sharpness import sharpness
from haltere.plan.wishes import wishes_of

HERE = Path(__file__).parent


def entries(name: str) -> dict[str, dict[str, Any]]:
    listed = json.loads((HERE / name).read_text(encoding="utf-8"))
    return {entry["id"]: entry for entry in listed}


SETTINGS = [
    e for key, e in entries("optics.json").items() if key in {f"craft-0{i}" for i in "12345"}
]
HAND = entries("craft.json")["craft-08"]


@pytest.mark.parametrize("entry", SETTINGS, ids=lambda entry: entry["id"])
def test_the_plan_meets_the_settings_that_photographers_name(entry: dict[str, Any]) -> None:
    said, expected = entry["inputs"], entry["expected"]
    slack = entry["tolerance"]["rel"]
    for i, ((wide, high), (wide_px, high_px)) in enumerate(
        zip(said["sensors_mm"], said["pixels"], strict=True)
    ):
        kit = Kit(
            sensor_width_mm=wide,
            sensor_height_mm=high,
            width_px=wide_px,
            height_px=high_px,
            focal_mm=60.0,
            pupil_magnification=said["pupil_magnification"],
        )
        start = given(kit, wishes_of({"magnification": said["magnification"]}))
        answer = sharpness(start, said["f_number"])
        megapixels = expected["effective_megapixels"][i]
        assert answer.effective_megapixels == pytest.approx(megapixels, rel=slack)
        assert answer.airy_px == pytest.approx(expected["airy_px"][i], rel=slack)
        assert answer.wave_mm == pytest.approx(expected["wave_depth_mm"], rel=slack)
        ne, m = answer.f_number_effective, said["magnification"]
        best_for = CHOOSING.airy_k * said["wavelength_um"] / 1000 * (ne / m) ** 2
        assert best_for == pytest.approx(expected["depth_for_which_optimal_mm"], rel=slack)


@pytest.mark.parametrize("i", range(len(HAND["inputs"]["hit_rate"])))
def test_one_frame_in_ten_or_twenty_tells_how_far_the_hand_wanders(i: int) -> None:
    depth, share = HAND["inputs"]["depth_mm"], HAND["inputs"]["hit_rate"][i]
    low, high = 0.01, 100.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if frame_hits(depth, middle) > share else (low, middle)
    spread = HAND["expected"]["sigma_mm"][i]
    assert low == pytest.approx(spread, abs=HAND["tolerance"]["abs"])
