"""Names the fields of the page where the rooms below name options of the command line."""

from __future__ import annotations

import re
from typing import TypeVar, cast

Said = TypeVar("Said")

FIELDS = {
    # a sighting, the season, what leaves the book
    "name": "What", "when": "When", "count": "How many", "merged": "Pictures that show it",
    "at": "by hand", "gpx": "your track", "exif-place": "what the pictures hold",
    "within": "Within", "datum": "Datum", "country": "Country", "grid": "Grid",
    "creator": "Made by", "since": "From", "until": "To",
    # a plan; its other fields are called as their options are
    "iso": "ISO", "shutter": "Shutter", "light": "Daylight", "shading": "Shaded by",
    "coc-rule": "Blur that counts", "date": "Day", "sensor": "Sensor",
    # a card
    "second": "Second copy",
    # both a sighting and a plan
    "time-zone": "Time zone",
}  # fmt: skip
"""Options that the page calls otherwise; all others are fields by the same words."""

ON_UNLOAD = {"name": "Outing's name"}
"""What they are called where a card is unloaded."""

CALLS = {"haltere sensitive": "“Kept vague”"}
"""Calls that a button of the page does; all others stand as they are typed."""

_STARTING = ("places", "lan", "port", "book")  # said when the bench is opened, by no page
_OPTION = re.compile(
    r"\bhaltere sensitive\b|\bhaltere [a-z]+\b[^;.]*"  # a call stands as it is typed
    rf"|(?<![\w/.-])--(?!(?:{'|'.join(_STARTING)})\b)([a-z]+(?:-[a-z]+)*)"
)


def on_page(said: Said, fields: dict[str, str] | None = None) -> Said:
    """Say in the page's words what was said in those of the command line.

    Parameters
    ----------
    said : str, dict, list or tuple
        A sentence, or an answer that holds some; anything else comes back as it is.
    fields : dict, optional
        Options that this page calls otherwise than the others do.

    Returns
    -------
    As `said`
        Each option as the name of its field.
    """
    if isinstance(said, str):

        def field(found: re.Match[str]) -> str:
            option = found[1]
            if option is None:
                return CALLS.get(found[0], found[0])
            own = (fields or {}).get(option) or FIELDS.get(option)
            return f"“{own or option.replace('-', ' ')}”"

        return cast("Said", _OPTION.sub(field, said))
    if isinstance(said, dict):
        return cast("Said", {key: on_page(value, fields) for key, value in said.items()})
    if isinstance(said, list | tuple):
        return cast("Said", type(said)(on_page(value, fields) for value in said))
    return said
