"""Magnification from one picture of a rule that lies in the plane of focus."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.calibration.marks import MarkRow, centres, find_marks
from haltere.calibration.numbers import NUMBERS
from haltere.calibration.sharpness import look_of, misplaced
from haltere.calibration.spacing import fit_line
from haltere.errors import FrameError, HaltereError, UsageError
from haltere.frames import Decoder, to_linear
from haltere.frames.frame import Frame
from haltere.optics import plane_to_pupil_mm


class RuleError(HaltereError):
    """Raised when a picture of a rule can't be measured."""


@dataclass(frozen=True, slots=True)
class RuleScale:
    """What one picture of a flat rule says.

    Attributes
    ----------
    frame : str
        The picture.
    magnification, magnification_sigma : float
        Size on the sensor over size on the rule, one standard deviation.
    mm_per_px : float
        Millimetres of rule that a full-size pixel covers in the middle of the picture.
    angle_deg : float
        Direction of the rule in the picture, + = falling to the right.
    marks : int
        Marks that were measured.
    finer : bool
        True when rows of marks with spacings of 1 : 2 were seen and the finer was taken.
    """

    frame: str
    magnification: float
    magnification_sigma: float
    mm_per_px: float
    angle_deg: float
    marks: int
    finer: bool


def check_rule(pitch_mm: float, pixel_pitch_mm: float) -> None:
    """Refuse a rule or a sensor that can't be.

    Parameters
    ----------
    pitch_mm : float
        From mark to mark.
    pixel_pitch_mm : float
        Width of a pixel on the sensor.

    Raises
    ------
    UsageError
        When one of them is no sensible length.
    """
    if not 0.001 <= pitch_mm <= 100.0:
        raise UsageError(
            f"--rule: expected the distance of neighbouring marks, 0.001 to 100 mm, got "
            f"{pitch_mm:g}; a common rule has 1"
        )
    if not 0.0003 <= pixel_pitch_mm <= 0.2:
        raise UsageError(
            f"a pixel of {pixel_pitch_mm:g} mm can't be; give the sensor's width and the "
            "picture's size in your kit file"
        )


def read_light(frame: Frame, decoder: Decoder) -> tuple[NDArray[np.float32], float]:
    """Linear light of a picture for measuring, and its size over the full size.

    Parameters
    ----------
    frame : Frame
        The picture.
    decoder : Decoder
        Decodes it.
    """
    pixels = decoder.luma(frame, NUMBERS.analysis_px)
    return to_linear(pixels.array, pixels.icc, pixels.linear), pixels.scale


def measure_rule(
    frame: Frame,
    decoder: Decoder,
    pitch_mm: float,
    pixel_pitch_mm: float,
    *,
    focal_mm: float | None = None,
    f_number: float | None = None,
) -> RuleScale:
    """Measure the magnification in a picture of a rule that lies flat in the plane of focus.

    Size on the sensor over size on the rule where the lens's axis meets it.

    Parameters
    ----------
    frame : Frame
        The picture.
    decoder : Decoder
        Decodes it.
    pitch_mm : float
        From mark to mark.
    pixel_pitch_mm : float
        Width of a full-size pixel on the sensor.
    focal_mm : float, optional
        Focal length; a rough one lets a tilt of a few degrees be taken out.
    f_number : float, optional
        Marked f-number; with the focal length it tells what a slightly soft picture costs.

    Returns
    -------
    RuleScale
        Magnification with its error.

    Raises
    ------
    RuleError
        When no row of marks is found, or the marks are too soft to be told from longer ones.
    FrameError
        When the picture can't be read.
    UsageError
        When a length makes no sense.
    """
    check_rule(pitch_mm, pixel_pitch_mm)
    light, scale = read_light(frame, decoder)
    row = find_marks(light)
    if row is None:
        raise RuleError(_no_marks(frame.name))
    look = look_of(row)
    if look.too_soft:
        raise RuleError(_soft_marks(frame.name))
    value, sigma, convergence = scale_of(row, pitch_mm)
    per_mm = value / scale
    if focal_mm is not None:
        # marks of a rule tilted by a draw together by sin(a) / s per mm, and stand cos(a) closer
        thin = plane_to_pupil_mm(focal_mm, per_mm * pixel_pitch_mm, 1.0)
        per_mm /= math.sqrt(1.0 - min(abs(convergence * thin), 0.5) ** 2)
    magnification = per_mm * pixel_pitch_mm
    if magnification > 50.0:
        raise UsageError(
            f"{frame.name}: marks {pitch_mm:g} mm apart would mean a magnification of "
            f"{magnification:.0f}; check --rule and the sensor's width"
        )
    error = float(np.hypot(sigma / value, NUMBERS.placing))
    if focal_mm is not None and f_number is not None:
        pixel_mm = pixel_pitch_mm / scale
        error = math.hypot(error, misplaced(look, magnification, pixel_mm, focal_mm, f_number))
    return RuleScale(
        frame=frame.name,
        magnification=float(magnification),
        magnification_sigma=float(magnification * error),
        mm_per_px=float(1.0 / per_mm),
        angle_deg=float((row.angle_deg + 90.0) % 180.0 - 90.0),
        marks=len(row.chain.at_px),
        finer=row.finer,
    )


def scale_of(row: MarkRow, pitch_mm: float) -> tuple[float, float, float]:
    """Pixels per mm in the middle of the picture, the scatter's error, and convergence per mm.

    Parameters
    ----------
    row : MarkRow
        A row of marks.
    pitch_mm : float
        From mark to mark.
    """
    middle = (len(row.profile) - 1) / 2.0
    mm = row.chain.number.astype(np.float64) * pitch_mm
    line = fit_line(mm, centres(row) - middle)
    value, sigma = line.spacing_at(0.0)
    there = -line.e / line.a  # the mark, in mm, that lies in the middle
    return value, sigma, line.b / (1.0 + line.b * there)


def _no_marks(name: str) -> str:
    return (
        f"{name}: no row of evenly spaced marks was found; fill the picture with the rule, dark "
        f"marks on light, at least {NUMBERS.least_marks} of them sharp, without reflections"
    )


def _soft_marks(name: str) -> str:
    return (
        f"{name}: the marks are too soft or too faint to tell whether they are all of the "
        "rule's or only its longer ones; move until the finest marks are sharp and black, and "
        "take it again"
    )


__all__ = ["FrameError", "RuleError", "RuleScale", "check_rule", "measure_rule", "read_light"]
