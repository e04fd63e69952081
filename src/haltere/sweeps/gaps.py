"""Where no usable plane passed although there is animal: gaps inside and at the ends."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal

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
    end_votes : float
        What they must come to at an end, where places farther out count for less, in proportion:
        the haze that a sharp edge spreads is told deep there and without anything nearer, an
        animal goes on from the plane. On 347 sweeps 9 to 11 name the same ends.
    left_out, share_left_out : int, float
        Outermost places that do not tell how far the animal reaches in a gap: at most so many, and
        at most this share, since wrong curves lie outermost.
    believed_dof : float
        A peak extrapolated farther than this says nothing: far from focus all curves look alike.
    told_dof : float
        So far beyond the outermost plane an end is said to reach: how far its curves peak tells
        next to nothing of whether 0.8 depths of field are missing or three.
    ground : float
        Where no sheet of ground is seen: share of the picture's longer side from which an end piece
        is taken for what the animal sits on; an animal that fills the picture came to 0.48.
    border : float
        Share of the picture at each side that sway may cut off: what reaches it runs out of view.
    outside : float
        Where the ground is known: largest share of an end piece that may lie in that border. The
        near edge of a leaf lies there wholly, animals that reach it with a third.
    many : int
        Places of a piece that count from which it may, where the ground is known.
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
    stands_out : float
        Detail over that of the ground at that end, from which a piece that adjoins ground is
        animal: a leg in front of a leaf has edges and hairs. Pieces of leaf came to 0.8 to 1.6
        times, a leg to 22; between 2 and 12 the limit made no difference.
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
    places: int = 12
    end_votes: float = 10.0
    left_out: int = 7
    share_left_out: float = 0.1
    energy: float = 2.0
    fit: float = 0.93
    detail: float = 0.4
    border: float = 0.07
    outside: float = 0.4
    many: int = 60
    ground: float = 0.55
    believed_dof: float = 3.4
    told_dof: float = 2.5
    beside_dof: float = 2.0
    tall: float = 12.0
    upright: float = 1.3
    stands_out: float = 5.0
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


def find_holes(
    depth: Floats,
    trusted: Mask,
    strong: Mask,
    along: Floats,
    dof: float,
    detail: NDArray[np.floating[Any]] | None = None,
) -> list[Hole]:
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
    detail : ndarray of float, shape (R, C), optional
        Energy at each place's peak; without it no piece stands out of the ground.

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
        sure = (0.5 + NUMBERS.end_dof) * dof
        counts = outside & strong & (beyond > sure) & (beyond < NUMBERS.believed_dof * dof)
        if ground is not None:
            close = trusted & (beyond > -NUMBERS.beside_dof * dof)
            leaf = close & ground & (beyond < NUMBERS.beside_dof * dof)
            distinct = _standing_out(counts, leaf, detail)
            its = close & ~ground & (beyond < 0.5 * dof)
            outside = _beside_animal(outside, its, close & ground, counts, distinct)
        outside = _inner(outside, counts, ground is not None)
        places = outside & counts
        votes = float((sure / beyond[places]).sum())
        if votes < NUMBERS.end_votes or (ground is None and _spans(places)):
            continue
        reach = NUMBERS.told_dof * dof
        if kind == "near-end":
            holes.insert(0, Hole("near-end", first - reach, first - dof / 2, places))
        else:
            holes.append(Hole("far-end", last + dof / 2, last + reach, places))
    return holes


def _within(hole: Hole, depth: Floats, covered: Mask) -> Hole:
    """Shorten a hole in which the animal begins or ends."""
    start, end = hole.start, hole.end
    if np.count_nonzero(covered & (depth >= end)) < NUMBERS.places:
        end = min(end, _reach(depth[hole.places]))
    if np.count_nonzero(covered & (depth <= start)) < NUMBERS.places:
        start = max(start, -_reach(-depth[hole.places]))
    return replace(hole, start=start, end=end)


def _reach(along: Floats) -> float:
    """How far places reach, without the few outermost."""
    left_out = min(NUMBERS.left_out, int(NUMBERS.share_left_out * along.size))
    return float(np.sort(along)[-1 - left_out])


def _standing_out(counts: Mask, leaf: Mask, detail: NDArray[np.floating[Any]] | None) -> Mask:
    """Which of the places that count show far more detail than the ground at that end."""
    if detail is None or np.count_nonzero(leaf) < NUMBERS.places:
        return np.zeros_like(counts)
    result: Mask = counts & (detail > NUMBERS.stands_out * np.median(detail[leaf]))
    return result


def _beside_animal(outside: Mask, its: Mask, leaf: Mask, counts: Mask, distinct: Mask) -> Mask:
    """Keep the pieces that adjoin more animal than ground, stand upright or stand out of it."""
    joined = cv2.morphologyEx(outside.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
    count, labels = cv2.connectedComponents(joined, connectivity=8)
    keep = np.zeros(count, np.bool_)
    for k in range(1, count):
        piece = (labels == k).astype(np.uint8)
        needed = max(int(np.count_nonzero(counts & (labels == k))), NUMBERS.places)
        keep[k] = np.count_nonzero(distinct & (labels == k)) > 0.5 * needed
        for reach in () if keep[k] else NUMBERS.beside:
            ring = cv2.dilate(piece, np.ones((2 * reach + 1, 2 * reach + 1), np.uint8)) > piece
            animal, ground = np.count_nonzero(ring & its), np.count_nonzero(ring & leaf)
            if animal + ground >= NUMBERS.touches:
                keep[k] = animal > ground or _upright(labels == k)
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
    return bool(max(high, wide) > NUMBERS.ground * max(mask.shape))


def _inner(mask: Mask, counts: Mask, known: bool) -> Mask:
    """Keep the pieces of the mask big enough to count that do not run out of the picture.

    What does run out is the stem or leaf the animal sits on, which no sweep needs to cover, unless
    the ground is `known` by itself and most of the piece lies inside, or many of its places count,
    or the piece stands like a leg.
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
    if known:
        keep |= np.bincount(labels[mask & counts], minlength=count) >= NUMBERS.many
    keep[0] = False
    if not known:
        for k in np.flatnonzero(keep & (beside > 0)):
            keep[k] = _upright(np.asarray(labels == k, np.bool_))
    result: Mask = keep[labels] & mask
    return result
