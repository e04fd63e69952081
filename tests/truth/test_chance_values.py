"""Every copied value of sweeps and bursts is met within its own tolerance."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from haltere.plan import chance_of_bursts as bursts
from haltere.plan import chance_of_gaps as gaps

Numbers = dict[str, Any]

ENTRIES: list[Numbers] = json.loads(
    Path(__file__).with_name("chance.json").read_text(encoding="utf-8")
)
# the trap: it belongs to the error of a mean, not to the chance of one sharp frame
OF_A_MEAN = "stat-neff-01"


def independent_frames(n: float, alike: float) -> float:
    """How many independent frames have a mean as sure as that of n frames that are alike."""
    return n * (1.0 - alike) / (1.0 + alike)


def steps(law: gaps.Law) -> Callable[[Numbers], Numbers]:
    def told(i: Numbers) -> Numbers:
        ratio = i["gap"] / i["mean_step"]
        return {
            "p_one": gaps.step_exceeds(ratio, i["cv"], law),
            "p_any": gaps.any_gap(ratio, i["n_steps"], i["cv"], law),
        }

    return told


def burst(spread: str, law: bursts.Law) -> Callable[[Numbers], Numbers]:
    def told(i: Numbers) -> Numbers:
        return {
            "p_frame": bursts.frame_hits(i["depth_mm"], i[spread], law),
            "p_burst": bursts.burst_hits(i["depth_mm"], i[spread], i["frames"], law),
        }

    return told


def alike(i: Numbers) -> Numbers:
    correlations = i["correlation_between_frames"]
    many = correlations if isinstance(correlations, list) else [correlations]
    depth = 2.0 * i["half_depth_over_sigma"]
    told = [bursts.correlated_burst_hits(depth, 1.0, i["frames"], rho) for rho in many]
    return {"p_burst": told if isinstance(correlations, list) else told[0]}


CALCULATORS: dict[str, Callable[[Numbers], Numbers]] = {
    "stat-gap": lambda i: {
        "probability": gaps.largest_spacing_exceeds(i["n_spacings"], i["gap_fraction_of_range"])
    },
    "stat-gap-06": lambda i: {
        "expected_max_fraction": gaps.expected_largest_spacing(i["n_spacings"])
    },
    "stat-gap-07": lambda i: {
        "probability_no_gap": [gaps.passes_cover(k, i["gap_over_step"]) for k in i["passes"]]
    },
    "stat-gap-08": lambda i: {"probability": gaps.all_within_arc(i["n_points"], i["arc_fraction"])},
    "stat-step-01": steps("gamma"),
    "stat-step-02": steps("normal"),
    "stat-burst-01": burst("sigma_mm", "normal"),
    "stat-burst-02": burst("half_width_mm", "uniform"),
    "stat-ou": alike,
    OF_A_MEAN: lambda i: {"effective_n": independent_frames(i["n"], i["lag1_correlation"])},
}


def calculator(entry_id: str) -> Callable[[Numbers], Numbers]:
    return CALCULATORS[max((k for k in CALCULATORS if entry_id.startswith(k)), key=len)]


@pytest.mark.parametrize("entry", ENTRIES, ids=[entry["id"] for entry in ENTRIES])
def test_an_outside_value_is_met_within_its_tolerance(entry: Numbers) -> None:
    got = calculator(entry["id"])(entry["inputs"])
    for key, expected in entry["expected"].items():
        assert got[key] == pytest.approx(expected, rel=0, abs=entry["tolerance"]["abs"]), key


def test_every_copied_value_says_its_source() -> None:
    assert all(len(entry["source"]) > 5 for entry in ENTRIES)
    assert len({entry["id"] for entry in ENTRIES}) == len(ENTRIES) == 18
    assert sum(entry["independent"] for entry in ENTRIES) == 14


def test_the_effective_number_of_a_mean_would_give_a_burst_up_as_hopeless() -> None:
    frames, likeness, depth = 15, 0.9, 0.4
    one = bursts.frame_hits(depth, 1.0)
    by_the_mean = 1.0 - (1.0 - one) ** independent_frames(frames, likeness)
    assert by_the_mean == pytest.approx(0.13, abs=0.005)
    told = bursts.correlated_burst_hits(depth, 1.0, frames, likeness)
    assert told == pytest.approx(0.79, abs=0.005)
