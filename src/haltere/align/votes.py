"""What the cells of every pair of frames say about the poses, compiled."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_FAST = {"reassoc", "contract", "nsz"}

LEAST_NEAR = 1e-5
"""Share of the best cell's focus below which a cell has no vote: a hundred thousand of them would
count for one."""

_WIDER = 1.25
_MOST_WIDER = 12
"""Steps by which a pair's reach is widened, and how many: to fifteen times as far."""


@njit(cache=True, nogil=True, fastmath=_FAST)  # type: ignore[misc, unused-ignore]
def _near(depth: Floats, middle: float, reach: float, out: Floats) -> float:
    """Fill `out` with how much content counts for its distance from `middle`; tell the most."""
    most = 0.0
    for n in range(len(depth)):
        away = (depth[n] - middle) / reach
        out[n] = 1.0 / ((1.0 + away * away) * np.sqrt(1.0 + away * away))
        most = max(most, out[n])
    return most


@njit(cache=True, nogil=True, fastmath=_FAST)  # type: ignore[misc, unused-ignore]
def cell_places(
    pose: Floats,
    turn: Floats,
    turning: Floats,
    back: Floats,
    points: Floats,
    depth: Floats,
    focal_px: float,
    at: Floats,
    ways: Floats,
) -> None:
    """Tell where content of the cells appears in a warped frame, and how that moves with the pose.

    Parameters
    ----------
    pose : ndarray of float64, shape (6,)
        Pose of the frame.
    turn : ndarray of float64, shape (3, 3)
        Its rotation.
    turning : ndarray of float64, shape (3, 3, 3)
        Derivative of `turn` by the last three numbers of the pose, first axis.
    back : ndarray of float64, shape (3, 3)
        Centred pixels of the frame to those of the warped picture.
    points : ndarray of float64, shape (N, 2)
        Middles of the cells, centred reference pixels.
    depth : ndarray of float64, shape (N,)
        Relative depth of what they show.
    focal_px : float
        See `haltere.align.pose`.
    at : ndarray of float64, shape (N, 2)
        Filled with how far from its middle a cell's content appears.
    ways : ndarray of float64, shape (N, 2, 6)
        Filled with the derivative of `at` by the pose.
    """
    space, moved = np.empty(3), np.empty((6, 3))
    for n in range(len(points)):
        far = 1.0 + depth[n]
        space[0] = far * points[n, 0] - pose[0]
        space[1] = far * points[n, 1] - pose[1]
        space[2] = (far - pose[2]) * focal_px
        for k in range(3):
            moved[0, k] = -turn[k, 0]
            moved[1, k] = -turn[k, 1]
            moved[2, k] = -focal_px * turn[k, 2]
        for m in range(3):
            for k in range(3):
                moved[3 + m, k] = (
                    turning[m, k, 0] * space[0]
                    + turning[m, k, 1] * space[1]
                    + turning[m, k, 2] * space[2]
                )
        x = turn[0, 0] * space[0] + turn[0, 1] * space[1] + turn[0, 2] * space[2]
        y = turn[1, 0] * space[0] + turn[1, 1] * space[1] + turn[1, 2] * space[2]
        z = turn[2, 0] * space[0] + turn[2, 1] * space[1] + turn[2, 2] * space[2]
        u, v = focal_px * x / z, focal_px * y / z
        third = back[2, 0] * u + back[2, 1] * v + back[2, 2]
        at[n, 0] = (back[0, 0] * u + back[0, 1] * v + back[0, 2]) / third - points[n, 0]
        at[n, 1] = (back[1, 0] * u + back[1, 1] * v + back[1, 2]) / third - points[n, 1]
        for m in range(6):
            du = (focal_px * moved[m, 0] - u * moved[m, 2]) / z
            dv = (focal_px * moved[m, 1] - v * moved[m, 2]) / z
            # the warp undoes scale and roll: its derivative is the inverse similarity's
            ways[n, 0, m] = back[0, 0] * du + back[0, 1] * dv
            ways[n, 1, m] = back[1, 0] * du + back[1, 1] * dv


