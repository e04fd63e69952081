"""Sightings, checklists and places to keep vague, in plain text and as JSON."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from haltere.doors.cli.saying import say

if TYPE_CHECKING:
    from haltere.fieldbook.sightings import Named, SightingRow, Where


def row_said(row: SightingRow) -> dict[str, Any]:
    """Turn a sighting into plain lists and dictionaries."""
    return {
        "id": row.id,
        "occurrence_id": row.occurrence,
        "version": row.version,
        "written": row.written,
        "withdrawn": row.withdrawn,
        **asdict(row.said),
    }


def say_row(row: SightingRow) -> None:
    """Print one line a sighting."""
    one = row.said
    place = one.locality or (point(one.where) if one.where else "no place")
    gone = f"  withdrawn: {row.withdrawn or 'no reason given'}" if row.withdrawn is not None else ""
    number = f"{one.count} x " if one.count > 1 else ""
    say(f"{row.id:>4}  {one.when[:16].replace('T', ' ')}  {number}{named(row)}  {place}{gone}")


def named(row: SightingRow) -> str:
    """Give the name with its doubt, and the accepted one where they differ."""
    one = row.said
    doubt = {"certain": "", "likely": " (likely)", "unsure": " (unsure)"}[one.certainty]
    other = one.named is not None and one.named.accepted != one.named.name
    return f"{one.name}{doubt}" + (f", now {one.named.accepted}" if other and one.named else "")


def point(where: Where) -> str:
    """Write a place as a person reads it."""
    error = "" if where.uncertainty_m is None else f" within {where.uncertainty_m:g} m"
    datum = "" if where.datum == "WGS84" else f", {where.datum}"
    return f"{where.latitude_deg:.5f}, {where.longitude_deg:.5f}{error}{datum}"


def say_whole(row: SightingRow) -> None:
    """Print all that is known of a sighting."""
    one = row.said
    say(f"Sighting {row.id}: {named(row)}")
    about = (
        ("seen", one.when.replace("T", " ")),
        ("by", one.observer),
        ("named by", one.determined_by if one.determined_by != one.observer else ""),
        ("count", str(one.count)),
        ("stage", one.life_stage),
        ("sex", one.sex),
        ("doing", one.behaviour),
        ("on", one.plant),
        ("place", point(one.where) + f" ({one.where.how})" if one.where else "not said"),
        ("locality", ", ".join(word for word in (one.locality, one.country) if word)),
        ("note", one.note),
        ("kept vague", "yes, you asked for it" if one.sensitive else ""),
        ("checklist", one.named.checklist if one.named else "not on a checklist"),
        ("family", one.named.rest.get("family", "") if one.named else ""),
    )
    for what, words in about:
        if words:
            say(f"  {what:<11}{words}")
    for picture in one.evidence:
        say(f"  picture    {picture.kind} {picture.name}, outing {picture.outing}")
    say(f"  record     {row.occurrence}, version {row.version}")
    if row.withdrawn is not None:
        say(f"  withdrawn  {row.withdrawn or 'no reason given'}")


def say_name(one: Named) -> None:
    """Print one line a name of a checklist."""
    now = f"  -> {one.accepted}" if one.accepted != one.name else ""
    common = f"  {one.vernacular}" if one.vernacular else ""
    family = one.rest.get("family", "")
    say(f"{one.name}{now}{common}" + (f"  ({family})" if family else ""))
