"""Looks for places that must not leave: in free words, and at the end in every byte written."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from haltere.errors import WriteError
from haltere.fieldbook.checklists import fold
from haltere.fieldbook.sightings import SightingRow
from haltere.records.vague import Told

LEAST_DECIMALS = 4
"""A degree with fewer is rounder than 10 m and may be any number; these are looked for."""

_DEGREES = re.compile(r"\d{1,3}[.,]\d{3,}|\d{1,3}\s*[°º]|\d{6,}|\d{1,3}\s*(?:deg|d)\b")
_BY_CHANCE = 6
_SHORT = 3
"""A locality of fewer letters is found in every text."""


@dataclass(frozen=True, slots=True)
class Hidden:
    """What must not be found.

    Attributes
    ----------
    record : int
        Number of the sighting.
    words : frozenset of str
        Ways of writing its place.
    """

    record: int
    words: frozenset[str]


def free_words(row: SightingRow, told: Told) -> tuple[dict[str, str], Told]:
    """Take out of the free words what may tell a place that must not be told.

    Parameters
    ----------
    row : SightingRow
        The sighting.
    told : Told
        What may be told.

    Returns
    -------
    words : dict
        Behaviour, plant and note; where the place is not exact the note is left out, and so is
        whatever looks like degrees or names the locality.
    told : Told
        The same, with what was left out added to `withheld`.
    """
    said = row.said
    words = {"behaviour": said.behaviour, "plant": said.plant, "note": said.note}
    if told.exact or (said.where is None and not said.locality and told.hour):
        return words, told
    kept = {
        key: "" if key == "note" or _tells(text, said.locality) else text
        for key, text in words.items()
    }
    lost = [key for key in words if words[key] and not kept[key]]
    if not lost:
        return kept, told
    also = ", ".join(lost)
    withheld = f"{told.withheld}, {also}" if told.withheld else f"withheld: {also}"
    return kept, replace(told, withheld=withheld)


def _tells(text: str, locality: str) -> bool:
    if _DEGREES.search(text):
        return True
    place = fold(locality)
    return len(place) >= _SHORT and place in fold(text)


def hidden_in(rows: Iterable[tuple[SightingRow, Told]]) -> tuple[Hidden, ...]:
    """List what no byte of an export may hold.

    Parameters
    ----------
    rows : iterable of SightingRow and Told
        The sightings, and what may be told of each.

    Returns
    -------
    tuple of Hidden
        One for each sighting whose place is not told exactly. What another one tells rightly, of
        the very same spot, is not among it.
    """
    everything = list(rows)
    allowed: set[str] = set()
    for row, told in everything:
        allowed |= {told.latitude_deg, told.longitude_deg}
        if told.exact:
            allowed |= {fold(told.locality)}
            if row.said.where is not None:
                where = row.said.where
                allowed |= _ways(where.latitude_deg) | _ways(where.longitude_deg)
    # a garden spider in the garden: an animal's name that holds the locality tells no place
    animals = fold(" | ".join(_names(row) for row, _ in everything))
    hidden = []
    for row, told in everything:
        if told.exact:
            continue
        words = set[str]()
        if row.said.where is not None:
            words |= _ways(row.said.where.latitude_deg) | _ways(row.said.where.longitude_deg)
        locality = fold(row.said.locality)
        if len(locality) >= _SHORT and locality not in animals:
            words.add(locality)
        hidden.append(Hidden(row.id, frozenset(words - allowed)))
    return tuple(hidden)


def _names(row: SightingRow) -> str:
    named = row.said.named
    if named is None:
        return ""
    return " | ".join((named.name, named.accepted, named.vernacular, named.checklist))


def _ways(degrees: float) -> set[str]:
    """Write a degree in the ways in which it is written: decimals, and minutes and seconds."""
    size = abs(degrees)
    whole = int(size)
    minutes = (size - whole) * 60
    seconds = (minutes - int(minutes)) * 60
    found = {
        f"{whole}°{int(minutes):02d}'{seconds:.1f}", f"{whole}° {int(minutes)}' {seconds:.1f}",
        f"{whole} {int(minutes)} {seconds:.1f}", f"{whole}°{minutes:.3f}",
    }  # fmt: skip
    text = f"{size:.10f}"
    if round(size, LEAST_DECIMALS) == round(size, 12):
        found.add(f"{size:.{LEAST_DECIMALS}f}")
        return found if size % 1 else set()  # a whole degree is any number
    for decimals in range(LEAST_DECIMALS + 1, 9):
        found |= {f"{size:.{decimals}f}", text[: text.index(".") + 1 + decimals]}
    return found | {way.replace(".", ",") for way in found}


def refuse_leaks(name: str, data: bytes, hidden: Sequence[Hidden]) -> None:
    """Refuse a file that tells a place that must not be told.

    Parameters
    ----------
    name : str
        What the file is called; its name is searched, too.
    data : bytes
        All of it.
    hidden : sequence of Hidden
        What must not be in it.

    Raises
    ------
    WriteError
        When something is found; nothing was written.
    """
    picture = name.endswith(".jpg")
    text = fold(name) if picture else fold(name + "\n" + data.decode("utf-8", "replace"))
    raw = data.lower()
    for one in hidden:
        for word in one.words:
            # a few letters are found by chance among the millions of a picture
            long = not picture or len(word) > _BY_CHANCE
            ways = (word.lower().encode(), word.lower().encode("utf-16-le"))
            if fold(word) in text or (long and any(way in raw for way in ways)):
                raise WriteError(
                    f"the place of sighting {one.record} would leave in {name}; look for it in its "
                    f"name, observer or title (haltere sightings --show {one.record}), and try "
                    "again; nothing was written"
                )
