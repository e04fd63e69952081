"""Addresses of sightings: listing them, writing them down, names to choose from."""

from __future__ import annotations

from dataclasses import fields, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated

from fastapi import APIRouter, Query, Request

from haltere.doors.bench.outings import Number, shelf_of
from haltere.doors.bench.sightings_said import (
    NamesSaid,
    PictureAsked,
    PlaceAsked,
    SightingAsked,
    SightingsSaid,
    VagueAsked,
    WhyAsked,
)
from haltere.doors.bench.sightings_told import told, vague_words
from haltere.errors import UsageError
from haltere.fieldbook import Book, outing_numbered
from haltere.fieldbook.checklists import complete, look_up
from haltere.fieldbook.sensitive import drop_sensitive, keep_sensitive, sensitive_things
from haltere.fieldbook.sightings import (
    Evidence,
    Sighting,
    SightingRow,
    Where,
    change_sighting,
    keep_sighting,
    restore_sighting,
    sighting_numbered,
    sightings,
    versions_of,
    withdraw_sighting,
)
from haltere.records import (
    Asked,
    evidence_named,
    refuse_grid,
    same_animal,
    sighting_from,
    speaks_of,
)

Words = Annotated[str, Query(max_length=200)]

routes = APIRouter(prefix="/api", tags=["sightings"])


@routes.get("/sightings")
def all_sightings(
    request: Request, text: Words = "", outing: int = 0, withdrawn: bool = False
) -> SightingsSaid:
    """List sightings in order of the animals' time."""
    with shelf_of(request).book() as book:
        rows = [
            row
            for row in sightings(book, withdrawn=withdrawn)
            if (not text or speaks_of(row.said, text))
            and (not outing or outing in {one.outing for one in row.said.evidence})
        ]
        return told(book, rows)


@routes.get("/sightings/{sighting}")
def one_sighting(request: Request, sighting: Number) -> SightingsSaid:
    """Tell one sighting with its earlier versions, the newest first."""
    with shelf_of(request).book() as book:
        sighting_numbered(book, sighting)
        return told(book, versions_of(book, sighting)[::-1])


@routes.post("/sightings")
def write_sighting(request: Request, said: SightingAsked) -> SightingsSaid:
    """Write a new sighting down."""
    with shelf_of(request).book() as book:
        return told(book, [_written(book, said, None)])


@routes.post("/sightings/{sighting}")
def rewrite_sighting(request: Request, sighting: Number, said: SightingAsked) -> SightingsSaid:
    """Write a new version of a sighting; the earlier ones are kept."""
    with shelf_of(request).book() as book:
        return told(book, [_written(book, said, sighting)])


@routes.post("/sightings/{sighting}/withdraw")
def withdraw(request: Request, sighting: Number, said: WhyAsked) -> SightingsSaid:
    """Take a sighting out of lists and exports; nothing is deleted."""
    with shelf_of(request).book() as book:
        return told(book, [withdraw_sighting(book, sighting, said.why)])


@routes.post("/sightings/{sighting}/restore")
def restore(request: Request, sighting: Number) -> SightingsSaid:
    """Let a withdrawn sighting stand again."""
    with shelf_of(request).book() as book:
        return told(book, [restore_sighting(book, sighting)])


@routes.get("/names")
def names(
    request: Request,
    text: Words = "",
    latitude_deg: Annotated[float | None, Query(ge=-90, le=90, allow_inf_nan=False)] = None,
    longitude_deg: Annotated[float | None, Query(ge=-180, le=180, allow_inf_nan=False)] = None,
) -> NamesSaid:
    """Find names that begin so, and say whether the place of such an animal is kept vague."""
    where = None
    if latitude_deg is not None and longitude_deg is not None:
        where = Where(latitude_deg, longitude_deg, None, "WGS84", "hand", "by hand")
    with shelf_of(request).book() as book:
        seen = Sighting(text, "certain", "", "", "", look_up(book, text), where=where)
        return NamesSaid(complete(book, text), vague_words(seen, sensitive_things(book)))


@routes.post("/sensitive")
def keep_vague(request: Request, said: VagueAsked) -> SightingsSaid:
    """Keep a species or a place vague in every export."""
    circle = None
    if said.latitude_deg is not None and said.longitude_deg is not None:
        if not (abs(said.latitude_deg) <= 90 and abs(said.longitude_deg) <= 180):
            raise UsageError("This is no place on Earth; give degrees, south and west negative.")
        if not 0 < said.radius_m <= 1e6:
            raise UsageError("The radius is a number of metres above zero.")
        circle = (said.latitude_deg, said.longitude_deg, said.radius_m)
    name = " ".join((said.species or "").split()) or None
    with shelf_of(request).book() as book:
        refuse_grid(said.grid_deg)
        keep_sensitive(book, said.grid_deg, name=name, circle=circle, why=said.why)
        return told(book, sightings(book))


@routes.post("/sensitive/{thing}/drop")
def vague_no_longer(request: Request, thing: Number) -> SightingsSaid:
    """Keep a species or a place vague no longer."""
    with shelf_of(request).book() as book:
        drop_sensitive(book, thing)
        return told(book, sightings(book))


def _written(book: Book, said: SightingAsked, change: int | None) -> SightingRow:
    """Put a sighting together as the command line does, and write it down."""
    from haltere.doors.cli.sight import zone_named

    before = None if change is None else sighting_numbered(book, change).said
    words = {
        field.name: getattr(said, field.name)
        for field in fields(SightingAsked)
        if field.name not in ("evidence", "when", "time_zone", "clock_s", "place", "another")
    }
    evidence = None if said.evidence is None else _evidence(book, said.evidence)
    zone = None if not said.time_zone else zone_named(said.time_zone)
    with TemporaryDirectory() as folder:
        asked = _placed(said.place, Asked(said.when or None, zone, said.clock_s), Path(folder))
        new = sighting_from(book, words, asked, evidence, before)
    if said.place is not None and said.place.how == "none":
        new = replace(new, where=None)
    shared = None if said.another or evidence is None else same_animal(book, new, change)
    if shared is not None:
        row, picture = shared
        raise UsageError(
            f"{picture.kind} {picture.name} already shows sighting {row.id} ({row.said.name}); "
            "change that one, or say that this is a second animal"
        )
    return keep_sighting(book, new) if change is None else change_sighting(book, change, new)


def _evidence(book: Book, pictures: tuple[PictureAsked, ...]) -> tuple[Evidence, ...]:
    found: list[Evidence] = []
    for one in pictures:
        outing = outing_numbered(book, one.outing)
        merged = one.kind == "merge"
        found += evidence_named(
            book, outing, () if merged else (one.name,), (one.name,) if merged else ()
        )
    return tuple(dict.fromkeys(found))


def _placed(place: PlaceAsked | None, asked: Asked, folder: Path) -> Asked:
    """Add where the place shall come from; a track's text is laid into a folder."""
    if place is None or place.how == "none":
        return asked
    if place.how == "exif":
        return replace(asked, exif=True)
    if place.how == "hand":
        if place.latitude_deg is None or place.longitude_deg is None:
            raise UsageError("A place by hand is two numbers: latitude and longitude.")
        at = (place.latitude_deg, place.longitude_deg)
        return replace(asked, at=at, within_m=place.within_m, datum=place.datum or None)
    if not place.track:
        raise UsageError("Choose the file of your track first.")
    name = Path(place.track_name.replace("\\", "/")).name or "track.gpx"
    path = folder / "".join(sign if sign.isalnum() or sign in "-_. " else "_" for sign in name)
    path.write_text(place.track, encoding="utf-8")
    return replace(asked, track=path)
