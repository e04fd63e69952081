"""Puts together how a run was taken: options win over the kit, the kit over Exif."""

from __future__ import annotations

from dataclasses import replace

from haltere.errors import UsageError
from haltere.kit.capture import Capture, ScaleSource
from haltere.kit.kit import Kit
from haltere.kit.limits import DEFAULTS
from haltere.kit.setting import f_number_factor_at, lens_at
from haltere.optics import (
    blur_slope,
    effective_f_number,
    plane_to_pupil_mm,
)
from haltere.optics import (
    depth_of_field_mm as geometric_depth_mm,
)

_SAME_SHAPE = 0.02  # side ratios this close are the whole picture made smaller, not a crop


def capture(
    kit: Kit | None = None,
    *,
    magnification: float | None = None,
    pupil_distance_mm: float | None = None,
    coc_mm: float | None = None,
    focal_mm: float | None = None,
    f_number: float | None = None,
    pixel_pitch_mm: float | None = None,
    picture_px: tuple[int, int] | None = None,
) -> Capture:
    """Answer how a run was taken, as far as options, kit and Exif say.

    Without a pupil distance the thin-lens value f (1/m + 1/p) stands in.

    Parameters
    ----------
    kit : Kit, optional
        The photographer's kit.
    magnification, pupil_distance_mm, coc_mm : float, optional
        Options of the call; they win.
    focal_mm, f_number, pixel_pitch_mm : float, optional
        What the pictures' shooting data say; the kit wins over the first two (it may know the
        focal length at close focus), the pixel pitch wins over the kit, since it belongs to
        these very pictures.
    picture_px : tuple of int, optional
        Width and height of the full-size pictures, to tell a reduced picture from the kit's size.

    Returns
    -------
    Capture
        None where nothing says.

    Raises
    ------
    UsageError
        When an option of the call is not a positive number in its range.
    """
    _positive("--magnification", magnification, DEFAULTS.max_magnification, "2 for 2:1")
    _positive("--pupil-distance", pupil_distance_mm, 5000, "millimetres")
    _positive("--coc", coc_mm, 0.5, "millimetres on the sensor, usually 0.015")
    own = kit or Kit()
    source: ScaleSource = "unknown"
    if magnification is not None:
        source = "given"
    elif own.magnification is not None:
        magnification, source = own.magnification, "kit"
    focal_mm = _first(own.focal_mm, focal_mm)
    distance_mm = _first(pupil_distance_mm, own.pupil_distance_mm)
    # the kit's was measured at the kit's magnification
    measured = distance_mm is not None and (
        pupil_distance_mm is not None or own.magnification in (None, magnification)
    )
    factor = None
    if magnification is not None and _attached(own):
        of_kit = replace(own, focal_mm=focal_mm)
        if focal_mm is not None or own.close_up_dpt is None:
            factor = f_number_factor_at(of_kit, magnification)
        if distance_mm is None and focal_mm is not None:
            distance_mm = lens_at(of_kit, magnification).pupil_distance_mm
    elif distance_mm is None and focal_mm is not None and magnification is not None:
        distance_mm = plane_to_pupil_mm(focal_mm, magnification, own.pupil_magnification)
    return Capture(
        magnification=magnification,
        focal_mm=focal_mm,
        f_number=_first(own.f_number, f_number),
        pupil_magnification=own.pupil_magnification,
        pupil_distance_mm=distance_mm,
        coc_mm=_first(coc_mm, own.coc_mm) or DEFAULTS.coc_mm,
        pixel_pitch_mm=_first(pixel_pitch_mm, _kit_pitch_mm(own, picture_px)),
        scale_source=source,
        f_number_factor=factor,
        pupil_distance_measured=measured,
    )


def _attached(kit: Kit) -> bool:
    """Whether the formulas of a plain lens do not hold for what the kit has on."""
    changes = (kit.close_up_dpt, kit.converter, kit.tube_mm, kit.measured_effective_f_number)
    return any(change is not None for change in changes)


def _first(*values: float | None) -> float | None:
    return next((value for value in values if value is not None), None)


def _positive(name: str, value: float | None, most: float, unit: str) -> None:
    if value is not None and not 0 < value <= most:
        raise UsageError(
            f"{name}: expected a number above 0, at most {most:g} ({unit}), got {value:g}"
        )


def _kit_pitch_mm(kit: Kit, picture_px: tuple[int, int] | None) -> float | None:
    """Pixel pitch by the kit; a picture of the sensor's own shape but another size was reduced."""
    if kit.sensor_width_mm is None:
        return None
    if picture_px is None or min(picture_px) < 1:
        return None if kit.width_px is None else kit.sensor_width_mm / kit.width_px
    long, short = max(picture_px), min(picture_px)
    if kit.width_px == long:
        return kit.sensor_width_mm / long
    shape = None
    if kit.width_px is not None and kit.height_px is not None:
        shape = kit.width_px / kit.height_px
    elif kit.sensor_height_mm is not None:
        shape = kit.sensor_width_mm / kit.sensor_height_mm
    if shape is not None and abs((long / short) / shape - 1) <= _SAME_SHAPE:
        return kit.sensor_width_mm / long
    return None if kit.width_px is None else kit.sensor_width_mm / kit.width_px


def effective_f_number_of(taken: Capture) -> float | None:
    """Give the effective f-number at the sensor.

    Parameters
    ----------
    taken : Capture
        How the run was taken.

    Returns
    -------
    float or None
        None when the f-number or the magnification is unknown.
    """
    if taken.f_number is None or taken.magnification is None:
        return None
    if taken.f_number_factor is not None:
        return taken.f_number * taken.f_number_factor
    return effective_f_number(taken.f_number, taken.magnification, taken.pupil_magnification)


def mm_per_px(taken: Capture) -> float | None:
    """Give the size on the animal that one full-size pixel covers in the plane of focus.

    Parameters
    ----------
    taken : Capture
        How the run was taken.

    Returns
    -------
    float or None
        Millimetres; None when the magnification or the pixel pitch is unknown.
    """
    if taken.pixel_pitch_mm is None or taken.magnification is None:
        return None
    return taken.pixel_pitch_mm / taken.magnification


def depth_of_field_mm(taken: Capture) -> float | None:
    """Give the geometrical depth of field of one frame, 2 c Ne / m^2.

    Parameters
    ----------
    taken : Capture
        How the run was taken.

    Returns
    -------
    float or None
        Millimetres in all; None when the f-number or the magnification is unknown.
    """
    effective = effective_f_number_of(taken)
    if effective is None or taken.magnification is None:
        return None
    return geometric_depth_mm(taken.coc_mm, effective, taken.magnification)


def blur_px_per_mm(taken: Capture) -> float | None:
    """Give how fast the blur disc grows with distance from the plane of focus.

    Parameters
    ----------
    taken : Capture
        How the run was taken.

    Returns
    -------
    float or None
        Full-size pixels of diameter a millimetre of depth, close to the plane (m^2 / Ne over the
        pixel pitch); None when something of it is unknown.
    """
    effective = effective_f_number_of(taken)
    if effective is None or taken.magnification is None or taken.pixel_pitch_mm is None:
        return None
    return blur_slope(taken.magnification, effective) / taken.pixel_pitch_mm
