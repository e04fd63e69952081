"""Optical numbers of a run in analysis pixels, known or assumed."""

from __future__ import annotations

from dataclasses import dataclass

from haltere.kit import effective_f_number_of
from haltere.kit.capture import Capture
from haltere.optics import (
    airy_diameter_mm,
    depth_of_field_mm,
    effective_f_number,
    plane_to_pupil_mm,
)

ASSUMED_MAGNIFICATION = 1.0
"""For perspective only, where nothing tells the magnification: a wrong one bends a picture by
less than half a pixel at ordinary tilts."""

USUAL_MAGNIFICATION = 1.3
"""Between half and three times life size, where nothing tells it (assumed)."""

ASSUMED_F_NUMBER = 11.0
"""For the Airy disc only, where neither kit nor Exif tells: the usual middle (common practice,
no source)."""

DIAGONAL_PARTS = 1443
"""Where the pixel pitch is unknown: a circle of confusion of 0.015 mm on a diagonal of 17.3 x 13 mm
has this share of the diagonal."""


@dataclass(frozen=True, slots=True)
class RunOptics:
    """What registration and focus curves need.

    Attributes
    ----------
    focal_px : float
        See `haltere.align.pose`, analysis pixels.
    c_px, airy_px : float
        Circle of confusion and Airy diameter, analysis pixels.
    dof : float or None
        Relative depth of field, None when it must be measured from the curves.
    likely : float
        What it would be at an ordinary magnification.
    """

    focal_px: float
    c_px: float
    airy_px: float
    dof: float | None
    likely: float


def run_optics(capture: Capture, scale: float, diagonal_px: float) -> RunOptics:
    """Optics of a run for pictures shrunk by `scale`.

    Parameters
    ----------
    capture : Capture
        How the run was taken.
    scale : float
        Analysis pixels over full-size pixels.
    diagonal_px : float
        Diagonal of the analysis picture.

    Returns
    -------
    RunOptics
        Lengths in analysis pixels, and depth of field.
    """
    pitch = capture.pixel_pitch_mm
    c_px = capture.coc_mm / pitch * scale if pitch else diagonal_px / DIAGONAL_PARTS
    pixel = pitch / scale if pitch else capture.coc_mm / c_px
    m = capture.magnification or ASSUMED_MAGNIFICATION
    p = capture.pupil_magnification
    n_eff = effective_f_number_of(capture)
    if n_eff is None:
        n_eff = effective_f_number(capture.f_number or ASSUMED_F_NUMBER, m, p)
    distance = capture.pupil_distance_mm
    if distance is None:
        distance = plane_to_pupil_mm(capture.focal_mm or 60.0, m, p)
    dof = None
    if capture.magnification is not None and capture.f_number is not None and pitch:
        dof = depth_of_field_mm(capture.coc_mm, n_eff, m) / distance
    aperture = capture.f_number or ASSUMED_F_NUMBER
    # 2 c N_eff / m^2 over f (1 + 1/m), for a thin lens
    likely = 2 * capture.coc_mm * aperture / (USUAL_MAGNIFICATION * (capture.focal_mm or 60.0))
    return RunOptics(distance * m / pixel, c_px, airy_diameter_mm(n_eff) / pixel, dof, likely)
