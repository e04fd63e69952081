"""How one run was taken, as far as the geometry needs it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

ScaleSource = Literal["given", "kit", "exif", "unknown"]


@dataclass(frozen=True, slots=True)
class Capture:
    """Numbers that turn pixels into millimetres; None where unknown.

    Attributes
    ----------
    magnification : float or None
        Size on the sensor over size on the animal.
    focal_mm, f_number : float or None
        Focal length at the current focus; marked f-number.
    pupil_magnification : float
        Exit pupil over entrance pupil; 1 when nothing says otherwise.
    pupil_distance_mm : float or None
        Plane of focus to entrance pupil.
    coc_mm : float
        Circle of confusion on the sensor.
    pixel_pitch_mm : float or None
        Pixel width on the sensor of the full-size picture.
    scale_source : {"given", "kit", "exif", "unknown"}
        Where the magnification comes from.
    f_number_factor : float or None
        Effective over marked f-number where a close-up lens, a converter or a measurement makes
        it another than 1 + m/p.
    pupil_distance_measured : bool
        Whether the pupil distance was given, or measured at this magnification; else it is the thin
        lens's.
    """

    magnification: float | None
    focal_mm: float | None
    f_number: float | None
    pupil_magnification: float
    pupil_distance_mm: float | None
    coc_mm: float
    pixel_pitch_mm: float | None
    scale_source: ScaleSource
    f_number_factor: float | None = None
    pupil_distance_measured: bool = False
