"""Calibrate on simulated rules whose lens is known, and print how well that went.

    python benchmarks/calibration.py [FIRST LAST]

Seeds FIRST to LAST - 1 (100 to 125): magnification 0.5-3, tilt 30-60 degrees, pupil magnification
0.7-1.5, three sensors, a hand that sways and pushes unevenly. Each sweep is measured twice: with a
picture of the rule lying flat, and with its tilt told half a degree (one sigma) wrong.
"""

from __future__ import annotations

import math
import subprocess
import sys
import tempfile
from collections import defaultdict
from pathlib import Path

import numpy as np

from haltere.calibration import SweepScale, measure_rule, measure_sweep
from haltere.errors import HaltereError
from haltere.frames import Decoder, find_frames
from haltere.scene.camera import Lens
from haltere.scene.rule import Rule, RuleTruth, render_rule


def photograph(seed: int, out: Path) -> tuple[RuleTruth, RuleTruth, float]:
    rng = np.random.default_rng(seed)
    m = float(np.exp(rng.uniform(math.log(0.5), math.log(3.0))))
    tilt = float(rng.uniform(30.0, 60.0))
    p = float(rng.uniform(0.7, 1.5))
    focal = float(rng.choice([50, 60, 90, 100]))
    f_number = float(rng.choice([5.6, 8, 11]))
    sensor = float(rng.choice([17.3, 23.5, 36.0]))
    turn = float(rng.uniform(-15.0, 15.0))
    pitch = 0.5 if m > 1.4 else 1.0
    said = tilt + 0.5 * float(rng.normal())
    lens = Lens(m, focal, f_number, sensor, 900, 600, 0.015, p)
    rule = Rule(pitch_mm=pitch, mark_mm=0.16 * pitch)
    way = 0.5 * sensor / m * math.tan(math.radians(tilt))
    # so slowly that the sharp place moves by less than a mark a frame, if 28 frames do for that
    frames = int(np.clip(way / math.sin(math.radians(tilt)) / (0.7 * pitch), 12, 28))
    sweep = render_rule(
        seed, out / "sweep", lens=lens, tilt_deg=tilt, turn_deg=turn, frames=frames,
        advance_mm=way, rule=rule,
    )  # fmt: skip
    flat = render_rule(
        seed + 500, out / "flat", lens=lens, tilt_deg=1.5 * float(rng.normal()),
        turn_deg=turn + 3.0, rule=rule,
        too_near_mm=float(rng.normal()) * lens.depth_of_field_mm / 4.0,
    )  # fmt: skip
    return sweep, flat, said


def errors(said: SweepScale, truth: RuleTruth) -> dict[str, tuple[float, float]]:
    index = [int(Path(name).stem.split("_")[-1]) for name in said.frames]
    advance, times = np.array(truth.advance_mm)[index], np.array(truth.times_s)[index]
    speed = abs(advance[-1] - advance[0]) / (times[-1] - times[0])
    pairs = {
        "magnification": (said.magnification, said.magnification_sigma, truth.magnification),
        "pupil distance": (
            said.pupil_distance_mm, said.pupil_distance_sigma_mm, truth.pupil_distance_mm,
        ),
        "effective f-number": (
            said.effective_f_number, said.effective_f_number_sigma, truth.f_number_effective,
        ),
        "depth of field": (
            said.depth_of_field_mm, said.depth_of_field_sigma_mm, truth.depth_of_field_mm,
        ),
        "push": (said.push.mm_s or math.nan, said.push.mm_s_sigma or math.nan, speed),
    }  # fmt: skip
    return {
        what: (value / true - 1.0, sigma / true) for what, (value, sigma, true) in pairs.items()
    }


def main(first: int, last: int) -> None:
    found: dict[tuple[str, str], list[tuple[float, float]]] = defaultdict(list)
    failed = 0
    with tempfile.TemporaryDirectory() as folder, Decoder(workers=1) as decoder:
        for seed in range(first, last):
            out = Path(folder) / str(seed)
            truth, flat_truth, tilt = photograph(seed, out)
            pitch, pixel = truth.pitch_mm, truth.pixel_pitch_mm
            frames = find_frames([out / "sweep"]).frames
            picture = find_frames(list(flat_truth.files)).frames[0]
            try:
                flat = measure_rule(
                    picture, decoder, pitch, pixel, focal_mm=picture.shooting.focal_mm
                )
                with_flat = measure_sweep(
                    frames, decoder, pitch, pixel, magnification=flat.magnification,
                    magnification_sigma=flat.magnification_sigma, coc_mm=truth.coc_mm,
                )  # fmt: skip
                told = measure_sweep(
                    frames, decoder, pitch, pixel, tilt_deg=tilt, coc_mm=truth.coc_mm
                )
            except HaltereError as error:
                failed += 1
                print(f"seed {seed}: {error}")
                continue
            true = flat_truth.magnification
            found["flat picture", "magnification"].append(
                (flat.magnification / true - 1.0, flat.magnification_sigma / true)
            )
            for how, said in (("sweep and flat", with_flat), ("sweep, tilt told", told)):
                for what, pair in errors(said, truth).items():
                    found[how, what].append(pair)
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False
    )
    print(f"commit {commit.stdout.strip()}, seeds {first}-{last - 1}, {failed} refused")
    print("| with | number | rms error % | worst % | within 3 % | inside one sigma |")
    print("| --- | --- | --- | --- | --- | --- |")
    for (how, what), pairs in found.items():
        off, sigma = np.abs(np.array(pairs)).T
        print(
            f"| {how} | {what} | {100 * np.sqrt(np.mean(off**2)):.2f} | {100 * off.max():.2f} "
            f"| {int((off < 0.03).sum())} of {len(off)} | {100 * (off < sigma).mean():.0f} % |"
        )


if __name__ == "__main__":
    given = [int(word) for word in sys.argv[1:3]]
    main(*(given if len(given) == 2 else (100, 125)))
