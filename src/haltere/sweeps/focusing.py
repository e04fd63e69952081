"""Whether a sweep was pushed, or the focus ring turned on a camera that stood still."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

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
    off : float
        Factor by which the depth of field measured from the pictures may differ from that of the
        magnification given: two made rails came out at 0.95, six made rings at 0.47 to 0.68 and at
        1.87 to 2.82.
    """

    still: float = 0.001
    off: float = 1.3


NUMBERS = FocusingNumbers()


@dataclass(frozen=True, slots=True)
class Focusing:
    """How the plane of focus was moved through the animal.

    Attributes
    ----------
    how : {"pushed", "turned", "not-told"}
        Pushed: the view sways as a hand does. Turned: it does not, and the picture grows by
        another law than that of a push at the magnification given. Not told: it does not sway,
        and nothing tells a rail from a ring.
    wander_px : float or None
        Sideways wander, full-size pixels; None with too few frames.
    depth_of_field_ratio : float or None
        Depth of field measured from the pictures over that of the magnification; 1 for a push.
        None where the magnification is unknown or it was not asked, since the view sways.
    text : str
        One sentence; empty for a push.
    """

    how: How
    wander_px: float | None
    depth_of_field_ratio: float | None
    text: str


_TURNED = (
    "The camera stood still and the picture grows by another law than that of a push: the focus "
    "ring was turned, or the magnification is not the one given, so depths can't be trusted"
)
_NOT_TOLD = (
    "The camera swayed less than any hand does: if it was not pushed on a rail but the focus ring "
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


def tell_focusing(wander_px: float, longer_px: float, ratio: float | None) -> Focusing:
    """Say how the plane of focus was moved.

    Where the camera stood still, only the law by which the picture grows is left to tell. What
    near and far places do against each other (parallax) was tried and is too small to measure.

    Parameters
    ----------
    wander_px : float
        Sideways wander, full-size pixels; NaN where unknown.
    longer_px : float
        Longer side of the full-size picture.
    ratio : float or None
        Depth of field measured from the pictures over that of the magnification; None where one
        of them is unknown.
    """
    wander = None if np.isnan(wander_px) else wander_px
    if not stood_still(wander_px, longer_px):
        return Focusing("pushed", wander, None, "")
    if ratio is not None and not 1.0 / NUMBERS.off <= ratio <= NUMBERS.off:
        return Focusing("turned", wander, ratio, _TURNED)
    return Focusing("not-told", wander, ratio, _NOT_TOLD)
