"""A crop as a careful photographer would lay it, and what it carries, told in numbers."""

from __future__ import annotations

import math
from dataclasses import dataclass

from haltere import optics
from haltere.errors import UsageError
from haltere.keepers.verdict import Crop
from haltere.kit import Capture, effective_f_number_of

Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class CropHabits:
    """How a crop is laid; all of it common practice, no source.

    Attributes
    ----------
    air : float
        Free room on each side, as a share of the animal's longer side: less looks cut, more
        looks lost.
    look : float
        Free room added on the side that the animal looks to.
    calm : float
        Where an eye rests calmly: a third of the way in from an edge, above the middle where it
        can be had.
    choosy : float
        By how much of the crop's side the better third may be missed before the other one serves:
        above the middle rather than below, and free room ahead rather than behind.
    least : float
        Smallest side of a crop over that of the frame (assumed): less than a tenth of the pixels
        is another picture, not a crop.
    eye_room : float
        Where the animal's outline is not known, half the room about the eye, in eye radii: a head
        is about four of them wide, the thorax behind it six.
    """

    air: float = 0.10
    look: float = 0.05
    calm: float = 1.0 / 3.0
    choosy: float = 0.1
    least: float = 0.3
    eye_room: float = 7.0


HABITS = CropHabits()


def crop_of(
    width_px: int,
    height_px: int,
    eye_px: tuple[float, float],
    eye_radius_px: float,
    animal_px: Box | None,
    capture: Capture,
) -> Crop:
    """Propose a crop: the animal with air, the eye on a calm place, the frame's shape kept.

    Parameters
    ----------
    width_px, height_px : int
        Of the upright full-size picture.
    eye_px : tuple of float
        The eye (x, y) in it.
    eye_radius_px : float
        Radius of the eye.
    animal_px : tuple of float or None
        Box (x0, y0, x1, y1) about the animal; None when it is not known, then a room about the
        eye is taken.
    capture : Capture
        How the frame was taken.

    Returns
    -------
    Crop
        Always inside the frame, with the eye in it.

    Raises
    ------
    UsageError
        When sizes are not above zero, or the eye lies outside the picture.
    """
    _refuse(width_px, height_px, eye_px, eye_radius_px)
    animal = _animal(width_px, height_px, eye_px, eye_radius_px, animal_px)
    wanted = _with_air(animal, eye_px, width_px, height_px)
    share = max((wanted[2] - wanted[0]) / width_px, (wanted[3] - wanted[1]) / height_px)
    box = _laid(width_px, height_px, eye_px, wanted, min(1.0, max(HABITS.least, share)))
    return _told(box, width_px, height_px, capture)


def _refuse(width_px: int, height_px: int, eye_px: tuple[float, float], radius_px: float) -> None:
    if width_px < 1 or height_px < 1:
        raise UsageError(
            f"a picture of {width_px} x {height_px} px can't be cropped; give its size"
        )
    if not (math.isfinite(radius_px) and radius_px > 0):
        raise UsageError(f"the eye's radius must be above 0 px, got {radius_px:g}")
    inside = -0.5 <= eye_px[0] <= width_px - 0.5 and -0.5 <= eye_px[1] <= height_px - 0.5
    if not inside:  # also false for NaN
        raise UsageError(
            f"the eye at {eye_px[0]:g},{eye_px[1]:g} lies outside the picture of {width_px} x "
            f"{height_px} px; point at an eye inside it"
        )


def _animal(
    width_px: int, height_px: int, eye_px: tuple[float, float], radius_px: float, animal: Box | None
) -> Box:
    """Box that holds the animal as far as it is in the frame, and the eye in any case."""
    x, y = eye_px[0] + 0.5, eye_px[1] + 0.5  # edges of pixels from here on, not their middles
    half = radius_px
    if animal is None or not all(map(math.isfinite, animal)):
        half, animal = HABITS.eye_room * radius_px, (x, y, x, y)
    x0, y0 = min(animal[0], animal[2], x - half), min(animal[1], animal[3], y - half)
    x1, y1 = max(animal[0], animal[2], x + half), max(animal[1], animal[3], y + half)
    return max(0.0, x0), max(0.0, y0), min(float(width_px), x1), min(float(height_px), y1)


