"""Ten sweeps pushed by hand, drawn by seeds chosen beforehand, are told as the truth has them.

The frames are small but not reduced: a smaller sensor with the usual pixels, so that blur and
noise are those of larger frames. benchmarks/sweeps_random.py does hundreds at full size.
A true gap is a stretch of the animal's depth that no usable frame has within half a depth of
field; the outermost 0.3 % of its pixels at either end need not be found.
"""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from haltere.frames import Decoder, find_frames
from haltere.scene.pushing import Pushing
from haltere.scene.render import finish_run, start_run
from haltere.scene.sensor import Sensor
from haltere.scene.sets import _naming
from haltere.scene.sweeping import Sweeping, plan_sweeping
from haltere.sweeps import Coverage, solve_sweep
from tests.sweeps.conftest import taken

SEEDS = range(600, 610)
WIDTH_PX, HEIGHT_PX, VIEWS = 800, 600, 12
SHARE = WIDTH_PX / 1280.0
HABITS = Sweeping(
    pushing=Pushing(frames=(14, 18), step=(0.4, 1.4), depth=(4.0, 10.0), complete=0.25),
    f_numbers=(4.0, 5.6, 8.0, 11.0),
    smear_px=(3.0 / SHARE, 12.0 / SHARE),
)
MUST_FIND, COUNTS, TAIL = 1.25, 0.5, 0.003
KNOWN_MISSED = {
    606: "a smeared frame in the middle of the gap passes for usable",
    607: "the near end is not seen to be missing",
}
"""Sweeps with a gap that is missed today, and why; to be struck out when that is mended."""

Stretch = tuple[float, float]


@dataclass(frozen=True)
class Pushed:
    """One sweep: what is true and what was said, in depths of field from the truth's zero."""

    seed: int
    truth: dict[str, Any]
    said: Coverage
    gaps: list[Stretch]

    @property
    def dof(self) -> float:
        return float(self.truth["depth_of_field_mm"])

    @property
    def at(self) -> dict[str, float]:
        return {Path(f["file"]).name: f["position_mm"] / self.dof for f in self.truth["frames"]}

    @property
    def told(self) -> list[Stretch]:
        zero = self.at[self.said.reference]
        return [
            (g.from_mm / self.dof + zero, g.to_mm / self.dof + zero)
            for g in self.said.gaps
            if g.from_mm is not None and g.to_mm is not None
        ]


def _render(seed: int, folder: Path) -> None:
    run = plan_sweeping(seed, WIDTH_PX, HEIGHT_PX, 17.3 * SHARE, habits=HABITS).run
    sensor = Sensor(full_electrons=24000.0 * 200.0 / max(run.outfit.iso, 200))
    with ThreadPoolExecutor(2) as pool:
        naming = _naming(seed, len(run.takes))
        finish_run(
            start_run(pool, run, folder, folder, naming, views=VIEWS, sensor=sensor), "sweep"
        )


def _true_gaps(folder: Path, truth: dict[str, Any]) -> list[Stretch]:
    counts = cv2.imread(str(folder / "depth.png"), cv2.IMREAD_UNCHANGED)
    mask = cv2.imread(str(folder / "mask.png"), cv2.IMREAD_UNCHANGED)
    png, dof = truth["depth_png"], truth["depth_of_field_mm"]
    on = (mask >= 2) & (counts != png["nothing"])
    depths = np.sort(counts[on] * png["scale_mm"] + png["depth_min_mm"]) / dof
    low, high = np.quantile(depths, (TAIL, 1.0 - TAIL))
    planes = sorted(f["position_mm"] / dof for f in truth["frames"] if not f["faults"])
    begins = np.maximum([low, *(p + 0.5 for p in planes)], low)
    ends = np.minimum([*(p - 0.5 for p in planes), high], high)
    held = np.searchsorted(depths, ends) > np.searchsorted(depths, begins)
    real = held & (ends - begins >= COUNTS)
    return list(zip(begins[real].tolist(), ends[real].tolist(), strict=True))


@pytest.fixture(scope="session")
def sweeps(tmp_path_factory: pytest.TempPathFactory, decoder: Decoder) -> list[Pushed]:
    out = []
    for seed in SEEDS:
        folder = tmp_path_factory.mktemp(f"pushed-{seed}")
        _render(seed, folder)
        truth = json.loads((folder / "truth.json").read_text())
        sweep = solve_sweep(
            find_frames([folder]).frames, decoder, taken(truth, truth["magnification"])
        )
        sweep.close()
        out.append(Pushed(seed, truth, sweep.coverage, _true_gaps(folder, truth)))
    return out


