"""Two views of a merged picture from a little to the left and right, by its depth map."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.merge.nearest import nearest_known
from haltere.merge.threads import compiled, in_stretches

Map = NDArray[np.float32]
Codes = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class StereoNumbers:
    """Numbers that steer the two views.

    Attributes
    ----------
    comfortable : float
        Parallax between nearest and farthest, as a share of the width, that most people still
        fuse: a thirtieth (common practice, no source).
    wished : float
        The same when no angle is chosen.
    most_deg : float
        Largest angle taken without being asked: beyond it edges tear widely.
    tear_px : float
        A step of parallax between neighbours above this is an edge, not a slope.
    near_share : float
        Percentile of known depth that lies in the picture's plane; what is nearer stands out.
    """

    comfortable: float = 1 / 30
    wished: float = 1 / 40
    most_deg: float = 8.0
    tear_px: float = 1.2
    near_share: float = 10.0


NUMBERS = StereoNumbers()


@dataclass(frozen=True, slots=True)
class View:
    """A picture seen from the side.

    Attributes
    ----------
    rgb : ndarray of uint8, shape (H, W, 3)
        What is seen.
    guessed : ndarray of bool, shape (H, W)
        Pixels whose depth is not known, or that no frame saw from there: filled from what lies
        behind.
    torn : float
        Share of the pixels that no frame saw from there.
    """

    rgb: Codes
    guessed: NDArray[np.bool_]
    torn: float


def whole_depth(depth: Map) -> tuple[Map, NDArray[np.bool_]]:
    """Give every pixel a depth: holes in the animal from around them, the backdrop behind it.

    Parameters
    ----------
    depth : ndarray of float32, shape (H, W)
        NaN where unknown.

    Returns
    -------
    depth : ndarray of float32, shape (H, W)
        Without NaN.
    known : ndarray of bool, shape (H, W)
        Where it was known.
    """
    known = np.isfinite(depth)
    if known.all() or not known.any():
        return np.nan_to_num(depth), known
    _, parts = cv2.connectedComponents((~known).astype(np.uint8))
    edge = np.unique(np.concatenate([parts[0], parts[-1], parts[:, 0], parts[:, -1]]))
    open_ = np.isin(parts, edge[edge > 0])
    filled, _ = nearest_known(depth, known)
    filled[open_] = np.percentile(depth[known], 98)
    return np.asarray(np.where(known, depth, filled), np.float32), known


def angle_for(depth_px: Map, known: NDArray[np.bool_], width_px: int) -> float:
    """Choose the angle between the views so that most people can fuse them.

    Parameters
    ----------
    depth_px : ndarray of float32, shape (H, W)
        Depth in pixels: as far as that many pixels are wide.
    known : ndarray of bool, shape (H, W)
        Where it is known.
    width_px : int
        Width of the picture.

    Returns
    -------
    float
        Degrees.
    """
    low, high = np.percentile(depth_px[known], (1, 99)) if known.any() else (0.0, 1.0)
    range_px = max(float(high - low), 1e-6)
    half = np.arctan(NUMBERS.wished * width_px / range_px / 2)
    return float(min(np.degrees(2 * half), NUMBERS.most_deg))


def _across(
    top: int,
    bottom: int,
    rgb: Codes,
    shift: Map,
    depth: Map,
    known: NDArray[np.uint8],
    tear: float,
    out: Codes,
    nearest: Map,
    state: NDArray[np.uint8],
) -> None:
    """Carry rows sideways; state 0 = nothing came here, 1 = guessed depth, 2 = known."""
    width = rgb.shape[1]
    for y in range(top, bottom):
        for x in range(width - 1):
            a, b = x + shift[y, x], x + 1 + shift[y, x + 1]
            if abs(shift[y, x + 1] - shift[y, x]) > tear:
                b = a + 1.0  # the pixel itself, torn off its neighbour
            first, last = int(np.ceil(a)), int(np.floor(b))
            for at in range(max(first, 0), min(last, width - 1) + 1):
                share = min(max((at - a) / max(b - a, 1e-6), 0.0), 1.0)
                right = x + 1 if abs(shift[y, x + 1] - shift[y, x]) <= tear else x
                z = depth[y, x] * (1 - share) + depth[y, right] * share
                if z >= nearest[y, at]:
                    continue
                nearest[y, at] = z
                state[y, at] = 2 if known[y, x] and known[y, right] else 1
                for channel in range(3):
                    value = rgb[y, x, channel] * (1 - share) + rgb[y, right, channel] * share
                    out[y, at, channel] = np.uint8(value + 0.5)
        x = 0
        while x < width:
            if state[y, x] != 0:
                x += 1
                continue
            end = x
            while end < width and state[y, end] == 0:
                end += 1
            # behind an edge lies what is farther
            left_z = nearest[y, x - 1] if x > 0 else np.float32(-1e30)
            right_z = nearest[y, end] if end < width else np.float32(-1e30)
            take = x - 1 if left_z >= right_z else end
            if 0 <= take < width:
                for at in range(x, end):
                    for channel in range(3):
                        out[y, at, channel] = out[y, take, channel]
            x = end


_fast_across = compiled(_across)


def seen_from_side(
    rgb: Codes, depth_px: Map, known: NDArray[np.bool_], angle_deg: float, pivot_px: float
) -> View:
    """Show a picture as seen from a little to the side.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (H, W, 3)
        The picture.
    depth_px : ndarray of float32, shape (H, W)
        Depth in pixels, growing away.
    known : ndarray of bool, shape (H, W)
        Where it is known.
    angle_deg : float
        Angle; + from the right.
    pivot_px : float
        Depth that stays where it is.

    Returns
    -------
    View
        The view and what in it is guessed.
    """
    # the nearer thing takes its edge along, with the pixel that mixes both
    front = cv2.erode(depth_px, np.ones((3, 3), np.uint8))
    shift = np.asarray((front - np.float32(pivot_px)) * np.float32(np.tan(np.radians(angle_deg))))
    shape = rgb.shape[:2]
    out = np.zeros_like(rgb)
    nearest = np.full(shape, 1e30, np.float32)
    state = np.zeros(shape, np.uint8)
    in_stretches(
        _fast_across, shape[0], np.ascontiguousarray(rgb), shift.astype(np.float32),
        np.ascontiguousarray(front), known.astype(np.uint8), NUMBERS.tear_px, out, nearest, state,
    )  # fmt: skip
    return View(out, state < 2, float((state == 0).mean()))


def red_cyan(left: Codes, right: Codes) -> Codes:
    """Lay two views into one picture for glasses with a red left and a cyan right glass.

    Red takes the brightness of the left view, green and blue the right view's own, so that a red
    animal is seen by both eyes.

    Parameters
    ----------
    left, right : ndarray of uint8, shape (H, W, 3)
        The views.

    Returns
    -------
    ndarray of uint8, shape (H, W, 3)
        To be looked at through the glasses.
    """
    out = right.copy()
    out[..., 0] = cv2.cvtColor(left, cv2.COLOR_RGB2GRAY)
    return out
