"""How many millimetres a pixel is, from the kit or from something of known length, and how sure."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from haltere.errors import UsageError
from haltere.finish.limits import SCALE
from haltere.kit import Capture, mm_per_px

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Scale:
    """Size of a pixel in the reference frame's plane of focus.

    Attributes
    ----------
    mm_per_px : float
        Millimetres on the animal for a full-size pixel.
    share : float
        One sigma of it, as a share.
    source : {"measured", "calibrated", "given"}
        An object of known length in the picture; a kit that was calibrated; a number that was
        read off the lens or said.
    pupil_mm : float or None
        From the plane of focus to the entrance pupil; None where unknown, then depth is left out.
    pupil_share : float
        One sigma of it, as a share.
    """

    mm_per_px: float
    share: float
    source: Literal["measured", "calibrated", "given"]
    pupil_mm: float | None = None
    pupil_share: float = SCALE.unmeasured_pupil


def scale_of_kit(
    capture: Capture,
    magnification_sigma: float | None = None,
    pupil_sigma_mm: float | None = None,
) -> Scale:
    """Give the size of a pixel as the kit tells it.

    Parameters
    ----------
    capture : Capture
        How the picture was taken.
    magnification_sigma, pupil_sigma_mm : float, optional
        One sigma of what was calibrated; without it a doubt of 3 and 10 per cent stands in.

    Returns
    -------
    Scale
        In the plane of focus.

    Raises
    ------
    UsageError
        When the magnification or the pixel's width is unknown.
    """
    size = mm_per_px(capture)
    if size is None or capture.magnification is None:
        raise UsageError(
            "how large a pixel is on the animal is not known; give --magnification and --kit, or "
            "measure something of known length with --known"
        )
    measured = magnification_sigma is not None and magnification_sigma > 0.0
    share = SCALE.unmeasured
    if magnification_sigma is not None and measured:
        share = magnification_sigma / capture.magnification
    pupil_share = SCALE.unmeasured_pupil
    if pupil_sigma_mm and capture.pupil_distance_mm:
        pupil_share = pupil_sigma_mm / capture.pupil_distance_mm
    return Scale(
        size, share, "calibrated" if measured else "given", capture.pupil_distance_mm, pupil_share
    )


def scale_of_object(
    start_px: Point,
    end_px: Point,
    length_mm: float,
    length_sigma_mm: float = 0.0,
    click_px: float = SCALE.click_px,
    pupil_mm: float | None = None,
) -> Scale:
    """Give the size of a pixel from something of known length that lies in the plane of focus.

    Parameters
    ----------
    start_px, end_px : tuple of float
        Its ends in the picture.
    length_mm, length_sigma_mm : float
        Its length, and one sigma of that.
    click_px : float, optional
        One sigma of each point in each direction.
    pupil_mm : float, optional
        From the plane of focus to the entrance pupil, where it is known.

    Returns
    -------
    Scale
        Its error holds that of the clicks and that of the object.

    Raises
    ------
    UsageError
        When a length makes no sense or the ends lie too near together.
    """
    apart = math.hypot(end_px[0] - start_px[0], end_px[1] - start_px[1])
    if not (math.isfinite(length_mm) and length_mm > 0.0):
        raise UsageError(f"the known length must be above 0 mm, got {length_mm:g}")
    if not (math.isfinite(length_sigma_mm) and length_sigma_mm >= 0.0):
        raise UsageError(f"the known length's error must be 0 mm or more, got {length_sigma_mm:g}")
    if not (math.isfinite(click_px) and click_px > 0.0):
        raise UsageError(f"the error of a click must be above 0 px, got {click_px:g}")
    if not math.isfinite(apart) or apart < 10.0 * click_px:
        raise UsageError(
            f"the known length spans {apart:.0f} px, too few to measure by; choose something longer"
        )
    share = math.hypot(length_sigma_mm / length_mm, math.sqrt(2.0) * click_px / apart)
    return Scale(length_mm / apart, share, "measured", pupil_mm)
