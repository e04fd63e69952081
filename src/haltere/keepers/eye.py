"""Where the main animal's eye is, proposed without being told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.frames import Pixels
from haltere.keepers.discs import find_discs, to_look
from haltere.keepers.weights import BENDS, MIDDLES, WEIGHTS, WIDTHS

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Spot:
    """A round patch that may be an eye.

    Attributes
    ----------
    x_px, y_px : float
        Its middle, pixels counted from the corner.
    radius_px : float
        Its radius.
    chance : float
        Probability that it is the nearer main eye, 0 to 1.
    colour : tuple of float
        CIELAB colour inside.
    """

    x_px: float
    y_px: float
    radius_px: float
    chance: float
    colour: tuple[float, ...] = (0.0, 0.0, 0.0)


def eyes_in(pixels: Pixels) -> list[Spot]:
    """Propose eyes in one frame, in full-size pixels, the likeliest first.

    Round bounded patches are measured (`haltere.keepers.discs`) and weighed by a conditional
    logit (McFadden 1974) whose weights come from simulated animals.

    Parameters
    ----------
    pixels : Pixels
        Colour picture, 480 px or more.

    Returns
    -------
    list of Spot
        Chances add up to 1.
    """
    picture, scale = to_look(encoded(pixels))
    discs = find_discs(picture)
    if discs.radius_px.size == 0:
        return []
    measured = np.clip((discs.features - np.array(MIDDLES)) / np.array(WIDTHS), -4.0, 4.0)
    score = measured @ np.array(WEIGHTS) + measured**2 @ np.array(BENDS)
    chance = np.exp(score - score.max())
    chance /= chance.sum()
    full = scale * pixels.scale
    return [
        Spot(
            float((discs.centre_px[k, 0] + 0.5) / full - 0.5),
            float((discs.centre_px[k, 1] + 0.5) / full - 0.5),
            float(discs.radius_px[k] / full),
            float(chance[k]),
            tuple(float(c) for c in discs.colour[k]),
        )
        for k in np.argsort(-score, kind="stable")[:12]
    ]


def encoded(pixels: Pixels) -> NDArray[np.uint8] | NDArray[np.uint16]:
    """Colour as a camera would write it: developed raw is lifted to about sRGB.

    Parameters
    ----------
    pixels : Pixels
        Colour picture.
    """
    if not pixels.linear:
        return pixels.array
    light = pixels.array.astype(np.float32) / np.float32(65535.0)
    return np.asarray(cv2.pow(light, 1 / 2.2) * np.float32(255.0), np.uint8)


def gather(spots: Sequence[Spot], looks: int) -> list[Spot]:
    """Join spots of several frames that lie on each other, the likeliest first.

    Parameters
    ----------
    spots : sequence of Spot
        All in the same view.
    looks : int
        Frames that were searched.
    """
    left = sorted(spots, key=lambda s: -s.chance)
    out: list[Spot] = []
    while left:
        head = left[0]
        near = [
            s for s in left
            if np.hypot(s.x_px - head.x_px, s.y_px - head.y_px)
            < 0.6 * max(head.radius_px, s.radius_px)
            and 0.5 < s.radius_px / head.radius_px < 2.0
        ]  # fmt: skip
        left = [s for s in left if s not in near]
        mass = sum(s.chance for s in near)
        weigh = [s.chance / mass for s in near]
        out.append(
            Spot(
                sum(w * s.x_px for w, s in zip(weigh, near, strict=True)),
                sum(w * s.y_px for w, s in zip(weigh, near, strict=True)),
                sum(w * s.radius_px for w, s in zip(weigh, near, strict=True)),
                mass / looks,
                head.colour,
            )
        )
    return sorted(out, key=lambda s: -s.chance)


def alike(one: Spot, other: Spot) -> bool:
    """Whether two spots could be the two eyes of one animal: of one size and colour, apart.

    Parameters
    ----------
    one, other : Spot
        The two spots, in either order.
    """
    apart = float(np.hypot(one.x_px - other.x_px, one.y_px - other.y_px))
    size = max(one.radius_px, other.radius_px)
    colour = float(np.linalg.norm(np.subtract(one.colour, other.colour)))
    like = min(one.radius_px, other.radius_px) > 0.65 * size and colour < 18.0
    return like and 0.8 * size < apart < 5.0 * size
