"""How likely a burst holds one frame with the eyes sharp, and how long it must be."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

import numpy as np

from haltere.errors import UsageError
from haltere.plan.chance_limits import (
    LIMITS,
    refuse_outside,
    refuse_unless_chance,
    refuse_unless_count,
    refuse_unless_positive,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    Row = NDArray[np.float64]

Law = Literal["normal", "uniform"]

# a hand is never farther from its mean than this many standard deviations (1 in 10^15)
FARTHEST = 8.0


def frame_hits(depth_mm: float, spread_mm: float, law: Law = "normal") -> float:
    """Tell how likely one frame of a burst is to have the eyes within its depth.

    Parameters
    ----------
    depth_mm : float
        Depth of one frame, mm, centred on where the hand is on average.
    spread_mm : float
        Spread of the hand along the axis, mm: standard deviation of the normal law, half of the
        whole range of the uniform one.
    law : {'normal', 'uniform'}, optional
        How the hand's position scatters (normal: assumed).

    Returns
    -------
    float
        Chance, 0 to 1.

    Raises
    ------
    UsageError
        For absurd values or an unknown law.
    """
    refuse_unless_positive(depth_mm=depth_mm, spread_mm=spread_mm)
    if law == "normal":
        return math.erf(depth_mm / (2.0 * math.sqrt(2.0) * spread_mm))
    if law == "uniform":
        return min(1.0, depth_mm / (2.0 * spread_mm))
    raise UsageError(f"the hand can not follow the law '{law}': choose normal or uniform.")


def burst_hits(depth_mm: float, spread_mm: float, frames: int, law: Law = "normal") -> float:
    """Tell how likely a burst has the eyes sharp once, if no frame resembles another.

    Parameters
    ----------
    depth_mm : float
        Depth of one frame, mm.
    spread_mm : float
        Spread of the hand along the axis, mm.
    frames : int
        Frames of the burst.
    law : {'normal', 'uniform'}, optional
        How the hand's position scatters.

    Returns
    -------
    float
        Chance, 1 - (1 - p)^n; too hopeful for a fast burst.

    Raises
    ------
    UsageError
        For absurd values.
    """
    refuse_unless_count(LIMITS.most_frames, frames=frames)
    one = frame_hits(depth_mm, spread_mm, law)
    return 1.0 if one >= 1.0 else -math.expm1(frames * math.log1p(-one))


def correlation_between_frames(rate_fps: float, time_constant_s: float) -> float:
    """Tell how much the hand's place in one frame says about its place in the next.

    Parameters
    ----------
    rate_fps : float
        Frames a second.
    time_constant_s : float
        Time in which the hand's sway forgets where it was, s.

    Returns
    -------
    float
        Correlation exp(-dt / tau), 0 to 1 (G. Uhlenbeck and L. Ornstein, Phys. Rev. 36 (1930)
        823, from memory).

    Raises
    ------
    UsageError
        For absurd values.
    """
    refuse_unless_positive(rate_fps=rate_fps, time_constant_s=time_constant_s)
    return math.exp(-1.0 / (rate_fps * time_constant_s))


def correlated_burst_hits(
    depth_mm: float, spread_mm: float, frames: int, correlation: float
) -> float:
    """Tell how likely a burst has the eyes sharp once, if each frame resembles the next.

    Parameters
    ----------
    depth_mm : float
        Depth of one frame, mm.
    spread_mm : float
        Standard deviation of the hand along the axis, mm (normal law).
    frames : int
        Frames of the burst.
    correlation : float
        Correlation of the hand's place from frame to frame, 0 to 1.

    Returns
    -------
    float
        Chance, 0 to 1.

    Raises
    ------
    UsageError
        For absurd values.

    Notes
    -----
    The place is a first-order Gauss-Markov (Ornstein-Uhlenbeck) process: the density of hands
    that have missed so far is carried from frame to frame. The effective number of frames
    n (1 - r) / (1 + r) found in textbooks belongs to the error of a mean, not to this chance.
    """
    refuse_unless_positive(depth_mm=depth_mm, spread_mm=spread_mm)
    refuse_unless_count(LIMITS.most_frames, frames=frames)
    refuse_outside(0.0, 1.0, correlation=correlation)
    if correlation == 0.0:
        return burst_hits(depth_mm, spread_mm, frames)
    if correlation > LIMITS.same_frame:
        return frame_hits(depth_mm, spread_mm)
    chances = _hits_frame_by_frame(0.5 * depth_mm / spread_mm, correlation)
    return next(hit for frame, hit in enumerate(chances, 1) if frame == frames)


def frames_needed(
    depth_mm: float,
    spread_mm: float,
    certainties: Sequence[float] = (0.9, 0.95, 0.99),
    correlation: float = 0.0,
) -> tuple[int | None, ...]:
    """Tell how long a burst must be to have the eyes sharp once, for each certainty.

    Parameters
    ----------
    depth_mm : float
        Depth of one frame, mm.
    spread_mm : float
        Standard deviation of the hand along the axis, mm (normal law).
    certainties : sequence of float, optional
        Chances wanted, each between 0 and 1.
    correlation : float, optional
        Correlation of the hand's place from frame to frame, 0 to 1.

    Returns
    -------
    tuple of int or None
        Frames, in the order of the certainties; None where even 500 are not enough.

    Raises
    ------
    UsageError
        For absurd values.
    """
    one = frame_hits(depth_mm, spread_mm)
    for certainty in certainties:
        refuse_unless_chance(certainty=certainty)
    refuse_outside(0.0, 1.0, correlation=correlation)
    if correlation > LIMITS.same_frame:
        return tuple(1 if one >= certainty else None for certainty in certainties)
    if correlation == 0.0:
        chances = (-math.expm1(n * math.log1p(-one)) if one < 1.0 else 1.0 for n in _counting())
        return _first_above(chances, certainties)
    return _first_above(_hits_frame_by_frame(0.5 * depth_mm / spread_mm, correlation), certainties)


def _counting() -> range:
    """Count through the frames of the longest burst."""
    return range(1, LIMITS.most_frames + 1)


def _first_above(chances: Iterator[float], certainties: Sequence[float]) -> tuple[int | None, ...]:
    """Count to the first chance that reaches each certainty, going no farther than needed."""
    found: dict[float, int] = {}
    waiting = sorted(set(certainties), reverse=True)
    for frame, chance in zip(_counting(), chances, strict=False):
        while waiting and chance >= waiting[-1]:
            found[waiting.pop()] = frame
        if not waiting:
            break
    return tuple(found.get(certainty) for certainty in certainties)


def _hits_frame_by_frame(half_depth: float, correlation: float) -> Iterator[float]:
    """Give the chance after 1, 2, 3, ... frames; the half depth in standard deviations.

    Only hands that miss are carried on, so the grid holds no edge inside it, and Gauss's nodes
    follow the smooth rest closely. Both sides of the depth are alike: one is enough.
    """
    if half_depth >= FARTHEST:
        yield from (1.0 for _ in _counting())
        return
    width = math.sqrt(1.0 - correlation**2)
    reach = FARTHEST - half_depth
    # a few nodes in each width of the kernel; more digits than anybody needs
    unit, unit_weight = _gauss_nodes(8 * math.ceil((16.0 + 1.2 * reach / width) / 8))
    at = half_depth + reach * unit
    weight = reach * unit_weight
    # what a move from one node to another weighs, from this side or from the far one
    moved = np.exp(-0.5 * np.square((at[:, None] - correlation * at) / width))
    moved += np.exp(-0.5 * np.square((at[:, None] + correlation * at) / width))
    moved *= weight / (width * math.sqrt(2.0 * math.pi))
    missed = 2.0 / math.sqrt(2.0 * math.pi) * np.exp(-0.5 * np.square(at))
    for _ in _counting():
        yield 1.0 - float(missed @ weight)
        missed = moved @ missed


@lru_cache(maxsize=32)
def _gauss_nodes(count: int) -> tuple[Row, Row]:
    """Give Gauss-Legendre nodes and weights between 0 and 1."""
    at, weight = np.polynomial.legendre.leggauss(count)
    return 0.5 * (at + 1.0), 0.5 * weight
