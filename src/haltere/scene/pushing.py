"""Sweeps pushed by hand, along depth alone: steps, passes, lost frames and holes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Sort = Literal["complete", "holed", "sparse"]
# With a step of 0.6 before, a step longer by a hole's size and this leaves a hole of that size.
_TORN = 0.4


@dataclass(frozen=True, slots=True)
class Pushing:
    """Ranges that the pushes of a sweep are drawn from; depths in depths of field.

    Attributes
    ----------
    frames : tuple of 2 ints
        Fewest and most frames.
    step : tuple of 2 floats
        Mean step.
    uneven : tuple of 2 floats
        Standard deviation of a step over the mean; pushing and tremor share it.
    passes : tuple of float
        Share of sweeps with one, two, three and four passes.
    complete : float
        Share of sweeps without a gap.
    widest : float
        Longest step, all passes together, where nothing shall be missing.
    hole : tuple of 2 floats
        Size of a gap.
    ends : float
        Share of sweeps with gaps in which an end is missing.
    stands : float
        Share of sweeps in which the push stands still for a moment.
    smeared, dark : float
        Largest share of frames smeared, without flash.
    depth : tuple of 2 floats
        Least and greatest depth of the animal.
    """

    frames: tuple[int, int] = (14, 60)
    step: tuple[float, float] = (0.3, 2.0)
    uneven: tuple[float, float] = (0.2, 0.6)
    passes: tuple[float, ...] = (0.4, 0.28, 0.18, 0.14)
    complete: float = 0.5
    widest: float = 1.0
    hole: tuple[float, float] = (0.6, 5.0)
    ends: float = 0.3
    stands: float = 0.25
    smeared: float = 0.15
    dark: float = 0.10
    depth: tuple[float, float] = (3.0, 30.0)


@dataclass(frozen=True, slots=True)
class Push:
    """A sweep along depth, in depths of field.

    Attributes
    ----------
    sort : {"complete", "holed", "sparse"}
        Nothing missing; holes that were asked for; steps too long for the passes made.
    position : ndarray of float64, shape (n,)
        Planes in order of time.
    number : ndarray of int64, shape (n,)
        Pass of each frame, from 0.
    smeared, dark : ndarray of bool, shape (n,)
        Frames lost.
    near, far : float
        Where the animal begins and ends.
    holes : tuple of float
        Sizes of the holes still to be laid.
    """

    sort: Sort
    position: Array
    number: NDArray[np.int64]
    smeared: Flags
    dark: Flags
    near: float
    far: float
    holes: tuple[float, ...] = ()

    @property
    def depth(self) -> float:
        """Depth of the animal once the holes are laid."""
        return self.far - self.near + _added(self.holes)

    @property
    def usable(self) -> Flags:
        """Frames that are not lost."""
        return ~(self.smeared | self.dark)

    def steps(self) -> Array:
        """Give the steps along each pass's direction; negative where a frame falls back."""
        out = []
        for k in np.unique(self.number):
            p = self.position[self.number == k]
            out.append(np.diff(p) * np.sign(p[-1] - p[0]))
        return np.concatenate(out)


def _lost(rng: np.random.Generator, count: int, habits: Pushing) -> tuple[Flags, Flags]:
    """Frames that are smeared, and frames without flash; about a third of sweeps have none."""
    smeared, dark = np.zeros(count, bool), np.zeros(count, bool)
    for flags, most in ((smeared, habits.smeared), (dark, habits.dark)):
        share = max(0.0, rng.uniform(-0.5, 1.0)) * most
        flags[rng.choice(count, int(share * count), replace=False)] = True
    dark &= ~smeared
    return smeared, dark


