"""A burst measured as the sweep it did not know it was: poses, and focus curves of every place."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from haltere.align.lumas import Lumas
from haltere.align.run import Chain, chain_factor, chain_run, choose_pairs
from haltere.align.solve import make_grid, solve_poses
from haltere.focus.curves import Peaks, Stack, detail, find_peaks, focus_stack
from haltere.keepers.numbers import NUMBERS
from haltere.kit import Capture, depth_of_field_mm, effective_f_number_of
from haltere.progress import Progress, silent

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Optics:
    """What the geometry needs, in analysis pixels and relative lengths.

    Attributes
    ----------
    focal_px : float
        Plane-to-pupil distance over the size of a pixel at the plane.
    dof : float or None
        Depth of field over plane-to-pupil distance; None when it must be found.
    c_px, airy_px : float
        Circle of confusion and Airy disc on the sensor.
    mm : float or None
        Millimetres of a relative length of 1; None when unknown.
    """

    focal_px: float
    dof: float | None
    c_px: float
    airy_px: float
    mm: float | None


def optics_of(taken: Capture, width_px: int, full_px: int) -> Optics:
    """Optics of a run for analysis pictures; typical values stand in for what is unknown.

    Parameters
    ----------
    taken : Capture
        How the run was taken.
    width_px, full_px : int
        Longer side of the analysis pictures and of the full ones.
    """
    pitch = (taken.pixel_pitch_mm or 23.0 / full_px) * full_px / width_px
    dof_mm, distance = depth_of_field_mm(taken), taken.pupil_distance_mm
    effective = effective_f_number_of(taken) or 2 * (taken.f_number or 11.0)
    focal = taken.focal_mm or 60.0
    magnification = taken.magnification or 1.0
    stand_in = distance or focal * (1 + 1 / magnification)
    known = dof_mm is not None and distance is not None and taken.pixel_pitch_mm is not None
    return Optics(
        stand_in * magnification / pitch,
        dof_mm / distance if known and dof_mm is not None and distance is not None else None,
        taken.coc_mm / pitch,
        2.44 * 0.00055 * effective / pitch,
        distance if known else None,
    )


@dataclass(frozen=True, slots=True)
class Tied:
    """A burst whose frames are tied together.

    Attributes
    ----------
    reference : int
        Frame whose view the others are carried to.
    poses, covariance : ndarray of float64, shapes (N, 6) and (N, 6, 6)
        See `haltere.align`.
    gains : ndarray of float64, shape (N,)
        Factors that even out brightness.
    found, dark : ndarray of bool, shape (N,)
        Frames that could be tied; frames whose flash did not fire.
    stack : Stack
        Detail of every place in every frame.
    peaks : Peaks
        Where each place is sharpest.
    optics : Optics
        With `dof` known or found.
    """

    reference: int
    poses: Floats
    covariance: Floats
    gains: Floats
    found: NDArray[np.bool_]
    dark: NDArray[np.bool_]
    stack: Stack
    peaks: Peaks
    optics: Optics


def tie(lumas: Lumas, optics: Optics, progress: Progress = silent) -> Tied:
    """Register a burst and measure its focus curves.

    Parameters
    ----------
    lumas : Lumas
        Two or more frames.
    optics : Optics
        Geometry.
    progress : Progress, optional
        Told of each step.

    Returns
    -------
    Tied
        Poses, gains and focus curves.
    """
    chain, reference = _chain(lumas, progress)
    n = len(lumas)
    dark = chain.gains > 1 / NUMBERS.dark
    usable = chain.found & ~dark
    poses = chain.poses
    covariance = np.zeros((n, 6, 6))
    rounds = 2 if int(usable.sum()) >= 4 else 0
    for _ in range(rounds):
        stack = focus_stack(lumas, poses, chain.gains, optics.focal_px, progress)
        now, peaks = _peaks(stack, usable, optics)
        cells, reach = _cell_depths(lumas, peaks, poses[usable, 2], now), 2 * (now.dof or 0.01)
        pairs = choose_pairs(poses[:, 2], chain.found)
        solved = solve_poses(
            lumas, chain.gains, poses, pairs, reference, optics.focal_px, cells, reach, rounds=2
        )
        if not np.isfinite(solved.poses).all() or _wild(solved.poses, poses):
            break
        poses = np.where(chain.found[:, None], solved.poses, poses)
        covariance = solved.covariance
    stack = focus_stack(lumas, poses, chain.gains, optics.focal_px, progress)
    now, peaks = _peaks(stack, usable, optics)
    return Tied(reference, poses, covariance, chain.gains, chain.found, dark, stack, peaks, now)


def _chain(lumas: Lumas, progress: Progress) -> tuple[Chain, int]:
    """Chain about the frame with the most detail that most others can be tied to."""
    factor = chain_factor(lumas.shape)
    n = len(lumas)
    amount = np.array([float((detail(lumas.small(k, factor)) ** 2).mean()) for k in range(n)])
    best: tuple[Chain, int] | None = None
    for reference in np.argsort(-amount, kind="stable")[:4]:
        chain = chain_run(lumas, int(reference), progress)
        if best is None or chain.found.sum() > best[0].found.sum():
            best = (chain, int(reference))
        if best[0].found.sum() > 0.6 * n:
            break
    assert best is not None
    return best


def _wild(new: Floats, old: Floats) -> bool:
    """Whether a solution left the chain's by more than a chain can be wrong."""
    spread = max(float(np.ptp(old[:, 2])), 1e-3)
    return bool(np.abs(new[:, 2] - old[:, 2]).max() > 1.5 * spread + 0.01)


