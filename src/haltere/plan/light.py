"""How bright the daylight is that falls on the animal.

Exposure tables and tables of illuminance do not agree: for an overcast sky they differ by up to
ten times (10 klx by the exposure table, 5 klx by building engineers, 1 klx by a general table).
These presets are starts for a test shot, not truth; a meter on the spot is better.
"""

from __future__ import annotations

from dataclasses import dataclass

from haltere import optics
from haltere.plan.given import Given
from haltere.plan.wishes import Light

_ANSI = "ANSI PH2.7-1986, as an encyclopedia's table gives it"


@dataclass(frozen=True, slots=True)
class Daylight:
    """One kind of daylight.

    Attributes
    ----------
    name : Light
        As asked for.
    words : str
        As told to people.
    ev100 : float
        Exposure value at ISO 100.
    source : str
        Where the number comes from, and what contradicts it.
    """

    name: Light
    words: str
    ev100: float
    source: str

    @property
    def illuminance_lx(self) -> float:
        """Light on the animal, lx (incident-light relation with C = 250)."""
        return optics.illuminance_lx(self.ev100)


DAYLIGHT: dict[Light, Daylight] = {
    light.name: light
    for light in (
        Daylight("sun", "full sun", 15.0, f"{_ANSI}; 82 klx, other tables 32 to 100 klx"),
        Daylight("hazy", "hazy sun with soft shadows", 14.0, _ANSI),
        Daylight("bright-overcast", "a bright cloudy sky", 13.0, f"{_ANSI}; other tables darker"),
        Daylight("shade", "open shade", 12.0, f"{_ANSI}; 10 klx, as under a tree by CIBSE"),
        Daylight(
            "overcast",
            "a heavy overcast sky",
            12.0,
            f"{_ANSI}; 10 klx, but 5 klx by CIBSE and 1 klx by a general table of illuminance",
        ),
        Daylight(
            "dusk",
            "dusk, the sun at the horizon",
            7.3,
            "400 lx on level ground at a clear sunset by a general table of illuminance; the "
            "exposure table's 12 is for a sunlit view, not for an animal in the grass",
        ),
        Daylight("dark", "night with a moon", -3.0, "0.3 lx under a full moon, from memory"),
    )
}
"""Every light that can be asked for."""

SHOWN: tuple[Light, ...] = ("sun", "shade", "overcast", "dusk")
"""Lights of the small table beside the one asked for."""


def three_digits(number: float) -> str:
    """Give a large number as people read it, without powers of ten.

    Parameters
    ----------
    number : float
        Such as lux, below a million.

    Returns
    -------
    str
        Three digits that mean something: "81900".
    """
    return f"{float(f'{number:.3g}'):g}"


def daylight_over_needed(given: Given, f_number: float, light: Light) -> float:
    """Give the exposure that a daylight makes over the exposure that is right, E t / H.

    Parameters
    ----------
    given : Given
        Lens, ISO and shutter time.
    f_number : float
        As marked.
    light : Light
        Kind of daylight, unshaded.

    Returns
    -------
    float
        1 is well exposed by daylight alone, 0.125 three stops under.
    """
    needed = optics.subject_exposure_lx_s(given.effective(f_number), given.iso)
    return optics.ambient_share(DAYLIGHT[light].illuminance_lx, given.shutter_s, needed)
