"""What smears the picture, in a photographer's words, and times as photographers write them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from haltere.plan.aperture_words import told_um as two_digits
from haltere.plan.chance_limits import refuse_unless_positive

if TYPE_CHECKING:
    from haltere.plan.given import Given

BOTH_FROM = 0.25
"""From this share of daylight on, two stops under, both lights are seen in it (assumed)."""


def blur_words(
    given: Given, burns_s: float | None, flash_px: float | None, open_px: float, share: float
) -> str:
    """Tell which light draws what smear.

    Parameters
    ----------
    given : Given
        Shutter time and stabilisation.
    burns_s : float or None
        Time that the flash burns, as far as the shutter lets it through; None if not known.
    flash_px, open_px : float
        Smear while the flash burns (None if not known) and while the shutter is open, pixels.
    share : float
        Daylight's share of the exposure, 0 to 1.

    Returns
    -------
    str
        In words, without a full stop.
    """
    left = ", with stabilisation" if given.kit.stabilisation_stops else ""
    shutter = told_s(given.shutter_s)
    if share >= 1.0:
        return (
            "daylight alone makes the picture: hand and animal move while the shutter is open, "
            f"{shutter}{left}"
        )
    if burns_s is None or flash_px is None:
        return (
            "the flash's power is unknown, so the blur while it burns can't be told; daylight's "
            f"ghost moves {two_digits(open_px)} px while the shutter is open, {shutter}{left}"
        )
    longer = burns_s >= given.shutter_s
    burns = "longer than the shutter is open" if longer else told_s(burns_s)
    if share >= BOTH_FROM:
        return (
            f"both lights make the picture: the flash, burning {burns}, smears its part by "
            f"{two_digits(flash_px)} px, daylight its {100 * min(share, 0.99):.0f} % by "
            f"{two_digits(open_px)} px in {shutter}{left}"
        )
    if longer:
        return (
            "the flash makes the picture but burns longer than the shutter is open: hand and "
            f"animal move through all of its {shutter}"
        )
    return (
        f"the flash makes the picture and burns {burns}; what moves in the shutter's {shutter} is "
        "only its ghost in daylight"
    )


def told_s(time_s: float) -> str:
    """Give a time as a photographer writes it.

    Parameters
    ----------
    time_s : float
        Seconds.

    Returns
    -------
    str
        "1/200 s" below a third of a second, else "2.5 s".

    Raises
    ------
    UsageError
        When it is not above zero.
    """
    refuse_unless_positive(time_s=time_s)
    if time_s >= 0.3:
        return f"{time_s:.2g} s"
    share = 1.0 / time_s
    to = 1 if share < 100 else 5 if share < 1000 else 50 if share < 2000 else 0
    if not to:  # two digits mean something, not more
        to = 10 ** (len(str(int(share))) - 2)
    return f"1/{round(share / to) * to} s"
