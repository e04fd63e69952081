"""Where no usable plane passed although there is animal: gaps inside and at the ends."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.focus.curves import Peaks
from haltere.sweeps.ground import find_ground

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class GapNumbers:
    """Numbers that decide what a gap is.

    Attributes
    ----------
    least_dof : float
        Uncovered depth that is called a gap; below it the blur stays under twice the circle of
        confusion and is hard to see.
    least_seen_dof : float
        What must be left of it where the animal begins or ends in it: a stretch below half a depth
        of field is no gap, however wide the hole is around it.
    end_dof : float
        How far beyond the outermost plane a place must peak to be missing at an end; more than
        inside, since the peak is extrapolated.
    places : int
        Places that must lie in it: fewer are a hair tip or a wrong curve.
    believed_dof : float
        A peak extrapolated farther than this says nothing: far from focus all curves look alike.
    ground : float
        Where no sheet of ground is seen: share of the picture's width or height beyond which an
        end piece is taken for what the animal sits on.
    border : float
        Share of the picture at each side that sway may cut off: what reaches it runs out of view.
    outside : float
        Where the ground is known: largest share of an end piece that may lie in that border. The
        near edge of a leaf lies there wholly, animals that reach it with a third.
    energy : float
        Energy at the outermost plane over the noise for a place to count at an end.
    fit : float
        How well the curve of a place follows the expected one, to count at an end: beside a leg
        that moved curves rise to the outermost plane as well, yet not as blur does.
    detail : float
        Detail foretold at the missing peak over what is usual where planes passed: leaf, shadow
        and haze hold less.
    beside_dof : float
        What a piece beyond an end adjoins counts if it lies this near to the outermost plane, or
        beyond it: the far haze of a leaf hangs on the leaf, a blurred leg on the leg.
    touches : int
        Places of covered animal that what lies before the first plane must adjoin: blur that runs
        over from a feeler, far out of focus, adjoins nothing that is sharp nearby.
    beside : tuple of int
        Places within which it adjoins something; the wider ring where the narrower is empty.
    tall, upright : float
        Height in places, and height over width, from which a piece that stands on the ground is a
        leg: haze lies flat.
    """

    least_dof: float = 0.7
    least_seen_dof: float = 0.5
    end_dof: float = 0.7
    places: int = 14
    energy: float = 2.0
    fit: float = 0.93
    detail: float = 0.4
    border: float = 0.07
    outside: float = 0.4
    ground: float = 0.4
    believed_dof: float = 3.4
    beside_dof: float = 2.0
    tall: float = 12.0
    upright: float = 1.3
    touches: int = 10
    beside: tuple[int, ...] = (3, 12)


NUMBERS = GapNumbers()


@dataclass(frozen=True, slots=True)
class Hole:
    """A gap in relative depth, with the places that lie in it."""

    kind: Literal["near-end", "inside", "far-end"]
    start: float
    end: float
    places: Mask


def uncovered(along: Floats, dof: float) -> list[tuple[float, float]]:
    """Stretches between planes that no depth of field reaches.

    Parameters
    ----------
    along : ndarray of float64, shape (N,)
        Relative depth of the usable planes, any order.
    dof : float
        Relative depth of field.

    Returns
    -------
    list of (float, float)
        Nearer and farther end of each, relative depth.
    """
    order = np.sort(along)
    low, high = order[:-1] + dof / 2, order[1:] - dof / 2
    return [(float(a), float(b)) for a, b in zip(low, high, strict=True) if b > a]


def strong_places(
    peaks: Peaks, trusted: Mask, outermost: Floats, ends: tuple[float, float]
) -> Mask:
    """Find the places whose peak, if it lies beyond the outermost plane, is missed by somebody.

    Parameters
    ----------
    peaks : Peaks
        Where each place peaks, how high, and how well its curve fits; shape (R, C) each.
    trusted : ndarray of bool, shape (R, C)
        Places whose peak is believed.
    outermost : ndarray of float64, shape (R, C)
        Energy at the outermost plane of the place's end, noise taken off.
    ends : (float, float)
        Relative depth of the first and the last usable plane.

    Returns
    -------
    ndarray of bool, shape (R, C)
        True for places with detail that a plane more would show.
    """
    inside = trusted & (peaks.depth > ends[0]) & (peaks.depth < ends[1])
    usual = float(np.median(peaks.amplitude[inside])) if inside.any() else 0.0
    seen = outermost > NUMBERS.energy * np.maximum(peaks.noise, 0.1)
    strong: Mask = seen & (peaks.fit >= NUMBERS.fit) & (peaks.amplitude >= NUMBERS.detail * usual)
    return strong


def find_holes(depth: Floats, trusted: Mask, strong: Mask, along: Floats, dof: float) -> list[Hole]:
    """Find the gaps of a sweep.

    Parameters
    ----------
    depth : ndarray of float64, shape (R, C)
        Relative depth of each place's peak.
    trusted : ndarray of bool, shape (R, C)
        Places whose peak is believed.
    strong : ndarray of bool, shape (R, C)
        Places that count at an end, as `strong_places` finds them.
    along : ndarray of float64, shape (N,)
        Relative depth of the usable planes.
    dof : float
        Relative depth of field.

    Returns
    -------
    list of Hole
        From near to far.
    """
    first, last = float(along.min()), float(along.max())
    trusted = _cluster(trusted)
    ground = find_ground(depth / dof, trusted, first / dof, last / dof)
    animal = trusted if ground is None else trusted & ~ground
    covered = animal & (depth > first - dof / 2) & (depth < last + dof / 2)
    holes: list[Hole] = []
    for start, end in uncovered(along, dof):
        if end - start < NUMBERS.least_dof * dof:
            continue
        places = _cluster(animal & (depth > start) & (depth < end))
        if places.sum() < NUMBERS.places:
            continue
        hole = _within(Hole("inside", start, end, places), depth, covered)
        if hole.end - hole.start >= NUMBERS.least_seen_dof * dof:
            holes.append(hole)
    for kind, beyond in (("near-end", first - depth), ("far-end", depth - last)):
        outside = animal & (beyond > 0.5 * dof)
        if ground is not None:
            outside = _beside_animal(outside, trusted, ground, beyond, dof)
        outside = _inner(outside, ground is not None)
        sure = beyond > (0.5 + NUMBERS.end_dof) * dof
        places = outside & strong & sure & (beyond < NUMBERS.believed_dof * dof)
        if places.sum() < NUMBERS.places or (ground is None and _spans(places)):
            continue
        reach = float(np.percentile(beyond[places], 90))
        if kind == "near-end":
            holes.insert(0, Hole("near-end", first - reach, first - dof / 2, places))
        else:
            holes.append(Hole("far-end", last + dof / 2, last + reach, places))
    return holes


def _within(hole: Hole, depth: Floats, covered: Mask) -> Hole:
    """Shorten a hole in which the animal begins or ends."""
    start, end = hole.start, hole.end
    if np.count_nonzero(covered & (depth >= end)) < NUMBERS.places:
        end = min(end, float(np.percentile(depth[hole.places], 90)))
    if np.count_nonzero(covered & (depth <= start)) < NUMBERS.places:
        start = max(start, float(np.percentile(depth[hole.places], 10)))
    return replace(hole, start=start, end=end)


def _beside_animal(outside: Mask, trusted: Mask, ground: Mask, beyond: Floats, dof: float) -> Mask:
    """Keep the pieces that adjoin covered animal of that end more than they adjoin ground."""
    close = trusted & (beyond > -NUMBERS.beside_dof * dof)
    its = close & ~ground & (beyond < 0.5 * dof)
    joined = cv2.morphologyEx(outside.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
    count, labels = cv2.connectedComponents(joined, connectivity=8)
    keep = np.zeros(count, np.bool_)
    for k in range(1, count):
        piece = (labels == k).astype(np.uint8)
        for reach in NUMBERS.beside:
            ring = cv2.dilate(piece, np.ones((2 * reach + 1, 2 * reach + 1), np.uint8)) > piece
            animal, leaf = np.count_nonzero(ring & its), np.count_nonzero(ring & close & ground)
            if animal + leaf >= NUMBERS.touches:
                keep[k] = animal > leaf or _upright(labels == k)
                break
    result: Mask = keep[labels] & outside
    return result


def _upright(piece: Mask) -> bool:
    """Tell whether a piece stands like a leg; haze and the edges of leaves lie flat."""
    rows, cols = np.nonzero(piece)
    tall, wide = np.ptp(rows) + 1, np.ptp(cols) + 1
    return bool(tall >= NUMBERS.tall and tall > NUMBERS.upright * wide)


def _cluster(mask: Mask) -> Mask:
    """Clear the mask of specks: pieces of at least three neighbouring places."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        mask.astype(np.uint8), connectivity=8
    )
    keep = np.zeros(count, bool)
    keep[1:] = stats[1:, cv2.CC_STAT_AREA] >= 3
    result: Mask = keep[labels]
    return result


