"""How sharp every place of the reference view is at every depth."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.align.ahead import in_turn
from haltere.align.pose import homography
from haltere.align.solve import centred, scaled
from haltere.focus.curves import curve_shape, detail
from haltere.merge.coarse import coarse_detail, coarse_shape
from haltere.merge.limits import NUMBERS
from haltere.merge.noise import LAST, Noise, mean_around
from haltere.merge.planes import plane_over
from haltere.merge.taken import Stretches
from haltere.merge.threads import compiled, in_stretches
from haltere.progress import Progress, silent
from haltere.sweeps.sweep import Sweep

Map = NDArray[np.float32]
_FLAGS = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
_SMOOTHLY = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
_TURNED = 16
"""Places whose labels are put in line together: what they take stays close by."""
_REACH_POINTS = (24, 32)
_LEAST = 8
"""An eighth of a frame beside its plane is too little to tell a label's detail by."""


@dataclass(frozen=True, slots=True)
class Volume:
    """Detail over depth.

    Attributes
    ----------
    energy : ndarray of float32, shape (H, W, L)
        Mean squared detail of each place at each label, gains evened out, noise taken off.
    first, step : float
        Relative depth of label 0 and between labels.
    factor : float
        Analysis pixels per volume pixel.
    guide : ndarray of float32, shape (H, W)
        A first picture sharp everywhere, grey 0..255: where its edges lie.
    noise : ndarray of float32, shape (H, W)
        Energy that noise alone makes at the place's brightness, already taken off `energy`.
    curve : ndarray of float64, shape (L,)
        Detail that a lone surface shows 0, 1, 2... labels from its own, as a share of its peak:
        what defocus and diffraction leave of it.
    weight : ndarray of uint8, shape (H, W, L)
        How much of frames went into each label, 64 for a whole one, 255 at most; 0 where `energy`
        lies on the line between others.
    coarse : ndarray of float32, shape (h, w, L), optional
        Detail over depth at a coarse scale, see `haltere.merge.coarse`.
    reach : tuple of two ndarrays of float32, shape (H, W), optional
        Labels of the nearest and of the farthest plane, whether its frame saw the place or not.
    """

    energy: NDArray[np.float32]
    first: float
    step: float
    factor: float
    guide: Map
    noise: Map
    curve: NDArray[np.float64]
    weight: NDArray[np.uint8]
    coarse: NDArray[np.float32] | None = None
    reach: tuple[Map, Map] | None = None


def _splat(
    top: int,
    bottom: int,
    energy: NDArray[np.float32],
    weight: NDArray[np.uint16],
    found: Map,
    seen: NDArray[np.uint8],
    plane: NDArray[np.float64],
    low: np.float32,
    step: np.float32,
) -> None:
    """Add a frame's detail to the two labels beside its plane; labels come first, then places.

    `plane` is what `plane_over` gives, `low` the depth of label 0, `step` from label to label.
    """
    labels = energy.shape[0]
    for y in range(top, bottom):
        for x in range(found.shape[1]):
            if seen[y, x] == 0:
                continue
            depth = np.float32(plane[0] + plane[1] * x + plane[2] * y)
            at = min(max((depth - low) / step, np.float32(0.0)), np.float32(labels - 1))
            k = min(int(at), labels - 2)
            upper = int((at - k) * 64 + 0.5)
            weight[k, y, x] += np.uint16(64 - upper)
            weight[k + 1, y, x] += np.uint16(upper)
            energy[k, y, x] += found[y, x] * np.float32(64 - upper)
            energy[k + 1, y, x] += found[y, x] * np.float32(upper)


def _settle(
    top: int,
    bottom: int,
    sums: NDArray[np.float32],
    weights: NDArray[np.uint16],
    least: int,
    energy: NDArray[np.float32],
    held: NDArray[np.uint8],
) -> None:
    """Divide by the weights; labels that no plane came near lie on the line between others.

    `sums` and `weights` have labels first; `energy` and `held` are filled, places first.
    """
    _, width, labels = energy.shape
    for y in range(top, bottom):
        for left in range(0, width, _TURNED):
            for k in range(labels):
                for x in range(left, min(left + _TURNED, width)):
                    weight = weights[k, y, x]
                    near = weight >= least
                    held[y, x, k] = np.uint8(min(weight, 255)) if near else np.uint8(0)
                    energy[y, x, k] = sums[k, y, x] / weight if near else np.float32(0.0)
        for x in range(width):
            last = -1
            for k in range(labels):
                if held[y, x, k] == 0:
                    continue
                if last < 0:
                    for j in range(k):
                        energy[y, x, j] = energy[y, x, k]
                else:
                    for j in range(last + 1, k):
                        share = (j - last) / (k - last)
                        energy[y, x, j] = (1 - share) * energy[y, x, last] + share * energy[y, x, k]
                last = k
            for j in range(last + 1, labels):
                energy[y, x, j] = energy[y, x, last] if last >= 0 else 0.0


