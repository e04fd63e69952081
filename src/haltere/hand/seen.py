"""What was seen of a hand, as plain numbers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number with its interval, which holds the truth in nine of ten cases.

    Attributes
    ----------
    value, low, high : float
        In the unit that the key names.
    """

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class BurstSeen:
    """One burst, frames in order of time.

    Attributes
    ----------
    outing : int
        Number of the outing; they follow each other in time.
    support : str
        What the person said the hand rested on; empty when nothing was said.
    hour : int or None
        Local hour.
    magnification : float or None
        Size on the sensor over size on the animal.
    dof_mm : float
        Depth of field.
    times_s : ndarray of float64, shape (N,)
        From the first frame on.
    offset_mm, error_mm : ndarray of float64, shape (N,)
        Plane of focus minus eye, and its standard deviation; NaN where it could not be told.
    aside_mm : ndarray of float64, shape (N, 2)
        Where the eye was seen in the picture, on the animal's scale; NaN where it was not.
    motion, misfire, spoilt : int
        Frames smeared by movement; too dark because the flash did not fire; with any fault other
        than focus.
    hit : bool
        Whether one frame at least has the eye sharp.
    """

    outing: int
    support: str
    hour: int | None
    magnification: float | None
    dof_mm: float
    times_s: Floats
    offset_mm: Floats
    error_mm: Floats
    aside_mm: Floats
    motion: int
    misfire: int
    spoilt: int
    hit: bool

    @property
    def frames(self) -> int:
        """How many frames it has."""
        return len(self.times_s)

    @property
    def rate_fps(self) -> float:
        """Frames a second."""
        return (self.frames - 1) / max(1e-3, float(self.times_s[-1])) if self.frames > 1 else 1.0


@dataclass(frozen=True, slots=True)
class SweepSeen:
    """One pushed sweep.

    Attributes
    ----------
    outing : int
        Number of the outing.
    support : str
        What the hand rested on; empty when nothing was said.
    magnification : float or None
        Size on the sensor over size on the animal.
    steps : int
        Steps that were measured.
    step_dof, step_spread_dof : float
        Their mean and standard deviation, in depths of field.
    step_error_dof : float
        Standard deviation of a plane's place.
    speed_mm_s, frames_per_s : float or None
        Of the push; None where the clock does not tell.
    sway_mm : float or None
        How far the view strays sideways.
    """

    outing: int
    support: str
    magnification: float | None
    steps: int
    step_dof: float
    step_spread_dof: float
    step_error_dof: float
    speed_mm_s: float | None
    frames_per_s: float | None
    sway_mm: float | None
