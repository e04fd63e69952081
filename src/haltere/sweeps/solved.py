"""What passes between the steps of solving a sweep."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.align.run import Chain
from haltere.align.solve import Solution
from haltere.focus.curves import Peaks, Stack
from haltere.focus.fault import Fault
from haltere.frames.frame import Frame
from haltere.sweeps.focusing import Focusing


@dataclass(frozen=True, slots=True)
class Reading:
    """Frames of a sweep after decoding.

    Attributes
    ----------
    frames : tuple of Frame
        All frames in order of time.
    good : tuple of int
        Indices of those that could be decoded.
    lost : dict of int to str
        Why each other one could not.
    scale : float
        Analysis pixels over full-size pixels.
    """

    frames: tuple[Frame, ...]
    good: tuple[int, ...]
    lost: dict[int, str]
    scale: float

    @property
    def kept(self) -> tuple[Frame, ...]:
        """Decoded frames, in order of time."""
        return tuple(self.frames[k] for k in self.good)


@dataclass(frozen=True, slots=True)
class Solved:
    """Poses, focus curves and faults of the decoded frames.

    Attributes
    ----------
    chain, solution, stack, peaks
        See the rooms they come from.
    trusted : ndarray of bool, shape (R, C)
        Places whose peak is believed.
    dof : float
        Relative depth of field.
    faults : tuple of tuple of Fault
        One entry a frame.
    kept : ndarray of float64, shape (N,), or None
        Share of the detail that each frame's plane should show, as energy; NaN where nothing
        tells, None where it was not asked.
    focusing : Focusing or None
        How the plane was moved, None where it was not asked.
    """

    chain: Chain
    solution: Solution
    stack: Stack
    peaks: Peaks
    trusted: NDArray[np.bool_]
    dof: float
    faults: tuple[tuple[Fault, ...], ...]
    kept: NDArray[np.float64] | None = None
    focusing: Focusing | None = None

    @property
    def usable(self) -> NDArray[np.bool_]:
        """Frames that were registered and have no fault, shape (N,)."""
        result: NDArray[np.bool_] = self.chain.found & np.array([not f for f in self.faults])
        return result
