"""How to keep the daylight's ghost out of a flash picture: shutter, shade, aperture, ISO."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from haltere.plan.given import STANDINS
from haltere.plan.motion import told_s

if TYPE_CHECKING:
    from haltere.plan.flash import Flash
    from haltere.plan.given import Given


@dataclass(frozen=True, slots=True)
class GhostLimits:
    """From when a ghost of daylight is seen, each number with its reason.

    Attributes
    ----------
    unseen_share : float
        A ghost of 3 to 5 % of the exposure drowns in the picture (common practice, from memory);
        this is the middle, 4.6 stops under.
    faint_share : float
        A seventh of a stop: seen at bright edges only (assumed).
    rules_share : float
        More daylight than flash.
    still_px : float
        A ghost that moved less lies on the picture and does no harm (assumed).
    body_stops : float
        From full sun to open shade by the exposure table: what your own shadow takes.
    spare_power : float
        A flash that needs less than half of its power can give a stop more.
    worth_stops : float
        Less than this is not worth a sentence (a third of a stop is a click of the dial).
    """

    unseen_share: float = 0.04
    faint_share: float = 0.10
    rules_share: float = 0.5
    still_px: float = 1.0
    body_stops: float = 3.0
    spare_power: float = 0.5
    worth_stops: float = 0.05

    @property
    def unseen_stops(self) -> float:
        """Stops under the flash from which no ghost is seen; negative."""
        return math.log2(self.unseen_share)


GHOST = GhostLimits()


def lower_iso(given: Given) -> bool:
    """Tell whether the camera can be set to a lower ISO than this plan's.

    Parameters
    ----------
    given : Given
        Kit and wishes.

    Returns
    -------
    bool
        True also when the kit names no lowest ISO.
    """
    lowest = given.kit.iso_min
    return lowest is None or given.iso > lowest * 1.01


def keep_off(given: Given, f_number: float, stops: float, lamp: Flash | None) -> str:
    """Tell how to take stops of daylight away, in the order in which it costs least.

    Parameters
    ----------
    given : Given
        Kit, light, shutter time and ISO.
    f_number : float
        As marked.
    stops : float
        Stops that the daylight must still lose.
    lamp : Flash or None
        What the flash must do there: what lets in less daylight lets in less flash too, and a
        shutter shorter than the flash cuts it off.

    Returns
    -------
    str
        A part of a sentence; never an advice that this camera or this light can't follow.
    """
    if stops < GHOST.worth_stops:
        return "no need to shade the animal"
    sync = given.kit.sync_s or STANDINS.shutter_s
    spare = lamp is None or lamp.power <= GHOST.spare_power
    if lamp is not None:
        sync = max(sync, lamp.duration_s)
    by_shutter = max(0.0, math.log2(given.shutter_s / sync))
    first = ""
    if by_shutter > 0.1:
        first = f"set the shutter to {told_s(sync)}, the shortest with flash"
        if stops - by_shutter < GHOST.worth_stops:
            return first
        first += f", which takes {by_shutter:.1f} stops; then "
        stops -= by_shutter
    others = _others(given, f_number, spare)
    if given.wishes.light in ("dusk", "dark"):
        return f"{first}take away {stops:.1f} stops: {', or '.join(others)}"
    shade = f"{first}shade the animal by {stops:.1f} stops"
    if stops <= GHOST.body_stops + 0.05:
        return f"{shade} with your body or a leaf"
    rest = stops - GHOST.body_stops
    return (
        f"{shade}: your body takes about {GHOST.body_stops:.0f}, the other {rest:.1f} must come "
        f"from elsewhere ({', or '.join(others)})"
    )


def _others(given: Given, f_number: float, spare: bool) -> list[str]:
    found = []
    if spare and f_number < given.f_numbers[-1] * 0.97:
        found.append("close the aperture")
    if spare and lower_iso(given):
        found.append("lower the ISO")
    tent = "a diffuser as a tent round the animal"
    if given.wishes.light not in ("dusk", "dark"):
        tent += ", or a second leaf"
    return [*found, tent]
