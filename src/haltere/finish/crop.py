"""What a crop keeps, how large it prints, and whether it promises what the lens never brought."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere import optics
from haltere.errors import UsageError
from haltere.finish.limits import CROP
from haltere.kit import Capture, effective_f_number_of

Box = tuple[int, int, int, int]
WHOLE = "whole"
_FREE = re.compile(r"^\s*(\d+)\s*,\s*(\d+)\s*,\s*(\d+)\s*,\s*(\d+)\s*$")
_ASPECT = re.compile(r"^\s*(\d+(?:\.\d+)?)\s*[:/]\s*(\d+(?:\.\d+)?)\s*$")


@dataclass(frozen=True, slots=True)
class CropBudget:
    """What a crop carries.

    Attributes
    ----------
    box_px : tuple of int
        (x0, y0, x1, y1), the last two beyond the crop.
    kept_mp : float
        Its pixels, millions.
    detail_mp : float or None
        Pixels' worth of detail that is in it where it is sharp; None when the f-number at the
        sensor is unknown.
    sharp_share : float or None
        Share of what is not backdrop that some frame surely saw sharp, from the merge's
        confidence; None without a map.
    limited_by : str
        What takes most of the finest detail: "pixels", "diffraction", "defocus", "motion", or
        "unknown".
    print_mm : tuple of float
        Width and height of the largest print that still looks sharp.
    viewing_mm : float
        From where that print is looked at.
    motion_px : float
        Length of the smear that was counted with.
    warnings : tuple of str
        What the crop promises and can't keep.
    text : str
        All of it in a sentence.
    """

    box_px: Box
    kept_mp: float
    detail_mp: float | None
    sharp_share: float | None
    limited_by: str
    print_mm: tuple[float, float]
    viewing_mm: float
    motion_px: float
    warnings: tuple[str, ...]
    text: str


def crop_box(
    size_px: tuple[int, int], wanted: str | None, centre_px: tuple[float, float] | None = None
) -> Box:
    """Lay a crop as it was asked for.

    Parameters
    ----------
    size_px : tuple of int
        Width and height of the picture.
    wanted : str or None
        "X,Y,W,H" in pixels, a shape like "3:2" (the largest that fits); "whole" or None for all
        of it.
    centre_px : tuple of float, optional
        Where the middle of a shape shall lie as nearly as the frame allows; the picture's middle
        otherwise.

    Returns
    -------
    tuple of int
        (x0, y0, x1, y1), inside the picture.

    Raises
    ------
    UsageError
        When the words make no crop, or one that leaves the picture.
    """
    wide, high = size_px
    if wide < 1 or high < 1:
        raise UsageError(f"a picture of {wide} x {high} px can't be cropped; give its size")
    if wanted is None or wanted.strip() == WHOLE:
        return 0, 0, wide, high
    free, aspect = _FREE.match(wanted), _ASPECT.match(wanted)
    if free:
        x, y, w, h = (int(word) for word in free.groups())
        if w < 1 or h < 1 or x + w > wide or y + h > high:
            raise UsageError(
                f"--crop {wanted} leaves the picture, which is {wide} x {high} px; "
                "give X,Y,WIDTH,HEIGHT inside it"
            )
        return x, y, x + w, y + h
    if not aspect or min(float(word) for word in aspect.groups()) <= 0.0:
        raise UsageError(
            f"--crop {wanted} is no crop; give X,Y,WIDTH,HEIGHT in pixels, or a shape like 3:2"
        )
    ratio = float(aspect[1]) / float(aspect[2])
    w = min(wide, max(1, round(high * ratio)))
    h = min(high, max(1, round(w / ratio)))
    at = centre_px or (wide / 2.0, high / 2.0)
    if not all(map(math.isfinite, at)):
        raise UsageError("the middle of a crop is two numbers in pixels; give them as X,Y")
    x0 = min(max(round(at[0] - w / 2.0), 0), wide - w)
    y0 = min(max(round(at[1] - h / 2.0), 0), high - h)
    return x0, y0, x0 + w, y0 + h


def crop_budget(
    box_px: Box,
    capture: Capture,
    *,
    off_mm: float = 0.0,
    motion_px: float = 0.0,
    confidence: NDArray[np.float32] | None = None,
    viewing_mm: float = optics.READING_MM,
    print_mm: float | None = None,
) -> CropBudget:
    """Tell what a crop carries: the detail that is left, the largest print, what it can't keep.

    Parameters
    ----------
    box_px : tuple of int
        The crop in full-size pixels.
    capture : Capture
        How the picture was taken.
    off_mm : float, optional
        How far the plane of focus may lie from what is seen: half the widest step of a merge.
    motion_px : float, optional
        Length of the smear, full-size pixels.
    confidence : ndarray of float32, optional
        The crop's part of the merge's confidence map, 0 to 1; NaN where nothing is but backdrop.
    viewing_mm : float, optional
        From where the print is looked at.
    print_mm : float, optional
        Longer side of the print that is wanted.

    Returns
    -------
    CropBudget
        With its warnings.

    Raises
    ------
    UsageError
        When the crop is empty or a number makes no sense.
    """
    wide, high = box_px[2] - box_px[0], box_px[3] - box_px[1]
    if wide < 1 or high < 1:
        raise UsageError("the crop holds no pixel; make it larger")
    _refuse("the viewing distance", viewing_mm, above=0.0)
    _refuse("the distance from the plane of focus", off_mm)
    _refuse("the length of the smear", motion_px)
    if print_mm is not None:
        _refuse("the print's longer side", print_mm, above=0.0)
    share, by = _detail_share(capture, off_mm, motion_px)
    kept = wide * high / 1e6
    detail = None if share is None else kept * share**2
    longer = optics.print_side_mm(max(wide, high) * (share or 1.0), viewing_mm)
    size = (longer * wide / max(wide, high), longer * high / max(wide, high))
    sharp = None
    told = None if confidence is None else confidence[np.isfinite(confidence)]
    if told is not None and told.size:
        sharp = float(np.mean(told >= CROP.sure))
    warnings = _warnings(kept, detail, sharp, longer, viewing_mm, print_mm, by)
    return CropBudget(
        box_px, round(kept, 3), None if detail is None else round(detail, 3),
        None if sharp is None else round(sharp, 3), by,
        (round(size[0], 1), round(size[1], 1)), viewing_mm, motion_px, warnings,
        _text(kept, detail, by, size, viewing_mm),
    )  # fmt: skip


def _refuse(what: str, value: float, above: float | None = None) -> None:
    if not math.isfinite(value) or value < 0.0 or (above is not None and value <= above):
        least = "above 0" if above is not None else "0 or more"
        raise UsageError(f"{what} must be {least}, got {value:g}")


def _detail_share(capture: Capture, off_mm: float, motion_px: float) -> tuple[float | None, str]:
    """Finest pattern with a tenth of its contrast left over what pixels hold, and what takes it."""
    pitch, effective = capture.pixel_pitch_mm, effective_f_number_of(capture)
    if pitch is None or effective is None or capture.magnification is None:
        return None, "unknown"
    cycles = np.linspace(0.0, 0.5, CROP.finest_first + 1)[1:]
    nu = cycles / pitch
    diffraction = optics.photopic_mtf(nu, effective)
    with_defocus = optics.photopic_otf(nu, effective, off_mm, capture.magnification)
    defocus = with_defocus / np.maximum(optics.photopic_otf(nu, effective, 0.0, 1.0), 1e-9)
    motion = np.sinc(cycles * motion_px)
    passed = diffraction * np.clip(defocus, 0.0, 1.0) * np.maximum(motion, 0.0)
    lost = np.flatnonzero(passed < optics.LAST_TRACE)
    if not len(lost):
        return 1.0, "pixels"
    at = int(lost[0])
    parts = {"diffraction": diffraction, "defocus": defocus, "motion": motion}
    worst = min(parts, key=lambda name: float(parts[name][at]))
    return float(cycles[at] / 0.5), worst


def _warnings(
    kept: float,
    detail: float | None,
    sharp: float | None,
    longer_mm: float,
    viewing_mm: float,
    print_mm: float | None,
    by: str,
) -> tuple[str, ...]:
    said = []
    if detail is not None and kept >= CROP.empty * detail:
        said.append(
            f"{_figure(kept)} megapixels promise more than {by} left: there is detail for "
            f"{_figure(detail)}; a smaller file shows as much"
        )
    if print_mm is not None and print_mm > longer_mm:
        said.append(
            f"a print of {_figure(print_mm / 10)} cm will look soft from "
            f"{_figure(viewing_mm / 10)} cm: {_figure(longer_mm / 10)} cm is what this crop carries"
        )
    if sharp is not None and 1.0 - sharp >= CROP.unsure_share:
        said.append(
            f"of {100 * (1 - sharp):.0f} per cent of the animal it is not sure that a frame was "
            "sharp there; look at it at full size"
        )
    return tuple(said)


def _text(
    kept: float, detail: float | None, by: str, size: tuple[float, float], viewing_mm: float
) -> str:
    said = f"{_figure(kept)} megapixels"
    if detail is None:
        said += "; the f-number at the sensor is not known, so how much detail is left isn't either"
    elif by == "pixels":
        said += ", all of them with detail"
    else:
        said += f" with detail for {_figure(detail)}; {by} took the rest"
    wide, high = (_figure(side / 10.0) for side in size)
    return f"{said}; prints to {wide} x {high} cm looked at from {viewing_mm / 10:.0f} cm"


def _figure(value: float) -> str:
    """Two figures, as one says them: 0.42, 7.9, 20, 102."""
    if value >= 9.95:
        return f"{value:.0f}"
    return f"{value:.1f}" if value >= 0.995 else f"{value:.2f}"
