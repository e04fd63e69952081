"""The fewest frames that hold the animal sharp, and why each other one can stay out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from haltere.errors import UsageError
from haltere.focus.fault import Fault

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ChoiceNumbers:
    """Prices that steer the choice; one frame costs 1.

    Attributes
    ----------
    overlap : float
        Share of a depth of field that neighbours have in common: planes 0.8 apart leave no more
        than a fifth of the allowed blur between them (common practice asks for 0.2 to 0.3).
    most_overlap : float
        More is refused: five planes in each depth of field show nothing that four do not (assumed).
    loose : float
        Price of as much depth between planes further apart than wished as the wish leaves between
        two planes; so much more than a frame that the wish is kept wherever frames are there.
    hole : float
        Price of a depth of field that no plane holds; high, since it can't be mended later.
    slack_dof : float
        Beyond the depth of field a plane still passes for this far: less than a plane's own error.
    other_pass : float
        Price of going to another pass: its view is never quite the same.
    pose : float
        Price of a sideways or tilting difference of the size that is still called agreeing.
    disagrees : float
        Price of neighbours whose poses disagree: about a hole of half a depth of field, so that
        only wider ones are filled from such a frame.
    agree_dof : float
        Poses agree while what they show shifts no more than this many blur spots for each depth
        of field beside the plane.
    smear : float
        Price of a frame that has lost all its detail; breaks ties between like planes.
    bin_dof : float
        Fineness with which the animal's depths are counted.
    places : int
        Fewer places than this in a bin are no animal: a hair's tip or a wrong curve.
    bridge_dof : float
        Depths without places up to this width between others belong to the animal.
    same_dof : float
        Planes nearer to each other than this are called the same.
    """

    overlap: float = 0.2
    most_overlap: float = 0.8
    loose: float = 4.8
    hole: float = 60.0
    slack_dof: float = 0.05
    other_pass: float = 2.0
    pose: float = 0.5
    disagrees: float = 30.0
    agree_dof: float = 1.0
    smear: float = 0.5
    bin_dof: float = 0.1
    places: int = 4
    bridge_dof: float = 1.0
    same_dof: float = 0.3


NUMBERS = ChoiceNumbers()

NOTHING_THERE = "nothing of the animal lies there"
"""Why a frame stays out whose plane holds neither the animal nor what it sits on."""


@dataclass(frozen=True, slots=True)
class LeftFrame:
    """A frame that is not needed, and why."""

    frame: str
    why: str


@dataclass(frozen=True, slots=True)
class Choice:
    """The frames to merge.

    Attributes
    ----------
    frames : tuple of str
        From near to far.
    left_out : tuple of LeftFrame
        Each other frame with its reason, in order of time.
    overlap : float
        Share of a depth of field that neighbours were wished to have in common.
    """

    frames: tuple[str, ...]
    left_out: tuple[LeftFrame, ...]
    overlap: float


@dataclass(frozen=True, slots=True)
class Candidate:
    """One frame as the choice sees it.

    Attributes
    ----------
    frame : str
        Its name.
    at_dof : float or None
        Its plane in depths of field; None when it could not be placed.
    usable : bool
        Whether it can be merged.
    faults : tuple of Fault
        What is wrong with it.
    of_pass : int
        Number of its pass.
    pose : tuple of float
        How its view lies, in units in which 1 shifts what lies one depth of field beside the
        plane by one blur spot.
    detail : float
        Share of its detail that it keeps, 0 to 1.
    """

    frame: str
    at_dof: float | None
    usable: bool
    faults: tuple[Fault, ...] = ()
    of_pass: int = 0
    pose: tuple[float, ...] = (0.0, 0.0)
    detail: float = 1.0


@dataclass(frozen=True, slots=True)
class Need:
    """Which depths hold animal, to be asked how much of a stretch does.

    Attributes
    ----------
    edges_dof : ndarray of float64, shape (B + 1,)
        Ends of bins.
    below_dof : ndarray of float64, shape (B + 1,)
        Depth that holds animal nearer than each edge.
    """

    edges_dof: Floats
    below_dof: Floats

    def between(self, near: Floats | float, far: Floats | float) -> Floats:
        """Depth that holds animal between two depths, 0 where they are the wrong way round.

        Parameters
        ----------
        near, far : float or ndarray
            Depths of field.
        """
        if len(self.edges_dof) < 2:
            return np.zeros(np.broadcast(near, far).shape)
        low, high = (np.interp(at, self.edges_dof, self.below_dof) for at in (near, far))
        return np.maximum(high - low, 0.0)


def need_of(depths_dof: Floats) -> Need:
    """Find the depths that hold animal from the depths of places on it.

    Parameters
    ----------
    depths_dof : ndarray of float64, any shape
        Depth of each place, NaN where none is known.

    Returns
    -------
    Need
        Depths that are to be held sharp.
    """
    known = depths_dof[np.isfinite(depths_dof)]
    if known.size == 0:
        return Need(np.zeros(1), np.zeros(1))
    size = NUMBERS.bin_dof
    first = float(np.floor(known.min() / size)) * size
    edges: Floats = first + size * np.arange(int((known.max() - first) / size) + 2, dtype=float)
    # smoothed over a quarter of a depth of field, since each place has an error of its own
    count = np.histogram(known, edges)[0]
    held = np.convolve(count, np.ones(3))[1:-1] >= NUMBERS.places
    at = np.flatnonzero(held)
    for one, other in pairwise(at):
        if (other - one) * size <= NUMBERS.bridge_dof:
            held[one:other] = True
    return Need(edges, np.concatenate([[0.0], np.cumsum(held * size)]))


def check_overlap(overlap: float) -> None:
    """Refuse a wish for overlap that no choice could keep.

    Parameters
    ----------
    overlap : float
        Share of a depth of field that neighbours should have in common.

    Raises
    ------
    UsageError
        When it is no number from 0 to `NUMBERS.most_overlap`.
    """
    if not 0.0 <= overlap <= NUMBERS.most_overlap:
        raise UsageError(
            f"--overlap {overlap:g}: neighbouring planes can't be chosen so; give a share of the "
            f"depth of field from 0 to {NUMBERS.most_overlap:g}, {NUMBERS.overlap:g} as a rule"
        )


def choose(
    candidates: Sequence[Candidate],
    need: Need,
    overlap: float = NUMBERS.overlap,
    ground: Need | None = None,
) -> Choice:
    """Choose the frames to merge: the cheapest path from the near to the far end of the animal.

    Every frame costs, as do depths between neighbours that overlap less than wished, holes, going
    to another pass, and views that differ; the sum is least over all choices (shortest path in
    order of depth; E. Dijkstra, 1959, from memory).

    Parameters
    ----------
    candidates : sequence of Candidate
        All frames, in order of time.
    need : Need
        Depths that are to be held sharp.
    overlap : float, optional
        Share of a depth of field that neighbours should have in common.
    ground : Need, optional
        Depths that hold what the animal sits on, to say so of planes that hold nothing else.

    Returns
    -------
    Choice
        The frames, and why each other one stays out.
    """
    whole = float(need.below_dof[-1])
    placed = [(c.at_dof, k) for k, c in enumerate(candidates) if c.usable and c.at_dof is not None]
    placed.sort()
    rows = [k for at, k in placed if whole == 0 or _holds(need, at)]
    path = _path([candidates[k] for k in rows], need, 1.0 - overlap)
    chosen = [rows[i] for i in path]
    kept = set(chosen)
    left = tuple(
        LeftFrame(one.frame, _why(one, [candidates[c] for c in chosen], need, ground))
        for k, one in enumerate(candidates)
        if k not in kept
    )
    return Choice(tuple(candidates[k].frame for k in chosen), left, overlap)


def _holds(need: Need, at: float) -> bool:
    """Whether anything of the animal lies in the depth of field of a plane."""
    return bool(need.between(at - 0.5, at + 0.5) > 0)


def _path(sorted_: Sequence[Candidate], need: Need, reach: float) -> list[int]:
    """Cheapest path over planes sorted by depth."""
    n = len(sorted_)
    if n == 0:
        return []
    z = np.array([c.at_dof for c in sorted_], float)
    of_pass = np.array([c.of_pass for c in sorted_])
    pose = np.array([c.pose for c in sorted_], float).reshape(n, -1)
    node = 1.0 + NUMBERS.smear * (1.0 - np.clip([c.detail for c in sorted_], 0.0, 1.0))
    held = 0.5 + NUMBERS.slack_dof
    ends = float(need.edges_dof[0]) - 1.0, float(need.edges_dof[-1]) + 1.0
    best = node + NUMBERS.hole * need.between(ends[0], z - held)
    came = np.full(n, -1)
    for j in range(1, n):
        i = slice(0, j)
        loose = need.between(z[i] + reach / 2, z[j] - reach / 2)
        hole = need.between(z[i] + held, z[j] - held)
        off = np.linalg.norm(pose[i] - pose[j], axis=1) / NUMBERS.agree_dof
        other = of_pass[i] != of_pass[j]
        cost = (
            best[i]
            + node[j]
            + NUMBERS.loose * loose / reach
            + NUMBERS.hole * hole
            + NUMBERS.pose * np.minimum(off, 2.0)
            + np.where(other, NUMBERS.other_pass, 0.0)
            + np.where(other & (off > 1.0), NUMBERS.disagrees, 0.0)
        )
        k = int(cost.argmin())
        if cost[k] < best[j]:
            best[j], came[j] = cost[k], k
    total = best + NUMBERS.hole * need.between(z + held, ends[1])
    if float(need.below_dof[-1]) == 0:  # nothing is known of the animal: from end to end
        total = np.where(np.arange(n) == n - 1, total, np.inf)
    at = int(total.argmin())
    path = []
    while at >= 0:
        path.append(at)
        at = int(came[at])
    return path[::-1]


def why_not_used(faults: Sequence[Fault]) -> str | None:
    """Say why a frame can't be used: its likeliest fault; None without any.

    Parameters
    ----------
    faults : sequence of Fault
        What is wrong with it.
    """
    loud = max(faults, key=lambda f: f.confidence, default=None)
    if loud is None:
        return None
    # nothing of it is to be seen, or it can't be read: its detail says which
    return loud.detail if loud.kind == "hidden" else f"{loud.kind}: {loud.detail}"


def _why(one: Candidate, chosen: Sequence[Candidate], need: Need, ground: Need | None) -> str:
    if one.at_dof is None or not one.usable:
        unplaced = "its plane could not be placed"
        return why_not_used(one.faults) or (unplaced if one.at_dof is None else "can't be used")
    at = one.at_dof
    if need.below_dof[-1] > 0 and not _holds(need, at):
        if ground is not None and _holds(ground, at):
            return "only what the animal sits on lies there"
        return NOTHING_THERE
    beside = sorted(((abs(c.at_dof - at), k) for k, c in enumerate(chosen) if c.at_dof is not None))
    if not beside:
        return "not needed"
    gap, number = beside[0]
    like = chosen[number]
    if gap <= NUMBERS.same_dof:
        better = ""
        if like.detail > one.detail + 0.05:
            better = ", which moved less"
        elif like.of_pass != one.of_pass:
            better = f", of pass {like.of_pass + 1} like its neighbours"
        return f"same plane as {like.frame}{better}"
    near = max((c for c in chosen if (c.at_dof or 0.0) <= at), key=_at, default=None)
    far = min((c for c in chosen if (c.at_dof or 0.0) > at), key=_at, default=None)
    if near is not None and far is not None:
        hole = _at(far) - _at(near) - 1.0
        if hole > 2 * NUMBERS.slack_dof:
            if all(_off(one, c) > NUMBERS.agree_dof for c in (near, far)):
                return "seen from another side than the frames beside it"
            return f"fills no more than {hole:.1f} depths of field, and is of another pass"
        return f"{near.frame} and {far.frame} hold its depth between them"
    return f"{like.frame} holds the end of the animal as well"


def _off(one: Candidate, other: Candidate) -> float:
    return float(np.linalg.norm(np.subtract(one.pose, other.pose)))


def _at(one: Candidate) -> float:
    return one.at_dof if one.at_dof is not None else 0.0
