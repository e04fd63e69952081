"""Whether the numbers told of a hand hold, and its predictions come true.

    python benchmarks/hands.py [OUTINGS] [SEED] [sweeps]

Outings (200 unless said) of invented hands, ten of each, with 12 bursts and 6 sweeps: pure
numbers, no pictures. Prints how often each 90 % interval, from one outing alone, holds the truth;
and how bursts are predicted from the earlier outings of the same hand. With `sweeps` there are no
bursts, and only what sweeps tell is counted.
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections import defaultdict
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from haltere.hand.predict import Scored, hit_chance, plan_chance, score
from haltere.hand.seen import Estimate
from haltere.hand.told import causes_of, moves_of, pushes_of, wander_along
from tests.hand.made import Hand, outing, some_hand, sweep

EACH = 10


def estimates(bursts: list, sweeps: list) -> dict[str, Estimate | None]:
    """All numbers that one outing tells."""
    along = wander_along(bursts)
    assert along is not None
    moves, pushes, causes = moves_of(bursts, along), pushes_of(sweeps), causes_of(bursts)
    shaking = moves.tremor_um
    return {
        "spread_mm": moves.spread_mm,
        "sway_s": moves.sway_s,
        "bias_mm": moves.bias_mm,
        "aside_mm": moves.aside_mm,
        "tremor_mm": None
        if shaking is None
        else Estimate(shaking.value / 1000, shaking.low / 1000, shaking.high / 1000),
        "motion": causes.motion,
        "misfire": causes.misfire,
        "push_mm_s": pushes.speed_mm_s,
        "push_log_sd": pushes.speed_spread,
        "unevenness": pushes.unevenness,
    }


def run(outings: int, seed: int) -> tuple[dict[str, tuple[int, int, float]], Scored]:
    """Count intervals that hold, and score predictions."""
    draw = np.random.default_rng(seed)
    held: dict[str, list[bool]] = defaultdict(list)
    widths: dict[str, list[float]] = defaultdict(list)
    predicted, habit, plan, hits = [], [], [], []
    for _ in range(outings // EACH):
        hand: Hand = some_hand(draw)
        before: list = []
        for number in range(EACH):
            bursts, sweeps = outing(hand, draw, number)
            for name, told in estimates(bursts, sweeps).items():
                if told is not None:
                    truth = getattr(hand, name)
                    held[name].append(told.low <= truth <= told.high)
                    widths[name].append((told.high - told.low) / abs(truth))
            if before:
                along = wander_along(before[-200:])
                assert along is not None
                clean = 1.0 - causes_of(before).spoilt.value
                usual = (sum(one.hit for one in before) + 0.5) / (len(before) + 1)
                for one in bursts:
                    fps = one.rate_fps
                    predicted.append(hit_chance(one.dof_mm, one.frames, fps, along, clean))
                    plan.append(plan_chance(one.dof_mm, one.frames, fps))
                    habit.append(usual)
                    hits.append(one.hit)
            before += bursts
    table = {
        name: (sum(all_of), len(all_of), float(np.median(widths[name])))
        for name, all_of in held.items()
    }
    return table, score(predicted, habit, plan, hits)


def run_sweeps(outings: int, seed: int) -> dict[str, tuple[int, int, float]]:
    """Count intervals of what sweeps tell."""
    draw = np.random.default_rng(seed)
    held: dict[str, list[bool]] = defaultdict(list)
    widths: dict[str, list[float]] = defaultdict(list)
    for _ in range(outings // EACH):
        hand: Hand = some_hand(draw)
        for number in range(EACH):
            pushes = pushes_of([sweep(hand, draw, number) for _ in range(6)])
            for name, told in (
                ("push_mm_s", pushes.speed_mm_s),
                ("push_log_sd", pushes.speed_spread),
                ("unevenness", pushes.unevenness),
            ):
                if told is not None:
                    truth = getattr(hand, name)
                    held[name].append(told.low <= truth <= told.high)
                    widths[name].append((told.high - told.low) / truth)
    return {
        name: (sum(all_of), len(all_of), float(np.median(widths[name])))
        for name, all_of in held.items()
    }


def main() -> None:
    outings = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False
    ).stdout.strip()
    start = time.perf_counter()
    scored = None
    if sys.argv[3:] == ["sweeps"]:
        table = run_sweeps(outings, seed)
    else:
        table, scored = run(outings, seed)
    print(f"commit {commit}, seed {seed}, {outings} outings, {time.perf_counter() - start:.0f} s")
    print(f"{'':14} {'held':>6} {'of':>5} {'share':>6}  median width over truth")
    for name, (good, total, width) in table.items():
        print(f"{name:14} {good:6} {total:5} {good / total:6.1%}  {width:.2f}")
    if scored is None:
        return
    print(
        f"{scored.bursts} bursts predicted: slope {scored.slope:.2f}, Brier {scored.brier:.4f}, "
        f"of the habit {scored.brier_habit:.4f}, of the plan's assumed hand {scored.brier_plan:.4f}"
    )
    for one in scored.bins:
        print(
            f"  predicted {one.predicted:.2f}  came {one.real:.2f} "
            f"({one.low:.2f} to {one.high:.2f})  {one.bursts} bursts"
        )


if __name__ == "__main__":
    main()