def _still(top: int, bottom: int, energy: Map, grey: Map, noise: NDArray[np.float32]) -> None:
    """Take off what noise makes at each grey level, as `Noise.at` tells it."""
    for y in range(top, bottom):
        for x in range(energy.shape[1]):
            place = (grey[y, x] - np.float32(4.0)) / np.float32(8.0)
            place = min(max(place, np.float32(0.0)), LAST)
            low = int(place)
            share = place - np.float32(low)
            expected = noise[low] * (np.float32(1.0) - share) + noise[low + 1] * share
            energy[y, x] -= expected


def _settled(
    sums: NDArray[np.float32], weights: NDArray[np.uint16]
) -> tuple[NDArray[np.float32], NDArray[np.uint8]]:
    """Detail over depth, and how much of frames went into it, both (H, W, L)."""
    labels, height, width = sums.shape
    energy = np.empty((height, width, labels), np.float32)
    held = np.empty(energy.shape, np.uint8)
    in_stretches(_fast_settle, height, sums, weights, _LEAST, energy, held)
    return energy, held


_fast_still = compiled(_still)
_fast_splat = compiled(_splat)
_fast_settle = compiled(_settle)


def changed_rows(stretches: Stretches) -> tuple[int, int]:
    """Tell the first of the rows with a part that moved, and the one past the last.

    Parameters
    ----------
    stretches : Stretches
        Frames for parts that moved; there is one at least.

    Returns
    -------
    tuple of int
        Rows of the depth map.
    """
    changed = np.flatnonzero((stretches.region > 0).any(1))
    return int(changed[0]), int(changed[-1]) + 1


def _span(
    sweep: Sweep, used: list[int], shape: tuple[int, int], factor: float
) -> tuple[float, float]:
    """Nearest and farthest relative depth of the frames' planes over all places."""
    planes = [plane_over(sweep.poses[k], shape, factor, sweep.focal_px) for k in used]
    # they are flat: their ends lie in corners
    ends = [(x, y) for x in (0, shape[1] - 1) for y in (0, shape[0] - 1)]
    corners = [float(plane @ [1, x, y]) for plane in planes for x, y in ends]
    low = min(corners) if len(used) > 1 else float(sweep.poses[used, 2].min())
    return low, max(corners)


def _reach(
    sweep: Sweep, used: list[int], shape: tuple[int, int], factor: float, low: float, step: float
) -> tuple[Map, Map]:
    """Labels of the nearest and the farthest plane over each place."""
    planes = np.array([plane_over(sweep.poses[k], shape, factor, sweep.focal_px) for k in used])
    # planes lean by little: what bends between so few points is nothing
    rows, cols = _REACH_POINTS
    y, x = np.mgrid[0 : shape[0] - 1 : rows * 1j, 0 : shape[1] - 1 : cols * 1j]
    at = planes[:, 0, None, None] + planes[:, 1, None, None] * x + planes[:, 2, None, None] * y
    ends = ((at.min(0) - low) / step, (at.max(0) - low) / step)
    nearest, farthest = (
        np.asarray(cv2.resize(end.astype(np.float32), shape[::-1]), np.float32) for end in ends
    )
    return nearest, farthest


