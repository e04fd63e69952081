"""Which way a sweep was pushed, and where the hand turned or began anew.

The planes over time are cut into pieces that only go one way.  Among all ways of cutting, the one
is taken whose fall-backs within pieces, added to a price for every turn, are least: a penalised
monotone regression, solved exactly by dynamic programming (R. Bellman, 1957, from memory).  A
threshold on fall-backs cuts at tremor or misses short passes; the sum over a whole pass does not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from haltere.runs.run import Direction, Pass

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class PassNumbers:
    """Numbers that decide what a turning point is, from some thousand made-up pushes.

    Attributes
    ----------
    unsteady_dof : float
        What a frame is expected to lie off an even way: tremor and the plane's own error together.
    least_dof, most_dof : float
        Between these the same is measured from the sweep itself.
    most : float
        The most that one frame may cost, so that one wrong plane makes no pass; a frame that lies
        once the expected amount off costs one half.
    turn : float
        Price of turning round.
    anew : float
        Price of going back without pictures and pushing the same way again.
    pause : float
        A wait this many times as long as between most frames is a pause ...
    at_pause : float
        ... where turning and beginning anew cost only this share: hands rest between passes.
    frames : int
        Fewer placed frames than this make no pass of their own.
    still_dof : float
        Frames this near the turning point wait there, and belong to the pass that ends.
    """

    unsteady_dof: float = 0.35
    least_dof: float = 0.25
    most_dof: float = 0.45
    most: float = 4.0
    turn: float = 3.5
    anew: float = 4.5
    pause: float = 3.0
    at_pause: float = 0.5
    frames: int = 3
    still_dof: float = 0.4


NUMBERS = PassNumbers()


@dataclass(frozen=True, slots=True)
class _Piece:
    """Frames `start` to before `end`, with the sign of their way."""

    start: int
    end: int
    sign: int


def find_passes(
    names: Sequence[str],
    along_dof: Floats,
    sigma_dof: Floats | None = None,
    times_s: Floats | None = None,
) -> tuple[Pass, ...]:
    """Cut a sweep at its turning points.

    Parameters
    ----------
    names : sequence of str
        Frame names in order of time.
    along_dof : ndarray of float64, shape (N,)
        Planes in depths of field, NaN for frames without one; they join their neighbours.
    sigma_dof : ndarray of float64, shape (N,), optional
        Uncertainty of each plane; an uncertain one counts less.
    times_s : ndarray of float64, shape (N,), optional
        Moments of exposure, NaN where unknown; a pause is where hands turn.

    Returns
    -------
    tuple of Pass
        Passes in order of time.
    """
    known = np.flatnonzero(np.isfinite(along_dof))
    if len(known) < 2:
        return (Pass("unknown", tuple(names)),) if names else ()
    z = along_dof[known]
    own = np.zeros(len(z)) if sigma_dof is None else np.nan_to_num(sigma_dof[known])
    share = _at_pauses(len(names), known, times_s)
    pieces, even = _cut(z, np.hypot(NUMBERS.unsteady_dof, own), share)
    # how unsteady this hand is, from the median distance to the even way (1.48: of a normal one)
    seen = 1.48 * float(np.median(np.abs(z - even)[z != even])) if (z != even).any() else 0.0
    spread = np.hypot(np.clip(seen, NUMBERS.least_dof, NUMBERS.most_dof), own)
    pieces = _merged(_cut(z, spread, share)[0], z, share)
    # frames without a plane between two passes: half of them to each
    starts = [int(known[p.start - 1] + known[p.start] + 1) // 2 for p in pieces[1:]]
    ends = [0, *starts, len(names)]
    return tuple(
        Pass(_direction(piece, z), tuple(names[start:end]))
        for piece, (start, end) in zip(pieces, pairwise(ends), strict=True)
    )


def _at_pauses(count: int, known: NDArray[np.intp], times_s: Floats | None) -> Floats:
    """Share of the price of a turn before each placed frame."""
    share = np.ones(len(known))
    if times_s is None or np.isfinite(times_s).sum() < 3:
        return share
    waits = np.full(count, np.nan)
    waits[1:] = np.diff(times_s)
    usual = float(np.nanmedian(waits))
    # clocks of whole seconds give many frames the same one: a pause is then two of them
    paused = np.nan_to_num(waits) > (NUMBERS.pause * usual if usual > 0 else 1.5)
    for row, (before, at) in enumerate(pairwise(known), 1):
        if paused[before + 1 : at + 1].any():
            share[row] = NUMBERS.at_pause
    return share


def _direction(piece: _Piece, z: Floats) -> Direction:
    inside = z[piece.start : piece.end]
    if len(inside) < 2 or piece.sign == 0:
        return "unknown"
    return "away" if piece.sign > 0 else "toward"


def _cut(z: Floats, spread: Floats, share: Floats) -> tuple[list[_Piece], Floats]:
    """Cheapest cutting into pieces that go one way, and the even way, shape (N,)."""
    levels = np.unique(z)
    count = len(levels)
    price = np.minimum(0.5 * ((z[:, None] - levels[None]) / spread[:, None]) ** 2, NUMBERS.most)
    # state: way (0 away, 1 toward) and level reached; `came` remembers (way, level) before
    cost = np.stack([price[0], price[0]])
    came = np.zeros((len(z), 2, count, 2), np.int64)
    new = np.zeros((len(z), 2, count), bool)
    for t in range(1, len(z)):
        best = [int(cost[way].argmin()) for way in (0, 1)]
        step = np.empty_like(cost)
        for way in (0, 1):
            on, at = _running(cost[way], toward=way == 1)
            turned = cost[1 - way][best[1 - way]] + NUMBERS.turn * share[t]
            anew = cost[way][best[way]] + NUMBERS.anew * share[t]
            # at even prices a turn is preferred to beginning anew, and going on to both
            other, from_way = (turned, 1 - way) if turned <= anew else (anew, way)
            parted = other < on - 1e-9
            step[way] = np.where(parted, other, on) + price[t]
            came[t, way, :, 0] = np.where(parted, from_way, way)
            came[t, way, :, 1] = np.where(parted, best[from_way], at)
            new[t, way] = parted
        cost = step
    way, level = (int(v) for v in np.unravel_index(cost.argmin(), cost.shape))
    pieces: list[_Piece] = []
    end = len(z)
    even = np.empty(len(z))
    for t in range(len(z) - 1, 0, -1):
        even[t] = levels[level]
        before = came[t, way, level]
        if new[t, way, level]:
            pieces.append(_Piece(t, end, 1 - 2 * way))
            end = t
        way, level = int(before[0]), int(before[1])
    even[0] = levels[level]
    pieces.append(_Piece(0, end, 1 - 2 * way))
    return pieces[::-1], even


def _running(cost: Floats, *, toward: bool) -> tuple[Floats, NDArray[np.int64]]:
    """Least cost of any level not beyond each one, and which level that is."""
    one = cost[::-1] if toward else cost
    least = np.minimum.accumulate(one)
    fresh = np.r_[True, one[1:] < least[:-1]]
    at = np.maximum.accumulate(np.where(fresh, np.arange(len(one)), 0))
    if toward:
        return least[::-1], (len(one) - 1 - at)[::-1]
    return least, at


def _merged(pieces: list[_Piece], z: Floats, share: Floats) -> list[_Piece]:
    """Put each turn at its extreme, then join pieces too short to be a pass."""
    pieces = _turned(pieces, z, share)
    kept: list[_Piece] = []
    for piece in pieces:
        if kept and min(piece.end - piece.start, kept[-1].end - kept[-1].start) < NUMBERS.frames:
            last = kept.pop()
            longer = max(last, piece, key=lambda p: p.end - p.start)
            kept.append(_Piece(last.start, piece.end, longer.sign))
        elif kept and kept[-1].sign == piece.sign and not _leaps(kept[-1], piece, z):
            kept.append(_Piece(kept.pop().start, piece.end, piece.sign))
        else:
            kept.append(piece)
    return _turned(kept, z, share) if len(kept) < len(pieces) else kept


def _turned(pieces: list[_Piece], z: Floats, share: Floats) -> list[_Piece]:
    """Move the ends of pieces to where the hand turned."""
    ends = [0, *(_turn(one, other, z, share) for one, other in pairwise(pieces)), len(z)]
    return [_Piece(a, b, piece.sign) for piece, (a, b) in zip(pieces, pairwise(ends), strict=True)]


def _leaps(one: _Piece, other: _Piece, z: Floats) -> bool:
    """Whether two pieces of one way are parted by a step back, and not by a step on."""
    return bool((z[other.start] - z[other.start - 1]) * one.sign < 0)


def _turn(one: _Piece, other: _Piece, z: Floats, share: Floats) -> int:
    """First frame after a turn."""
    at = other.start
    near_by = range(max(one.start + 1, at - 3), min(other.end - 1, at + 3) + 1)
    paused = [t for t in near_by if share[t] < 1]
    if paused:
        return min(paused, key=lambda t: abs(t - at))
    if one.sign == other.sign:
        near = range(max(one.start + 2, at - 1), min(other.end - 1, at + 1) + 1)
        return max(near, key=lambda t: (one.sign * (z[t - 1] - z[t]), -abs(t - at)), default=at)
    reach = range(max(one.start + 1, at - 3), min(other.end - 1, at + 3))
    last = max(reach, key=lambda t: (one.sign * z[t], -abs(t - at + 1)), default=at - 1)
    waits = last
    while waits + 1 < other.end - 1 and abs(z[waits + 1] - z[last]) < NUMBERS.still_dof:
        waits += 1
    # one frame near the extreme may as well be the first of the way back; two and more wait
    return (waits if waits - last >= 2 else last) + 1
