"""Ten bursts rocked by hand, drawn by seeds chosen beforehand, are judged by the truth about them.

The frames are small but not reduced: a smaller sensor with the usual pixels, so that blur and
noise are those of full-size frames. benchmarks/keepers_bursts.py does hundreds at full size.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from haltere.errors import HaltereError
from haltere.frames import Decoder, find_frames
from haltere.keepers import JudgedFrame, Keepers, judge_burst
from haltere.kit import capture
from haltere.scene import rocking
from haltere.scene.render import finish_run, start_run
from haltere.scene.sensor import Sensor
from haltere.scene.sets import _naming

SEEDS = range(900, 910)
WIDTH_PX, HEIGHT_PX, VIEWS = 1000, 750, 16
SHARE = WIDTH_PX / 1600.0
# lengths of smears are told for frames of 1600 px, sway for those of the usual sensor
HABITS = rocking.Rocking(
    frames=(10, 12),
    smear_px=(3.0 / SHARE, 12.0 / SHARE),
    side=(0.8 * SHARE, 3.0 * SHARE),
)


@dataclass(frozen=True)
class Burst:
    seed: int
    truth: dict[str, Any]
    eye: int
    said: Keepers | None  # None: refused

    def pairs(self) -> Iterator[tuple[dict[str, Any], JudgedFrame, float]]:
        """Truth, what was said, and true offset in depths of field of each frame with the eye."""
        said = {f.frame: f for f in self.said.frames} if self.said else {}
        nothing = JudgedFrame("", 99, None, 0.0, None, None, None, (), False)
        for told in self.truth["frames"]:
            x, y = told["eyes_px"][self.eye]
            if told["eye_visible"][self.eye] and 0 <= x < WIDTH_PX and 0 <= y < HEIGHT_PX:
                offset = told["eye_depth_offset_mm"][self.eye] / self.truth["depth_of_field_mm"]
                yield told, said.get(Path(told["file"]).name, nothing), float(offset)

    @property
    def keepers(self) -> set[str]:
        return {
            Path(told["file"]).name
            for told, _, off in self.pairs()
            if not told["faults"] and abs(off) <= 0.5
        }

    @property
    def first(self) -> str | None:
        return self.said.frames[0].frame if self.said else None

    @property
    def code(self) -> str | None:
        return self.said.verdict.code if self.said else None

    @property
    def plain(self) -> bool:
        """Whether the best frame lies clearly within the limit, or clearly beyond."""
        best = min((abs(off) for told, _, off in self.pairs() if not told["faults"]), default=9.0)
        return not 0.4 < best < 0.625


def _render(seed: int, folder: Path) -> None:
    run = rocking.plan_rocking(
        seed, width_px=WIDTH_PX, height_px=HEIGHT_PX, sensor_width_mm=17.3 * SHARE, habits=HABITS
    ).run
    sensor = Sensor(full_electrons=24000.0 * 200.0 / max(run.outfit.iso, 200))
    with ThreadPoolExecutor(2) as pool:
        naming = _naming(seed, len(run.takes))
        finish_run(
            start_run(pool, run, folder, folder, naming, views=VIEWS, sensor=sensor), "burst"
        )


def _judged(seed: int, folder: Path, decoder: Decoder) -> Burst:
    truth = json.loads((folder / "truth.json").read_text())
    eye = int(np.argmax(truth["frames"][0]["eye_depth_offset_mm"]))
    nearest = min(
        (f for f in truth["frames"] if f["eye_visible"][eye] and "misfire" not in f["faults"]),
        key=lambda f: abs(f["eye_depth_offset_mm"][eye]),
    )
    x, y = nearest["eyes_px"][eye] + np.random.default_rng(seed).normal(0.0, 2.0, 2)
    taken = capture(
        magnification=truth["magnification"],
        focal_mm=truth["focal_length_mm"],
        f_number=truth["f_number_marked"],
        pixel_pitch_mm=truth["sensor_width_mm"] / WIDTH_PX,
        picture_px=(WIDTH_PX, HEIGHT_PX),
    )
    frames = find_frames([folder]).frames
    said = None
    with suppress(HaltereError):
        said = judge_burst(frames, decoder, taken, eye=(x, y), eye_frame=Path(nearest["file"]).name)
    return Burst(seed, truth, eye, said)


@pytest.fixture(scope="session")
def bursts(tmp_path_factory: pytest.TempPathFactory, decoder: Decoder) -> list[Burst]:
    out = []
    for seed in SEEDS:
        folder = tmp_path_factory.mktemp(f"rocking-{seed}")
        _render(seed, folder)
        out.append(_judged(seed, folder, decoder))
    return out


def _named(frame: JudgedFrame, kind: str) -> bool:
    return any(f.kind == kind and f.confidence >= 0.5 for f in frame.faults)


def test_the_pixels_are_those_of_full_size_frames(bursts: list[Burst]) -> None:
    for b in bursts:
        assert 0.015 / (b.truth["sensor_width_mm"] / WIDTH_PX) == pytest.approx(1.39, abs=0.01)


def test_there_are_bursts_with_and_without_a_keeper(bursts: list[Burst]) -> None:
    assert {bool(b.keepers) for b in bursts} == {True, False}


def test_hardly_any_burst_is_refused(bursts: list[Burst]) -> None:
    refused = [b.seed for b in bursts if b.said is None]
    assert refused == []


def test_a_true_keeper_comes_first_wherever_there_is_one(bursts: list[Burst]) -> None:
    having = [b for b in bursts if b.said and b.keepers]
    assert len(having) >= 5
    assert [b.seed for b in having if b.first not in b.keepers] == []


def test_verdicts_are_right_outside_the_border(bursts: list[Burst]) -> None:
    plain = [b for b in bursts if b.said and b.plain]
    wrong = [(b.seed, b.code) for b in plain if b.code != ("keeper" if b.keepers else "none")]
    assert len(plain) >= 6
    assert len(wrong) <= 1, wrong


def test_none_is_said_where_no_frame_is_sharp(bursts: list[Burst]) -> None:
    lacking = [b for b in bursts if b.said and b.plain and not b.keepers]
    assert lacking
    assert sum(b.code == "none" for b in lacking) >= len(lacking) - 1
    assert not [b.seed for b in lacking if b.code == "keeper"]


def test_the_eye_is_followed_to_one_percent_of_the_width(bursts: list[Burst]) -> None:
    followed = [
        f.eye_px is not None
        and bool(np.hypot(*np.subtract(f.eye_px, told["eyes_px"][b.eye])) <= 0.01 * WIDTH_PX)
        for b in bursts
        if b.said
        for told, f, off in b.pairs()
        if "misfire" not in told["faults"] and abs(off) < 10
    ]
    assert len(followed) >= 60
    assert np.mean(followed) >= 0.97


def test_offsets_are_those_of_the_planes(bursts: list[Burst]) -> None:
    both = [
        (f.eye_offset_dof, off)
        for b in bursts
        if b.said
        for told, f, off in b.pairs()
        if not told["faults"] and abs(off) < 5
    ]
    errors = np.array([said - off for said, off in both if said is not None])
    assert len(errors) >= max(40, 0.95 * len(both))
    assert np.sqrt(np.mean(errors**2)) <= 0.3


def test_motion_is_said_of_smeared_frames_and_not_of_defocused_ones(bursts: list[Burst]) -> None:
    smeared, defocused = [], []
    for b in (b for b in bursts if b.said):
        for told, f, off in b.pairs():
            if told["faults"] == ["motion_blur"] and told["blur_px"] >= 3 and abs(off) < 5:
                smeared.append(_named(f, "motion"))
            elif not told["faults"] and abs(off) >= 1:
                defocused.append(_named(f, "defocus") and not _named(f, "motion"))
    assert len(smeared) >= 2
    assert len(defocused) >= 20
    assert np.mean(smeared) >= 0.6
    assert np.mean(defocused) >= 0.9


def test_misfires_are_named_and_no_other_frame_is(bursts: list[Burst]) -> None:
    told = [(t["faults"] == ["misfire"], f) for b in bursts if b.said for t, f, _ in b.pairs()]
    assert [f for dark, f in told if dark]
    assert all(_named(f, "dark") == dark for dark, f in told)