def focus_volume(
    sweep: Sweep,
    used: list[int],
    noise: Noise,
    progress: Progress = silent,
    stretches: Stretches | None = None,
    before: Volume | None = None,
    *,
    longest_px: int = NUMBERS.volume_px,
) -> Volume:
    """Gather the detail of all frames over depth.

    The band is taken in each frame before any warp; its energy is carried to the reference
    view by the map that holds on the frame's own plane, where it is sharp.  Memory does not
    grow with the number of frames.

    Parameters
    ----------
    sweep : Sweep
        Solved sweep.
    used : list of int
        Frames that take part.
    noise : Noise
        What `measure_noise` tells of them.
    progress : Progress, optional
        Told of each frame.
    stretches : Stretches, optional
        Frames for parts that moved; without it all frames are taken everywhere.
    before : Volume, optional
        What came out without `stretches`: only rows with a part that moved are worked out anew,
        and written over the others' in it.
    longest_px : int, optional
        Places along the longest side.

    Returns
    -------
    Volume
        Detail of every place at every depth.
    """
    height, width = sweep.lumas.shape
    factor = max(1.0, max(height, width) / longest_px)
    shape = (round(height / factor), round(width / factor))
    low, high = _span(sweep, used, shape, factor)
    step = max(NUMBERS.step_dof * sweep.dof, (high - low) / (NUMBERS.labels - 1), 1e-9)
    labels = max(int(np.ceil((high - low) / step)) + 1, 3)
    first, past = 0, shape[0]
    if before is not None and stretches is not None:
        first, past = changed_rows(stretches)
    rows = slice(first, past)
    # labels first: a frame adds to few of them, and to all places
    sums = np.zeros((labels, past - first, shape[1]), np.float32)
    weights = np.zeros(sums.shape, np.uint16)
    guide = np.zeros(sums.shape[1:], np.float32)
    best = np.full(guide.shape, -1e9, np.float32)
    few = coarse_shape(shape)
    coarse_sums = np.zeros((labels, *few), np.float32)
    coarse_weights = np.zeros(coarse_sums.shape, np.uint16)
    look = _Looking(sweep, shape, factor, noise, few if before is None else None)
    looks = in_turn(look.at, used)
    for done, (k, looked) in enumerate(zip(used, looks, strict=True)):
        found, seen, grey = (part[rows] for part in looked[:3])
        wide = looked[3]
        if stretches is not None:
            seen = np.minimum(seen, stretches.taken[done][stretches.region[rows]])
        scale = (np.float32(low), np.float32(step))
        if wide is not None:
            plane = plane_over(sweep.poses[k], few, height / few[0], sweep.focal_px)
            given = (coarse_sums, coarse_weights, *wide, plane, *scale)
            _fast_splat(0, few[0], *given)
        plane = plane_over(sweep.poses[k], shape, factor, sweep.focal_px, first)
        # by this thread alone: two others look at the frames to come
        _fast_splat(0, past - first, sums, weights, found, seen, plane, *scale)
        better = (found > best) & (seen > 0)
        np.copyto(best, found, where=better)
        np.copyto(guide, grey, where=better)
        progress("measuring depth", done + 1, len(used))
    energy, held = _settled(sums, weights)
    coarse, _ = _settled(coarse_sums, coarse_weights)
    del sums, weights
    if before is not None:
        before.energy[rows], before.weight[rows], before.guide[rows] = energy, held, guide
        energy, held, guide = before.energy, before.weight, before.guide
        coarse = coarse if before.coarse is None else before.coarse
    # half a depth of field blurs by one circle of confusion
    discs = np.arange(labels, dtype=np.float64) * (step / sweep.dof * 2 * sweep.c_px)
    curve = curve_shape(discs, sweep.airy_px)
    reach = _reach(sweep, used, shape, factor, low, step) if before is None else before.reach
    around = noise.at(mean_around(guide, 5))
    return Volume(energy, low, step, factor, guide, around, curve, held, coarse, reach)


class _Looking:
    """Carries the detail of one frame after the other to the reference view."""

    def __init__(
        self,
        sweep: Sweep,
        shape: tuple[int, int],
        factor: float,
        noise: Noise,
        few: tuple[int, int] | None,
    ) -> None:
        self.sweep, self.shape, self.factor, self.noise = sweep, shape, factor, noise
        self.few = few
        border = 4
        self.inside = np.zeros(sweep.lumas.shape, np.uint8)
        self.inside[border:-border, border:-border] = 1

    def at(
        self, k: int
    ) -> tuple[Map, NDArray[np.uint8], Map, tuple[Map, NDArray[np.uint8]] | None]:
        """Detail of frame `k`, where it saw anything, its grey levels; and the coarse detail."""
        sweep, factor = self.sweep, self.factor
        picture = sweep.lumas.full(k) * np.float32(sweep.gains[k])
        size = (self.shape[1], self.shape[0])
        thin = np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.float32)
        to_frame = homography(sweep.poses[k], float(sweep.poses[k, 2]), sweep.focal_px)
        full = centred(to_frame @ np.diag([factor, factor, 1.0]), self.shape, sweep.lumas.shape)
        small = centred(scaled(to_frame, factor), self.shape, self.shape)
        # a second look, after it was found out what moved, differs by which places count
        name = ("detail", self.noise.energy.tobytes(), full.tobytes(), float(sweep.gains[k]))
        found = sweep.lumas.made(k, name, lambda: self._detail(picture, thin, small))
        seen = cv2.warpPerspective(
            self.inside, full, size, flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
        )
        grey = cv2.warpPerspective(thin, small, size, flags=_FLAGS)
        wide = None if self.few is None else coarse_detail(sweep, k, thin, self.few)
        known = (np.asarray(seen, np.uint8), np.asarray(grey, np.float32))
        return found.astype(np.float32), *known, wide

    def _detail(self, picture: Map, thin: Map, small: NDArray[np.float64]) -> NDArray[np.float16]:
        size = (self.shape[1], self.shape[0])
        band = detail(picture)
        cv2.multiply(band, band, dst=band)
        energy = np.asarray(cv2.resize(band, size, interpolation=cv2.INTER_AREA), np.float32)
        _fast_still(0, size[1], energy, mean_around(thin, 3), self.noise.energy)
        # what shrinking has gathered already counts
        window = (NUMBERS.window_px**2 - (1 - self.factor**-2) / 12) ** 0.5
        found = cv2.GaussianBlur(energy, (0, 0), window)
        wide = cv2.GaussianBlur(energy, (0, 0), NUMBERS.wide_px)
        found = cv2.scaleAdd(wide, NUMBERS.wide_share, found)
        # by a cubic: halfway between two places a straight line would lower a peak
        found = cv2.warpPerspective(found, small, size, flags=_SMOOTHLY)
        # half the bytes, so that those of some ninety frames are kept; one part in two thousand
        return found.astype(np.float16)
