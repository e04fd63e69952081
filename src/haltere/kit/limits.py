"""Numbers that stand in where the photographer says nothing, each with its reason."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class KitDefaults:
    """Values for what neither option, kit nor Exif says.

    Attributes
    ----------
    coc_mm : float
        Circle of confusion: 1/1443 of a 17.3 x 13 mm sensor's diagonal, between the classical
        1/1500 and what a large print shows.
    pupil_magnification : float
        A symmetric lens; real close-up lenses lie between 0.7 and 1.6.
    max_magnification : float
        Beyond 20:1 nobody works handheld; a larger number is a slip of the finger.
    """

    coc_mm: float = 0.015
    pupil_magnification: float = 1.0
    max_magnification: float = 20.0


DEFAULTS = KitDefaults()

# long and short side in mm by the name photographers give the format
FORMATS: dict[str, tuple[float, float]] = {
    "13.2x8.8": (13.2, 8.8),
    "17.3x13": (17.3, 13.0),
    "22.3x14.9": (22.3, 14.9),
    "23.5x15.6": (23.5, 15.6),
    "36x24": (36.0, 24.0),
    "43.8x32.9": (43.8, 32.9),
}