@njit(cache=True, nogil=True, fastmath=_FAST)  # type: ignore[misc, unused-ignore]
def count_votes(  # noqa: PLR0913, PLR0917 - pairs, their cells and what is filled
    first: int,
    past_last: int,
    pairs: Any,
    motion: Any,
    noise: Floats,
    at: Floats,
    ways: Floats,
    depth: Floats,
    along: Floats,
    reach: float,
    share: float,
    robust_px: float,
    factor: float,
    normal: Floats,
    right: Floats,
    fit: Floats,
    strength: Any,
    miss: Any,
) -> None:
    """Let the cells of some pairs vote on how the two poses of each should change.

    Parameters
    ----------
    first, past_last : int
        Which pairs.
    pairs : ndarray of int64, shape (P, 2)
        Frames compared.
    motion : ndarray of float32, shape (P, N, 6)
        From `cell_motion`, per pair.
    noise : ndarray of float64, shape (P,)
        Gradient that is there without content.
    at, ways : ndarray of float64, shape (F, N, 2) and (F, N, 2, 6)
        From `cell_places`, per frame.
    depth : ndarray of float64, shape (N,)
        Relative depth the cells are believed to have.
    along : ndarray of float64, shape (F,)
        Relative depth of the frames' planes of focus.
    reach : float
        Relative distance from a pair's planes at which content counts a third.
    share : float
        Share of the content of both that must count, or the reach of this pair is widened.
    robust_px : float
        Miss at which a vote falls to a quarter, pixels of the pictures compared.
    factor : float
        Pixels of `at` over those of the pictures compared.
    normal : ndarray of float64, shape (P, 12, 12)
        Filled with the normal matrix over both poses, per pair.
    right : ndarray of float64, shape (P, 12)
        Filled with its right side.
    fit : ndarray of float64, shape (P, 2)
        Filled with the misfit as chi-square, and how many cells it is of.
    strength, miss : ndarray of float32, shape (P, N)
        Filled with how much each cell's content counts, and by how much the poses miss it.
    """
    count = depth.shape[0]
    j, t = np.empty((2, 12)), np.empty((2, 12))
    weight, focus, shown = np.empty(count), np.empty(count), np.empty(count)
    for p in range(first, past_last):
        one, other = pairs[p, 0], pairs[p, 1]
        middle = 0.5 * (along[one] + along[other])
        sums, side = normal[p], right[p]
        sums[:] = 0.0
        side[:] = 0.0
        chi, most, content = 0.0, 0.0, 0.0
        for n in range(count):
            trace = float(motion[p, n, 0]) + float(motion[p, n, 1])
            seen = motion[p, n, 5] > 0.9 and trace > 0.0
            shown[n] = trace * np.sqrt(trace) / (trace + 4 * noise[p]) if seen else 0.0
            content += shown[n]
        widened = reach
        nearest = _near(depth, middle, widened, focus)
        for _ in range(_MOST_WIDER):
            if (focus * shown).sum() >= share * content:
                break
            widened *= _WIDER
            nearest = _near(depth, middle, widened, focus)
        for n in range(count):
            weight[n] = strength[p, n] = miss[p, n] = 0.0
            near = focus[n]
            if near < LEAST_NEAR * nearest or not motion[p, n, 5] > 0.9:
                continue
            xx, yy = float(motion[p, n, 0]), float(motion[p, n, 1])
            xy = float(motion[p, n, 2])
            trace = xx + yy
            lift = 0.02 * trace + noise[p]
            a, b = xx + lift, yy + lift
            right_px = (at[other, n, 0] - at[one, n, 0]) / factor
            down_px = (at[other, n, 1] - at[one, n, 1]) / factor
            # content seen at x in one is seen at x + d in the other: tensor d = mismatch
            u = -float(motion[p, n, 3]) - (xx * right_px + xy * down_px)
            v = -float(motion[p, n, 4]) - (xy * right_px + yy * down_px)
            det = a * b - xy * xy
            off2 = ((b * u - xy * v) ** 2 + (a * v - xy * u) ** 2) / (det * det)
            trust = near * trace / (trace + 4 * noise[p])
            robust = (1 + off2 / (robust_px * robust_px)) ** 2
            vote = trust / np.sqrt(max(trace, 1e-9)) / robust
            weight[n], strength[p, n], miss[p, n] = vote, vote * trace, np.sqrt(off2)
            most = max(most, vote)
            chi += vote * trace * off2
            for k in range(6):
                j[0, k], j[1, k] = -ways[one, n, 0, k], -ways[one, n, 1, k]
                j[0, k + 6], j[1, k + 6] = ways[other, n, 0, k], ways[other, n, 1, k]
            for k in range(12):
                t[0, k] = vote * (xx * j[0, k] + xy * j[1, k])
                t[1, k] = vote * (xy * j[0, k] + yy * j[1, k])
                side[k] += vote * (j[0, k] * u + j[1, k] * v)
            for k in range(12):
                for m in range(12):
                    sums[k, m] += j[0, k] * t[0, m] + j[1, k] * t[1, m]
        # places move in analysis pixels, cells in working ones
        sums /= factor * factor
        side /= factor
        voters = 0
        for n in range(count):
            voters += weight[n] > 0.25 * most
        fit[p, 0], fit[p, 1] = chi / 2, voters
