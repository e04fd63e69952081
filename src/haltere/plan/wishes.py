"""What the photographer wants to do, beside what the kit is."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, get_args

from haltere.errors import UsageError
from haltere.kit import DEFAULTS, Key, Kit, with_numbers

Light = Literal["sun", "hazy", "bright-overcast", "shade", "overcast", "dusk", "dark"]
CocRule = Literal["given", "pixels", "diagonal", "print"]

LIGHTS: tuple[Light, ...] = get_args(Light)
COC_RULES: tuple[CocRule, ...] = get_args(CocRule)


@dataclass(frozen=True, slots=True)
class Wishes:
    """One photograph to be planned.

    Attributes
    ----------
    magnification : float or None
        Size on the sensor over size on the animal; None takes the kit's.
    depth_mm : float
        Depth of the animal that is to be sharp. 2 mm is about the head of a fly (assumed).
    f_number : float or None
        Marked f-number to compute for; None takes the kit's, or else the recommended one.
    light : Light
        The daylight on the animal.
    shading_stops : float
        What the photographer's body or a leaf takes away from that light.
    iso : float or None
        ISO speed; None takes 200.
    shutter_s : float or None
        Shutter time; None takes the shortest with flash, else 1/200 s.
    overlap : float
        Share of the depth of field by which neighbours in a sweep overlap.
    gap_chance : float
        Chance of a gap in one pass that is accepted.
    certainty : float
        Certainty that all passes together have no gap.
    unevenness : float or None
        Spread of the steps of a pushed sweep over their mean; None takes the kit's, else 0.4.
    hand_spread_mm : float
        Spread of the hand along the axis in a burst, one sigma (assumed 1.5 mm standing).
    sway_s : float
        Time after which the hand's place along the axis is forgotten (assumed 0.5 s).
    animal_speed_mm_s : float
        How fast a limb or a swaying stem moves across the picture (assumed 2 mm/s).
    crop : float
        Side of the crop over side of the frame.
    print_width_mm, viewing_mm, acuity_arcmin : float
        Long side of the print, its viewing distance, what the eye resolves.
    coc_rule : {"given", "pixels", "diagonal", "print"}
        Which circle of confusion counts: the number of kit or call, two pixels, the diagonal
        over 1500, or the print.
    latitude_deg, longitude_deg : float or None
        The place, north and east positive.
    date : date or None
        The day; None takes today.
    time_zone : str or None
        A name such as "Europe/Lisbon"; None takes the computer's.
    """

    magnification: float | None = None
    depth_mm: float = 2.0
    f_number: float | None = None
    light: Light = "shade"
    shading_stops: float = 0.0
    iso: float | None = None
    shutter_s: float | None = None
    overlap: float = 0.3
    gap_chance: float = 0.1
    certainty: float = 0.9
    unevenness: float | None = None
    hand_spread_mm: float = 1.5
    sway_s: float = 0.5
    animal_speed_mm_s: float = 2.0
    crop: float = 1.0
    print_width_mm: float = 300.0
    viewing_mm: float = 400.0
    acuity_arcmin: float = 1.0
    coc_rule: CocRule = "given"
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    date: dt.date | None = None
    time_zone: str | None = None


def _key(
    field: str, option: str, unit: str, low: float, high: float, says: str, fraction: bool = False
) -> Key:
    return Key("wish", field, field, option, unit, low, high, says, fraction=fraction)


# fmt: off
WISH_KEYS: tuple[Key, ...] = (
    _key(
        "magnification", "magnification", "", 0.01, DEFAULTS.max_magnification,
        "size on the sensor over size on the animal, 2 for 2:1",
    ),
    _key("depth_mm", "depth", "mm", 0.01, 500, "depth of the animal that is to be sharp"),
    _key("f_number", "f-number", "", 0.7, 128, "marked f-number to compute for"),
    _key("shading_stops", "shading", "stops", 0, 12, "light that your body keeps off the animal"),
    _key("iso", "iso", "", 10, 409600, "ISO speed"),
    _key("shutter_s", "shutter", "s", 1e-05, 60, "shutter time", fraction=True),
    _key("overlap", "overlap", "", 0, 0.9, "share of the depth of field by which frames overlap"),
    _key("gap_chance", "gap-chance", "", 0.001, 0.9, "chance of a gap in one pass you accept"),
    _key("certainty", "certainty", "", 0.1, 0.999, "wanted certainty that no gap is left"),
    _key("unevenness", "step-unevenness", "", 0, 2, "spread of your steps over their mean"),
    _key("hand_spread_mm", "hand-spread", "mm", 0.01, 50, "spread of your hand along the axis"),
    _key("sway_s", "sway-time", "s", 0.001, 60, "time after which the hand's place is forgotten"),
    _key("animal_speed_mm_s", "animal-speed", "mm/s", 0, 10000, "how fast limb or stem moves"),
    _key("crop", "crop", "", 0.02, 1, "side of the crop over side of the frame"),
    _key("print_width_mm", "print-width", "mm", 20, 5000, "long side of the print"),
    _key("viewing_mm", "viewing-distance", "mm", 50, 20000, "how far the print is seen from"),
    _key("acuity_arcmin", "acuity", "arcmin", 0.3, 10, "what the eye resolves"),
    _key("latitude_deg", "latitude", "degrees", -90, 90, "north positive"),
    _key("longitude_deg", "longitude", "degrees", -180, 180, "east positive"),
)
# fmt: on


def wishes_of(said: Mapping[str, Any]) -> Wishes:
    """Check what was asked for.

    Parameters
    ----------
    said : mapping
        Attribute of `Wishes` to what was written; None leaves the default.

    Returns
    -------
    Wishes
        Numbers in their ranges, words known.

    Raises
    ------
    UsageError
        When a number is out of range or a word unknown.
    """
    numbers = {key.field: key for key in WISH_KEYS}
    taken: dict[str, Any] = {}
    for field, value in said.items():
        if value is None:
            continue
        key = numbers.get(field)
        taken[field] = value if key is None else key.take(value, f"--{key.option}")
    wishes = Wishes(**taken)
    if wishes.light not in LIGHTS:
        raise UsageError(f"--light: expected one of {', '.join(LIGHTS)}, got {wishes.light!r}")
    if wishes.coc_rule not in COC_RULES:
        raise UsageError(
            f"--coc-rule: expected one of {', '.join(COC_RULES)}, got {wishes.coc_rule!r}"
        )
    if (wishes.latitude_deg is None) != (wishes.longitude_deg is None):
        raise UsageError("a place needs both --latitude and --longitude, in degrees")
    return wishes


def put_together(kit: Kit, said: Mapping[str, Any]) -> tuple[Kit, Wishes]:
    """Sort what was said about one plan into what the kit is and what is wished for.

    Parameters
    ----------
    kit : Kit
        What is known so far.
    said : mapping
        Attribute of `Wishes` or `Kit` to what was written; a day as text. None says nothing.

    Returns
    -------
    Kit, Wishes
        With what was said put in.

    Raises
    ------
    UsageError
        When a number or a word can't be.
    """
    asked_for = {"light", "coc_rule", "date", "time_zone", *(key.field for key in WISH_KEYS)}
    wanted = {field: value for field, value in said.items() if field in asked_for}
    own = {field: value for field, value in said.items() if field not in asked_for}
    if wanted.get("date") is not None:
        wanted["date"] = _day(wanted["date"])
    return with_numbers(kit, own), wishes_of(wanted)


def _day(text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise UsageError(f"--date: expected a day such as 2031-05-20, got {text!r}") from None
