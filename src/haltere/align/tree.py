"""First poses of a burst whose neighbours in time may be blurred very differently."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.align.lumas import Lumas
from haltere.align.pair import register_pair
from haltere.align.pose import POSE_SIZE
from haltere.align.run import NUMBERS, Chain, brightness_gains, chain_factor, similarity_pose
from haltere.progress import Progress, silent

Floats = NDArray[np.float64]

LEAST = 0.58
"""Agreement below which two frames of one burst are not tied: right ties of frames nine and more
depths of field apart lie above 0.6, frames of different animals below 0.5."""


@dataclass(frozen=True, slots=True)
class _Tie:
    """Map of centred full pixels of one frame to another's, and how well it fits."""

    first: int
    second: int
    matrix: Floats
    agreement: float


def tree_run(lumas: Lumas, detail: Floats, progress: Progress = silent) -> tuple[Chain, int]:
    """Tie every frame to the one it agrees with best, and so all to the most detailed.

    Neighbours in time are tried first. Where a link is missing all other pairs across the breach
    are tried, for a hand that rocks comes by the same place again; the strongest ties are kept (a
    greatest spanning tree, Kruskal 1956).

    Parameters
    ----------
    lumas : Lumas
        Analysis frames in order of time.
    detail : ndarray of float64, shape (N,)
        How much detail each shows; the reference is the most detailed of the largest group.
    progress : Progress, optional
        Told of each frame.

    Returns
    -------
    chain : Chain
        First poses, gains and which frames were found.
    reference : int
        Frame with the zero pose.
    """
    n = len(lumas)
    ties = []
    for j in range(1, n):
        progress("registering frames", j, n)
        ties += _tie(lumas, j - 1, j)
    group = _groups(n, [t for t in ties if t.agreement >= NUMBERS.agreement])
    if group.max(initial=0) > 0:
        tried = {(t.first, t.second) for t in ties}
        for i in range(n):
            progress("registering frames again", i + 1, n)
            for j in range(i + 1, n):
                if group[i] != group[j] and (i, j) not in tried:
                    ties += _tie(lumas, i, j)
    kept = _spanning(n, ties)
    group = _groups(n, kept)
    largest = np.bincount(group).argmax()
    found = group == largest
    reference = int(np.flatnonzero(found)[np.argmax(detail[found])])
    to_frame, agreement = _composed(n, kept, reference)
    poses = np.zeros((n, POSE_SIZE))
    for k in np.flatnonzero(found):
        poses[k] = similarity_pose(to_frame[int(k)])
    return Chain(poses, brightness_gains(lumas), found, agreement), reference


def _tie(lumas: Lumas, i: int, j: int) -> list[_Tie]:
    """Register two frames; nothing when they can't be believed to show the same."""
    factor = chain_factor(lumas.shape)
    fit = register_pair(lumas.small(i, factor), lumas.small(j, factor))
    if fit.agreement < LEAST or fit.overlap < NUMBERS.overlap:
        return []
    link = np.eye(3)
    link[:2] = fit.matrix
    link[:2, 2] *= factor
    return [_Tie(i, j, link, fit.agreement)]


def _groups(n: int, ties: list[_Tie]) -> NDArray[np.int64]:
    """Tell the number of the group each frame belongs to, counted from 0."""
    group = np.arange(n)
    for t in ties:
        group[group == group[t.second]] = group[t.first]
    return np.unique(group, return_inverse=True)[1].astype(np.int64)


def _spanning(n: int, ties: list[_Tie]) -> list[_Tie]:
    """Strongest ties that join what can be joined without a loop."""
    group = np.arange(n)
    kept = []
    for t in sorted(ties, key=lambda t: (-t.agreement, t.first, t.second)):
        if group[t.first] != group[t.second]:
            group[group == group[t.second]] = group[t.first]
            kept.append(t)
    return kept


def _composed(n: int, kept: list[_Tie], reference: int) -> tuple[dict[int, Floats], Floats]:
    """Map from the reference to every frame that can be reached, and its tie's agreement."""
    maps: dict[int, Floats] = {reference: np.eye(3)}
    agreement = np.zeros(n)
    agreement[reference] = 1.0
    waiting = list(kept)
    while waiting:
        left = []
        for t in waiting:
            if t.first in maps and t.second not in maps:
                maps[t.second] = t.matrix @ maps[t.first]
                agreement[t.second] = t.agreement
            elif t.second in maps and t.first not in maps:
                maps[t.first] = np.asarray(np.linalg.inv(t.matrix) @ maps[t.second], np.float64)
                agreement[t.first] = t.agreement
            elif t.first not in maps:
                left.append(t)
        if len(left) == len(waiting):
            break
        waiting = left
    return maps, agreement
