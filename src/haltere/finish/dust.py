"""Dust on the sensor: dark spots that stay while the subject moves, healed from other frames."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.finish.limits import DUST
from haltere.frames.frame import Pixels
from haltere.merge.patch import Box, Codes, Mask, box_of, seen_from
from haltere.merge.views import Views

Floats = NDArray[np.float32]
Map = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Spot:
    """A place of the sensor that is darker in every frame.

    Attributes
    ----------
    x_px, y_px : float
        Its middle in full-size pixels of the upright frame.
    radius_px : float
        As far as it is healed.
    dark : float
        Share of the light that it takes in its middle.
    """

    x_px: float
    y_px: float
    radius_px: float
    dark: float


@dataclass(frozen=True, slots=True)
class Healed:
    """A picture without dust.

    Attributes
    ----------
    codes : ndarray of uint16, shape (H, W, 3)
        The picture.
    spots : int
        Spots that were filled.
    left : int
        Spots that show in it and that no other frame could fill.
    same : int
        Spots that are as dark in another frame: no dust, but the animal.
    """

    codes: Codes
    spots: int
    left: int
    same: int


def frames_apart(views: Views, scale: float) -> tuple[int, ...]:
    """Choose frames whose views lie far enough from each other to tell dust from the animal.

    Parameters
    ----------
    views : Views
        Of the merge.
    scale : float
        Size of the pictures that are looked at over full size.

    Returns
    -------
    tuple of int
        Numbers of views; none where the hand was too steady.
    """
    wide, high = views.size_px
    corners = np.array([[0.2, 0.2, 1.0], [0.8, 0.2, 1.0], [0.5, 0.8, 1.0]]) * [wide, high, 1.0]
    places = []
    for index in range(len(views.views)):
        at = corners @ views.to_frame(index).T
        places.append((at[:, :2] / at[:, 2:]) * scale)
    chosen: list[int] = []
    for index, place in enumerate(places):
        # the least of three corners: a change of scale alone leaves the middle in place
        if all(
            np.linalg.norm(place - places[one], axis=1).min() >= DUST.apart_px for one in chosen
        ):
            chosen.append(index)
    if len(chosen) < DUST.least_frames:
        return ()
    step = max(1, -(-len(chosen) // DUST.most_frames))
    return tuple(chosen[::step])


def maps_to(views: Views, index: int, scale: float) -> Map:
    """Map the merge's picture to a small frame, in that frame's pixels.

    Parameters
    ----------
    views : Views
        Of the merge.
    index : int
        Number of the view.
    scale : float
        Size of the frame over full size.

    Returns
    -------
    ndarray of float64, shape (3, 3)
        From full-size pixels of the picture.
    """
    middle = 0.5 * scale - 0.5
    small = np.array([[scale, 0.0, middle], [0.0, scale, middle], [0.0, 0.0, 1.0]])
    return np.asarray(small @ views.to_frame(index), np.float64)


def find_spots(
    lights: Sequence[Floats], scale: float, to_frames: Sequence[Map] | None = None
) -> tuple[Spot, ...]:
    """Find places that are darker than their surroundings in every frame.

    Holds three pictures of that size for each frame.

    Parameters
    ----------
    lights : sequence of ndarray of float32, shape (h, w)
        Linear light of frames as the sensor saw them, not aligned, of views that lie apart.
    scale : float
        Their size over full size.
    to_frames : sequence of ndarray of float64, shape (3, 3), optional
        From one common picture to each frame, in pixels of these frames. With them the animal, as
        the neighbouring frames show it, is taken off first, and what is found where the animal
        itself keeps its place on the sensor is left out.

    Returns
    -------
    tuple of Spot
        Darkest first; none where too few frames were given.
    """
    import cv2

    if len(lights) < DUST.least_frames:
        return ()
    bands = np.stack([_band(light) for light in lights])
    middle = np.median(bands, axis=0)
    spread = 1.4826 * np.median(np.abs(bands - middle), axis=0)
    # standard error of a median is 1.25 that of a mean
    chance = 1.2533 * np.maximum(spread, 1e-3) / np.sqrt(len(bands))
    if to_frames is None:
        told, error, count = middle, chance, np.full(middle.shape, len(bands))
        always = (bands < 0.0).mean(axis=0) >= DUST.each
    else:
        told, error, count, always = _without_animal(bands, to_frames)
    dark = (told < np.log1p(-DUST.least_dark)) & (told < -DUST.sure * error) & always
    dark &= (count >= DUST.least_frames) & (middle < 0.0)
    number, labels, stats, centres = cv2.connectedComponentsWithStats(
        dark.astype(np.uint8), connectivity=8
    )
    spots = []
    low, top = DUST.size_px
    for one in range(1, number):
        x, y, wide, high, size = (int(v) for v in stats[one])
        if not low <= size <= top:
            continue
        rows, columns = np.nonzero(labels[y : y + high, x : x + wide] == one)
        if _length_over_width(rows, columns) > DUST.longest:
            continue
        radius = float(np.sqrt(size / np.pi)) * DUST.grow + DUST.fine_px
        deepest = float(told[y : y + high, x : x + wide][rows, columns].min())
        cx, cy = (float(v) for v in centres[one])
        # at the border there are surroundings on one side only
        if min(cx, cy, dark.shape[1] - 1 - cx, dark.shape[0] - 1 - cy) < DUST.wide_px:
            continue
        if to_frames is not None and _keeps_still(middle, chance, (cx, cy), radius):
            continue
        spots.append(
            Spot(
                (cx + 0.5) / scale - 0.5,
                (cy + 0.5) / scale - 0.5,
                radius / scale,
                1.0 - float(np.exp(deepest)),
            )
        )
    return tuple(sorted(spots, key=lambda spot: -spot.dark))


def _band(light: Floats) -> Floats:
    """Logarithm of light, less its surroundings and less noise."""
    import cv2

    log = np.log(np.maximum(light, np.float32(2e-3)))
    fine = cv2.GaussianBlur(log, (0, 0), DUST.fine_px)
    return np.asarray(fine - cv2.GaussianBlur(log, (0, 0), DUST.wide_px), np.float32)


def _without_animal(
    bands: Floats, to_frames: Sequence[Map]
) -> tuple[Floats, Floats, NDArray[np.int64], Mask]:
    """Take off what the neighbouring frames show: median, its error, frames that tell, always."""
    import warnings

    import cv2

    high, wide = bands[0].shape
    left = np.empty_like(bands)
    for k, band in enumerate(bands):
        near = sorted((j for j in range(len(bands)) if j != k), key=lambda j: (abs(j - k), j))
        total, seen = np.zeros_like(band), np.zeros_like(band)
        for j in near[: DUST.neighbours]:
            carried = cv2.warpPerspective(
                bands[j], to_frames[k] @ np.linalg.inv(to_frames[j]), (wide, high),
                flags=cv2.INTER_LINEAR, borderValue=float("nan"),
            )  # fmt: skip
            known = np.isfinite(carried)
            total[known] += carried[known]
            seen[known] += 1.0
        left[k] = np.where(seen > 0.0, band - total / np.maximum(seen, 1.0), np.float32(np.nan))
    count = np.isfinite(left).sum(axis=0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # places that no neighbour saw
        median = np.nanmedian(left, axis=0)
        spread = 1.4826 * np.nanmedian(np.abs(left - median), axis=0)
    error = 1.2533 * np.maximum(spread, 1e-3) / np.sqrt(np.maximum(count, 1))
    always = (left < 0.0).sum(axis=0) >= DUST.each_left * np.maximum(count, 1)
    return median, error, count, always


def _keeps_still(middle: Floats, chance: Floats, at: tuple[float, float], radius: float) -> bool:
    """Tell whether more than chance stays the same around a place."""
    gap, wide = DUST.ring_px
    inner, outer = radius + gap, radius + gap + wide
    x0, y0 = (max(0, int(one - outer)) for one in at)
    part = (slice(y0, int(at[1] + outer) + 2), slice(x0, int(at[0] + outer) + 2))
    rows, columns = np.mgrid[part][:, : middle[part].shape[0], : middle[part].shape[1]]
    away = np.hypot(columns - at[0], rows - at[1])
    ring = (away >= inner) & (away <= outer)
    if not ring.any():
        return False
    stays = float(np.sqrt(np.mean(middle[part][ring] ** 2)))
    return stays > DUST.still * float(np.sqrt(np.mean(chance[part][ring] ** 2)))


def _length_over_width(rows: NDArray[np.int64], columns: NDArray[np.int64]) -> float:
    if len(rows) < 3:
        return 1.0
    spread = np.cov(np.stack([rows, columns]).astype(np.float64)) + np.eye(2) / 12.0
    small, large = np.linalg.eigvalsh(spread)
    return float(np.sqrt(large / small))


def heal(
    codes: Codes,
    origin: NDArray[np.uint16],
    views: Views,
    spots: Sequence[Spot],
    pixels_of: Callable[[int], Pixels],
) -> Healed:
    """Fill what dust left in a merged picture from the next frame that saw the place clean.

    Parameters
    ----------
    codes : ndarray of uint16, shape (H, W, 3)
        The merged picture.
    origin : ndarray of uint16, shape (H, W)
        Which frame each pixel mostly came from.
    views : Views
        How each frame saw the animal.
    spots : sequence of Spot
        From `find_spots`.
    pixels_of : callable
        Gives a frame in colour at full size by its number; one is held at a time.

    Returns
    -------
    Healed
        With how many spots were filled, and how many could not be.
    """
    wanted: dict[int, list[_Place]] = {}
    shown, helped, filled = set(), set(), set()
    for number, spot in enumerate(spots):
        for index in range(len(views.views)):
            place = _shown(spot, index, origin, views)
            if place is None:
                continue
            shown.add(number)
            mask, middle = place
            other = _clean_frame(index, middle, spot.radius_px, spots, views)
            box = box_of(mask)
            if other is None or box is None:
                continue
            helped.add(number)
            wanted.setdefault(other, []).append(_Place(number, mask[box.slices].copy(), box))
    out = codes.copy()
    for index, places in sorted(wanted.items()):
        pixels = pixels_of(index)
        for one in places:
            part = out[one.box.slices]
            fresh = _filled(part, views, index, pixels, one)
            if _lighter(fresh, part, one.mask) >= -DUST.lighter * np.log1p(-spots[one.spot].dark):
                out[one.box.slices] = fresh
                filled.add(one.spot)
    return Healed(out, len(filled), len(shown - helped), len(helped - filled))


@dataclass(frozen=True, slots=True)
class _Place:
    """Part of a spot in the picture, by a mask within a box."""

    spot: int
    mask: Mask
    box: Box


def _lighter(fresh: Codes, was: Codes, mask: Mask) -> float:
    """How much lighter a place would become, as the logarithm of its light."""
    inner = mask > 0
    before, after = (np.log(np.mean(one[inner].astype(np.float64)) + 1.0) for one in (was, fresh))
    return float(DUST.gamma * (after - before))


def _filled(base: Codes, views: Views, index: int, pixels: Pixels, place: _Place) -> Codes:
    """Put a small place of a frame in, as light as its surroundings, with a soft rim.

    A blend by scales, as repairs use it, would keep the coarse part of the shadow.
    """
    import cv2

    fresh, saw = seen_from(views, index, pixels, place.box)
    inner = place.mask
    around = cv2.dilate(inner, np.ones((9, 9), np.uint8)) - cv2.dilate(
        inner, np.ones((3, 3), np.uint8)
    )
    ring = (around > 0) & (saw > 0)
    was = base.astype(np.float32)
    if ring.any():
        fresh = fresh + np.median(was[ring] - fresh[ring], axis=0).astype(np.float32)
    share = cv2.GaussianBlur(np.minimum(inner, saw).astype(np.float32) / 255.0, (0, 0), 1.2)
    mixed = was + share[..., None] * (fresh - was)
    return np.asarray(np.clip(np.rint(mixed), 0, 65535), np.uint16)


def _shown(
    spot: Spot, index: int, origin: NDArray[np.uint16], views: Views
) -> tuple[Mask, tuple[float, float]] | None:
    """Where the picture shows a spot of a frame, and the middle of that."""
    import cv2

    back = np.linalg.inv(views.to_frame(index)) @ np.array([spot.x_px, spot.y_px, 1.0])
    x, y = float(back[0] / back[2]), float(back[1] / back[2])
    high, wide = origin.shape
    reach = spot.radius_px
    if not (-reach < x < wide + reach and -reach < y < high + reach):
        return None
    disc = np.zeros(origin.shape, np.uint8)
    cv2.circle(disc, (round(x), round(y)), max(2, round(reach)), 255, -1)
    own = np.where(disc > 0, origin == index, False)
    if own.sum() < 5:
        return None
    # neighbours in depth have a share in the rim of what the frame gave
    grown = cv2.dilate(own.astype(np.uint8), np.ones((5, 5), np.uint8))
    mask = np.where((grown > 0) & (disc > 0), np.uint8(255), np.uint8(0))
    return mask, (x, y)


def _clean_frame(
    index: int,
    middle: tuple[float, float],
    radius_px: float,
    spots: Sequence[Spot],
    views: Views,
) -> int | None:
    """Give the frame nearest in depth that saw a place of the picture without dust."""
    own = views.plane_at(index, *middle)
    order = sorted(
        (one for one in range(len(views.views)) if one != index),
        key=lambda one: abs(views.plane_at(one, *middle) - own),
    )
    wide, high = views.size_px
    for one in order[: DUST.most_tried]:
        at = views.to_frame(one) @ np.array([middle[0], middle[1], 1.0])
        x, y = float(at[0] / at[2]), float(at[1] / at[2])
        if not (radius_px < x < wide - radius_px and radius_px < y < high - radius_px):
            continue
        if all(
            np.hypot(x - other.x_px, y - other.y_px) > radius_px + other.radius_px
            for other in spots
        ):
            return one
    return None
