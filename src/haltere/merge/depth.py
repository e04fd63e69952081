"""The depth of every place, from the focus volume."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.merge.beyond import Rims, rims_beyond
from haltere.merge.coarse import contradicted
from haltere.merge.cones import cones
from haltere.merge.glow import glow
from haltere.merge.limits import NUMBERS
from haltere.merge.nearest import nearest_known
from haltere.merge.semiglobal import agree
from haltere.merge.threads import compiled, in_stretches
from haltere.merge.volume import Volume

Map = NDArray[np.float32]

_TOP = 100  # data costs are 0.._TOP: eight paths of them and their penalties fit 16 bit

_FINE, _SPAN = 8, 6  # steps of a label, and labels on either side that tell where a peak lies


@dataclass(frozen=True, slots=True)
class DepthMap:
    """Depth over the volume's places.

    Attributes
    ----------
    depth : ndarray of float32, shape (H, W)
        Relative depth everywhere; where nothing was ever sharp, that of the nearest thing.
    known : ndarray of bool, shape (H, W)
        Places that were sharp somewhere.
    confidence : ndarray of float32, shape (H, W)
        0 to 1: how far the peak stands above the noise, and little beside jumps of depth.
    away_px : ndarray of float32, shape (H, W)
        Distance to the nearest known place, volume pixels.
    factor : float
        Analysis pixels per place.
    rims : ndarray of float32, shape (h, w), optional
        Coarse detail of what lies behind the last plane and is soft, see `Rims.soft`.
    quiet : ndarray of float32, shape (H, W), optional
        Energy that is there at any depth.
    hidden : ndarray of bool, shape (H, W), optional
        Places at the border whose depth no frame saw that is sharp there.
    nearer : ndarray of float32, shape (h, w), optional
        As `rims`, of what lies before the first plane.
    """

    depth: Map
    known: NDArray[np.bool_]
    confidence: Map
    away_px: Map
    factor: float
    rims: Map | None = None
    quiet: Map | None = None
    hidden: NDArray[np.bool_] | None = None
    nearer: Map | None = None


def _middle(values: NDArray[np.float32], count: int) -> float:
    """Give the middle one of the first values by size, which are put in another order.

    Only the sides of it are sorted out (Hoare 1961, from memory).
    """
    middle, left, right = count // 2, 0, count - 1
    while left < right:
        pivot = values[middle]
        i, j = left, right
        while i <= j:
            while values[i] < pivot:
                i += 1
            while pivot < values[j]:
                j -= 1
            if i <= j:
                values[i], values[j] = values[j], values[i]
                i += 1
                j -= 1
        if j < middle:
            left = i
        if middle < i:
            right = j
    found: float = values[middle]
    return found


_fast_middle = compiled(_middle)


def _quiet(
    top: int,
    bottom: int,
    energy: NDArray[np.float32],
    weight: NDArray[np.uint8],
    fine: Map,
    most_own: float,
    beside: int,
    quiet: Map,
) -> None:
    """Energy that is there at any depth: middle of what labels hold beyond the peak's own curve.

    `fine` is that curve by steps of 1 / `_FINE` of a label; labels where it is above `most_own`
    tell nothing. The larger counts of the middle over all labels and of that over the `beside`
    ones on either side of the peak.
    """
    labels = energy.shape[2]
    low, close = np.empty((2, labels), np.float32)
    for y in range(top, bottom):
        for x in range(energy.shape[1]):
            at = 0
            for k in range(labels):
                if energy[y, x, k] > energy[y, x, at]:
                    at = k
            place, peak = np.float32(at), energy[y, x, at]
            if 0 < at < labels - 1:
                lean = energy[y, x, at - 1] - energy[y, x, at + 1]
                bend = 2 * peak - energy[y, x, at - 1] - energy[y, x, at + 1]
                if bend > 0:
                    shift = -np.float32(0.5) * lean / bend
                    place += shift
                    peak -= np.float32(0.25) * lean * shift
            count = near = 0
            for k in range(labels):
                off = abs(k - place)
                share = fine[int(_FINE * off + np.float32(0.5))]
                if weight[y, x, k] == 0 or share > most_own:
                    continue
                low[count] = (energy[y, x, k] - share * peak) / (np.float32(1.0) - share)
                if off <= beside:
                    close[near] = low[count]
                    near += 1
                count += 1
            most = np.float32(0.0)
            if count:
                most = max(most, np.float32(_fast_middle(low, count)))
            if near:
                most = max(most, np.float32(_fast_middle(close, near)))
            quiet[y, x] = most


def _costs(
    top: int,
    bottom: int,
    energy: NDArray[np.float32],
    noise: Map,
    floor: float,
    full: int,
    cost: NDArray[np.uint8],
) -> None:
    """Turn detail into costs 0..full; a curve low against the noise costs little anywhere."""
    labels = energy.shape[2]
    for y in range(top, bottom):
        for x in range(energy.shape[1]):
            most = np.float32(0.0)
            for k in range(labels):
                most = max(most, energy[y, x, k])
            peak = most
            size = full / (peak + floor * noise[y, x] + 1e-6)
            for k in range(labels):
                cost[y, x, k] = np.uint8(min((most - energy[y, x, k]) * size, 254.0))


def _tops(
    top: int,
    bottom: int,
    total: NDArray[np.uint16],
    energy: NDArray[np.float32],
    weight: NDArray[np.uint8],
    quiet: Map,
    fine: Map,
    label: Map,
    ratio: Map,
    height: Map,
) -> None:
    """Best label, refined to where the expected curve fits the labels that frames hold best.

    `fine` is the curve by steps of 1 / `_FINE` of a label.
    """
    labels = energy.shape[2]
    scores = np.empty(_FINE * labels + 1, np.float32)
    for y in range(top, bottom):
        for x in range(energy.shape[1]):
            at = 0
            most = np.float32(1e-12)
            for k in range(labels):
                if total[y, x, k] < total[y, x, at]:
                    at = k
                most = max(most, energy[y, x, k])
            ratio[y, x] = energy[y, x, at] / most
            height[y, x] = max(energy[y, x, at], np.float32(0.0))
            label[y, x] = at
            if energy[y, x, at] < np.float32(0.5) * most:
                continue
            # as far as the next labels that frames hold, half way
            low, high = at - 1, at + 1
            while low > 0 and weight[y, x, low] == 0:
                low -= 1
            while high < labels - 1 and weight[y, x, high] == 0:
                high += 1
            low, high = max(low, 0), min(high, labels - 1)
            begin = -max(_FINE * (at - low) // 2, _FINE * 3 // 4) if at > 0 else 0
            end = max(_FINE * (high - at) // 2, _FINE * 3 // 4) if at < labels - 1 else 0
            best = 0
            for shift in range(begin, end + 1):
                inner, size = np.float32(0.0), np.float32(1e-6)
                for k in range(max(at - _SPAN, 0), min(at + _SPAN + 1, labels)):
                    if weight[y, x, k] == 0:
                        continue
                    share = fine[abs(_FINE * (k - at) - shift)]
                    above = max(energy[y, x, k] - quiet[y, x], np.float32(0.0))
                    inner += weight[y, x, k] * share * above
                    size += weight[y, x, k] * share * share
                scores[shift - begin] = inner * inner / size
                if scores[shift - begin] > scores[best]:
                    best = shift - begin
            place = np.float32(begin + best)
            if 0 < best < end - begin:
                bend = 2 * scores[best] - scores[best - 1] - scores[best + 1]
                if bend > 0:
                    place += np.float32(0.5) * (scores[best + 1] - scores[best - 1]) / bend
            label[y, x] = at + place / _FINE


def _seen_labels(
    top: int, bottom: int, weight: NDArray[np.uint8], nearest: Map, farthest: Map
) -> None:
    """First and last label that some frame holds; beyond all labels where none does."""
    labels = weight.shape[2]
    for y in range(top, bottom):
        for x in range(weight.shape[1]):
            low, high = 0, labels - 1
            while low < labels and weight[y, x, low] == 0:
                low += 1
            while high >= 0 and weight[y, x, high] == 0:
                high -= 1
            nearest[y, x], farthest[y, x] = low, high


_fast_seen_labels = compiled(_seen_labels)
_fast_quiet = compiled(_quiet)
_fast_costs = compiled(_costs)
_fast_tops = compiled(_tops)


def without_specks(depth: Map, jump: float) -> Map:
    """Give lone patches, smaller than any hair is long, the depth of what surrounds them.

    Parameters
    ----------
    depth : ndarray of float32, shape (H, W)
        Relative depth.
    jump : float
        Neighbours further apart than this are not of one surface.

    Returns
    -------
    ndarray of float32, shape (H, W)
        Relative depth.
    """
    low = float(depth.min())
    # 1 is the nearest: 0 stands for a speck
    steps = np.clip(np.rint((depth - low) * (8 / jump)) + 1, 1, 32000).astype(np.int16)
    cv2.filterSpeckles(steps, 0, NUMBERS.speck_places, 8)
    specks = steps == 0
    if not specks.any():
        return depth
    around, _ = nearest_known(depth, ~specks)
    return np.where(specks, around, depth)


def _beside_jumps(depth_dof: Map) -> Map:
    """Share of confidence that is left beside a jump of depth: which side a place is on is open."""
    window = np.ones((NUMBERS.doubt_px, NUMBERS.doubt_px), np.uint8)
    depth = np.asarray(depth_dof, np.float32)
    jump = cv2.dilate(depth, window) - cv2.erode(depth, window)
    lost = np.clip(jump / NUMBERS.doubt_dof - 1, 0, 1) * (1 - NUMBERS.doubt_left)
    return np.asarray(1 - lost, np.float32)


def _hidden(volume: Volume, label: Map, known: NDArray[np.bool_], tell: float) -> NDArray[np.bool_]:
    """Places that frames which are sharp there did not see, by the depth of what lies beside them.

    Near the border only some frames see a place. What is blurred in all of these has a depth by
    chance.
    """
    nowhere = np.zeros(known.shape, np.bool_)
    if volume.reach is None:
        return nowhere
    nearest, farthest = np.empty((2, *known.shape), np.float32)
    in_stretches(_fast_seen_labels, known.shape[0], volume.weight, nearest, farthest)
    blind = (nearest > volume.reach[0] + tell) | (farthest < volume.reach[1] - tell)
    blind &= nearest < volume.weight.shape[2]
    told = known & ~blind
    if not blind.any() or not told.any():
        return nowhere
    filled, away = nearest_known(label, told)
    # right beside it must lie something: a backdrop without detail loses nothing
    something = np.where(away <= NUMBERS.beside_px, filled, np.float32(np.nan))
    beside, _ = nearest_known(something, ~blind)
    return np.asarray(blind & ((beside < nearest - tell) | (beside > farthest + tell)), np.bool_)


def _rims(
    volume: Volume, label: Map, height: Map, known: NDArray[np.bool_], dof: float, blur_px: float
) -> Rims:
    """Rims of what lies beyond the sweep; none where they were not looked for."""
    if volume.coarse is None:
        nowhere, nothing = np.zeros(known.shape, np.bool_), np.zeros((1, 1), np.float32)
        return Rims(nothing, nowhere, nowhere, nothing)
    return rims_beyond(volume.coarse, label, height, known, volume.step / dof, blur_px)


def depth_map(
    volume: Volume,
    dof: float,
    blur_px: float,
    before: DepthMap | None = None,
    changed: tuple[int, int] | None = None,
) -> DepthMap:
    """Choose a depth for every place so that neighbours agree.

    Parameters
    ----------
    volume : Volume
        Detail over depth.
    dof : float
        Relative depth of field.
    blur_px : float
        Radius of the blur of one depth of field of defocus, in places of the volume.
    before : DepthMap, optional
        Depth from a volume that is the same but for some rows.
    changed : tuple of int, optional
        These rows, the first and the one past the last.

    Returns
    -------
    DepthMap
        Depth of every place, and how sure it is.
    """
    energy = volume.energy
    rows, cols, labels = energy.shape
    # away from its peak a curve is level: glow of blurred things, and what compression leaves
    quiet = np.empty((rows, cols), np.float32)
    first, past = 0, rows
    if before is not None and before.quiet is not None and changed is not None:
        quiet[:], (first, past) = before.quiet, changed
    at = np.arange(_FINE * (2 * _SPAN + labels) + 1) / _FINE
    fine = np.interp(at, np.arange(labels), volume.curve).astype(np.float32)
    new = slice(first, past)
    given = (energy[new], volume.weight[new], fine, NUMBERS.most_own, NUMBERS.beside_labels)
    in_stretches(_fast_quiet, past - first, *given, quiet[new])
    noise = volume.noise + quiet
    cost = np.empty(energy.shape, np.uint8)
    in_stretches(_fast_costs, rows, energy, noise, NUMBERS.floor, _TOP, cost)
    smooth = cv2.GaussianBlur(volume.guide, (0, 0), 0.8)
    slope = np.hypot(
        cv2.Sobel(smooth, cv2.CV_32F, 1, 0, scale=0.25),
        cv2.Sobel(smooth, cv2.CV_32F, 0, 1, scale=0.25),
    )
    jump = NUMBERS.jump_penalty * _TOP / (1 + slope / NUMBERS.edge_levels)
    step = max(1, round(NUMBERS.step_penalty * _TOP))
    jump8 = np.clip(np.rint(jump), step + 1, 255).astype(np.uint8)
    total = agree(cost, jump8, step)
    del cost
    height = np.empty((rows, cols), np.float32)
    label, ratio = np.empty((rows, cols), np.float32), np.empty((rows, cols), np.float32)
    in_stretches(_fast_tops, rows, total, energy, volume.weight, quiet, fine, label, ratio, height)
    del total
    energy_at = height.copy()
    height = np.maximum(height - quiet, 0)
    depth = without_specks(
        np.asarray(volume.first + label * volume.step, np.float32), NUMBERS.speck_dof * dof
    )
    told = (cv2.GaussianBlur(height, (0, 0), 1.0), depth / np.float32(dof), blur_px)
    with ThreadPoolExecutor(1) as other:
        glowing = other.submit(glow, *told)
        rims = cones(*told) | glowing.result()
    height = np.where(rims, 0, height / noise)
    gathered = np.asarray(cv2.GaussianBlur(np.minimum(height, 400.0), (0, 0), 1.0), np.float32)
    known = gathered > NUMBERS.known
    # single specks of noise are no animal, single holes no background
    kernel = np.ones((3, 3), np.uint8)
    known = cv2.morphologyEx(known.astype(np.uint8), cv2.MORPH_CLOSE, kernel) > 0
    count, parts, stats, _ = cv2.connectedComponentsWithStats(known.astype(np.uint8))
    if count > 1:
        known &= stats[parts, cv2.CC_STAT_AREA] >= 12
    behind = _rims(volume, label, energy_at, known, dof, blur_px)
    known &= ~behind.glow
    if volume.coarse is not None:
        known &= ~contradicted(volume.coarse, label, energy_at, volume.step / dof)
    hidden = None if before is None else before.hidden
    if hidden is None:
        # sooner than a border pixel is cut: what is cut between it and such a border would cost all
        tell = NUMBERS.border_dof / 2 * dof / volume.step
        hidden = _hidden(volume, label, known, tell)
    known &= ~hidden
    rim = behind.there & ~known
    last = np.float32(volume.first + (labels - 1) * volume.step)
    ground: Map = np.where(rim, last, depth)
    filled, away = nearest_known(ground, known | rim)
    soft = cv2.GaussianBlur(filled, (0, 0), NUMBERS.smooth_background_px / 2)
    share = np.clip(away / NUMBERS.smooth_background_px, 0, 1)
    filled = np.where(known, depth, filled * (1 - share) + soft * share)
    confidence = np.clip(ratio * gathered / (gathered + NUMBERS.known), 0, 1) * known
    confidence *= _beside_jumps(filled / np.float32(dof))
    return DepthMap(
        np.asarray(filled, np.float32),
        known,
        np.asarray(confidence, np.float32),
        away,
        volume.factor,
        behind.soft,
        quiet,
        hidden,
        behind.nearer,
    )
