"""Lets sightings leave the book: chosen, made vague where they must be, searched, written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from haltere.errors import HaltereError, NothingToDoError, UsageError
from haltere.fieldbook.book import Book
from haltere.fieldbook.sensitive import sensitive_things
from haltere.fieldbook.sightings import SightingRow, sightings
from haltere.frames.frame import Skipped
from haltere.frames.writing import make_folder, write_bytes
from haltere.progress import Progress, silent
from haltere.records.archive import (
    csv_text,
    eml_xml,
    geojson_text,
    meta_xml,
    tab_text,
    zipped,
)
from haltere.records.leaks import free_words, hidden_in, refuse_leaks
from haltere.records.pictures import Shown, Size, copies, pictures_of
from haltere.records.terms import (
    LICENCES,
    MEDIA,
    OCCURRENCE,
    Titles,
    day_or_hour,
    occurrence,
    one_line,
)
from haltere.records.track import distance_m
from haltere.records.vague import Places, Told, place_of, refuse_grid

FORMATS = ("archive", "csv", "geojson")
NEIGHBOUR_M = 1000.0
"""Two records of one day this near to each other were made on the same walk (assumed)."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What shall leave, and how exactly.

    Attributes
    ----------
    places : {"none", "grid", "exact"}
        How exactly places are told; asked for each time.
    grid_deg : float
        Side of the grid, degrees.
    pictures : {"none", "small", "full"}
        Which pictures go along in the archive.
    formats : tuple of str
        Of `FORMATS`.
    outing : int or None
        Only sightings with pictures of this outing.
    since, until : str
        First and last day, ISO 8601; empty for all.
    """

    places: Places = "none"
    grid_deg: float = 0.1
    pictures: Size = "small"
    formats: tuple[str, ...] = ("archive",)
    outing: int | None = None
    since: str = ""
    until: str = ""


@dataclass(frozen=True, slots=True)
class Exported:
    """What left.

    Attributes
    ----------
    files : tuple of str
        Files that were written.
    records, exact, vague, withheld : int
        How many sightings; with the exact place, with one on a grid, without.
    pictures : int
        How many pictures went along.
    near : int
        Vague records that an exact one, of the same day and within a kilometre, gives away.
    skipped : tuple of Skipped
        Pictures that did not go along, and why.
    """

    files: tuple[str, ...]
    records: int
    exact: int
    vague: int
    withheld: int
    pictures: int
    near: int
    skipped: tuple[Skipped, ...]


def observers_of(rows: Sequence[SightingRow]) -> tuple[str, ...]:
    """Name who saw the animals, each once.

    Parameters
    ----------
    rows : sequence of SightingRow
        Sightings.
    """
    return tuple(dict.fromkeys(row.said.observer for row in rows if row.said.observer))


def makers(rows: Sequence[SightingRow], creator: str = "") -> str:
    """Say who made some records: who was named, else all observers.

    Parameters
    ----------
    rows : sequence of SightingRow
        Sightings.
    creator : str, optional
        Who was named.

    Returns
    -------
    str
        In one line.

    Raises
    ------
    UsageError
        When nobody is known.
    """
    who = one_line(creator) or one_line(", ".join(observers_of(rows)))
    if not who:
        raise UsageError("who made these records? --creator NAME says it")
    return who


def export(
    book: Book, wanted: Wanted, titles: Titles, out: Path, progress: Progress = silent
) -> Exported:
    """Write sightings for other programs; nothing is written if a hidden place is found in it.

    Holds all pictures of the archive at once.

    Parameters
    ----------
    book : Book
        Open book.
    wanted : Wanted
        What shall leave.
    titles : Titles
        What is said of the set.
    out : Path
        Folder for the files.
    progress : Progress, optional
        Told of each picture.

    Returns
    -------
    Exported
        What left, and how exactly.

    Raises
    ------
    UsageError
        When the grid, the licence or the format makes no sense.
    NothingToDoError
        When no sighting fits.
    WriteError
        When the disk refuses, or a place that must not be told was found.
    """
    _refuse(wanted, titles)
    rows = _chosen(book, wanted)
    if not rows:
        raise NothingToDoError("no sighting fits; haltere sightings lists those that stand")
    things = sensitive_things(book)
    told = [place_of(row.said, wanted.places, wanted.grid_deg, things) for row in rows]
    cells, vague = [], []
    for row, one in zip(rows, told, strict=True):
        words, one_vague = free_words(row, one)
        vague.append(one_vague)
        cells.append(occurrence(row, one_vague, titles, words))
    newest = max(row.written for row in rows)
    files: list[tuple[str, bytes]] = []
    shown: list[tuple[Shown, str]] = []
    skipped: list[Skipped] = []
    if "archive" in wanted.formats and wanted.pictures != "none":
        files, shown, skipped = _pictures(book, wanted, titles, rows, progress)
    if "archive" in wanted.formats:
        about = (
            "Sightings of animals with photographs made by hand at close range, kept and exported "
            f"with haltere; records: {len(rows)}."
        )
        media = _media(shown, rows, vague, titles)
        heads = ["coreid", *(name for name, _ in MEDIA)]
        inside = [
            ("meta.xml", meta_xml(media=bool(media))),
            ("eml.xml", eml_xml(titles, about, [row.occurrence for row in rows], newest)),
            ("occurrence.txt", tab_text([name for name, _ in OCCURRENCE], cells)),
            *([("multimedia.txt", tab_text(heads, media))] if media else []),
            *files,
        ]
    else:
        inside = []
    plain = [
        (name, write(cells))
        for form, name, write in (
            ("csv", "sightings.csv", csv_text),
            ("geojson", "sightings.geojson", geojson_text),
        )
        if form in wanted.formats
    ]
    hidden = hidden_in(zip(rows, vague, strict=True))
    for name, data in (*inside, *plain):
        refuse_leaks(name, data, hidden)
    if inside:
        plain.append(("sightings.zip", zipped(inside, newest)))
    make_folder(out)
    for name, data in plain:
        write_bytes(out / name, data)
    exact = sum(one.exact and bool(one.latitude_deg) for one in told)
    on_grid = sum(one.precision_deg is not None for one in told)
    return Exported(
        tuple(str(out / name) for name, _ in plain),
        len(rows),
        exact,
        on_grid,
        len(rows) - exact - on_grid,
        len(shown),
        _near(rows, told),
        tuple(skipped),
    )


def _refuse(wanted: Wanted, titles: Titles) -> None:
    refuse_grid(wanted.grid_deg)
    if titles.licence not in LICENCES:
        raise UsageError(f"--licence {titles.licence}: expected one of {', '.join(LICENCES)}")
    if wanted.places not in ("none", "grid", "exact"):
        raise UsageError(f"--places {wanted.places}: expected none, grid or exact")
    if wanted.pictures not in ("none", "small", "full"):
        raise UsageError(f"--pictures {wanted.pictures}: expected none, small or full")
    for form in wanted.formats:
        if form not in FORMATS:
            raise UsageError(f"--format {form}: expected one of {', '.join(FORMATS)}")
    for option, day in (("since", wanted.since), ("until", wanted.until)):
        try:
            datetime.fromisoformat(day or "2031-06-14")
        except ValueError:
            raise UsageError(f"--{option} {day}: give a day as 2031-06-14") from None
    if wanted.since and wanted.until and wanted.until[:10] < wanted.since[:10]:
        raise UsageError(f"--until {wanted.until} lies before --since {wanted.since}: swap them")


def _chosen(book: Book, wanted: Wanted) -> list[SightingRow]:
    return [
        row
        for row in sightings(book)
        if (wanted.outing is None or wanted.outing in {one.outing for one in row.said.evidence})
        and (not wanted.since or row.said.when[:10] >= wanted.since[:10])
        and (not wanted.until or row.said.when[:10] <= wanted.until[:10])
    ]


def _pictures(
    book: Book,
    wanted: Wanted,
    titles: Titles,
    rows: Sequence[SightingRow],
    progress: Progress,
) -> tuple[list[tuple[str, bytes]], list[tuple[Shown, str]], list[Skipped]]:
    files: list[tuple[str, bytes]] = []
    shown: list[tuple[Shown, str]] = []
    skipped: list[Skipped] = []
    chosen = []
    owner = {}
    for row in rows:
        found, left = pictures_of(book, row)
        skipped += left
        creator = row.said.observer or titles.creator
        rights = f"{titles.rights_holder or creator}, {LICENCES[titles.licence]}"
        for one in found:
            owner[one.name] = row.occurrence
            chosen.append((one, creator, rights))
    for number, (one, data) in enumerate(copies(chosen, wanted.pictures), 1):
        progress("copying pictures", number, len(chosen))
        if isinstance(data, HaltereError):
            skipped.append(Skipped(one.frame.name, str(data)))
            continue
        files.append((f"pictures/{one.name}", data))
        shown.append((one, owner[one.name]))
    return files, shown, skipped


def _media(
    shown: Sequence[tuple[Shown, str]],
    rows: Sequence[SightingRow],
    told: Sequence[Told],
    titles: Titles,
) -> list[list[str]]:
    by_id = {row.occurrence: (row, one) for row, one in zip(rows, told, strict=True)}
    lines = []
    for one, occurrence_id in shown:
        row, place = by_id[occurrence_id]
        cells = {
            "type": "StillImage",
            "format": "image/jpeg",
            "identifier": f"pictures/{one.name}",
            "title": row.said.name,
            "description": one.about,
            "created": day_or_hour(row, place),
            "creator": row.said.observer or titles.creator,
            "license": LICENCES[titles.licence],
            "rightsHolder": titles.rights_holder or row.said.observer,
        }
        lines.append([occurrence_id, *(cells[name] for name, _ in MEDIA)])
    return lines


def _near(rows: Sequence[SightingRow], told: Sequence[Told]) -> int:
    """Count vague records that an exact one of the same day nearby gives away."""
    exact = [
        (row.said.when[:10], row.said.where)
        for row, one in zip(rows, told, strict=True)
        if one.exact and row.said.where is not None
    ]
    near = 0
    for row, one in zip(rows, told, strict=True):
        where = row.said.where
        if one.exact or where is None:
            continue
        here = (where.latitude_deg, where.longitude_deg)
        near += any(
            day == row.said.when[:10]
            and distance_m(here, (at.latitude_deg, at.longitude_deg)) <= NEIGHBOUR_M
            for day, at in exact
        )
    return near
