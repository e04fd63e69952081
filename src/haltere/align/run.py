"""Registration of a whole run: a chain of neighbours that gives every frame a first pose."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.align.ahead import in_turn
from haltere.align.bands import flicker
from haltere.align.lumas import Lumas
from haltere.align.pair import Registration, register_pair
from haltere.align.pose import POSE_SIZE
from haltere.progress import Progress, silent

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ChainNumbers:
    """Numbers that steer the chain.

    Attributes
    ----------
    chain_px : int
        Longest side of the pictures registered: 400 px gives some 0.1 px at 1600 px and 3 ms.
    agreement : float
        Correlation below which two frames are not believed to show the same thing; neighbours of
        rendered hand-held sweeps lie above 0.96, other animals below 0.5.
    overlap : float
        Share of a frame its partner must show, lest a corner speak for the whole.
    bridge : int
        How many frames back a lost link is looked for.
    """

    chain_px: int = 400
    agreement: float = 0.72
    overlap: float = 0.35
    bridge: int = 4


NUMBERS = ChainNumbers()


@dataclass(frozen=True, slots=True)
class Chain:
    """First poses of a run.

    Attributes
    ----------
    poses : ndarray of float64, shape (N, 6)
        Relative to frame `reference`; zeros for frames that were lost.
    gains : ndarray of float64, shape (N,)
        Factor that brings each frame to the run's median brightness.
    found : ndarray of bool, shape (N,)
        Frames that could be tied to the reference.
    agreement : ndarray of float64, shape (N,)
        How well each frame agreed with the frame it was tied to.
    """

    poses: Floats
    gains: Floats
    found: NDArray[np.bool_]
    agreement: Floats


def chain_factor(shape: tuple[int, int]) -> int:
    """By how much analysis pictures of `shape` (H, W) are shrunk for the chain.

    Parameters
    ----------
    shape : tuple of int
        Rows and columns of an analysis picture.
    """
    factor = 1
    while max(shape) / factor > 1.25 * NUMBERS.chain_px:
        factor *= 2
    return factor


def similarity_pose(matrix: Floats) -> Floats:
    """Pose that acts like a similarity: scale as a move along the axis, shift as a tilt.

    Parameters
    ----------
    matrix : ndarray of float64, shape (3, 3)
        Similarity between centred pixels.
    """
    size = float(np.hypot(matrix[0, 0], matrix[1, 0]))
    roll = float(np.arctan2(matrix[1, 0], matrix[0, 0]))
    return np.array([0.0, 0.0, 1.0 - 1.0 / size, matrix[0, 2], matrix[1, 2], roll])


def brightness_gains(lumas: Lumas) -> Floats:
    """Gain of every frame against the median brightness of the run, shape (N,).

    Parameters
    ----------
    lumas : Lumas
        Analysis frames.
    """
    factor = chain_factor(lumas.shape)
    return _gains([flicker(lumas.small(i, factor)) for i in range(len(lumas))])


def _gains(levels: list[float]) -> Floats:
    return np.asarray(np.median(levels) / np.array(levels), np.float64)


class Coming:
    """What a chain needs of frames, told while they come; to be used by one thread at a time.

    Attributes
    ----------
    ties : list of Registration
        Of each frame that was seen, but the first, to the one before it.
    levels : list of float
        Brightness of each.
    """

    def __init__(self) -> None:
        self.ties: list[Registration] = []
        self.levels: list[float] = []

    def see(self, lumas: Lumas) -> None:
        """Look at the next frame, where there is one.

        Parameters
        ----------
        lumas : Lumas
            Analysis frames in order of time, the same ones every time.
        """
        k, factor = len(self.levels), chain_factor(lumas.shape)
        if k == len(lumas):
            return
        small = lumas.small(k, factor)
        if k > 0:
            self.ties.append(register_pair(lumas.small(k - 1, factor), small))
        self.levels.append(flicker(small))


def chain_run(
    lumas: Lumas, reference: int, progress: Progress = silent, coming: Coming | None = None
) -> Chain:
    """Tie every frame to its neighbour in time, and so to the reference.

    Parameters
    ----------
    lumas : Lumas
        Analysis frames in order of time.
    reference : int
        Frame that gets the zero pose.
    progress : Progress, optional
        Told of each frame.
    coming : Coming, optional
        What was told of the first of these frames.

    Returns
    -------
    Chain
        First poses, gains and which frames were found.
    """
    n = len(lumas)
    factor = chain_factor(lumas.shape)
    coming = coming or Coming()
    to_first = [np.eye(3) for _ in range(n)]
    agreement = np.zeros(n)
    group = np.arange(n)
    agreement[0] = 1.0
    ties = itertools.chain(coming.ties, _neighbours(lumas, factor, len(coming.ties)))
    for j, first in enumerate(ties, 1):
        best: tuple[int, Registration] | None = None
        for i in range(j - 1, max(j - 1 - NUMBERS.bridge, -1), -1):
            fit = first
            if i < j - 1:
                fit = register_pair(lumas.small(i, factor), lumas.small(j, factor))
            if fit.agreement >= NUMBERS.agreement and fit.overlap > NUMBERS.overlap:
                best = (i, fit)
                break
        progress("registering frames", j, n)
        if best is None:
            continue
        i, fit = best
        link = np.eye(3)
        link[:2] = fit.matrix
        link[:2, 2] *= factor
        to_first[j] = link @ to_first[i]
        group[j] = group[i]
        agreement[j] = fit.agreement
    home = np.linalg.inv(to_first[reference])
    found = group == group[reference]
    poses = np.zeros((n, POSE_SIZE))
    for k in range(n):
        if found[k]:
            poses[k] = similarity_pose(to_first[k] @ home)
    rest = [flicker(lumas.small(k, factor)) for k in range(len(coming.levels), n)]
    return Chain(poses, _gains(coming.levels + rest), found, agreement)


def _neighbours(lumas: Lumas, factor: int, known: int) -> Iterator[Registration]:
    """Register each frame but the first `known` + 1 to the one before it, two at a time."""

    def tie(j: int) -> Registration:
        return register_pair(lumas.small(j - 1, factor), lumas.small(j, factor))

    return in_turn(tie, range(known + 1, len(lumas)))


def seen_from(chain: Chain, reference: int) -> Chain:
    """Give a chain another frame as its zero; similarities compose.

    Parameters
    ----------
    chain : Chain
        First poses against any frame.
    reference : int
        Frame that gets the zero pose.

    Returns
    -------
    Chain
        The same frames seen from there.
    """
    home = np.linalg.inv(_pose_similarity(chain.poses[reference]))
    poses = np.zeros_like(chain.poses)
    for k in np.flatnonzero(chain.found):
        poses[k] = similarity_pose(_pose_similarity(chain.poses[k]) @ home)
    return Chain(poses, chain.gains, chain.found, chain.agreement)


def _pose_similarity(pose: Floats) -> Floats:
    """Turn a pose of `similarity_pose` back into its 3 x 3 matrix."""
    size = 1.0 / (1.0 - pose[2])
    c, s = size * np.cos(pose[5]), size * np.sin(pose[5])
    return np.array([[c, -s, pose[3]], [s, c, pose[4]], [0, 0, 1.0]])


def choose_pairs(along: Floats, found: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Pairs worth comparing: neighbours in time, and 1, 2, 4 and 8 apart in depth.

    Parameters
    ----------
    along : ndarray of float64, shape (N,)
        Relative position of each frame's plane.
    found : ndarray of bool, shape (N,)
        Frames that take part.

    Returns
    -------
    list of (int, int)
        Each with the smaller index first.
    """
    taking = np.flatnonzero(found)
    pairs = {(int(a), int(b)) for a, b in itertools.pairwise(taking)}
    order = taking[np.argsort(along[taking], kind="stable")]
    for apart in (1, 2, 4, 8):
        for a, b in zip(order[:-apart], order[apart:], strict=True):
            pairs.add((int(min(a, b)), int(max(a, b))))
    return sorted(pairs)
