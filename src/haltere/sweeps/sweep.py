"""A solved sweep: what the verdict rests on and what a merge needs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.align.lumas import Lumas
from haltere.focus.curves import Peaks
from haltere.frames.frame import Frame
from haltere.kit.capture import Capture
from haltere.sweeps.coverage import Coverage


@dataclass(frozen=True, slots=True)
class Sweep:
    """Everything known of a sweep after solving it.

    Attributes
    ----------
    frames : tuple of Frame
        Frames in order of time.
    capture : Capture
        How it was taken.
    coverage : Coverage
        What is said to the photographer.
    reference : int
        Index of the reference frame.
    lumas : Lumas
        Analysis pictures, on disk until closed.
    scale : float
        Analysis pixels over full-size pixels.
    poses : ndarray of float64, shape (N, 6)
        See `haltere.align.pose`; analysis pixels.
    gains : ndarray of float64, shape (N,)
        Factors that even out the brightness of encoded luma.
    usable : ndarray of bool, shape (N,)
        Frames without motion, dark or lost.
    focal_px : float
        See `haltere.align.pose`, analysis pixels.
    dof, c_px, airy_px : float
        Relative depth of field; circle of confusion and Airy diameter in analysis pixels.
    peaks : Peaks
        Depth of each place of the focus grid, cells of `haltere.focus.curves`.
    trusted : ndarray of bool, shape (R, C)
        Places whose peak is believed.
    """

    frames: tuple[Frame, ...]
    capture: Capture
    coverage: Coverage
    reference: int
    lumas: Lumas
    scale: float
    poses: NDArray[np.float64]
    gains: NDArray[np.float64]
    usable: NDArray[np.bool_]
    focal_px: float
    dof: float
    c_px: float
    airy_px: float
    peaks: Peaks
    trusted: NDArray[np.bool_]

    @property
    def near_told(self) -> bool:
        """Whether it is told which end of the sweep is near; a turned ring leaves that open."""
        focusing = self.coverage.focusing
        return focusing is None or focusing.how != "turned"

    def close(self) -> None:
        """Remove the analysis pictures; everything else stays."""
        self.lumas.close()
