"""Sightings: one animal, one visit, one record, with every earlier version of what was said."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import Literal

from haltere.errors import UsageError
from haltere.fieldbook.book import Book, now

Certainty = Literal["certain", "likely", "unsure"]
WhereFrom = Literal["track", "exif", "hand"]
EvidenceKind = Literal["frame", "run", "merge"]


@dataclass(frozen=True, slots=True)
class Where:
    """A point on the Earth, and how well it is known.

    Attributes
    ----------
    latitude_deg, longitude_deg : float
        Degrees, north and east positive.
    uncertainty_m : float or None
        Radius of the circle that holds the animal's place; None when nobody knows.
    datum : str
        What the degrees count from, "WGS84" unless said.
    source : {"track", "exif", "hand"}
        Where it comes from.
    how : str
        The same in words.
    """

    latitude_deg: float
    longitude_deg: float
    uncertainty_m: float | None
    datum: str
    source: WhereFrom
    how: str


@dataclass(frozen=True, slots=True)
class Named:
    """What a checklist says of a name.

    Attributes
    ----------
    checklist : str
        Title of the checklist.
    key : str
        The name's own number there.
    name : str
        The name as the checklist writes it.
    accepted : str
        The accepted name; the same where the name is accepted itself.
    vernacular : str
        Common name, or empty.
    rest : dict
        Rank, authorship, kingdom to genus, by the standard's term names.
    """

    checklist: str
    key: str
    name: str
    accepted: str
    vernacular: str
    rest: dict[str, str]


@dataclass(frozen=True, slots=True)
class Evidence:
    """What shows the animal: a frame, a run, or a merged picture.

    Attributes
    ----------
    kind : {"frame", "run", "merge"}
        What it is.
    outing : int
        Number of the outing.
    name : str
        Name of the frame, or id of the run.
    """

    kind: EvidenceKind
    outing: int
    name: str


@dataclass(frozen=True, slots=True)
class Sighting:
    """What is said of one animal on one visit.

    Attributes
    ----------
    name : str
        As the person wrote it.
    certainty : {"certain", "likely", "unsure"}
        How sure the name is.
    determined_by, observer : str
        Who named it, and who saw it.
    when : str
        Local time, ISO 8601, with its offset from UTC where that is known.
    named : Named or None
        What the checklist says; None when the name is on none.
    life_stage, sex, behaviour, plant, locality, country, note : str
        In the person's words; the country by its two letters.
    count : int
        How many animals.
    where : Where or None
        The point.
    evidence : tuple of Evidence
        Pictures.
    sensitive : bool
        The person asks that the exact place of this one never leaves.
    """

    name: str
    certainty: Certainty
    determined_by: str
    observer: str
    when: str
    named: Named | None = None
    life_stage: str = ""
    sex: str = ""
    count: int = 1
    behaviour: str = ""
    plant: str = ""
    where: Where | None = None
    locality: str = ""
    country: str = ""
    note: str = ""
    evidence: tuple[Evidence, ...] = ()
    sensitive: bool = False


@dataclass(frozen=True, slots=True)
class SightingRow:
    """One version of a sighting.

    Attributes
    ----------
    id : int
        Its number in the book.
    occurrence : str
        Its occurrenceID, minted once.
    version : int
        From 1.
    written : str
        When this was said, UTC.
    withdrawn : str or None
        Why it was withdrawn; None while it stands.
    said : Sighting
        What is said.
    """

    id: int
    occurrence: str
    version: int
    written: str
    withdrawn: str | None
    said: Sighting


def keep_sighting(book: Book, said: Sighting) -> SightingRow:
    """Write a new sighting down and mint its occurrenceID.

    Parameters
    ----------
    book : Book
        Open book.
    said : Sighting
        What is said.

    Returns
    -------
    SightingRow
        Its first version.
    """
    with book.writing() as rows:
        number = rows.execute(
            "INSERT INTO sighting (occurrence, minted) VALUES (?, ?)", (uuid.uuid4().urn, now())
        ).lastrowid
        assert number is not None
        _write(book, number, 1, "stands", "", said)
    return sighting_numbered(book, number)


def change_sighting(book: Book, number: int, said: Sighting) -> SightingRow:
    """Write a new version of a sighting; the earlier ones are kept.

    Parameters
    ----------
    book : Book
        Open book.
    number : int
        The sighting.
    said : Sighting
        What is said from now on.

    Returns
    -------
    SightingRow
        The new version; the old one when nothing changed.

    Raises
    ------
    UsageError
        When there is no such sighting, or it is withdrawn.
    """
    before = sighting_numbered(book, number)
    if before.withdrawn is not None:
        raise UsageError(
            f"sighting {number} is withdrawn; haltere sight --restore {number} brings it back"
        )
    if said == before.said:
        return before
    with book.writing():
        _write(book, number, before.version + 1, "stands", "", said)
    return sighting_numbered(book, number)


def withdraw_sighting(book: Book, number: int, why: str) -> SightingRow:
    """Take a sighting out of lists and exports; nothing is deleted.

    Parameters
    ----------
    book : Book
        Open book.
    number : int
        The sighting.
    why : str
        In the person's words.

    Returns
    -------
    SightingRow
        Its last version.

    Raises
    ------
    UsageError
        When there is no such sighting, or it is withdrawn already.
    """
    before = sighting_numbered(book, number)
    if before.withdrawn is not None:
        raise UsageError(f"sighting {number} is withdrawn already")
    with book.writing():
        _write(book, number, before.version + 1, "withdrawn", why, before.said)
    return sighting_numbered(book, number)


def restore_sighting(book: Book, number: int) -> SightingRow:
    """Let a withdrawn sighting stand again, under its old occurrenceID.

    Parameters
    ----------
    book : Book
        Open book.
    number : int
        The sighting.

    Returns
    -------
    SightingRow
        Its last version.

    Raises
    ------
    UsageError
        When there is no such sighting, or it stands.
    """
    before = sighting_numbered(book, number)
    if before.withdrawn is None:
        raise UsageError(f"sighting {number} is not withdrawn")
    with book.writing():
        _write(book, number, before.version + 1, "stands", "", before.said)
    return sighting_numbered(book, number)


def sighting_numbered(book: Book, number: int) -> SightingRow:
    """Give the last version of a sighting.

    Parameters
    ----------
    book : Book
        Open book.
    number : int
        Its number in the book.

    Returns
    -------
    SightingRow
        The one.

    Raises
    ------
    UsageError
        When there is none of that number.
    """
    versions = versions_of(book, number)
    if not versions:
        raise UsageError(f"{number}: is no sighting of this book; haltere sightings lists them")
    return versions[-1]


def versions_of(book: Book, number: int) -> tuple[SightingRow, ...]:
    """Give every version of a sighting, oldest first.

    Parameters
    ----------
    book : Book
        Open book.
    number : int
        Its number in the book.

    Returns
    -------
    tuple of SightingRow
        Empty when there is none.
    """
    return _rows(book, "WHERE s.id = ? ORDER BY v.version", number)


def sightings(book: Book, *, withdrawn: bool = False) -> tuple[SightingRow, ...]:
    """Give the last version of every sighting, in order of the animals' time.

    Parameters
    ----------
    book : Book
        Open book.
    withdrawn : bool, optional
        Those that were withdrawn, too.

    Returns
    -------
    tuple of SightingRow
        All of them.
    """
    last = (
        "WHERE v.version = (SELECT max(version) FROM sighting_version w WHERE w.sighting_id = s.id)"
        " AND v.state IN ('stands', ?)"
    )
    found = _rows(book, last, "withdrawn" if withdrawn else "stands")
    return tuple(sorted(found, key=lambda row: (row.said.when, row.id)))


def _rows(book: Book, which: str, *given: object) -> tuple[SightingRow, ...]:
    import msgspec

    rows = book.connection.execute(
        "SELECT s.id, s.occurrence, v.version, v.written, v.state, v.why, v.said FROM sighting s "
        f"JOIN sighting_version v ON v.sighting_id = s.id {which}",
        given,
    )
    return tuple(
        SightingRow(
            int(row[0]),
            row[1],
            int(row[2]),
            row[3],
            row[5] if row[4] == "withdrawn" else None,
            msgspec.json.decode(row[6].encode(), type=Sighting),
        )
        for row in rows
    )


def _write(book: Book, number: int, version: int, state: str, why: str, said: Sighting) -> None:
    import msgspec

    book.connection.execute(
        "INSERT INTO sighting_version (sighting_id, version, state, why, said, written) "
        "VALUES (?, ?, ?, ?, ?, ?)",
        (number, version, state, why, msgspec.json.encode(said).decode(), now()),
    )
