"""Passes of a solved sweep: stretches between turning points."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.runs.run import Direction, Pass


@dataclass(frozen=True, slots=True)
class PassNumbers:
    """Numbers that decide what a turning point is.

    Attributes
    ----------
    back_dof : float
        A fall-back smaller than this is the hand's unsteadiness, in depths of field.
    frames : int
        Fewer frames than this make no pass of their own.
    """

    back_dof: float = 2.0
    frames: int = 3


NUMBERS = PassNumbers()


def find_passes(names: Sequence[str], along_dof: NDArray[np.float64]) -> tuple[Pass, ...]:
    """Cut a sweep at its turning points.

    Parameters
    ----------
    names : sequence of str
        Frame names in order of time.
    along_dof : ndarray of float64, shape (N,)
        Planes in depths of field, NaN for frames without one; they join their neighbours.

    Returns
    -------
    tuple of Pass
        Passes in order of time.
    """
    known = np.flatnonzero(np.isfinite(along_dof))
    if len(known) < 2:
        return (Pass("unknown", tuple(names)),)
    turns = [0]
    sign = 0
    extreme = int(known[0])
    for k in known[1:]:
        move = along_dof[k] - along_dof[extreme]
        if sign == 0:
            if abs(move) > NUMBERS.back_dof:
                sign = int(np.sign(move))
                extreme = int(k)
        elif move * sign > 0:
            extreme = int(k)
        elif abs(move) > NUMBERS.back_dof:
            turns.append(extreme + 1)
            sign = -sign
            extreme = int(k)
    edges = [*turns, len(names)]
    pieces = list(itertools.pairwise(edges))
    passes: list[Pass] = []
    for start, end in pieces:
        if passes and end - start < NUMBERS.frames:
            last = passes.pop()
            passes.append(Pass(last.direction, (*last.frames, *names[start:end])))
            continue
        inside = along_dof[start:end]
        inside = inside[np.isfinite(inside)]
        direction: Direction = "unknown"
        if len(inside) > 1:
            direction = "away" if inside[-1] > inside[0] else "toward"
        passes.append(Pass(direction, tuple(names[start:end])))
    return tuple(passes)
