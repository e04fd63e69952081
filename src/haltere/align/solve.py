"""Poses of all frames of a run at once, from many pairs that overlap in what they show sharp.

Each pair of frames, warped to the reference view with the poses known so far, says for every
cell of a grid how its content still moves between the two (gradient constraint of Lucas &
Kanade 1981, summed over the cell).  All pairs together form one robust least-squares problem in
the poses, so that no chain of neighbours can drift.
"""

from __future__ import annotations

import itertools
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from haltere.align.ahead import THREADS, in_turn
from haltere.align.loops import cell_motion
from haltere.align.lumas import Lumas
from haltere.align.pose import POSE_SIZE, homography, turning
from haltere.align.votes import cell_places, count_votes
from haltere.align.warped import Warped
from haltere.progress import Progress, silent

Floats = NDArray[np.float64]
Pairs = list[tuple[int, int]]


@dataclass(frozen=True, slots=True)
class SolveNumbers:
    """Numbers that steer the joint solution.

    Attributes
    ----------
    work_px : int
        Longest side of the pictures it works on: at 800 px a cell still resolves 0.03 px.
    cell_px : int
        Side of a grid cell in working pixels.
    sigma_px : float
        Finer sigma of the band, working pixels: keeps texture that survives one depth of field.
    robust_px : float
        Residual shift at which a cell's vote falls to a quarter, working pixels.
    share : float
        Share of a pair's content that counts at least, or the pair reaches farther: beyond the end
        of an animal little lies within reach, what blur does to it is taken for growth, and planes
        were up to 2.8 depths of field off. More makes planes within the animal less exact.
    side_px, tilt_px : float
        Widths of the weak pull towards no motion *between neighbours*, only felt where the
        pictures say nothing (sideways and tilt look alike without depth).
    """

    work_px: int = 800
    cell_px: int = 16
    sigma_px: float = 1.2
    robust_px: float = 0.5
    share: float = 0.15
    side_px: float = 6.0
    tilt_px: float = 100.0


NUMBERS = SolveNumbers()


@dataclass(frozen=True, slots=True)
class Grid:
    """Cells of the reference view on which motion and depth are told.

    Attributes
    ----------
    points_px : ndarray of float64, shape (R * C, 2)
        Centres of the cells, centred full-size analysis pixels, row by row.
    shape : tuple of int
        Rows and columns.
    step_px : int
        Side of a cell in analysis pixels.
    """

    points_px: Floats
    shape: tuple[int, int]
    step_px: int


def work_factor(shape: tuple[int, int]) -> int:
    """By how much analysis pictures of `shape` (H, W) are shrunk for the joint solution.

    Parameters
    ----------
    shape : tuple of int
        Rows and columns of an analysis picture.
    """
    factor = 1
    while max(shape) / factor > 1.25 * NUMBERS.work_px:
        factor *= 2
    return factor


def make_grid(shape: tuple[int, int], factor: int | None = None) -> Grid:
    """Grid of cells for analysis pictures of `shape` (H, W).

    Parameters
    ----------
    shape : tuple of int
        Rows and columns of an analysis picture.
    factor : int, optional
        By how much the pictures are shrunk; `work_factor` when left out.
    """
    factor = factor or work_factor(shape)
    step = NUMBERS.cell_px * factor
    rows, cols = shape[0] // step, shape[1] // step
    y, x = np.mgrid[0:rows, 0:cols].astype(np.float64)
    xs = (x + 0.5) * step - 0.5 - (shape[1] - 1) / 2
    ys = (y + 0.5) * step - 0.5 - (shape[0] - 1) / 2
    return Grid(np.column_stack([xs.ravel(), ys.ravel()]), (rows, cols), step)


def centred(matrix: Floats, out_shape: tuple[int, int], in_shape: tuple[int, int]) -> Floats:
    """Map between centred pixels as a map between pixels counted from the corner.

    Parameters
    ----------
    matrix : ndarray of float64, shape (3, 3)
        Map between centred pixels.
    out_shape : tuple of int
        Rows and columns of the picture mapped from.
    in_shape : tuple of int
        Rows and columns of the picture mapped to.
    """
    before, after = np.eye(3), np.eye(3)
    before[:2, 2] = -(out_shape[1] - 1) / 2, -(out_shape[0] - 1) / 2
    after[:2, 2] = (in_shape[1] - 1) / 2, (in_shape[0] - 1) / 2
    result: Floats = after @ matrix @ before
    return result


def scaled(matrix: Floats, factor: float) -> Floats:
    """Map between centred full-size pixels as one between pixels `factor` times larger.

    Parameters
    ----------
    matrix : ndarray of float64, shape (3, 3)
        Map between centred full-size pixels.
    factor : float
        Full-size pixels per larger pixel.
    """
    up = np.diag([factor, factor, 1.0])
    result: Floats = np.linalg.inv(up) @ matrix @ up
    return result