def _shared(one: Stretch, others: list[Stretch]) -> float:
    return sum(max(0.0, min(one[1], b) - max(one[0], a)) for a, b in others)


def _wide(gaps: list[Stretch]) -> list[Stretch]:
    return [(a, b) for a, b in gaps if b - a >= MUST_FIND]


def _passes(truth: dict[str, Any]) -> list[str]:
    """Direction of each true pass."""
    ways = []
    for number in sorted({f["pass"] for f in truth["frames"]}):
        at = [f["position_mm"] for f in truth["frames"] if f["pass"] == number]
        ways.append("away" if np.polyfit(range(len(at)), at, 1)[0] > 0 else "toward")
    return ways


def test_there_are_sweeps_of_one_and_several_passes_with_gaps_and_without(
    sweeps: list[Pushed],
) -> None:
    assert {len(_passes(s.truth)) > 1 for s in sweeps} == {True, False}
    assert {bool(_wide(s.gaps)) for s in sweeps} == {True, False}
    assert sum(bool(f["faults"]) for s in sweeps for f in s.truth["frames"]) >= 5


def test_faultless_frames_have_a_place(sweeps: list[Pushed]) -> None:
    fine = [
        plane.position_mm is not None
        for s in sweeps
        for f in s.truth["frames"]
        for plane in s.said.planes
        if not f["faults"] and plane.frame == Path(f["file"]).name
    ]
    assert len(fine) >= 100
    assert np.mean(fine) >= 0.95


def test_planes_lie_where_the_truth_has_them(sweeps: list[Pushed]) -> None:
    errors, slopes = [], []
    for s in sweeps:
        faulty = {Path(f["file"]).name for f in s.truth["frames"] if f["faults"]}
        both = [
            (s.at[p.frame], p.position_mm / s.dof)
            for p in s.said.planes
            if p.position_mm is not None and p.frame not in faulty
        ]
        true, told = np.array(both).T
        slope, offset = np.polyfit(told, true, 1)
        errors.append(slope * told + offset - true)
        slopes.append(float(slope))
    each = [float(np.sqrt(np.mean(error**2))) for error in errors]
    assert np.sqrt(np.mean(np.concatenate(errors) ** 2)) <= 0.25, each
    assert sum(one > 0.25 for one in each) <= 1, each
    assert sum(abs(slope - 1.0) > 0.05 for slope in slopes) == 0, slopes


def test_passes_are_told_apart(sweeps: list[Pushed]) -> None:
    wrong = [s.seed for s in sweeps if [p.direction for p in s.said.passes] != _passes(s.truth)]
    assert len(wrong) <= 1, wrong


def test_true_gaps_are_found(sweeps: list[Pushed]) -> None:
    missed = {
        s.seed: gap
        for s in sweeps
        for gap in _wide(s.gaps)
        if _shared(gap, s.told) < 0.5 * (gap[1] - gap[0])
    }
    assert sum(len(_wide(s.gaps)) for s in sweeps) >= 5
    assert set(missed) <= set(KNOWN_MISSED), missed


def test_said_gaps_are_true(sweeps: list[Pushed]) -> None:
    wrong = [
        (s.seed, gap)
        for s in sweeps
        for gap in s.told
        if _shared(gap, s.gaps) < 0.5 * (gap[1] - gap[0])
    ]
    assert len(wrong) <= 1, wrong


def test_hardly_ever_is_it_not_sure(sweeps: list[Pushed]) -> None:
    assert [s.seed for s in sweeps if s.said.complete is None] == []


def test_no_push_is_taken_for_a_turned_ring(sweeps: list[Pushed]) -> None:
    how = {s.seed: s.said.focusing.how for s in sweeps if s.said.focusing is not None}
    assert sorted(how) == list(SEEDS)
    assert set(how.values()) <= {"pushed", "not-told"}
    assert list(how.values()).count("not-told") <= 1, how


def test_by_the_law_of_growth_a_push_is_one_where_it_is_asked(sweeps: list[Pushed]) -> None:
    ratios = [s.said.focusing.depth_of_field_ratio for s in sweeps if s.said.focusing is not None]
    told = [ratio for ratio in ratios if ratio is not None]
    assert len(told) < len(SEEDS) / 2
    assert told == pytest.approx([1.0] * len(told), abs=0.2)
