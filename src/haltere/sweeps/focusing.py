"""Whether a sweep was pushed, or the focus ring turned: on a stand or in the hand."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from haltere.align.wander import Shift
from haltere.kit.capture import Capture

How = Literal["pushed", "turned", "not-told"]


@dataclass(frozen=True, slots=True)
class FocusingNumbers:
    """Numbers that tell a turned ring.

    Attributes
    ----------
    still : float
        Sideways wander, as a share of the picture's longer side, below which no hand held the
        camera: of 200 simulated hand-pushed sweeps the stillest wandered 0.0048 of it, a camera
        on a stand 0.00001 to 0.00008; a fifth of the former.
    off_still : float
        Factor by which the depth of field measured from the pictures may differ from that of the
        magnification given where the camera stood still: two made rails came out at 0.95, six made
        rings at 0.47 to 0.68 and at 1.87 to 2.82.
    off_held : float
        The same in the hand, where the pupil distance was measured or given.
    off_thin : float
        The same where it is a thin lens's: that of an inner-focusing lens may differ by half, and
        the ratio with it.
    plain : float
        Factor within which the widths of whole curves make a push plain, in the hand: of 47
        simulated ones they came out at 0.82 to 1.13, of rings whose ratio is told up to 0.74 and
        from 1.24.
    sure : float
        Standard deviations by which the ratio must lie beyond that.
    floor : float
        Standard deviation of its logarithm beside what the places say.
    fewest : int
        Places below which a hand-held sweep is not asked.
    swapped : float
        Standard deviations by which the share of shift in a hand's sway must lie below 0 for near
        and far to be called swapped, perhaps.
    share_floor : float
        Standard deviation of that share beside what the poses say.
    """

    still: float = 0.001
    off_still: float = 1.3
    off_held: float = 1.25
    off_thin: float = 1.5
    plain: float = 1.15
    sure: float = 2.0
    floor: float = 0.025
    fewest: int = 20
    swapped: float = 2.0
    share_floor: float = 0.03


NUMBERS = FocusingNumbers()


@dataclass(frozen=True, slots=True)
class Growth:
    """How fast the picture grows against how fast detail fades.

    Attributes
    ----------
    ratio : float
        Depth of field measured from the pictures over that of the magnification; 1 for a push.
    spread : float
        One standard deviation of its logarithm, by what the places say against each other.
    places : int
        Places that told.
    lens_measured : bool
        Whether the pupil distance is known, and not a thin lens's.
    """

    ratio: float
    spread: float
    places: int
    lens_measured: bool


@dataclass(frozen=True, slots=True)
class Focusing:
    """How the plane of focus was moved through the animal.

    Attributes
    ----------
    how : {"pushed", "turned", "not-told"}
        Pushed: the view sways as a hand does, and the picture grows as in a push. Turned: it grows
        by another law than that of a push at the magnification given. Not told: nothing tells a
        push from a turned ring.
    wander_px : float or None
        Sideways wander, full-size pixels; None with too few frames.
    depth_of_field_ratio : float or None
        Depth of field measured from the pictures over that of the magnification; 1 for a push.
        None where magnification or lens are unknown, or it was plain that a hand pushed.
    text : str
        One sentence; empty for a push.
    depth_of_field_ratio_uncertainty : float or None
        One standard deviation of the ratio; None without one.
    """

    how: How
    wander_px: float | None
    depth_of_field_ratio: float | None
    text: str
    depth_of_field_ratio_uncertainty: float | None = None


_LAW = (
    "the picture grows by another law than that of a push: the focus ring was turned, or the "
    "magnification or the lens is not the one given, so that near and far may be swapped and "
    "nothing is told in millimetres"
)
_STILL = (
    "The camera swayed less than any hand does: if it was not pushed on a rail but the focus ring "
    "was turned, near and far may be swapped"
)
_SWAPPED = (
    "As the hand sways, what should be near shifts less than what should be far: if the focus ring "
    "was turned, near and far may be swapped"
)


def stood_still(wander_px: float, longer_px: float) -> bool:
    """Tell a camera on a stand from one in the hand.

    Parameters
    ----------
    wander_px : float
        From `haltere.align.wander.measure_wander`; NaN counts as a hand.
    longer_px : float
        Longer side of the picture, in the same pixels.
    """
    return bool(wander_px < NUMBERS.still * longer_px)


def tell_focusing(
    wander_px: float, longer_px: float, growth: Growth | None, shift: Shift | None = None
) -> Focusing:
    """Say how the plane of focus was moved.

    The law by which the picture grows tells a turned ring, and in the hand it must differ by more:
    nearly all who hold a camera push it. What near and far places do against each other as the
    hand sways tells which of them is near; along the axis it was tried and is too small to measure.

    Parameters
    ----------
    wander_px : float
        Sideways wander, full-size pixels; NaN where unknown.
    longer_px : float
        Longer side of the full-size picture.
    growth : Growth or None
        How the picture grows; None where no magnification is known.
    shift : Shift or None
        How much of the sway is a shift.
    """
    wander = None if np.isnan(wander_px) else wander_px
    still = stood_still(wander_px, longer_px)
    ratio = error = None
    if growth is not None:
        ratio = growth.ratio
        spread = float(np.hypot(growth.spread, NUMBERS.floor))
        error = ratio * spread if np.isfinite(spread) else None
        if _by_another_law(ratio, spread, growth, still=still):
            text = f"The camera stood still and {_LAW}" if still else f"{_LAW[0].upper()}{_LAW[1:]}"
            return Focusing("turned", wander, ratio, text, error)
    if still:
        return Focusing("not-told", wander, ratio, _STILL, error)
    if shift is not None and _seem_swapped(shift):
        return Focusing("not-told", wander, ratio, _SWAPPED, error)
    return Focusing("pushed", wander, ratio, "", error)


def _by_another_law(ratio: float, spread: float, growth: Growth, *, still: bool) -> bool:
    """Whether a push can't grow like this."""
    off = abs(float(np.log(ratio)))
    if still:
        return bool(off > np.log(NUMBERS.off_still))
    if growth.places < NUMBERS.fewest:
        return False
    bound = NUMBERS.off_held if growth.lens_measured else NUMBERS.off_thin
    return bool(off - NUMBERS.sure * spread > np.log(bound))


def _seem_swapped(shift: Shift) -> bool:
    """Whether the hand would have to tilt against its own shifting, were near and far right."""
    error = float(np.hypot(shift.error, NUMBERS.share_floor))
    return shift.share < -NUMBERS.swapped * error


def without_scale(capture: Capture, focusing: Focusing | None) -> Capture:
    """Take from a capture what a turned ring belies; its source still says that it was given.

    Parameters
    ----------
    capture : Capture
        How the frames were taken, as given.
    focusing : Focusing or None
        How the plane was moved.
    """
    if focusing is None or focusing.how != "turned":
        return capture
    return replace(capture, magnification=None, pupil_distance_mm=None)
