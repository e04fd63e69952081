"""Which frames repeat each other: as sharp, in the same pose, so that one stands for both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.align.bands import Picture, band
from haltere.align.lumas import Lumas
from haltere.align.pose import homography
from haltere.keepers.verdict import JudgedFrame
from haltere.keepers.words import best_first, spoiled


@dataclass(frozen=True, slots=True)
class AlikeNumbers:
    """Numbers that steer what counts as a repeat, each with its reason.

    Attributes
    ----------
    near_dof : float
        Planes this near each other show the eye alike: together with the scatter of an offset
        still within half a depth of field.
    view_px : int
        Longest side of the pictures compared: a leg is three or four pixels wide there, and half
        a depth of field less than one.
    pose : float
        Distance of poses from which two frames are different pictures. Frames of rendered bursts
        five depths of field apart stay below 0.002; a leg turned by 15 degrees makes 0.06, an
        antenna by 12 degrees 0.025, a head by 15 degrees 0.009 (measured at 200 px).
    fine_px : tuple of float
        Finest detail compared, in small pixels: the first that both pictures still hold.
    held : float
        Energy of the weaker picture over the stronger at which both hold it.
    window_px : int
        Side of the window that is judged alike or not: about a leg and the room beside it.
    slack_px : int
        Shift that is forgiven: what registration and the shift of near against far leave.
    alike : float
        Likeness of a window's detail (1 = the same) from which it counts as the same, and half of
        which counts as another.
    faint : float
        Detail below this share of the strongest windows' is background or noise.
    """

    near_dof: float = 0.35
    view_px: int = 200
    pose: float = 0.02
    fine_px: tuple[float, ...] = (1.2, 1.8, 2.7, 4.0)
    held: float = 0.6
    window_px: int = 9
    slack_px: int = 1
    alike: float = 0.7
    faint: float = 0.15


NUMBERS = AlikeNumbers()


def repeats(
    frames: Sequence[JudgedFrame], pictures: Sequence[Picture | None]
) -> tuple[str | None, ...]:
    """Name for each frame the better one that it nearly repeats.

    Parameters
    ----------
    frames : sequence of JudgedFrame
        Of one burst, in any order.
    pictures : sequence of (ndarray of float32, shape (H, W)) or None
        Their small grey pictures about the animal, all registered to one view; None where there
        is none, and then nothing is said to repeat it.

    Returns
    -------
    tuple of str or None
        In the order of `frames`; None for the first of a kind and for spoiled frames.
    """
    found: list[str | None] = [None] * len(frames)
    leaders: list[int] = []
    for k in best_first(frames):
        one = frames[k]
        if spoiled(one) or one.eye_px is None:
            continue
        for leader in leaders:
            if _as_sharp(one, frames[leader]) and _same_pose(pictures[k], pictures[leader]):
                found[k] = frames[leader].frame
                break
        else:
            leaders.append(k)
    return tuple(found)


def _as_sharp(one: JudgedFrame, other: JudgedFrame) -> bool:
    """Whether either could be shown for the other, as far as the eye goes."""
    if one.keeper != other.keeper:
        return False
    if one.keeper:
        return True
    if one.eye_offset_dof is None or other.eye_offset_dof is None:
        return False
    return abs(one.eye_offset_dof - other.eye_offset_dof) <= NUMBERS.near_dof


def _same_pose(one: Picture | None, other: Picture | None) -> bool:
    if one is None or other is None or one.shape != other.shape:
        return False
    return pose_distance(one, other) < NUMBERS.pose


def pose_distance(a: Picture, b: Picture) -> float:
    """Tell how differently an animal holds itself in two pictures, whatever their focus and light.

    Parameters
    ----------
    a, b : ndarray of float32, shape (H, W)
        Small grey pictures of the animal registered to one view, about 200 pixels across; NaN
        where a frame shows nothing.

    Returns
    -------
    float
        Share of the visible detail that has no counterpart in the other picture: 0 for the same
        pose, 1 for nothing in common.
    """
    seen = np.isfinite(a) & np.isfinite(b)
    if not seen.any():
        return 1.0
    fine_a, fine_b = _comparable(_even(a, seen), _even(b, seen))
    strength_a, strength_b = _mean(fine_a * fine_a), _mean(fine_b * fine_b)
    weight = np.sqrt(np.maximum(strength_a, strength_b))
    weight[weight < NUMBERS.faint * float(np.percentile(weight[seen], 98))] = 0.0
    # a band reaches beyond its pixel: the rim of what is seen is not judged
    rim = np.ones((2 * NUMBERS.window_px + 1,) * 2, np.uint8)
    weight[cv2.erode(seen.astype(np.uint8), rim) == 0] = 0.0
    same = _likeness(fine_a, fine_b, strength_a, strength_b)
    other = np.clip((NUMBERS.alike - same) / (0.5 * NUMBERS.alike), 0.0, 1.0)
    total = float(weight.sum())
    return float((weight * other).sum() / total) if total > 0.0 else 0.0


def small_views(
    lumas: Lumas,
    poses: NDArray[np.float64],
    found: NDArray[np.bool_],
    depth: float,
    focal_px: float,
    box_px: tuple[float, float, float, float] | None = None,
) -> list[Picture | None]:
    """Carry all frames of a burst to one view of the animal, small enough to compare poses.

    Parameters
    ----------
    lumas : Lumas
        The frames at analysis size.
    poses : ndarray of float64, shape (N, 6)
        Of each frame against the reference view, see `haltere.align.pose`.
    found : ndarray of bool, shape (N,)
        Frames that could be tied; the others have no view.
    depth : float
        Relative depth of the animal, at which the views are made to agree.
    focal_px : float
        Of the analysis pictures.
    box_px : tuple of float or None, optional
        Box (x0, y0, x1, y1) about the animal in the reference view, analysis pixels; the whole
        view when left out.

    Returns
    -------
    list of (ndarray of float32, shape (H, W)) or None
        Longest side `AlikeNumbers.view_px`; NaN where a frame shows nothing.
    """
    height, width = lumas.shape
    x0, y0, x1, y1 = box_px if box_px is not None else (0.0, 0.0, float(width), float(height))
    longest = max(x1 - x0, y1 - y0, 8.0)
    step = longest / NUMBERS.view_px
    factor = max(1, 2 ** int(np.log2(max(step, 1.0))))
    size = (max(8, round((x1 - x0) / step)), max(8, round((y1 - y0) / step)))
    # from pixels of the small view to centred pixels of the reference view, and from centred
    # pixels of a frame to its shrunk picture
    middle = np.array([[1.0, 0.0, (1 - width) / 2], [0.0, 1.0, (1 - height) / 2], [0.0, 0.0, 1.0]])
    view = np.array([[step, 0.0, x0 + (step - 1) / 2], [0.0, step, y0 + (step - 1) / 2], [0, 0, 1]])
    small = 1.0 / factor
    shrunk = np.array([[small, 0.0, (small - 1) / 2], [0.0, small, (small - 1) / 2], [0, 0, 1]])
    views: list[Picture | None] = []
    for k in range(len(lumas)):
        if not found[k]:
            views.append(None)
            continue
        there = (
            shrunk @ np.linalg.inv(middle) @ homography(poses[k], depth, focal_px) @ middle @ view
        )
        picture = np.sqrt(lumas.small(k, factor))  # as the eye sees light, about
        out = cv2.warpPerspective(
            picture, there, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_CONSTANT, borderValue=float("nan"),
        )  # fmt: skip
        views.append(np.asarray(out, np.float32))
    return views


def _likeness(a: Picture, b: Picture, strength_a: Picture, strength_b: Picture) -> Picture:
    """Likeness of each window's detail, -1 to 1, at the shift that suits it best."""
    same = np.full(a.shape, -1.0, np.float32)
    height, width = a.shape
    reach = NUMBERS.slack_px
    edges = (reach, reach, reach, reach, cv2.BORDER_REFLECT_101)
    padded, powers = cv2.copyMakeBorder(b, *edges), cv2.copyMakeBorder(strength_b, *edges)
    floor = 1e-3 * float(np.percentile(strength_a + strength_b, 95)) + 1e-12
    for dy in range(2 * reach + 1):
        for dx in range(2 * reach + 1):
            shifted = padded[dy : dy + height, dx : dx + width]
            power = powers[dy : dy + height, dx : dx + width]
            like = 2.0 * _mean(a * shifted) / (strength_a + power + floor)
            np.maximum(same, like, out=same)
    return same


def _even(picture: Picture, seen: NDArray[np.bool_]) -> Picture:
    """Scale to an even brightness, so that flicker and exposure do not count."""
    middle = float(np.median(picture[seen]))
    level = float(np.percentile(picture[seen], 75)) + 1e-6
    return np.asarray(np.where(seen, picture, middle) / level, np.float32)


def _comparable(a: Picture, b: Picture) -> tuple[Picture, Picture]:
    """Finest detail that both hold, of the same strength in both."""
    pair = (a, b)
    for fine in NUMBERS.fine_px:
        pair = (band(a, fine), band(b, fine))
        one, other = (float(np.sqrt(np.mean(p * p))) + 1e-9 for p in pair)
        if min(one, other) >= NUMBERS.held * max(one, other):
            break
    return pair


def _mean(picture: Picture) -> Picture:
    side = NUMBERS.window_px
    return np.asarray(cv2.boxFilter(picture, -1, (side, side)), np.float32)
