"""Where the main animal and its eyes are, proposed without being told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from threading import Lock
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.frames import Pixels

Floats = NDArray[np.float64]
Box = tuple[float, float, float, float]
Shown = NDArray[np.uint8] | NDArray[np.uint16]


@dataclass(frozen=True, slots=True)
class FinderNumbers:
    """Numbers that steer the search.

    Attributes
    ----------
    long_px : int
        Longest side of the picture that the network sees, as in its training.
    stride_px : int
        A cell of its answer is so many of those pixels wide.
    step_px : int
        Sides are brought to multiples of this, so that its levels fit on each other.
    most : int
        Spots told at most: two eyes and what could be mistaken for them.
    least : float
        Chance below which a spot is not told.
    reach : float
        Share of an eye's radius within which chances belong to one spot.
    animal : float
        Logit above which a cell is the main animal: a little below even odds, so that legs count.
    animal_cells : int
        Cells from which an animal counts: a twentieth of the picture's width and height.
    other : float
        Logit above which a cell is another animal: even odds.
    other_thick : float
        Cells from the edge that another one's middle must lie; legs and horns stay below.
    other_gap : int
        Pieces of other animals so many cells apart are one: a blade lies across it.
    closer : float
        Share of the frame that the second look takes in, about what the first one found: of
        0.45, 0.6 and shares that follow the animal's size it found eyes best on animals that
        training had not seen.
    closest : tuple of float
        Shares of further looks, where the second one is not sure: on an animal whose head differs
        from all that it has learned, the network takes the gap between the eyes for one from afar,
        and seldom from near.
    certain : float
        Summed chance of the two likeliest spots from which no closer look is needed: of 100
        simulated bursts one falls short, of 31 frames of that animal all.
    """

    long_px: int = 384
    stride_px: int = 8
    step_px: int = 32
    most: int = 12
    least: float = 0.01
    reach: float = 0.7
    animal: float = -0.5
    animal_cells: int = 8
    other: float = 0.0
    other_thick: float = 1.0
    other_gap: int = 2
    closer: float = 0.6
    closest: tuple[float, ...] = (0.45, 0.33)
    certain: float = 0.8


FINDER = FinderNumbers()


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


@dataclass(frozen=True, slots=True)
class Sight:
    """What is in one frame, all in upright full-size pixels.

    Attributes
    ----------
    spots : tuple of Spot
        Places that may be the nearer main eye, the likeliest first.
    no_eye : float
        Probability that no eye is to be seen.
    box : tuple of float or None
        Left, top, right and bottom of the main animal; None when there is none.
    others : int
        Animals beside the main one.
    """

    spots: tuple[Spot, ...]
    no_eye: float
    box: Box | None
    others: int


def look_for(pixels: Pixels) -> Sight:
    """Find the main animal and its eyes in one frame.

    A small convolutional network, trained on simulated animals, answers for every eighth pixel
    of a reduced picture; how it was made is told in `eye.txt` beside it. It looks twice: at the
    whole frame, and closer at the place it found there, both as it is and as in a mirror; and
    closer still where that leaves doubt.

    Parameters
    ----------
    pixels : Pixels
        Colour picture, 400 px or more.

    Returns
    -------
    Sight
        Chances of all spots and of none add up to 1, but for spots too unlikely to be told.
    """
    shown = encoded(pixels)
    height, width = shown.shape[:2]
    whole = _reduced(shown)
    grid = _answer(whole)
    spots, no_eye = _spots(grid, whole)
    scale = (width / whole.shape[1], height / whole.shape[0])
    box, others = _animals(grid)
    full = 1.0 / pixels.scale
    told = _placed(spots, scale, (0, 0), full)
    if spots:
        near, nothing = _look_closer(shown, told[0], FINDER.closer, full)
        if near:
            told, no_eye = near, nothing
            if sum(s.chance for s in told[:2]) < FINDER.certain:
                told, no_eye = _look_on(shown, told, no_eye, full)
    at = None
    if box is not None:
        x, y = width / whole.shape[1] * full, height / whole.shape[0] * full
        at = (box[0] * x, box[1] * y, box[2] * x, box[3] * y)
    return Sight(tuple(told), no_eye, at, others)


def _look_closer(shown: Shown, about: Spot, share: float, full: float) -> tuple[list[Spot], float]:
    """Spots in a part of the picture about one of them, and the chance of none there."""
    cut, corner = _closer(shown, (about.x_px + 0.5) / full, (about.y_px + 0.5) / full, share)
    near = _reduced(cut)
    mirrored = np.ascontiguousarray(near[:, ::-1])
    grid = 0.5 * (_answer(near) + _answer(mirrored)[:, :, ::-1])
    spots, nothing = _spots(grid, near)
    scale = (cut.shape[1] / near.shape[1], cut.shape[0] / near.shape[0])
    return _placed(spots, scale, corner, full), nothing


def _look_on(
    shown: Shown, told: list[Spot], no_eye: float, full: float
) -> tuple[list[Spot], float]:
    """Spots of closer and closer looks together with those of the last, each counting alike."""
    every, none = list(told), [no_eye]
    for share in FINDER.closest:
        spots, nothing = _look_closer(shown, told[0], share, full)
        every += spots
        none.append(nothing)
    return gather(every, len(none)), float(np.mean(none))


def _closer(shown: Shown, x_px: float, y_px: float, share: float) -> tuple[Shown, tuple[int, int]]:
    """Part of a picture about a place, and its corner (x, y)."""
    height, width = shown.shape[:2]
    wide, tall = max(1, int(width * share)), max(1, int(height * share))
    left = int(np.clip(x_px - wide / 2, 0, width - wide))
    top = int(np.clip(y_px - tall / 2, 0, height - tall))
    return shown[top : top + tall, left : left + wide], (left, top)


def _placed(
    spots: Sequence[Spot], scale: tuple[float, float], corner: tuple[int, int], full: float
) -> list[Spot]:
    """Spots of a reduced part in full-size pixels."""
    out = []
    for s in spots:
        x = (s.x_px + 0.5) * scale[0] + corner[0]
        y = (s.y_px + 0.5) * scale[1] + corner[1]
        radius = s.radius_px * float(np.sqrt(scale[0] * scale[1])) * full
        out.append(Spot(x * full - 0.5, y * full - 0.5, radius, s.chance, s.colour))
    return out


def eyes_in(pixels: Pixels) -> list[Spot]:
    """Propose eyes in one frame, in full-size pixels, the likeliest first.

    Parameters
    ----------
    pixels : Pixels
        Colour picture, 400 px or more.

    Returns
    -------
    list of Spot
        Chances add up to the probability that an eye is to be seen.
    """
    return list(look_for(pixels).spots)


def animal_box(pixels: Pixels) -> tuple[Box | None, int]:
    """Give the main animal's box in full-size pixels, and how many animals there are.

    Parameters
    ----------
    pixels : Pixels
        Colour picture, 400 px or more.

    Returns
    -------
    box : tuple of float or None
        Left, top, right, bottom.
    animals : int
        The main one and others.
    """
    seen = look_for(pixels)
    return seen.box, seen.others + (seen.box is not None)


def encoded(pixels: Pixels) -> Shown:
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


def _reduced(rgb: Shown) -> NDArray[np.float32]:
    """Picture (h, w, 3) of 0..1 at the size searched."""
    height, width = rgb.shape[:2]
    scale = FINDER.long_px / max(height, width)
    step = FINDER.step_px
    size = [max(2, round(side * scale / step)) * step for side in (width, height)]
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
    small = cv2.resize(rgb, (size[0], size[1]), interpolation=how)
    white = 65535.0 if small.dtype == np.uint16 else 255.0
    return np.asarray(small, np.float32) / np.float32(white)


_one_at_a_time = Lock()


@cache
def _network() -> Any:
    data = files("haltere.keepers").joinpath("eye.onnx").read_bytes()
    return cv2.dnn.readNetFromONNX(np.frombuffer(data, np.uint8))


def _answer(picture: NDArray[np.float32]) -> Floats:
    """Grid (5, h / 8, w / 8): nearer eye, any eye, log2 radius, main animal, other animals."""
    with _one_at_a_time:
        net = _network()
        net.setInput(np.ascontiguousarray(picture.transpose(2, 0, 1)[None]))
        return np.asarray(net.forward()[0], np.float64)


def _spots(grid: Floats, picture: NDArray[np.float32]) -> tuple[list[Spot], float]:
    """Spots in pixels of the reduced picture, and the chance of none."""
    lab = cv2.cvtColor(picture, cv2.COLOR_RGB2LAB)
    top = max(float(grid[0].max()), 0.0)
    share = np.exp(grid[0] - top)
    nothing = float(np.exp(-top))
    total = float(share.sum()) + nothing
    left = share / total
    y, x = np.mgrid[0 : left.shape[0], 0 : left.shape[1]]
    cell = FINDER.stride_px
    out: list[Spot] = []
    for _ in range(FINDER.most):
        heap = cv2.boxFilter(left, -1, (3, 3), normalize=False, borderType=cv2.BORDER_CONSTANT)
        row, column = np.unravel_index(int(heap.argmax()), heap.shape)
        radius = float(np.clip(2.0 ** grid[2, row, column], 1.0, FINDER.long_px))
        reach = max(1.5, FINDER.reach * radius / cell)
        own = np.hypot(y - row, x - column) <= reach
        chance = float(left[own].sum())
        if chance < FINDER.least:
            break
        weigh = left[own] / chance
        at = [(float((weigh * axis[own]).sum()) + 0.5) * cell - 0.5 for axis in (x, y)]
        out.append(Spot(at[0], at[1], radius, chance, _colour(lab, at[0], at[1], radius)))
        left = np.where(own, 0.0, left)
    return sorted(out, key=lambda s: -s.chance), nothing / total


def _colour(lab: NDArray[Any], x: float, y: float, radius: float) -> tuple[float, ...]:
    """Median colour in a little square inside an eye."""
    half = max(1, int(0.6 * radius))
    row, column = round(y), round(x)
    cut = lab[max(0, row - half) : row + half + 1, max(0, column - half) : column + half + 1]
    return tuple(float(c) for c in np.median(cut.reshape(-1, 3), axis=0))


def _animals(grid: Floats) -> tuple[Box | None, int]:
    """Box in pixels of the reduced picture, and the number of other animals.

    What a blade of grass cuts off the main animal is still part of it: the network says whose a
    piece is.
    """
    fine = 4
    size = (grid.shape[2] * fine, grid.shape[1] * fine)
    main, other = (cv2.resize(g, size, interpolation=cv2.INTER_LINEAR) for g in grid[3:5])
    least = FINDER.animal_cells * fine**2
    mine = np.asarray((main > FINDER.animal) & (main >= other), np.uint8)
    count, label, stats, _ = cv2.connectedComponentsWithStats(mine, connectivity=8)
    areas = stats[1:, cv2.CC_STAT_AREA]
    if areas.size == 0 or areas.max() < least:
        return None, 0
    ys, xs = np.nonzero(np.isin(label, 1 + np.flatnonzero(areas >= 0.02 * areas.max())))
    step = FINDER.stride_px / fine
    box = (
        float(xs.min()) * step, float(ys.min()) * step,
        float(xs.max() + 1) * step, float(ys.max() + 1) * step,
    )  # fmt: skip
    theirs = np.asarray((other > FINDER.other) & (other > main), np.uint8)
    depth = cv2.distanceTransform(theirs, cv2.DIST_L2, 3) / fine
    reach = np.ones((FINDER.other_gap * fine + 1,) * 2, np.uint8)
    count, label = cv2.connectedComponents(cv2.dilate(theirs, reach), connectivity=8)
    own = [theirs.astype(bool) & (label == k) for k in range(1, count)]
    return box, sum(
        int(one.sum()) >= least and float(depth[one].max()) >= FINDER.other_thick for one in own
    )


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
