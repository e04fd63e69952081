"""Flash flicker: by how much each frame's light differs from that of its neighbours."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.align.ahead import in_turn
from haltere.align.pose import homography
from haltere.align.solve import centred, scaled, work_factor
from haltere.merge.planes import plane_map
from haltere.sweeps.sweep import Sweep

_BLUR_PX = 1.5  # of the small pictures that are compared
_UNSURE = 0.12
"""Spread of the ratio, its median deviation, from which places do not vote: where two frames have
little but a limb that moved in common, they would tell its two positions, not their light, and
then all places vote. In a simulated sweep with such a limb the spread was 0.5 there and 0.002 to
0.045 elsewhere."""


@dataclass(frozen=True, slots=True)
class _Lit:
    """A frame among those compared: its place, light and plane of focus."""

    index: int
    light: NDArray[np.float32]
    plane: NDArray[np.float32]


def light_gains(
    sweep: Sweep,
    used: list[int],
    depth: NDArray[np.float32],
    known: NDArray[np.bool_] | None = None,
) -> NDArray[np.float64]:
    """Factors on linear light that bring all frames to the reference frame's light.

    Frames whose planes are neighbours show the places between them alike; the median ratio of
    their light there is the ratio of their exposures.  All pairs are solved together.  Where the
    reference frame is not among them, the median frame's light counts.

    Parameters
    ----------
    sweep : Sweep
        Solved sweep.
    used : list of int
        Frames.
    depth : ndarray of float32, shape (H, W)
        Relative depth over the reference view, any size.
    known : ndarray of bool, shape (H, W), optional
        Places whose depth is known; others, where the light of the backdrop wanders with the
        view, do not vote.

    Returns
    -------
    ndarray of float64, shape (len(used),)
        A factor per frame of `used`.
    """
    n = len(used)
    if n < 2:
        return np.ones(n)
    factor = 2 * work_factor(sweep.lumas.shape)
    height, width = sweep.lumas.shape[0] // factor, sweep.lumas.shape[1] // factor
    ground = cv2.resize(depth, (width, height), interpolation=cv2.INTER_NEAREST)
    told = np.ones((height, width), bool)
    if known is not None and known.any():
        sure = cv2.resize(known.astype(np.uint8), (width, height), interpolation=cv2.INTER_NEAREST)
        told = sure > 0
    order = sorted(range(n), key=lambda i: (sweep.poses[used[i], 2], i))

    def light(i: int) -> NDArray[np.float32]:
        small = sweep.lumas.small(used[i], factor)
        # the darkest is flare and rounding, the brightest clipped: neither may vote
        fair = ((small > 1.0) & (small < 210.0)).astype(np.float32)
        # one of the two is not resampled, or at other places between pixels: blurred alike, they
        # do not differ by that
        near = cv2.GaussianBlur(fair, (0, 0), _BLUR_PX)
        linear = cv2.GaussianBlur(small * fair, (0, 0), _BLUR_PX) / np.maximum(near, 1e-6)
        linear[near < 0.9] = np.nan
        return np.asarray(linear, np.float32)

    def carried(one: _Lit, at: float) -> NDArray[np.float32]:
        matrix = scaled(homography(sweep.poses[used[one.index]], at, sweep.focal_px), factor)
        full = centred(matrix, (height, width), (height, width))
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        warped = cv2.warpPerspective(
            one.light, full, (width, height), flags=flags, borderValue=float("nan")
        )
        return np.asarray(warped, np.float32)

    def pairs() -> Iterator[tuple[_Lit, _Lit]]:
        """Each frame with the two before it; these are held."""
        before: deque[_Lit] = deque(maxlen=2)
        for i, found in zip(order, in_turn(light, order), strict=True):
            plane = plane_map(sweep.poses[used[i]], (height, width), factor, sweep.focal_px)
            now = _Lit(i, found, plane)
            yield from ((now, one) for one in before)
            before.append(now)

    def voted(pair: tuple[_Lit, _Lit]) -> tuple[int, int, float, float] | None:
        now, then = pair
        middle = 0.5 * (now.plane + then.plane)
        at = 0.5 * (sweep.poses[used[now.index], 2] + sweep.poses[used[then.index], 2])
        one, two = carried(now, float(at)), carried(then, float(at))
        near = np.abs(ground - middle) < 1.5 * sweep.dof
        near &= np.isfinite(one) & np.isfinite(two)
        for here in (told & near, near):
            vote = _ratio(one, two, here)
            if vote is not None and vote[1] < _UNSURE:
                return now.index, then.index, vote[0], vote[2]
        return None

    rows = [row for row in in_turn(voted, pairs()) if row is not None]
    if not rows:
        return np.ones(n)
    strength = max(r[3] for r in rows)
    # a pull to no change ties frames that share nothing, and is too weak to bend a long chain
    matrix = 1e-7 * np.eye(n)
    right = np.zeros(n)
    for i, j, ratio_ij, weight in rows:
        w = weight / strength
        matrix[i, i] += w
        matrix[j, j] += w
        matrix[i, j] -= w
        matrix[j, i] -= w
        right[i] += w * ratio_ij
        right[j] -= w * ratio_ij
    logs = np.linalg.solve(matrix, right)
    known = logs[used.index(sweep.reference)] if sweep.reference in used else np.median(logs)
    result: NDArray[np.float64] = np.exp(logs - known)
    return result


def _ratio(
    one: NDArray[np.float32], two: NDArray[np.float32], here: NDArray[np.bool_]
) -> tuple[float, float, float] | None:
    """Median log ratio of two frames' light, its spread, and how much it counts."""
    if here.sum() < 50:
        return None
    ratio = np.log(two[here] / one[here])
    centre = float(np.median(ratio))
    spread = float(np.median(np.abs(ratio - centre))) + 1e-4
    return centre, spread, float(here.sum()) ** 0.5 / spread