def _passes(
    rng: np.random.Generator, counts: list[int], step: float, uneven: float, stands: bool
) -> tuple[Array, NDArray[np.int64]]:
    """Push to and fro: planes and passes in order of time."""
    tremor = float(rng.uniform(0.15, 0.8)) * uneven**2  # share of the variance of a step
    spread = np.sqrt(uneven**2 - tremor)
    way = 1.0 if rng.random() < 0.7 else -1.0
    at, planes, numbers = 0.0, [], []
    for k, count in enumerate(counts):
        mean = step * float(rng.uniform(0.85, 1.15))
        moves = rng.gamma(1.0 / spread**2, mean * spread**2, count - 1)
        if stands and count > 8:
            begin = int(rng.integers(2, count - 4))
            moves[begin : begin + int(rng.integers(1, 4))] *= 0.03
        path = at + way * np.concatenate([[0.0], np.cumsum(moves)])
        planes.append(path + rng.normal(0.0, mean * np.sqrt(tremor / 2.0), count))
        numbers.append(np.full(count, k))
        # it turns where it stopped, a little farther on, or well inside
        inside = rng.uniform(0.0, 0.3) * abs(path[-1] - path[0])
        at = path[-1] - way * (inside if rng.random() < 0.3 else float(rng.uniform(-1.0, 1.5)))
        way = -way
    return np.concatenate(planes), np.concatenate(numbers)


def _closed(rng: np.random.Generator, position: Array, usable: Flags, widest: float) -> Array:
    """Depth squeezed wherever no usable plane lies within the longest step allowed."""
    knots = np.sort(position[usable])
    moves = np.diff(knots)
    limit = widest * rng.uniform(0.75, 0.995, len(moves))
    new = np.concatenate([[0.0], np.cumsum(np.minimum(moves, limit))])
    return _mapped(position, knots, new)


def _mapped(position: Array, knots: Array, new: Array) -> Array:
    """Positions with `knots` brought to `new`; beyond the ends they move along."""
    inner = np.interp(position, knots, new)
    inner = np.where(position < knots[0], position - knots[0] + new[0], inner)
    return np.asarray(np.where(position > knots[-1], position - knots[-1] + new[-1], inner))


def _counts(
    rng: np.random.Generator, frames: int, passes: int, least: int, even: bool
) -> list[int]:
    share = np.concatenate([[1.0], rng.uniform(0.8 if even else 0.4, 1.0, passes - 1)])
    rng.shuffle(share)
    counts = np.maximum(np.round(frames * share / share.sum()).astype(int), least)
    while counts.sum() > frames:
        counts[int(counts.argmax())] -= 1
    return [int(n) for n in counts]


def _added(holes: tuple[float, ...]) -> float:
    return sum(holes) + _TORN * len(holes)


def draw_push(rng: np.random.Generator, habits: Pushing = Pushing()) -> Push:
    """Draw a sweep; its holes are yet to be laid, its depth is that with them.

    Parameters
    ----------
    rng : Generator
        Luck.
    habits : Pushing
        Ranges.
    """
    complete = bool(rng.random() < habits.complete)
    ends = not complete and bool(rng.random() < habits.ends)
    step = float(np.exp(rng.uniform(*np.log(habits.step))))
    while True:
        drawn = _draw(rng, complete, ends, step, habits)
        if drawn is not None:
            return drawn


