"""Poses of all frames of a run at once, from many pairs that overlap in what they show sharp.

Each pair of frames, warped to the reference view with the poses known so far, says for every
cell of a grid how its content still moves between the two (gradient constraint of Lucas &
Kanade 1981, summed over the cell).  All pairs together form one robust least-squares problem in
the poses, so that no chain of neighbours can drift.
"""

from __future__ import annotations

from collections import deque
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.align.bands import Picture, band
from haltere.align.loops import ballot, cell_motion
from haltere.align.lumas import Lumas
from haltere.align.pose import POSE_SIZE, apply, homography, jacobian, project
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
    side_px, tilt_px : float
        Widths of the weak pull towards no motion *between neighbours*, only felt where the
        pictures say nothing (sideways and tilt look alike without depth).
    """

    work_px: int = 800
    cell_px: int = 16
    sigma_px: float = 1.2
    robust_px: float = 0.5
    side_px: float = 6.0
    tilt_px: float = 100.0


NUMBERS = SolveNumbers()

_AHEAD = 4
"""Pairs whose pictures wait for their votes to be counted."""


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


class _Bands:
    """Band-passed frames warped to the reference view, computed when asked, a few kept."""

    def __init__(
        self, lumas: Lumas, gains: Floats, focal_px: float, factor: int, keep: int = 20
    ) -> None:
        self.lumas, self.gains, self.focal_px, self.keep = lumas, gains, focal_px, keep
        self.factor = factor
        self.held: dict[int, tuple[Picture, Picture]] = {}
        self.poses: Floats = np.zeros((len(lumas), POSE_SIZE))

    def aim(self, poses: Floats) -> None:
        self.poses = poses
        self.held.clear()

    def get(self, index: int) -> tuple[Picture, Picture]:
        """Warped band picture and the mask of what the frame saw."""
        if index in self.held:
            return self.held[index]
        gain = np.float32(self.gains[index])

        def banded() -> NDArray[np.float16]:
            picture = band(self.lumas.small(index, self.factor) * gain, NUMBERS.sigma_px)
            # half the bytes, so that those of some ninety frames are kept; one part in two thousand
            return picture.astype(np.float16)

        name = ("band", self.factor, float(gain), NUMBERS.sigma_px)
        picture = self.lumas.made(index, name, banded).astype(np.float32)
        h, w = picture.shape
        matrix = centred(
            scaled(homography(self.poses[index], 0.0, self.focal_px), self.factor),
            (h, w),
            (h, w),
        )
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        warped = cv2.warpPerspective(picture, matrix, (w, h), flags=flags)
        border = 3
        inside = np.zeros((h, w), np.uint8)
        inside[border:-border, border:-border] = 1
        seen = cv2.warpPerspective(
            inside, matrix, (w, h), flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
        )
        result = np.asarray(warped, np.float32), np.asarray(seen, np.float32)
        while len(self.held) >= self.keep:
            self.held.pop(next(iter(self.held)))
        self.held[index] = result
        return result


def _places(pose: Floats, points: Floats, depth: Floats, focal_px: float) -> tuple[Floats, Floats]:
    """Where content of the cells appears in a warped frame, and how that moves with the pose."""
    back: Floats = np.linalg.inv(homography(pose, 0.0, focal_px)).astype(np.float64)
    at = apply(back, project(pose, points, depth, focal_px))
    # the warp undoes scale and roll: its derivative is the inverse similarity's
    turn = back[:2, :2]
    return at - points, np.einsum("ab,nbk->nak", turn, jacobian(pose, points, depth, focal_px))


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

    Holds some twenty working pictures in memory, whatever the number of frames.

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
        Relative distance from a pair's planes at which content counts a third.
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
    bands = _Bands(lumas, gains, focal_px, factor)
    poses = start - start[reference]
    covariance = np.zeros((len(lumas), POSE_SIZE, POSE_SIZE))
    residual = np.zeros(len(lumas))
    for turn in range(rounds):
        progress("solving poses", turn, rounds)
        bands.aim(poses)
        places = [_places(p, grid.points_px, depth, focal_px) for p in poses]
        system = _System(len(lumas))
        with ThreadPoolExecutor(1) as other:
            waiting: deque[tuple[int, int, Future[_Vote]]] = deque()
            for i, j in sorted(pairs):
                away = (depth - 0.5 * (poses[i, 2] + poses[j, 2])) / reach
                near = 1.0 / (1.0 + away**2) ** 1.5
                # one thread counts the votes of a pair while this one carries the next frames over
                pictures = (*bands.get(i), *bands.get(j))
                vote = other.submit(_vote, pictures, factor, grid, places[i], places[j], near)
                waiting.append((i, j, vote))
                if len(waiting) > _AHEAD:
                    system.add(*_counted(waiting.popleft()))
            while waiting:
                system.add(*_counted(waiting.popleft()))
        poses, covariance = system.step(poses, reference)
        residual = system.residuals() * bands.factor
    return Solution(poses, covariance, residual)


class _System:
    """Normal equations of all poses, filled pair by pair."""

    def __init__(self, count: int) -> None:
        self.normal = np.zeros((count, POSE_SIZE, count, POSE_SIZE))
        self.right = np.zeros((count, POSE_SIZE))
        self.misses: list[list[Floats]] = [[] for _ in range(count)]
        self.chi, self.freedom = 0.0, 0.0

    def add(self, i: int, j: int, vote: _Vote) -> None:
        """Add what one pair says of its two poses."""
        n = POSE_SIZE
        normal, right = vote.normal, vote.right
        self.normal[i, :, i] += normal[:n, :n]
        self.normal[j, :, j] += normal[n:, n:]
        self.normal[i, :, j] += normal[:n, n:]
        self.normal[j, :, i] += normal[n:, :n]
        self.right[i] += right[:n]
        self.right[j] += right[n:]
        self.chi += vote.chi
        self.freedom += vote.freedom
        for k in (i, j):
            self.misses[k].append(vote.misses)

    def step(self, poses: Floats, reference: int) -> tuple[Floats, Floats]:
        """Solve: better poses and their covariance, scaled by the misfit."""
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
        inverse = np.linalg.inv(matrix) / size[:, None] / size[None, :]
        better = poses.copy()
        better[free] += (inverse @ self.right[free].ravel()).reshape(-1, POSE_SIZE)
        covariance = np.zeros((count, POSE_SIZE, POSE_SIZE))
        for row, k in enumerate(free):
            part = slice(row * POSE_SIZE, (row + 1) * POSE_SIZE)
            covariance[k] = inverse[part, part] * scale
        return better, covariance

    def residuals(self) -> Floats:
        """Median residual shift of each frame's cells, working pixels; NaN without a pair."""
        return np.array([np.median(np.concatenate(m)) if m else np.nan for m in self.misses])


