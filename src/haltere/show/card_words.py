"""What the field card says beside its numbers: cautions, notes, and how numbers are written."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from haltere.kit import Kit


@dataclass(frozen=True, slots=True)
class Caution:
    """One thing that comes before any picture.

    Attributes
    ----------
    about : str
        In a word or two.
    words : str
        What to do, in a short sentence or two.
    """

    about: str
    words: str


CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "The animal first.",
        "Leave it where it is and as it is. Stop when it is disturbed, above all at its roost, "
        "moulting, mating or at a nest.",
    ),
    Caution(
        "Protected species and places.",
        "The law of the place comes before this card. Ask before you go; it may take a permit.",
    ),
    Caution("Ticks.", "Long clothes, trousers in socks, and look at yourself in the evening."),
    Caution("Water's edge.", "Look where your feet and your bag are before you push or lean."),
    Caution(
        "Sun.",
        "Never look or point at the sun through an optical finder, and don't leave the lens "
        "open to it: it burns.",
    ),
    Caution(
        "Flash.",
        "Never close to the eyes of people, dogs or other vertebrates. Least power that does the "
        "job, diffused.",
    ),
)
"""Shorter than docs/guide/cautions.md, which says the same at length."""

ESTIMATED = "~ estimated from a thin lens: may be off by half. Measure yours once."
ATTENTION = {
    "weak": "* flash too weak at full power: bring it closer or raise the ISO speed.",
    "strong": "* flash too strong at its smallest power: diffuse it more or lower the ISO speed.",
    "slow": "† the flash is slower than the camera: set the camera to so many frames a second.",
    "crawl": "‡ too slow for a hand: lean on something, or use less flash power.",
    "over": "! daylight alone is too bright for a flash picture: shade the animal.",
}
NO_FLASH = "The kit names no guide number, so the flash is left open."
NO_END = "The kit does not say how close the lens goes: check that it gets there."
DAYLIGHT = (
    "Daylight: its exposure beside the flash, 0 being right; from {unseen} down no ghost is seen. "
    "Your body's shadow takes about {body:.0f} stops off the sun."
)


def figures(value: float) -> str:
    """Write a length or speed with two figures, as one can set it by hand.

    Parameters
    ----------
    value : float
        Above 0.

    Returns
    -------
    str
        0.12, 1.2, 12 or 120.
    """
    if value >= 9.95:
        return f"{value:.0f}"
    if value >= 0.995:
        return f"{value:.1f}"
    return f"{value:.2f}" if value >= 0.0995 else f"{value:.2g}"


def ratio(magnification: float) -> str:
    """Write a magnification the way it is engraved.

    Parameters
    ----------
    magnification : float
        Size on the sensor over size on the animal.

    Returns
    -------
    str
        "1.5:1".
    """
    return f"{magnification:g}:1"


def signed(stops: float) -> str:
    """Write stops over or under.

    Parameters
    ----------
    stops : float
        Negative is under.

    Returns
    -------
    str
        With a sign.
    """
    said = f"{abs(stops):.1f}"
    if said == "0.0":
        return "0"
    return f"+{said}" if stops > 0 else f"\u2212{said}"


def share(chance: float) -> str:
    """Write a chance in percent, never as sure.

    Parameters
    ----------
    chance : float
        0 to 1.

    Returns
    -------
    str
        "43 %".
    """
    if chance > 0.99:
        return ">99 %"
    return "<1 %" if chance < 0.01 else f"{100 * chance:.0f} %"


def shutter(seconds: float) -> str:
    """Write a shutter time as on the dial.

    Parameters
    ----------
    seconds : float
        Shutter time.

    Returns
    -------
    str
        "1/200 s" or "0.5 s".
    """
    return f"1/{1 / seconds:.0f} s" if seconds < 0.3 else f"{seconds:.2g} s"


def begins_above(kit: Kit, low: float) -> str:
    """Say why a magnification is too small for what is attached, and what reaches it.

    Parameters
    ----------
    kit : Kit
        What is attached.
    low : float
        Smallest magnification with it.

    Returns
    -------
    str
        Two sentences.
    """
    attached = {
        "the close-up lens": kit.close_up_dpt,
        "the tube": kit.tube_mm,
    }
    names = " and ".join(name for name, there in attached.items() if there)
    return f"This kit starts at {low:.2f}:1. Without {names or 'what is attached'} it gets there."