def _spans(mask: Mask) -> bool:
    """Tell whether the places reach across the picture, as a leaf does and an animal does not."""
    rows, cols = np.nonzero(mask)
    high, wide = (np.ptp(np.percentile(at, (5, 95))) for at in (rows, cols))
    return bool(high > NUMBERS.ground * mask.shape[0] or wide > NUMBERS.ground * mask.shape[1])


def _inner(mask: Mask, known: bool) -> Mask:
    """Keep the pieces of the mask big enough to count that do not run out of the picture.

    What does run out is the stem or leaf the animal sits on, which no sweep needs to cover, unless
    the ground is `known` by itself, or the piece stands like a leg.
    """
    h, w = mask.shape
    joined = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
    count, labels = cv2.connectedComponents(joined, connectivity=8)
    x, y = int(np.ceil(NUMBERS.border * w)), int(np.ceil(NUMBERS.border * h))
    border = np.ones(mask.shape, np.bool_)
    border[y : h - y, x : w - x] = False
    area = np.bincount(labels.ravel(), minlength=count)
    beside = np.bincount(labels[border], minlength=count)
    keep = (area >= NUMBERS.places) & (beside <= NUMBERS.outside * area)
    keep[0] = False
    if not known:
        for k in np.flatnonzero(keep & (beside > 0)):
            keep[k] = _upright(np.asarray(labels == k, np.bool_))
    result: Mask = keep[labels] & mask
    return result