@dataclass(frozen=True, slots=True)
class _Vote:
    """What one pair says: its part of the normal equations, its misfit, and where it misses."""

    normal: Floats
    right: Floats
    chi: float
    freedom: float
    misses: Floats


def _vote(
    pictures: tuple[Picture, Picture, Picture, Picture],
    factor: int,
    grid: Grid,
    one: tuple[Floats, Floats],
    other: tuple[Floats, Floats],
    near: Floats,
) -> _Vote:
    """Let the cells of one pair say how its two poses should change."""
    rows, cols = grid.shape
    motion = cell_motion(*pictures, rows, cols, grid.step_px // factor)
    expected = (other[0] - one[0]) / factor
    trace = motion[:, 0] + motion[:, 1]
    noise = max(float(np.percentile(trace, 20)), 1e-4)
    normal, right, weight, miss = ballot(
        motion, expected, near, one[1], other[1], noise, NUMBERS.robust_px
    )
    voters = weight * trace > np.percentile(weight * trace, 70)
    # places move in analysis pixels, cells in working ones
    return _Vote(
        normal / factor**2,
        right / factor,
        float((weight * trace * miss**2).sum() / 2),
        float((weight > 0.25 * weight.max()).sum()),
        miss[voters],
    )


def _counted(given: tuple[int, int, Future[_Vote]]) -> tuple[int, int, _Vote]:
    """Wait for the vote of a pair."""
    return given[0], given[1], given[2].result()
