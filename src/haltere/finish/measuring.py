"""Lengths and angles along a line on the animal, in depth where it is known, with their error."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.errors import UsageError
from haltere.finish.limits import SCALE
from haltere.finish.scale import Point, Scale

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Depths:
    """A merge's depth map as measuring needs it.

    Attributes
    ----------
    map_mm : ndarray of float32, shape (H, W)
        Depth behind the reference frame's plane of focus; NaN where unknown.
    sigma_mm : float
        One sigma of a depth.
    """

    map_mm: NDArray[np.float32]
    sigma_mm: float


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with its error; `low` to `high` holds it in 95 of 100 cases."""

    value: float
    sigma: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Measured:
    """What a line measures.

    Attributes
    ----------
    points_px : tuple of (float, float)
        Its corners in the picture.
    length_mm : Quantity
        All of it.
    parts_mm : tuple of Quantity
        From corner to corner.
    angles_deg : tuple of Quantity
        At the inner corners, 180 straight on.
    in_depth : bool
        Whether depth went in; else the line is measured as seen, and what is tilted away from
        the camera comes out too short.
    text : str
        In a sentence.
    """

    points_px: tuple[Point, ...]
    length_mm: Quantity
    parts_mm: tuple[Quantity, ...]
    angles_deg: tuple[Quantity, ...]
    in_depth: bool
    text: str


def measure_line(
    points_px: Sequence[Point],
    scale: Scale,
    centre_px: Point,
    depths: Depths | None = None,
    click_px: float = SCALE.click_px,
) -> Measured:
    """Measure a line with corners: its length, its parts, and the angles at its corners.

    The errors of clicks, scale, pupil distance and depth are carried through by derivatives
    (Gauss's law of errors); scale and pupil are common to all corners.

    Parameters
    ----------
    points_px : sequence of (float, float)
        Two corners or more in pixels of the picture.
    scale : Scale
        Size of a pixel in the reference frame's plane of focus.
    centre_px : tuple of float
        Where the lens's axis meets the picture: perspective starts there.
    depths : Depths, optional
        Metric depth; also needs the scale's pupil distance.
    click_px : float, optional
        One sigma of each point in each direction.

    Returns
    -------
    Measured
        With 95 per cent intervals.

    Raises
    ------
    UsageError
        When there are fewer than two points, two neighbours coincide, or one lies outside.
    """
    flat = np.asarray(points_px, np.float64)
    _refuse(flat, click_px, depths)
    if scale.pupil_mm is None:
        depths = None
    at, sigma = _depth_at(flat, depths, click_px)
    in_depth = depths is not None and bool(np.isfinite(at).all())
    if not in_depth:
        at, sigma = np.zeros(len(flat)), np.zeros(len(flat))
    pupil = scale.pupil_mm or math.inf
    count = len(flat)
    start = np.concatenate([flat.ravel(), at, [1.0, 1.0]])
    errors = np.concatenate(
        [np.full(2 * count, click_px), sigma, [scale.share, scale.pupil_share if in_depth else 0.0]]
    )

    def solid(numbers: Floats) -> Floats:
        xy = numbers[: 2 * count].reshape(count, 2)
        # the merge's depths were told with the same pupil distance: they stretch with it
        z = numbers[2 * count : 3 * count] * numbers[-1]
        size = scale.mm_per_px * numbers[-2]
        farther = 1.0 + z / (pupil * numbers[-1])
        across = (xy - np.asarray(centre_px)) * size * farther[:, None]
        return np.column_stack([across, z])

    def answers(numbers: Floats) -> Floats:
        steps = np.diff(solid(numbers), axis=0)
        parts = np.linalg.norm(steps, axis=1)
        turns = [_angle(-steps[k], steps[k + 1]) for k in range(len(steps) - 1)]
        return np.concatenate([[parts.sum()], parts, turns])

    value, spread = _carried(answers, start, errors)
    value, spread = _less_bias(value, spread, solid(start), sigma)
    found = [_quantity(v, s) for v, s in zip(value, spread, strict=True)]
    parts = tuple(found[1:count])
    whole, angles = found[0], tuple(found[count:])
    return Measured(
        tuple((float(x), float(y)) for x, y in flat), whole, parts, angles, in_depth,
        _text(whole, angles, in_depth),
    )  # fmt: skip


def _refuse(points: Floats, click_px: float, depths: Depths | None) -> None:
    if points.ndim != 2 or points.shape[0] < 2 or points.shape[1] != 2:
        raise UsageError("a line has two corners or more; give them as X,Y X,Y")
    if not np.isfinite(points).all():
        raise UsageError("a corner of the line is no number; give pixels as X,Y")
    if not (math.isfinite(click_px) and click_px > 0.0):
        raise UsageError(f"the error of a click must be above 0 px, got {click_px:g}")
    if (np.linalg.norm(np.diff(points, axis=0), axis=1) < 2.0 * click_px).any():
        raise UsageError("two neighbouring corners lie on the same place; leave one out")
    if depths is not None:
        high, wide = depths.map_mm.shape
        outside = (points < -0.5) | (points > np.array([wide, high]) - 0.5)
        if outside.any():
            x, y = points[outside.any(axis=1)][0]
            raise UsageError(
                f"the corner {x:g},{y:g} lies outside the picture of {wide} x {high} px"
            )
        if not (math.isfinite(depths.sigma_mm) and depths.sigma_mm >= 0.0):
            raise UsageError(f"the depth's error must be 0 mm or more, got {depths.sigma_mm:g}")