@dataclass(frozen=True, slots=True)
class Solution:
    """Poses of a run.

    Attributes
    ----------
    poses : ndarray of float64, shape (N, 6)
        See `haltere.align.pose`.
    covariance : ndarray of float64, shape (N, 6, 6)
        Of each pose by itself, scaled by the residuals.
    residual_px : ndarray of float64, shape (N,)
        Median residual shift of a frame's cells, analysis pixels.
    """

    poses: Floats
    covariance: Floats
    residual_px: Floats


def solve_poses(  # noqa: PLR0913 - a run, its first poses and its optics
    lumas: Lumas,
    gains: Floats,
    start: Floats,
    pairs: Pairs,
    reference: int,
    focal_px: float,
    depth: Floats,
    reach: float,
    *,
    rounds: int = 3,
    factor: int | None = None,
    progress: Progress = silent,
) -> Solution:
    """Refine all poses of a run together.

    Holds some forty working pictures in memory, whatever the number of frames, some 250 kB of
    numbers a frame and some 70 kB a pair.

    Parameters
    ----------
    lumas : Lumas
        Analysis frames.
    gains : ndarray of float64, shape (N,)
        Factor that evens out each frame's brightness.
    start : ndarray of float64, shape (N, 6)
        First poses, good to a few pixels between the frames of a pair.
    pairs : list of (int, int)
        Frames to compare.
    reference : int
        Frame whose pose stays zero.
    focal_px : float
        See `haltere.align.pose`, in analysis pixels.
    depth : ndarray of float64, shape (R * C,)
        Relative depth of the content of each cell.
    reach : float
        Relative distance from a pair's planes at which content counts a third; more for a pair
        of which too little counts.
    rounds : int
        Times the frames are warped anew.
    factor : int, optional
        By how much the frames are shrunk; `work_factor` when left out. `depth` belongs to the grid
        of the same factor.
    progress : Progress, optional
        Told of each round.

    Returns
    -------
    Solution
        Refined poses with their uncertainty.
    """
    factor = factor or work_factor(lumas.shape)
    grid = make_grid(lumas.shape, factor)
    pairs = sorted(pairs)
    poses = start - start[reference]
    covariance = np.zeros((len(lumas), POSE_SIZE, POSE_SIZE))
    residual = np.full(len(lumas), np.nan)
    if not pairs:
        return Solution(poses, covariance, residual)
    votes = _Votes(pairs, grid, depth, reach, focal_px, factor)
    for turn in range(rounds):
        progress("solving poses", turn, rounds)
        maps = [homography(pose, 0.0, focal_px) for pose in poses]
        small = lumas.shape[0] // factor, lumas.shape[1] // factor
        warps = [centred(scaled(to_frame, factor), small, small) for to_frame in maps]
        votes.see(Warped(lumas, gains, warps, factor, NUMBERS.sigma_px), maps)
        votes.count(poses)
        system = _System(len(lumas), votes)
        poses, covariance = system.step(poses, reference, whole=turn == rounds - 1)
    return Solution(poses, covariance, votes.residuals(len(lumas)) * factor)


