"""Made-up hands: planes over time as a solver would see them, with the truth beside."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Made:
    """Planes in depths of field with errors, NaN where lost; pass of each frame; ways; times."""

    seen: NDArray[np.float64]
    of_pass: NDArray[np.int64]
    ways: tuple[int, ...]
    times_s: NDArray[np.float64]


def made_push(rng: np.random.Generator) -> Made:
    """Push to and fro one to four times: uneven steps, tremor, waits, holes, errors."""
    step = float(np.exp(rng.uniform(np.log(0.3), np.log(2.0))))
    uneven, error, tremor = rng.uniform(0.2, 0.6), rng.uniform(0.1, 0.3), rng.uniform(0.0, 0.2)
    deep = rng.uniform(6.0, 25.0)
    way = int(rng.choice([-1, 1]))
    at = 0.0
    planes, numbers, ways, waits = [], [], [], []
    for number in range(int(rng.integers(1, 5))):
        count = max(5, min(80, round(deep / step * rng.uniform(0.6, 1.1))))
        if rng.random() < 0.15:  # a short one more through a hole
            count = max(5, int(rng.uniform(4.0, 7.0) / step))
        pause = rng.uniform(0.1, 1.5)
        if number:
            if rng.random() < 0.2:  # back without pictures, and the same way again
                at -= way * rng.uniform(0.8, 1.0) * abs(planes[-1][-1] - planes[-1][0])
                pause += 1.0
            else:
                way = -way
                at += rng.uniform(-1.0, 1.0)
        moves = rng.gamma(1 / uneven**2, step * uneven**2, count - 1)
        if rng.random() < 0.3:
            moves[rng.integers(0, count - 1)] += rng.uniform(2.0, 5.0)
        if rng.random() < 0.3:
            begin = int(rng.integers(0, count - 1))
            moves[begin : begin + 3] *= 0.05
        way_of = at + way * np.concatenate([[0.0], np.cumsum(moves)])
        planes.append(way_of)
        numbers.append(np.full(count, number))
        ways.append(way)
        waits += [pause] + [0.125] * (count - 1)
        if rng.random() < 0.15:  # the camera's memory is full for a moment
            waits[-int(rng.integers(1, count))] = 1.2
        at = float(way_of[-1])
    true = np.concatenate(planes)
    size = len(true)
    seen = true + tremor * rng.normal(size=size) + error * rng.normal(size=size)
    seen[rng.random(size) < rng.uniform(0.0, 0.1)] = np.nan
    wrong = rng.random(size) < 0.003
    seen[wrong] += rng.normal(0.0, 4.0, int(wrong.sum()))
    return Made(seen, np.concatenate(numbers), tuple(ways), np.cumsum(waits))


def split_right(passes, made: Made) -> bool:
    """Number, ways and nine of ten frames are right."""
    if len(passes) != len(made.ways):
        return False
    first = right = 0
    for number, (one, way) in enumerate(zip(passes, made.ways, strict=True)):
        if one.direction != ("away" if way > 0 else "toward"):
            return False
        last = first + len(one.frames)
        right += int((made.of_pass[first:last] == number).sum())
        first = last
    return right >= 0.9 * len(made.of_pass)
