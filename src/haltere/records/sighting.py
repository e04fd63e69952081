"""Puts a sighting together from pictures, a track and the person's words."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import datetime, timedelta, tzinfo
from pathlib import Path
from typing import Any

from haltere.errors import FrameError, UsageError
from haltere.fieldbook.book import Book
from haltere.fieldbook.catalogue import OutingRow, frames_in, run_named, runs_in
from haltere.fieldbook.checklists import fold, look_up
from haltere.fieldbook.sightings import (
    Evidence,
    Sighting,
    SightingRow,
    Where,
    sightings,
)
from haltere.fieldbook.steps import steps_of
from haltere.frames.frame import Frame
from haltere.frames.position import read_position
from haltere.records.track import distance_m, read_track, where_at

CERTAINTIES = ("certain", "likely", "unsure")
MOST_WORDS = 500
"""A longer word than this is a letter, not a field of a record."""
MOST_ANIMALS = 1_000_000
LONGEST_DATUM = 40
EXIF_M = 20.0
"""Error of a camera's or a phone's position where it gives none (assumed)."""


@dataclass(frozen=True, slots=True)
class Asked:
    """Where the time and the place of a sighting shall come from.

    Attributes
    ----------
    when : str or None
        Local time in ISO 8601; None takes it from the first picture.
    zone : tzinfo or None
        Of times that have no offset of their own; None takes this computer's.
    clock_s : float
        Added to the pictures' times.
    track : Path or None
        GPX file.
    exif : bool
        Take the place from a picture's own data.
    at : tuple of float or None
        Latitude and longitude by hand, degrees.
    within_m : float or None
        Uncertainty by hand.
    datum : str or None
        What the degrees by hand count from.
    """

    when: str | None = None
    zone: tzinfo | None = None
    clock_s: float = 0.0
    track: Path | None = None
    exif: bool = False
    at: tuple[float, float] | None = None
    within_m: float | None = None
    datum: str | None = None


def evidence_named(
    book: Book, outing: OutingRow, names: Sequence[str], merged: Sequence[str] = ()
) -> tuple[Evidence, ...]:
    """Find the pictures that words mean: frames, runs, merged pictures of runs.

    Parameters
    ----------
    book : Book
        Open book.
    outing : OutingRow
        Their outing.
    names : sequence of str
        Frames, the last part of the name is enough; or ids of runs.
    merged : sequence of str, optional
        Ids of runs whose merged picture is meant.

    Returns
    -------
    tuple of Evidence
        In the order given, each once.

    Raises
    ------
    UsageError
        When one is not there, or a short name fits several.
    """
    runs = {run.id for run in runs_in(book, outing.id)}
    frames = [frame.name for frame in frames_in(book, outing.id)]
    found = []
    for name in names:
        same = [one for one in frames if name in (one, one.rpartition("/")[2])]
        if name in runs:
            found.append(Evidence("run", outing.id, name))
        elif len(same) == 1:
            found.append(Evidence("frame", outing.id, same[0]))
        elif same:
            raise UsageError(f"{name}: {len(same)} frames are called so; say {same[0]} or another")
        else:
            raise UsageError(
                f"{name}: is no frame and no run of outing {outing.title}; haltere book --outing "
                f"{outing.id} lists them"
            )
    done = {step.subject for step in steps_of(book, outing.id) if step.verb == "merge"}
    for name in merged:
        run_named(book, outing.id, name)
        if name not in done:
            raise UsageError(f"--merged {name}: is not merged yet; haltere merge --run {name} is")
        found.append(Evidence("merge", outing.id, name))
    return tuple(dict.fromkeys(found))


def frames_of(book: Book, evidence: Sequence[Evidence]) -> tuple[Frame, ...]:
    """Give the frames behind some evidence, each once.

    Parameters
    ----------
    book : Book
        Open book.
    evidence : sequence of Evidence
        Pictures of a sighting; runs that are no more are left out.

    Returns
    -------
    tuple of Frame
        In order of time within each outing.
    """
    found: dict[tuple[int, str], Frame] = {}
    for outing in dict.fromkeys(one.outing for one in evidence):
        runs = {run.id: run.frames for run in runs_in(book, outing)}
        wanted: set[str] = set()
        for one in evidence:
            if one.outing == outing:
                wanted |= {one.name} if one.kind == "frame" else set(runs.get(one.name, ()))
        found |= {(outing, f.name): f for f in frames_in(book, outing) if f.name in wanted}
    return tuple(found.values())


def sighting_from(
    book: Book,
    words: Mapping[str, Any],
    asked: Asked,
    evidence: tuple[Evidence, ...] | None,
    before: Sighting | None = None,
) -> Sighting:
    """Put a sighting together, or change one.

    Parameters
    ----------
    book : Book
        Open book; its checklists are asked for the name.
    words : mapping
        Attribute of `Sighting` to what the person wrote; None leaves what was said before.
    asked : Asked
        Where time and place shall come from; nothing in it leaves both as they were.
    evidence : tuple of Evidence or None
        Its pictures; None leaves them.
    before : Sighting, optional
        What was said before.

    Returns
    -------
    Sighting
        Checked.

    Raises
    ------
    UsageError
        When something is missing or makes no sense.
    FrameError
        When the track can't be read.
    """
    given = {key: value for key, value in words.items() if value is not None}
    pictures = evidence if evidence is not None else (before.evidence if before else ())
    frames = frames_of(book, pictures)
    name = given.get("name", before.name if before else None)
    if not name or not str(name).strip():
        raise UsageError("what was it? --name takes the name as you would say it")
    renewed = before is None or asked.when or asked.clock_s or evidence is not None
    when = _when(asked, frames) if renewed or before is None else before.when
    where = _where(asked, frames, when) or (before.where if before else None)
    if before is None:
        start = Sighting("", "certain", "", "", "")
        given.setdefault("determined_by", given.get("observer", ""))
    else:
        start = before
    known = {field.name for field in fields(Sighting)}
    said = replace(
        start,
        **{key: _cleaned(key, value) for key, value in given.items() if key in known},
        when=when,
        where=where,
        evidence=pictures,
    )
    said = replace(said, named=look_up(book, said.name) or _kept(before, said.name))
    return _checked(said)


def same_animal(
    book: Book, said: Sighting, but: int | None = None
) -> tuple[SightingRow, Evidence] | None:
    """Find a sighting that rests on the same picture: one animal and visit is one record.

    Parameters
    ----------
    book : Book
        Open book.
    said : Sighting
        What is to be written down.
    but : int, optional
        A sighting not to look at: the one that is changed.

    Returns
    -------
    tuple of SightingRow and Evidence, or None
        The first that shares a picture; None when there is none.
    """
    runs: dict[int, dict[str, tuple[str, ...]]] = {}

    def names(one: Evidence) -> set[tuple[int, str]]:
        if one.kind == "frame":
            return {(one.outing, one.name)}
        if one.outing not in runs:
            runs[one.outing] = {run.id: run.frames for run in runs_in(book, one.outing)}
        return {(one.outing, name) for name in runs[one.outing].get(one.name, ())}

    mine = set().union(*(names(one) for one in said.evidence))
    for row in sightings(book) if mine else ():
        for one in row.said.evidence:
            if row.id != but and mine & names(one):
                return row, one
    return None


def _kept(before: Sighting | None, name: str) -> Any:
    """Keep what a checklist said, when it is gone and the name is the same."""
    return before.named if before is not None and before.name == name else None


def _cleaned(key: str, value: Any) -> Any:
    if not isinstance(value, str):
        return value
    text = " ".join(unicodedata.normalize("NFC", value).split())
    option = key.replace("_", "-")
    if len(text) > MOST_WORDS:
        raise UsageError(f"--{option}: is longer than {MOST_WORDS} letters; say it shorter")
    if not text.isprintable():
        raise UsageError(f"--{option}: holds signs that can't be printed; write it anew")
    return text


def _checked(said: Sighting) -> Sighting:
    if said.certainty not in CERTAINTIES:
        raise UsageError(f"--certainty {said.certainty}: expected {', '.join(CERTAINTIES)}")
    if not 1 <= said.count <= MOST_ANIMALS:
        raise UsageError(f"--count {said.count}: a sighting is of at least one animal")
    if said.country and not re.fullmatch(r"[A-Za-z]{2}", said.country):
        raise UsageError(f"--country {said.country}: give two letters, as PT")
    return replace(said, country=said.country.upper())


def _when(asked: Asked, frames: Sequence[Frame]) -> str:
    if asked.when is not None:
        try:
            moment = datetime.fromisoformat(asked.when)
        except ValueError:
            raise UsageError(f"--when {asked.when}: give it as 2031-06-14T18:04") from None
    else:
        times = [frame.shooting.time for frame in frames if frame.shooting.time is not None]
        if not times:
            raise UsageError("no picture tells the time; give --when 2031-06-14T18:04")
        moment = min(times, key=lambda time: time.replace(tzinfo=None))
        try:
            moment += timedelta(seconds=asked.clock_s)
        except OverflowError:
            raise UsageError("--clock moves the pictures out of the calendar") from None
    if not 1990 <= moment.year <= 2100:
        raise UsageError(f"{moment:%Y-%m-%d}: is no day of a digital picture; give --when")
    if asked.when is not None and len(asked.when) <= 10:
        return moment.date().isoformat()  # a day is known, no hour
    if moment.tzinfo is None:
        moment = moment.astimezone() if asked.zone is None else moment.replace(tzinfo=asked.zone)
    return moment.isoformat(timespec="seconds")


def _where(asked: Asked, frames: Sequence[Frame], when: str) -> Where | None:
    ways = [asked.track is not None, asked.exif, asked.at is not None]
    if sum(ways) > 1:
        raise UsageError("--gpx, --exif-place and --at exclude each other; give one")
    if asked.at is None and (asked.within_m is not None or asked.datum is not None):
        raise UsageError("--within and --datum belong to --at LATITUDE,LONGITUDE")
    if asked.within_m is not None and not 0 < asked.within_m <= 1e6:
        raise UsageError("--within needs metres above zero")
    if asked.at is not None:
        latitude, longitude = asked.at
        if not (abs(latitude) <= 90 and abs(longitude) <= 180):
            raise UsageError(f"--at {latitude:g},{longitude:g}: is no place on Earth")
        datum = _cleaned("datum", asked.datum or "WGS84")
        if len(datum) > LONGEST_DATUM:
            raise UsageError("--datum: give its short name, as WGS84 or EPSG:4258")
        return Where(latitude, longitude, asked.within_m, datum, "hand", "by hand")
    if asked.track is not None:
        moment = datetime.fromisoformat(when)
        if moment.tzinfo is None:
            raise UsageError("a track needs the hour; give --when 2031-06-14T18:04")
        return where_at(read_track(asked.track), moment, asked.track.name)
    return _exif(frames) if asked.exif else None


def _exif(frames: Sequence[Frame]) -> Where:
    found = [(frame, place) for frame in frames if (place := read_position(frame.path)) is not None]
    if not found:
        raise FrameError("no picture of this sighting holds a place; give --gpx or --at")
    frame, place = found[0]
    point = (place.latitude_deg, place.longitude_deg)
    error = place.error_m or EXIF_M
    apart = max(distance_m(point, (p.latitude_deg, p.longitude_deg)) for _, p in found)
    return Where(
        *point,
        math.ceil(error + apart),
        place.datum or "WGS84",
        "exif",
        f"the data of {frame.name}" + ("" if place.error_m else f", {EXIF_M:.0f} m assumed"),
    )


def speaks_of(said: Sighting, text: str) -> bool:
    """Tell whether a sighting holds some words.

    Parameters
    ----------
    said : Sighting
        The sighting.
    text : str
        Part of a name, plant, locality, note or observer.

    Returns
    -------
    bool
        Capitals and accents apart.
    """
    words = [said.name, said.plant, said.locality, said.note, said.behaviour, said.observer]
    if said.named is not None:
        words += [said.named.name, said.named.accepted, said.named.vernacular]
    return fold(text) in fold(" | ".join(words))