class _Votes:
    """What pairs of frames say about the poses; some 80 kB are held of each."""

    def __init__(
        self, pairs: Pairs, grid: Grid, depth: Floats, reach: float, focal_px: float, factor: int
    ) -> None:
        count, cells = len(pairs), len(depth)
        self.pairs = np.array(pairs, np.int64)
        self._grid, self._depth, self._reach = grid, depth, reach
        self._focal_px, self._factor = focal_px, factor
        self._motion = np.empty((count, cells, POSE_SIZE), np.float32)
        self._noise = np.empty(count)
        self._backs: list[Floats] = []
        self.normal = np.empty((count, 2 * POSE_SIZE, 2 * POSE_SIZE))
        self.right = np.empty((count, 2 * POSE_SIZE))
        self.fit = np.empty((count, 2))
        self._strength = np.empty((count, cells), np.float32)
        self._miss = np.empty((count, cells), np.float32)

    def see(self, warped: Warped, maps: list[Floats]) -> None:
        """Measure how the cells of each pair move in frames that are warped by `maps`."""
        self._backs = [np.linalg.inv(to_frame).astype(np.float64) for to_frame in maps]
        cell = self._grid.step_px // self._factor
        rows, cols = self._grid.shape

        def moved(pair: tuple[int, Any]) -> None:
            p, ((one, seen), (other, seen_there)) = pair
            motion = self._motion[p].reshape(rows, cols, POSE_SIZE)
            cell_motion(one, seen, other, seen_there, cell, motion)

        # the frames of the pairs to come are warped beside it
        for _ in in_turn(moved, enumerate(warped.pairs(self.pairs))):
            pass
        trace = self._motion[:, :, 0] + self._motion[:, :, 1]
        self._noise = np.maximum(np.percentile(trace, 20, axis=1), 1e-4).astype(np.float64)

    def count(self, poses: Floats) -> None:
        """Let all pairs vote on how the poses should change that the frames were warped by."""
        frames, cells = len(poses), len(self._depth)
        at, ways = np.empty((frames, cells, 2)), np.empty((frames, cells, 2, POSE_SIZE))
        for k in np.unique(self.pairs):
            turn, turns = turning(poses[k], self._focal_px)
            points = self._grid.points_px
            back = self._backs[k]
            cell_places(
                poses[k], turn, turns, back, points, self._depth, self._focal_px, at[k], ways[k]
            )

        def some(first: int, past_last: int) -> None:
            count_votes(
                first, past_last, self.pairs, self._motion, self._noise, at, ways, self._depth,
                poses[:, 2].copy(), self._reach, NUMBERS.share, NUMBERS.robust_px,
                float(self._factor), self.normal, self.right, self.fit, self._strength,
                self._miss,
            )  # fmt: skip

        cuts = [round(k * len(self.pairs) / (2 * THREADS)) for k in range(2 * THREADS + 1)]
        with ThreadPoolExecutor(THREADS) as pool:
            for job in [pool.submit(some, a, b) for a, b in itertools.pairwise(cuts)]:
                job.result()

    def residuals(self, frames: int) -> Floats:
        """Median residual shift of each frame's cells, working pixels; NaN without a vote."""
        bar = np.percentile(self._strength, 70, axis=1)
        misses: list[list[Floats]] = [[] for _ in range(frames)]
        for p, pair in enumerate(self.pairs):
            voters = self._miss[p][self._strength[p] > bar[p]].astype(np.float64)
            for k in pair:
                misses[k].append(voters)
        told = [np.concatenate(some) if some else np.empty(0) for some in misses]
        return np.array([np.median(some) if some.size else np.nan for some in told])


class _System:
    """Normal equations of all poses, filled pair by pair."""

    def __init__(self, frames: int, votes: _Votes) -> None:
        n = POSE_SIZE
        self.normal = np.zeros((frames, n, frames, n))
        self.right = np.zeros((frames, n))
        for (i, j), normal, right in zip(votes.pairs, votes.normal, votes.right, strict=True):
            self.normal[i, :, i] += normal[:n, :n]
            self.normal[j, :, j] += normal[n:, n:]
            self.normal[i, :, j] += normal[:n, n:]
            self.normal[j, :, i] += normal[n:, :n]
            self.right[i] += right[:n]
            self.right[j] += right[n:]
        self.chi, self.freedom = votes.fit.sum(0)

    def step(self, poses: Floats, reference: int, *, whole: bool) -> tuple[Floats, Floats]:
        """Solve: better poses and, if `whole`, their covariance, scaled by the misfit."""
        count = len(poses)
        scale = self.chi / max(self.freedom, 1.0)
        prior = np.zeros(POSE_SIZE)
        prior[0] = prior[1] = scale / NUMBERS.side_px**2
        prior[3] = prior[4] = scale / NUMBERS.tilt_px**2
        for i in range(count - 1):
            change = prior * (poses[i + 1] - poses[i])
            ones = np.arange(POSE_SIZE)
            self.normal[i, ones, i, ones] += prior
            self.normal[i + 1, ones, i + 1, ones] += prior
            self.normal[i, ones, i + 1, ones] -= prior
            self.normal[i + 1, ones, i, ones] -= prior
            self.right[i] += change
            self.right[i + 1] -= change
        free = [k for k in range(count) if k != reference]
        matrix = self.normal[free][:, :, free].reshape(len(free) * POSE_SIZE, -1)
        size = np.sqrt(np.maximum(np.diag(matrix), 1e-12))
        matrix = matrix / size[:, None] / size[None, :] + 1e-9 * np.eye(len(size))
        better = poses.copy()
        change = np.linalg.solve(matrix, self.right[free].ravel() / size) / size
        better[free] += change.reshape(-1, POSE_SIZE)
        covariance = np.zeros((count, POSE_SIZE, POSE_SIZE))
        if not whole:
            return better, covariance
        inverse = np.linalg.inv(matrix) / size[:, None] / size[None, :]
        for row, k in enumerate(free):
            part = slice(row * POSE_SIZE, (row + 1) * POSE_SIZE)
            covariance[k] = inverse[part, part] * scale
        return better, covariance
