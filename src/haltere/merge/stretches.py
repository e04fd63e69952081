"""Which frames a part that moved is taken from: one stretch of them that agrees with itself."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.align.ahead import in_turn
from haltere.merge.depth import DepthMap
from haltere.merge.limits import PLACES, STRETCHES
from haltere.merge.moved import Moved, look
from haltere.merge.taken import Stretches, all_frames
from haltere.progress import Progress, silent
from haltere.sweeps.sweep import Sweep

Map = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class _Part:
    """What every frame shows of one moved part; rows are frames, columns places."""

    light: Map
    slope: Map
    away: Map


def choose_stretches(
    sweep: Sweep,
    used: list[int],
    gains: NDArray[np.float64],
    ground: DepthMap,
    moved: Moved,
    progress: Progress = silent,
) -> Stretches:
    """Choose for each part that moved the frames that show it in one position.

    Frames one after the other that agree make a stretch; stretches of other passes that agree
    with it where both are near focus are added.  That of the reference frame is taken, unless
    another has clearly more of the part in focus (one source for each region: Agarwala et al.
    2004, from memory).  Holds one number a frame for every moved place.

    Parameters
    ----------
    sweep : Sweep
        Solved sweep, its analysis pictures still at hand.
    used : list of int
        Frames that take part.
    gains : ndarray of float64, shape (len(used),)
        Factors on linear light.
    ground : DepthMap
        Depth of each place.
    moved : Moved
        Where frames contradict each other.
    progress : Progress, optional
        Told of each frame.

    Returns
    -------
    Stretches
        Frames for each place.
    """
    cores, wide = _parts(moved.strength)
    if not cores:
        return all_frames((ground.depth.shape[0], ground.depth.shape[1]), len(used))
    gathered = _gather(sweep, used, gains, ground, moved, cores, progress)
    taken = np.ones((len(used), len(cores) + 1), np.uint8)
    for number, part in enumerate(gathered, 1):
        taken[:, number] = _chosen(sweep, used, part)
    size = (ground.depth.shape[1], ground.depth.shape[0])
    region = cv2.resize(wide, size, interpolation=cv2.INTER_NEAREST)
    return Stretches(np.asarray(region, np.uint8), taken)


def _parts(strength: Map) -> tuple[list[NDArray[np.bool_]], NDArray[np.uint8]]:
    """Places that changed, part by part, and the parts with what lies around them, numbered."""
    hot = (strength > PLACES.moved_low).astype(np.uint8)
    side = 2 * STRETCHES.join + 1
    joined = cv2.dilate(hot, np.ones((side, side), np.uint8))
    count, labels = cv2.connectedComponents(joined)
    wide = np.zeros(strength.shape, np.uint8)
    cores: list[NDArray[np.bool_]] = []
    for label in range(1, count):
        here = labels == label
        core = here & (hot > 0)
        if (strength[here] > PLACES.moved_high).sum() < STRETCHES.least:
            continue
        if here.mean() > STRETCHES.most_share or len(cores) == STRETCHES.most:
            continue
        cores.append(core)
        wide[here] = len(cores)
    return cores, wide


def _gather(
    sweep: Sweep,
    used: list[int],
    gains: NDArray[np.float64],
    ground: DepthMap,
    moved: Moved,
    cores: list[NDArray[np.bool_]],
    progress: Progress,
) -> list[_Part]:
    rows, cols = moved.strength.shape
    depth: Map = np.asarray(
        cv2.resize(ground.depth, (cols, rows), interpolation=cv2.INTER_NEAREST), np.float32
    )
    shrink = max(1, round(moved.factor))
    lights: list[list[Map]] = [[] for _ in cores]
    slopes: list[list[Map]] = [[] for _ in cores]
    aways: list[list[Map]] = [[] for _ in cores]
    side = (PLACES.drift_px, PLACES.drift_px)

    def told(index: int) -> tuple[Map, Map, Map]:
        light = sweep.lumas.small(used[index], shrink) * np.float32(gains[index])
        one = look(sweep, used[index], light, depth, moved.factor)
        shared = one.seen.astype(np.float32)
        # light that drifts slowly over the picture is flash or shadow, no limb
        level = cv2.blur(one.light * shared, side) / np.maximum(cv2.blur(shared, side), 1e-3)
        away = np.where(one.seen, one.away, np.float32(1e6))
        return np.asarray(one.light - level, np.float32), one.slope, away

    for index, (own, slope, away) in enumerate(in_turn(told, range(len(used)))):
        for number, core in enumerate(cores):
            lights[number].append(own[core])
            slopes[number].append(slope[core])
            aways[number].append(away[core])
        progress("telling moved parts apart", index + 1, len(used))
    return [
        _Part(np.stack(light), np.stack(steep), np.stack(far))
        for light, steep, far in zip(lights, slopes, aways, strict=True)
    ]


def _changed(part: _Part, i: int, j: int) -> tuple[int, int]:
    """Count changed places among those that both frames have near focus, and those."""
    both = np.maximum(part.away[i], part.away[j]) < PLACES.moved_dof
    apart = np.abs(part.light[i] - part.light[j])[both]
    slope = np.maximum(part.slope[i], part.slope[j])[both]
    allowed = PLACES.moved_floor + PLACES.moved_px * slope
    return int((apart > PLACES.moved_low * allowed).sum()), int(both.sum())


def _chosen(sweep: Sweep, used: list[int], part: _Part) -> NDArray[np.uint8]:
    """1 for frames that one moved part is taken from."""
    count = len(used)
    near = (part.away < PLACES.moved_dof).sum(1) >= STRETCHES.least
    segment = np.full(count, -1)
    last = -1
    for i in np.flatnonzero(near):
        if last >= 0:
            changed, of = _changed(part, last, int(i))
            same = of >= STRETCHES.least and changed < STRETCHES.changed * of
            segment[i] = segment[last] if same and i - last <= 2 else segment.max() + 1
        else:
            segment[i] = 0
        last = int(i)
    number = int(segment.max()) + 1
    if number < 2:
        return np.ones(count, np.uint8)
    changed_of = np.zeros((number, number, 2), np.int64)
    along = sweep.poses[used, 2] / sweep.dof
    for i in np.flatnonzero(near):
        for j in np.flatnonzero(near[:i]):
            a, b = segment[i], segment[j]
            if a != b and abs(along[i] - along[j]) < PLACES.ghost_dof:
                changed_of[a, b] += _changed(part, int(i), int(j))
    group = np.arange(number)
    for a in range(number):
        for b in range(a):
            changed, of = changed_of[a, b] + changed_of[b, a]
            if of >= STRETCHES.least and changed < STRETCHES.changed * of:
                group[group == group[a]] = group[b]
    groups = np.where(segment >= 0, group[segment], -1)
    best = part.away.min(0)
    # of places that any frame has in focus, how many has this group nearly as sharp?
    focused = best < 1.0
    if not focused.any():
        return np.ones(count, np.uint8)
    held = {
        int(g): float((part.away[groups == g].min(0) < best + 0.5)[focused].mean())
        for g in np.unique(groups[groups >= 0])
    }
    own = _own_group(sweep, used, groups)
    away, slope = part.away[groups == own], part.slope[groups == own]
    nearest = away.argmin(0)[None]
    # bare backdrop loses nothing by being out of focus, where another stretch shows a limb sharp
    bare = np.take_along_axis(slope, nearest, 0)[0] < STRETCHES.bare
    bare &= away.min(0) < PLACES.moved_dof
    held[own] = float(((away.min(0) < best + 0.5) | bare)[focused].mean())
    most = max(held.values())
    pick = own if held.get(own, 0.0) >= STRETCHES.enough * most else max(held, key=held.__getitem__)
    # frames far out of focus show nothing sharp of it and fill what nobody holds
    return np.asarray((groups == pick) | (groups < 0), np.uint8)


def _own_group(sweep: Sweep, used: list[int], groups: NDArray[np.int64]) -> int:
    """Group of the reference frame, or of the frame nearest in time that has one."""
    has = np.flatnonzero(groups >= 0)
    order = np.abs(np.asarray(used)[has] - sweep.reference)
    return int(groups[has[int(order.argmin())]])
