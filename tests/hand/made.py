"""Invented hands whose numbers are known, and what they do: pure numbers, no pictures."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from haltere.hand.seen import BurstSeen, Floats, SweepSeen
from haltere.sweeps.push import Counts, Pushed, Setting, measure_push


@dataclass(frozen=True)
class Hand:
    """What is true of a hand."""

    spread_mm: float = 1.5
    sway_s: float = 0.5
    bias_mm: float = 0.2
    aside_mm: float = 0.8
    aside_sway_s: float = 0.5
    tremor_mm: float = 0.05
    motion: float = 0.08
    misfire: float = 0.05
    push_mm_s: float = 3.0
    push_log_sd: float = 0.2
    unevenness: float = 0.4


def some_hand(draw: np.random.Generator) -> Hand:
    """A hand as they differ from person to person."""

    def about(middle: float, log_sd: float) -> float:
        return float(middle * math.exp(log_sd * draw.standard_normal()))

    return Hand(
        spread_mm=about(1.2, 0.5),
        sway_s=about(0.5, 0.5),
        bias_mm=0.4 * draw.standard_normal(),
        aside_mm=about(0.8, 0.4),
        aside_sway_s=about(0.5, 0.4),
        tremor_mm=about(0.05, 0.3),
        motion=draw.uniform(0.02, 0.2),
        misfire=draw.uniform(0.01, 0.12),
        push_mm_s=about(3.0, 0.4),
        unevenness=draw.uniform(0.25, 0.6),
    )


def wandering(times: Floats, spread: float, forget_s: float, draw: np.random.Generator) -> Floats:
    """A place that wanders and forgets (Ornstein-Uhlenbeck), started at random."""
    at = np.empty(len(times))
    at[0] = spread * draw.standard_normal()
    for n in range(1, len(times)):
        kept = math.exp(-(times[n] - times[n - 1]) / forget_s)
        at[n] = kept * at[n - 1] + spread * math.sqrt(1 - kept**2) * draw.standard_normal()
    return at


def clustered(share: float, draw: np.random.Generator) -> float:
    return float(draw.beta(4 * share, 4 * (1 - share))) if share > 0 else 0.0


def burst(hand: Hand, draw: np.random.Generator, outing: int = 1, support: str = "") -> BurstSeen:
    """One burst, as it would be judged."""
    frames = int(draw.integers(8, 26))
    waits = draw.uniform(0.09, 0.13) * draw.uniform(0.9, 1.1, frames - 1)
    times = np.concatenate(([0.0], np.cumsum(waits)))
    magnification = float(draw.choice([1.0, 1.4, 2.0, 2.8]))
    dof = float(draw.uniform(0.4, 1.6) / magnification)
    true = hand.bias_mm + wandering(times, hand.spread_mm, hand.sway_s, draw)
    error = np.full(frames, 0.12 * dof)
    seen = true + error * draw.standard_normal(frames)
    # faults come in clusters: some bursts have many
    motion = draw.random(frames) < clustered(hand.motion, draw)
    misfire = draw.random(frames) < clustered(hand.misfire, draw)
    spoilt = motion | misfire
    aside = np.stack(
        [
            draw.uniform(-5, 5)
            + wandering(times, hand.aside_mm, hand.aside_sway_s, draw)
            + hand.tremor_mm * draw.standard_normal(frames)
            + 0.002 * draw.standard_normal(frames)
            for _ in range(2)
        ],
        axis=1,
    )
    hidden = draw.random(frames) < 0.05
    seen[hidden] = np.nan
    aside[hidden] = np.nan
    hit = bool((~spoilt & ~hidden & (np.abs(seen) <= dof / 2)).any())
    return BurstSeen(
        outing, support, int(draw.integers(6, 20)), magnification, dof, times, seen, error, aside,
        int(motion.sum()), int(misfire.sum()), int((spoilt | hidden).sum()), hit,
    )  # fmt: skip


def sweep(hand: Hand, draw: np.random.Generator, outing: int = 1, support: str = "") -> SweepSeen:
    """One pushed sweep, measured by the room that measures pushes."""
    frames = int(draw.integers(20, 45))
    dof, fps = float(draw.uniform(0.2, 0.5)), 10.0
    speed = hand.push_mm_s * math.exp(hand.push_log_sd * draw.standard_normal())
    mean = speed / fps / dof
    shape = 1 / hand.unevenness**2
    steps = draw.gamma(shape, mean / shape, frames - 1)
    error = 0.06
    planes = np.concatenate(([0.0], np.cumsum(steps))) + error * draw.standard_normal(frames)
    times = np.arange(frames) / fps + 0.013
    push = measure_push(
        [Pushed(planes, times, np.zeros((frames, 2)))],
        Setting(dof_mm=dof, mm_per_px=0.002),
        Counts(frames, 0, 0, 0, 0),
    )
    assert push.step_dof is not None
    assert push.step_spread_dof is not None
    return SweepSeen(
        outing, support, 1.4, frames - 1, push.step_dof, push.step_spread_dof, error,
        push.speed_mm_s, push.frames_per_s, None,
    )  # fmt: skip


def outing(
    hand: Hand, draw: np.random.Generator, number: int = 1, bursts: int = 12, sweeps: int = 6
) -> tuple[list[BurstSeen], list[SweepSeen]]:
    """One walk."""
    return (
        [burst(hand, draw, number) for _ in range(bursts)],
        [sweep(hand, draw, number) for _ in range(sweeps)],
    )