def _depth_at(points: Floats, depths: Depths | None, click_px: float) -> tuple[Floats, Floats]:
    """Depth at each corner and its one sigma, from all places that the click may have meant."""
    nothing = np.full(len(points), np.nan)
    if depths is None:
        return nothing, nothing
    reach = max(1, round(SCALE.window_px * click_px))
    found, sigma = nothing.copy(), nothing.copy()
    for k, (x, y) in enumerate(points):
        column, row = round(float(x)), round(float(y))
        part = depths.map_mm[
            max(row - reach, 0) : row + reach + 1, max(column - reach, 0) : column + reach + 1
        ]
        known = part[np.isfinite(part)]
        if not len(known):
            continue
        low, middle, high = np.percentile(known, (16.0, 50.0, 84.0))
        found[k] = middle
        sigma[k] = math.hypot(depths.sigma_mm, float(high - low) / 2.0)
    return found, sigma


def _angle(back: Floats, on: Floats) -> float:
    cosine = float(back @ on) / max(float(np.linalg.norm(back) * np.linalg.norm(on)), 1e-30)
    return math.degrees(math.acos(min(1.0, max(-1.0, cosine))))


def _carried(
    answers: Callable[[Floats], Floats], start: Floats, errors: Floats
) -> tuple[Floats, Floats]:
    """Answers at the start, and one sigma of each by central differences."""
    value = answers(start)
    total = np.zeros_like(value)
    for k, error in enumerate(errors):
        if error <= 0.0:
            continue
        # half an error to each side: a bend of the function is seen as the error sees it
        step = np.zeros_like(start)
        step[k] = 0.5 * error
        total += (answers(start + step) - answers(start - step)) ** 2
    return value, np.sqrt(total)


def _less_bias(
    value: Floats, spread: Floats, solid: Floats, sigma: Floats
) -> tuple[Floats, Floats]:
    """Take off what noise of depth adds to a length, and count its doubt."""
    steps = np.diff(solid, axis=0)
    lengths = np.linalg.norm(steps, axis=1)
    # dz^2 holds 2 sigma^2 of noise; across a flat part that is all the depth there is
    noise = sigma[:-1] ** 2 + sigma[1:] ** 2
    across = 1.0 - (steps[:, 2] / lengths) ** 2
    bias = np.minimum(noise * across / (2.0 * lengths), lengths / 2.0)
    out, wide = value.copy(), spread.copy()
    out[1 : len(lengths) + 1] -= bias
    out[0] -= bias.sum()
    wide[1 : len(lengths) + 1] = np.hypot(wide[1 : len(lengths) + 1], math.sqrt(2.0) * bias)
    wide[0] = math.hypot(wide[0], math.sqrt(2.0) * float(np.linalg.norm(bias)))
    return out, wide


def _quantity(value: float, sigma: float) -> Quantity:
    wide = SCALE.level * float(sigma)
    return Quantity(
        round(float(value), 5), round(float(sigma), 5),
        round(float(value) - wide, 5), round(float(value) + wide, 5),
    )  # fmt: skip


def _text(length: Quantity, angles: tuple[Quantity, ...], in_depth: bool) -> str:
    said = f"{said_mm(length)} long"
    if angles:
        said += ", " + ", ".join(
            f"{one.value:.0f} ± {SCALE.level * one.sigma:.0f} degrees" for one in angles
        )
    if not in_depth:
        said += "; measured as seen, without depth: what is tilted away from you is longer"
    return said


def said_mm(length: Quantity) -> str:
    """Tell a length with as many digits as its error leaves.

    Parameters
    ----------
    length : Quantity
        Millimetres.

    Returns
    -------
    str
        As "3.42 ± 0.05 mm".
    """
    wide = SCALE.level * length.sigma
    if wide <= 0.0:
        return f"{length.value:g} mm"
    digits = min(max(0, 1 - math.floor(math.log10(wide))), 6)
    return f"{length.value:.{digits}f} ± {wide:.{digits}f} mm"


def scale_words(scale: Scale) -> str:
    """Tell how large a pixel is on the animal, and what says so.

    Parameters
    ----------
    scale : Scale
        The scale.

    Returns
    -------
    str
        Two sentences.
    """
    sure = {
        "measured": "something of known length", "calibrated": "your calibrated kit",
        "given": "a magnification that was not measured",
    }[scale.source]  # fmt: skip
    return (
        f"A pixel is {1000 * scale.mm_per_px:.3g} µm ± {196 * scale.share:.2g} %, from {sure}. "
        "Each interval holds in 95 of 100 cases."
    )
