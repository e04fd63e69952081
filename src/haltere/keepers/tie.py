"""A burst measured as the sweep it did not know it was: poses, and focus curves of every place."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.align.lumas import Lumas
from haltere.align.run import Chain, chain_factor, choose_pairs
from haltere.align.solve import make_grid, solve_poses, work_factor
from haltere.align.tree import tree_run
from haltere.focus.curves import NUMBERS as CURVES
from haltere.focus.curves import Peaks, Stack, detail, find_peaks, focus_stack
from haltere.focus.depths import NUMBERS as DEPTHS
from haltere.focus.depths import cell_depths, estimate_depth_of_field
from haltere.focus.run_optics import RunOptics
from haltere.keepers.numbers import NUMBERS
from haltere.progress import Progress, silent

Floats = NDArray[np.float64]


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
    optics: RunOptics


def tie(lumas: Lumas, optics: RunOptics, progress: Progress = silent) -> Tied:
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
    fine = work_factor(lumas.shape)
    # coarse while poses and depths still pull each other along, fine at the end
    for factor in (2 * fine, 2 * fine, 2 * fine, fine) if int(usable.sum()) >= 4 else ():
        stack = focus_stack(lumas, poses, chain.gains, optics.focal_px, progress)
        now, peaks = _peaks(stack, usable, optics)
        cells = _cell_depths(lumas, stack, peaks, poses[usable, 2], now, factor)
        pairs = choose_pairs(poses[:, 2], chain.found)
        solved = solve_poses(
            lumas, chain.gains, poses, pairs, reference, optics.focal_px, cells,
            2 * (now.dof or 0.01), rounds=1, factor=factor,
        )  # fmt: skip
        if not np.isfinite(solved.poses).all() or _wild(solved.poses, poses):
            break
        poses = np.where(chain.found[:, None], solved.poses, poses)
        covariance = solved.covariance
    stack = focus_stack(lumas, poses, chain.gains, optics.focal_px, progress)
    now, peaks = _peaks(stack, usable, optics)
    return Tied(reference, poses, covariance, chain.gains, chain.found, dark, stack, peaks, now)


def _chain(lumas: Lumas, progress: Progress) -> tuple[Chain, int]:
    """Tie all frames about the one with the most detail."""
    factor = chain_factor(lumas.shape)
    amount = [float((detail(lumas.small(k, factor)) ** 2).mean()) for k in range(len(lumas))]
    return tree_run(lumas, np.array(amount), progress)


def _wild(new: Floats, old: Floats) -> bool:
    """Whether a solution left the chain's by more than a chain can be wrong."""
    spread = max(float(np.ptp(old[:, 2])), 1e-3)
    return bool(np.abs(new[:, 2] - old[:, 2]).max() > 1.5 * spread + 0.01)


def _peaks(stack: Stack, usable: NDArray[np.bool_], optics: RunOptics) -> tuple[RunOptics, Peaks]:
    """Peaks for the depth of field that is known, or for the one whose curves fit best."""
    if optics.dof is not None:
        return optics, find_peaks(stack, usable, optics.dof, optics.c_px, optics.airy_px)
    dof = estimate_depth_of_field(stack, usable, optics.c_px, optics.airy_px, optics.likely)
    return (
        replace(optics, dof=dof),
        find_peaks(stack, usable, dof, optics.c_px, optics.airy_px),
    )


def _cell_depths(
    lumas: Lumas, stack: Stack, peaks: Peaks, along: Floats, optics: RunOptics, factor: int
) -> Floats:
    """Depth of each cell of the solver's grid, far away for cells that shall not vote.

    Where detail is strong and yet no peak is believed, as in a burst that hardly moved, the cell
    lies about where its neighbours do.
    """
    dof = optics.dof or 0.01
    grid = make_grid(lumas.shape, factor)
    good = (
        (peaks.fit > 0.9) & (peaks.amplitude > 3 * peaks.noise)
        & (peaks.depth > along.min() - dof) & (peaks.depth < along.max() + dof)
    )  # fmt: skip
    rows, cols = grid.shape
    at = cell_depths(peaks, good, grid).reshape(rows, cols)
    told = at != DEPTHS.far
    share = told.astype(np.float32)
    near = cv2.GaussianBlur(share, (0, 0), 2.0)
    about = cv2.GaussianBlur(np.where(told, at, 0.0).astype(np.float32), (0, 0), 2.0)
    usual = float(np.median(along))
    guess = (about + 0.01 * usual) / (near + 0.01)
    places = grid.step_px // CURVES.cell_px
    mean = np.nan_to_num(stack.energy, nan=0.0).mean(0)[: rows * places, : cols * places]
    energy = mean.reshape(rows, places, cols, places).mean((1, 3))
    strong = energy > NUMBERS.detailed * max(float(np.percentile(energy, 10)), 1e-6)
    return np.where(told, at, np.where(strong, guess, DEPTHS.far)).ravel()