def _with_air(animal: Box, eye_px: tuple[float, float], width_px: int, height_px: int) -> Box:
    x0, y0, x1, y1 = animal
    longer = max(x1 - x0, y1 - y0)
    air, look = HABITS.air * longer, HABITS.look * longer
    across = _side(eye_px[0] + 0.5, x0, x1)
    down = _side(eye_px[1] + 0.5, y0, y1)
    return (
        max(0.0, x0 - air - look * max(0.0, -across)),
        max(0.0, y0 - air - look * max(0.0, -down)),
        min(float(width_px), x1 + air + look * max(0.0, across)),
        min(float(height_px), y1 + air + look * max(0.0, down)),
    )


def _side(eye: float, low: float, high: float) -> float:
    """Towards which end of the animal the eye lies, -1 to 1: there it looks."""
    if high <= low:
        return 0.0
    return min(1.0, max(-1.0, (2.0 * eye - low - high) / (high - low)))


def _laid(
    width_px: int, height_px: int, eye_px: tuple[float, float], wanted: Box, share: float
) -> tuple[int, int, int, int]:
    """Lay a crop of this share of the frame so that it holds what is wanted."""
    # up, not to the nearest: what is wanted stays inside
    wide = min(width_px, max(1, math.ceil(share * width_px - 1e-9)))
    high = min(height_px, max(1, round(wide * height_px / width_px)))
    looks_left = _side(eye_px[0] + 0.5, wanted[0], wanted[2]) < 0.0
    across = 1.0 - HABITS.calm if looks_left else HABITS.calm  # the free part lies ahead of it
    x0 = _start(width_px, wide, eye_px[0] + 0.5, wanted[0], wanted[2], across)
    y0 = _start(height_px, high, eye_px[1] + 0.5, wanted[1], wanted[3], HABITS.calm)
    return x0, y0, x0 + wide, y0 + high


def _start(full: int, side: int, eye: float, low: float, high: float, calm: float) -> int:
    """First pixel along one side: the eye near a third where what is wanted leaves the choice."""
    most, least = min(low, full - side), max(high - side, 0.0)
    if least > most:  # by less than a pixel, from rounding
        least = most = max(0.0, min((least + most) / 2.0, full - side))
    thirds = (calm, 1.0 - calm)
    tried = [min(most, max(least, eye - side * third)) for third in thirds]
    missed = [abs(eye - at - side * third) for at, third in zip(tried, thirds, strict=True)]
    best = 0 if missed[0] <= missed[1] + HABITS.choosy * side else 1
    start = min(full - side, max(0, round(tried[best])))
    # whatever was rounded, the eye's pixel stays inside
    return min(max(start, math.ceil(eye - side)), math.floor(eye)) if side < full else 0


def _told(box: tuple[int, int, int, int], width_px: int, height_px: int, capture: Capture) -> Crop:
    wide, high = box[2] - box[0], box[3] - box[1]
    kept, whole = wide * high / 1e6, width_px * height_px / 1e6
    pitch, effective = capture.pixel_pitch_mm, effective_f_number_of(capture)
    pixels: float = max(wide, high)
    left = None
    if pitch is not None and effective is not None:
        left = optics.resolved_megapixels(effective, wide * pitch, high * pitch, pitch)
        pixels = min(pixels, optics.detail_px_per_mm(effective, pitch) * pitch * pixels)
    longer = optics.print_side_mm(pixels, optics.READING_MM)
    print_mm = (longer * wide / max(wide, high), longer * high / max(wide, high))
    return Crop(
        box, round(kept, 3), None if left is None else round(left, 3),
        round(print_mm[0], 1), round(print_mm[1], 1), _words(kept, whole, left, print_mm),
    )  # fmt: skip


def _words(kept: float, whole: float, left: float | None, print_mm: tuple[float, float]) -> str:
    said = f"keeps {_figure(kept)} of {_figure(whole)} megapixels"
    if kept >= whole:
        said = f"keeps all {_figure(whole)} megapixels"
    if left is None:
        said += "; the f-number at the sensor is not known, so diffraction is left out"
    elif left >= 0.98 * kept:
        said += "; diffraction takes none of it"
    else:
        said += f"; diffraction leaves {_figure(left)} to see"
    wide, high = (_figure(side / 10.0) for side in print_mm)
    return f"{said}; prints to {wide} x {high} cm looked at from {optics.READING_MM / 10:.0f} cm"


def _figure(value: float) -> str:
    """Two figures, as one says them: 0.42, 7.9, 20, 102."""
    if value >= 9.95:
        return f"{value:.0f}"
    return f"{value:.1f}" if value >= 0.995 else f"{value:.2f}"