def _peaks(stack: Stack, usable: NDArray[np.bool_], optics: Optics) -> tuple[Optics, Peaks]:
    """Peaks for the depth of field that is known, or for the one whose curves fit best."""
    if optics.dof is not None:
        return optics, find_peaks(stack, usable, optics.dof, optics.c_px, optics.airy_px)
    best: tuple[float, Optics, Peaks] | None = None
    for dof in 0.0012 * 1.4 ** np.arange(9):
        peaks = find_peaks(stack, usable, float(dof), optics.c_px, optics.airy_px)
        amount = peaks.amplitude
        strong = amount > np.percentile(amount, 80)
        inside = strong & (peaks.sigma < 2 * dof)
        fit = float(np.mean(peaks.fit[inside] ** 4)) if inside.sum() > 20 else 0.0
        if best is None or fit > best[0]:
            best = (fit, replace(optics, dof=float(dof)), peaks)
    assert best is not None
    return best[1], best[2]


def _cell_depths(lumas: Lumas, peaks: Peaks, along: Floats, optics: Optics) -> Floats:
    """Depth of each cell of the solver's grid: weighted median of the places in it."""
    dof = optics.dof or 0.01
    grid = make_grid(lumas.shape)
    ratio = max(1, grid.step_px // 8)
    good = (
        (peaks.fit > 0.9) & (peaks.amplitude > 3 * peaks.noise)
        & (peaks.depth > along.min() - dof) & (peaks.depth < along.max() + dof)
    )  # fmt: skip
    weight = np.where(good, peaks.amplitude * peaks.fit**8, 0.0)
    rows, cols = grid.shape
    rows = min(rows, peaks.depth.shape[0] // ratio)
    out = np.ones(grid.shape)  # far away: no vote

    def folded(plane: Floats) -> Floats:
        cut = plane[: rows * ratio, : cols * ratio].reshape(rows, ratio, cols, ratio)
        return cut.transpose(0, 2, 1, 3).reshape(rows * cols, -1)

    depth, mass = folded(peaks.depth), folded(weight)
    order = np.argsort(depth, 1)
    summed = np.cumsum(np.take_along_axis(mass, order, 1), 1)
    middle = (summed < summed[:, -1:] / 2).sum(1).clip(0, ratio * ratio - 1)
    at = np.take_along_axis(depth, order, 1)[np.arange(rows * cols), middle]
    out[:rows] = np.where(summed[:, -1] > 0, at, 1.0).reshape(rows, cols)
    return out.ravel()
