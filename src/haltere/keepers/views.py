"""Where places of the reference view lie in each frame, and their spectra there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.align.pose import apply, homography, plane_depth, project
from haltere.focus.patches import Patches, Window, gather, turns_of
from haltere.keepers.numbers import NUMBERS
from haltere.keepers.shots import Shots
from haltere.keepers.tie import Tied

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Views:
    """A tied burst seen from its reference frame.

    Points of the reference view are centred pixels of the small pictures; points of a frame are
    upright full-size pixels.

    Attributes
    ----------
    shots : Shots
        The pictures.
    tied : Tied
        Poses.
    window : Window
        For spectra of fine pictures.
    """

    shots: Shots
    tied: Tied
    window: Window

    def full(self, centred_px: Floats) -> Floats:
        """Full-size pixels of centred small ones, any shape (..., 2).

        Parameters
        ----------
        centred_px : ndarray of float64, shape (..., 2)
            Centred pixels of a small picture.
        """
        result: Floats = (centred_px + self._centre() + 0.5) / self.shots.small_scale - 0.5
        return result

    def centred(self, full_px: Floats) -> Floats:
        """Centred small pixels of full-size ones, any shape (..., 2).

        Parameters
        ----------
        full_px : ndarray of float64, shape (..., 2)
            Full-size pixels.
        """
        result: Floats = (full_px + 0.5) * self.shots.small_scale - 0.5 - self._centre()
        return result

    def _centre(self) -> Floats:
        height, width = self.shots.small.shape
        return np.array([(width - 1) / 2, (height - 1) / 2])

    def to_reference(self, k: int, full_px: Floats, depth: float) -> Floats:
        """Give the reference point that lies at a full-size pixel of a frame, given its depth.

        Parameters
        ----------
        k : int
            The frame.
        full_px : ndarray of float64, shape (2,)
            Pixel of that frame.
        depth : float
            Relative depth of the point.
        """
        back = np.linalg.inv(homography(self.tied.poses[k], depth, self.tied.optics.focal_px))
        result: Floats = apply(np.asarray(back, np.float64), self.centred(full_px)[None])[0]
        return result

    def in_frame(self, k: int, here_px: Floats, depth: Floats | float) -> Floats:
        """Full-size pixels (P, 2) of a frame at which reference points (P, 2) lie.

        Parameters
        ----------
        k : int
            The frame.
        here_px : ndarray of float64, shape (P, 2)
            Reference points.
        depth : ndarray of float64, shape (P,), or float
            Their relative depth.
        """
        return self.full(project(self.tied.poses[k], here_px, depth, self.tied.optics.focal_px))

    def planes(self, here_px: Floats) -> Floats:
        """Relative depth of every frame's plane at reference points (P, 2), shape (N, P).

        Parameters
        ----------
        here_px : ndarray of float64, shape (P, 2)
            Reference points.
        """
        focal = self.tied.optics.focal_px
        return np.array([plane_depth(p, here_px, focal) for p in self.tied.poses])

    def patches(self, here_px: Floats, depth: Floats | float) -> Patches:
        """Spectra of places in every frame; holds one frame's patches at a time.

        Parameters
        ----------
        here_px : ndarray of float64, shape (P, 2)
            Reference points.
        depth : ndarray of float64, shape (P,), or float
            About their relative depth: a few depths of field off moves a patch by a pixel.
        """
        tied, shots = self.tied, self.shots
        count = len(shots.frames)
        at = np.array([self.in_frame(k, here_px, depth) for k in range(count)])
        at = (at + 0.5) * shots.fine_scale - 0.5
        level = float(np.mean(depth))
        turns = turns_of(tied.poses[:count], here_px.mean(0), level, tied.optics.focal_px)
        return gather(shots.fine, at, turns, tied.gains, self.planes(here_px), self.window)


def witnesses(tied: Tied) -> tuple[Floats, Floats]:
    """Places with strong detail that some frame has in focus, spread over depth and picture.

    Parameters
    ----------
    tied : Tied
        Tied burst.

    Returns
    -------
    here_px : ndarray of float64, shape (P, 2)
        Reference points.
    depth : ndarray of float64, shape (P,)
        Relative depth of each.
    """
    peaks, usable = tied.peaks, tied.found & ~tied.dark
    dof = tied.optics.dof or 0.01
    points, energy = tied.stack.points_px, tied.stack.energy[usable]
    if not energy.size:
        return np.zeros((0, 2)), np.zeros(0)
    low, high = tied.poses[usable, 2].min(), tied.poses[usable, 2].max()
    depth = np.clip(peaks.depth.ravel(), low - 2 * dof, high + 2 * dof)
    amount = np.nanmax(np.where(np.isfinite(energy), energy, 0.0), axis=0).ravel()
    strong = amount > NUMBERS.detailed * max(float(np.percentile(amount, 10)), 1e-6)
    told = strong & (peaks.amplitude.ravel() > 1.5 * peaks.noise.ravel())
    told &= depth == peaks.depth.ravel()
    layers = np.clip((depth - low) / max(high - low, 1e-9) * 8, 0, 7).astype(int)
    most = NUMBERS.witnesses_kept
    chosen: list[int] = []
    # first what peaks, some of every depth; then, in a burst that hardly moved, what is plainest
    for able, room in ((told, np.full(8, most // 8)), (strong, np.full(8, most // 2))):
        for k in np.argsort(np.where(able, -amount, 0.0), kind="stable")[: int(able.sum())]:
            if len(chosen) >= most:
                break
            full = room[layers[k]] == 0
            if full or (chosen and np.hypot(*(points[chosen] - points[k]).T).min() < 24):
                continue
            chosen.append(int(k))
            room[layers[k]] -= 1
        if len(chosen) >= most // 4:
            break
    return points[chosen], depth[chosen]
