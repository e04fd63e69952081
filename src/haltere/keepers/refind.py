"""Finds the eye again in each frame, where the head turned or something hides it.

Registration ties the whole view together; a head turns by itself. So the eye's surroundings are
looked for about the place where the others say it should be, both blurred alike: the sharp picture
is blurred down, the blurred one is never sharpened.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.align.bands import Picture
from haltere.align.pose import homography
from haltere.align.solve import centred
from haltere.keepers.numbers import NUMBERS
from haltere.keepers.views import Views

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Again:
    """The eye in one frame, against where the registration puts it.

    Attributes
    ----------
    moved_px : ndarray of float64, shape (2,)
        How far it lies from there, small pixels of the reference view; zeros where nothing better
        was found.
    likeness : float
        Correlation of its surroundings with those in the frame that was looked up, -1 to 1.
    """

    moved_px: Floats
    likeness: float


def find_again(
    views: Views,
    model: int,
    anchor: int,
    frames: NDArray[np.int64],
    here_px: Floats,
    radius_px: float,
    depth: float,
    disc_px: Floats,
) -> dict[int, Again]:
    """Look for an eye in frames, as it looks in one of them.

    Holds two small pictures at a time.

    Parameters
    ----------
    views : Views
        Tied burst.
    model : int
        Frame that shows the eye well.
    anchor : int
        Frame in which the eye was placed: there it lies where it was said to be.
    frames : ndarray of int, shape (K,)
        Frames to look in.
    here_px : ndarray of float64, shape (2,)
        The eye, reference point.
    radius_px : float
        Its radius, small pixels.
    depth : float
        Its relative depth.
    disc_px : ndarray of float64, shape (N,)
        Diameter of its blur in every frame, small pixels.

    Returns
    -------
    dict of int to Again
        By frame; frames in which its surroundings lie outside are left out.
    """
    half = int(np.clip(2.0 * radius_px, 12, 48))
    reach = int(np.clip(1.5 * radius_px, 8, 36))
    pattern, seen = _about(views, model, here_px, half, depth)
    out: dict[int, Again] = {}
    if not seen.all():
        return out
    for k in frames:
        wide, there = _about(views, int(k), here_px, half + reach, depth)
        if there.mean() < 0.85 or not there[reach:-reach, reach:-reach].all():
            continue
        # a disc spreads light as a Gaussian of a quarter of its diameter does
        spread = np.array([disc_px[model], disc_px[k]]) / 4
        alike = max(float(spread.max()), 1.0)
        lacks = np.sqrt(np.maximum(alike**2 - spread**2, 0.05))
        one, other = _even(pattern, float(lacks[0]), half), _even(wide, float(lacks[1]), half)
        edge = max(2, int(1.5 * alike)) if half > 16 else 2
        scores = cv2.matchTemplate(
            other, one[edge:-edge, edge:-edge], cv2.TM_CCOEFF_NORMED
        )  # its middle is the place foretold
        middle = (np.array(scores.shape) - 1) // 2
        y0, x0 = middle
        near = float(scores[y0 - 1 : y0 + 2, x0 - 1 : x0 + 2].max())
        y, x = np.unravel_index(int(scores.argmax()), scores.shape)
        best = float(scores[y, x])
        step = np.array([x - x0, y - y0], np.float64)
        turned = best > NUMBERS.turned_like and best - near > NUMBERS.turned_more
        turned = turned and float(np.hypot(*step)) > NUMBERS.turned_px
        out[int(k)] = Again(step, best) if turned else Again(np.zeros(2), near)
    off = out[anchor].moved_px if anchor in out else np.zeros(2)
    return {k: Again(again.moved_px - off, again.likeness) for k, again in out.items()}


def _about(
    views: Views, k: int, here_px: Floats, half: int, depth: float
) -> tuple[Picture, NDArray[np.bool_]]:
    """Square of a frame about a reference point, in the reference view, and what it saw."""
    small = views.shots.small
    side = 2 * half + 1
    gain = np.float32(views.tied.gains[k])
    matrix = centred(
        homography(views.tied.poses[k], depth, views.tied.optics.focal_px), small.shape, small.shape
    )
    height, width = small.shape
    corner = here_px + np.array([(width - 1) / 2, (height - 1) / 2]) - half
    to_frame = matrix @ np.array([[1.0, 0, corner[0]], [0, 1.0, corner[1]], [0, 0, 1.0]])
    cut = cv2.warpPerspective(
        small.small(k, 1), to_frame, (side, side), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_CONSTANT, borderValue=-1e4,
    )  # fmt: skip
    return np.asarray(cut, np.float32) * gain, np.asarray(cut > -1, np.bool_)


def _even(picture: Picture, sigma: float, half: int) -> Picture:
    """Blurred further, brightness that varies slowly taken off."""
    shown = np.sqrt(np.maximum(picture, 0.0))
    soft = cv2.GaussianBlur(shown, (0, 0), sigma)
    return np.asarray(soft - cv2.GaussianBlur(shown, (0, 0), 0.6 * half), np.float32)