def _draw(
    rng: np.random.Generator, complete: bool, ends: bool, step: float, habits: Pushing
) -> Push | None:
    """One try of `draw_push`; None where it does not fit the ranges."""
    passes = 1 + int(rng.choice(len(habits.passes), p=np.array(habits.passes)))
    uneven = float(rng.uniform(*habits.uneven))
    dense = step <= 0.2 + 0.6 * passes
    if complete and not dense:
        return None
    least = max(6, int(np.ceil(3.5 / step)) + 1)
    most = int(27.0 / step) + 1
    low, high = max(habits.frames[0], passes * least), min(habits.frames[1], passes * most)
    if low > high:
        return None
    frames = int(rng.integers(low, high + 1))
    counts = _counts(rng, frames, passes, least, step > 0.8)
    position, number = _passes(rng, counts, step, uneven, bool(rng.random() < habits.stands))
    frames = len(position)
    smeared, dark = _lost(rng, frames, habits)
    usable = ~(smeared | dark)
    position = _closed(rng, position, usable, habits.widest if dense else 5.0)
    knots = np.sort(position[usable])
    span = float(np.ptp(knots))
    leads = rng.uniform(-0.3, min(2.0, 0.12 * span), 2)
    small, large = np.log(habits.hole)
    missing = -0.5 - np.exp(rng.uniform(small, large, 2))
    if ends:
        which = rng.choice([0, 1, 2], p=[0.4, 0.4, 0.2])
        leads = np.where([which != 1, which != 0], missing, leads)
    count = 0
    if dense and not complete:
        count = int(rng.integers(1, 3)) - int(ends and rng.random() < 0.5)
    holes = tuple(float(np.exp(v)) for v in rng.uniform(small, large, count))
    near, far = float(knots[0] + leads[0]), float(knots[-1] - leads[1])
    depth = far - near + _added(holes)
    if not habits.depth[0] <= depth <= habits.depth[1] or (count and len(knots) < 8 + 3 * count):
        return None
    sort: Sort = "complete" if complete else "holed" if dense else "sparse"
    return Push(sort, position, number, smeared, dark, near, far, holes)


def lay_holes(
    rng: np.random.Generator, push: Push, places: Array, habits: Pushing = Pushing()
) -> Push:
    """Tear the holes of a sweep open, where some of the animal lies.

    Some holes are stepped over; in others there are frames, all of them lost.

    Parameters
    ----------
    rng : Generator
        Luck.
    push : Push
        A sweep with holes to lay.
    places : ndarray of float64
        Where the animal's surface lies, 0 at its near end and 1 at its far one.
    habits : Pushing
        Ranges.
    """
    if not push.holes:
        return push
    best, found = -1.0, push
    surface = np.sort(push.near + places * push.depth)
    for _ in range(200):
        tried, edges = _torn(rng, push, habits)
        share = [
            float(np.searchsorted(surface, b) - np.searchsorted(surface, a)) / len(surface)
            for a, b in edges
        ]
        if edges and min(share) > best:
            best, found = min(share), tried
        # a hole under a few hairs is no hole that anybody would see
        if best >= 0.015:
            break
    return replace(found, far=push.near + push.depth, holes=())


def _torn(
    rng: np.random.Generator, push: Push, habits: Pushing
) -> tuple[Push, list[tuple[float, float]]]:
    """One try: the sweep with its holes, and their edges."""
    smeared, dark = push.smeared.copy(), push.dark.copy()
    least, most = habits.hole[0] - 0.1, habits.hole[1]
    order = np.argsort(push.position)
    lost = []
    for _ in push.holes:
        run = int(rng.integers(1, 4)) if rng.random() < 0.4 else 0
        at = int(rng.integers(2, len(order) - 2 - run))
        lost.append(at + run)
        kind = dark if rng.random() < 0.3 else smeared
        for i in order[at : at + run]:
            kind[i] = not (smeared[i] or dark[i]) or kind[i]
    usable = ~(smeared | dark)
    knots = np.sort(push.position[usable])
    moves = np.diff(knots)
    edges_at = []
    for at, size in zip(lost, push.holes, strict=True):
        # the step that leads over the place
        i = int(np.searchsorted(knots, push.position[order[at]], side="left")) - 1
        if not 0 <= i < len(moves) or i in edges_at:
            return push, []
        edges_at.append(i)
        # the same is added wherever it is torn, so that the animal's depth is known before
        moves[i] += size + _TORN
        if not least <= moves[i] - 1.0 <= most:
            return push, []
    new = knots[0] + np.concatenate([[0.0], np.cumsum(moves)])
    edges = [(float(new[i] + 0.5), float(new[i + 1] - 0.5)) for i in edges_at]
    position = _mapped(push.position, knots, new)
    return replace(push, position=position, smeared=smeared, dark=dark), edges
