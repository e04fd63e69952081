"""Legs, horns and feelers that can be moved: which parts they are made of, and how they turn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.scene.mesh import Patch

Array = NDArray[np.float64]
Pieces = Sequence[tuple[int, Array, Array]]
# A shorter chain is a foot or a jaw, not a limb that is seen to move; body units.
_SHORTEST = 0.15


@dataclass(frozen=True, slots=True)
class Limb:
    """A chain of pieces that hangs at its base.

    Attributes
    ----------
    parts : tuple of int
        Numbers of its parts, from the base on.
    """

    parts: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class StageLimb:
    """A limb on the stage.

    Attributes
    ----------
    base_mm : ndarray of float64, shape (3,)
        Where it hangs.
    verts : ndarray of int64
        Its vertices.
    hairs : ndarray of int64
        Hair pieces that root on it.
    """

    base_mm: Array
    verts: NDArray[np.int64]
    hairs: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class MovedLimb:
    """How a limb moves during a run.

    Attributes
    ----------
    number : int
        Which of the stage's limbs.
    axis : ndarray of float64, shape (3,)
        Unit vector about which it turns.
    angle_deg : tuple of float
        Angle in poses 0, 1, 2 and so on; pose 0 is the reference take's.
    """

    number: int
    axis: Array
    angle_deg: tuple[float, ...]


def find_limbs(pieces: Pieces) -> tuple[Limb, ...]:
    """Find the limbs of a body: pieces that each begin where the one before ends.

    Parameters
    ----------
    pieces : sequence of (part, begin, end)
        Pieces in the order they grew, body units.
    """
    chains: list[list[tuple[int, Array, Array]]] = []
    for piece in pieces:
        if chains and np.allclose(chains[-1][-1][2], piece[1], atol=1e-9):
            chains[-1].append(piece)
        else:
            chains.append([piece])
    long = [
        c for c in chains
        if len(c) > 1 and sum(float(np.linalg.norm(b - a)) for _, a, b in c) >= _SHORTEST
    ]  # fmt: skip
    return tuple(Limb(tuple(part for part, _, _ in c)) for c in long)


def stage_limbs(
    limbs: Sequence[Limb], patches: Sequence[Patch], verts: Array, roots: Array,
    whose: NDArray[np.int64],
) -> tuple[StageLimb, ...]:  # fmt: skip
    """Find the limbs among the vertices and hair pieces of a stage.

    Parameters
    ----------
    limbs : sequence of Limb
        Limbs of the animal; those of which not all is on the stage are left out.
    patches : sequence of Patch
        Patches on the stage, mm, before they are flattened.
    verts : ndarray of float64, shape (V, 3)
        Their vertices in the same order, flattened.
    roots : ndarray of float64, shape (n, 3)
        Where hairs root, mm, before they are flattened.
    whose : ndarray of int64, shape (S,)
        Hair that each drawn piece belongs to.
    """
    from scipy.spatial import cKDTree

    if not limbs:
        return ()
    part = np.concatenate([np.full(p.points.shape[0] * p.points.shape[1], p.part) for p in patches])
    ring: dict[int, NDArray[np.int64]] = {}
    at = 0
    for p in patches:
        ring.setdefault(p.part, np.arange(at, at + p.points.shape[1]))
        at += p.points.shape[0] * p.points.shape[1]
    points = np.concatenate([p.points.reshape(-1, 3) for p in patches])
    _, nearest = cKDTree(points).query(roots)
    rooted = part[nearest][whose] if len(roots) else np.zeros(0, np.int64)
    out = []
    for limb in limbs:
        if not all(n in ring for n in limb.parts):
            continue
        own = np.array(limb.parts)
        out.append(
            StageLimb(
                verts[ring[limb.parts[0]]].mean(axis=0),
                np.flatnonzero(np.isin(part, own)),
                np.flatnonzero(np.isin(rooted, own)),
            )
        )
    return tuple(out)


def turned(points: Array, base: Array, axis: Array, angle_deg: float) -> Array:
    """Points (n, 3) turned about an axis through a base (Rodrigues 1840, from memory).

    Parameters
    ----------
    points : ndarray of float64, shape (n, 3)
        What is turned.
    base : ndarray of float64, shape (3,)
        A point on the axis.
    axis : ndarray of float64, shape (3,)
        Unit vector along it.
    angle_deg : float
        Angle.
    """
    a = np.deg2rad(angle_deg)
    d = points - base
    along = np.outer(d @ axis, axis)
    return np.asarray(base + along + np.cos(a) * (d - along) + np.sin(a) * np.cross(axis, d))
