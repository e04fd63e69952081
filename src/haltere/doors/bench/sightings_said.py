"""What the bench says and hears of sightings, one shape an answer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field

from haltere.fieldbook.checklists import ChecklistRow
from haltere.fieldbook.sensitive import Sensitive
from haltere.fieldbook.sightings import Evidence, Named, Where
from haltere.frames.frame import Skipped

Line = Annotated[str, Field(max_length=500)]
Degrees = Annotated[float, Field(strict=True, ge=-400, le=400, allow_inf_nan=False)]
Metres = Annotated[float, Field(strict=True, ge=0, le=1e7, allow_inf_nan=False)]
Number = Annotated[int, Field(strict=True, ge=1, le=2**53)]
PlacesWord = Literal["none", "grid", "exact"]


@dataclass(frozen=True, slots=True)
class Pictured:
    """One piece of evidence as it can be shown.

    Attributes
    ----------
    kind, outing, name : str, int, str
        As the sighting names it.
    frame : int or None
        Number of a frame that shows it; None when none is left in the book.
    rev : str
        Changes with the file.
    run : str
        Run that it belongs to, for addresses; empty where there is none.
    """

    kind: Literal["frame", "run", "merge"]
    outing: int
    name: str
    frame: int | None
    rev: str
    run: str


@dataclass(frozen=True, slots=True)
class SightingSaid:
    """One version of a sighting, with the keys of the command line.

    Attributes
    ----------
    id, occurrence_id, version, written, withdrawn : int or str
        Its number, the number that goes with it everywhere, and what became of it.
    kept_vague : str or None
        Why its exact place never leaves; None when it may.
    pictured : tuple of Pictured
        Its evidence as it can be shown.
    """

    id: int
    occurrence_id: str
    version: int
    written: str
    withdrawn: str | None
    name: str
    certainty: Literal["certain", "likely", "unsure"]
    determined_by: str
    observer: str
    when: str
    named: Named | None
    life_stage: str
    sex: str
    count: int
    behaviour: str
    plant: str
    where: Where | None
    locality: str
    country: str
    note: str
    evidence: tuple[Evidence, ...]
    sensitive: bool
    kept_vague: str | None
    pictured: tuple[Pictured, ...]


@dataclass(frozen=True, slots=True)
class SightingsSaid:
    """Sightings in order of the animals' time.

    Attributes
    ----------
    sightings : tuple of SightingSaid
        The last version of each, or every version of one.
    checklists : tuple of ChecklistRow
        Lists that names are found on.
    sensitive : tuple of Sensitive
        Species and places that are kept vague.
    observers : tuple of str
        Who saw the ones before, the newest first.
    caution, caution_leaving : str
        What stands beside a sighting, and before anything leaves.
    """

    sightings: tuple[SightingSaid, ...]
    checklists: tuple[ChecklistRow, ...]
    sensitive: tuple[Sensitive, ...]
    observers: tuple[str, ...]
    caution: str
    caution_leaving: str


@dataclass(frozen=True, slots=True)
class NamesSaid:
    """Names that begin so, and whether the place of such an animal is kept vague."""

    names: tuple[Named, ...]
    kept_vague: str | None


@dataclass(frozen=True, slots=True)
class PictureAsked:
    """A picture that shows the animal."""

    kind: Literal["frame", "run", "merge"]
    outing: Number
    name: Line


@dataclass(frozen=True, slots=True)
class PlaceAsked:
    """Where the place shall come from: the pictures, a track's text, or the person's own words.

    Attributes
    ----------
    how : {"exif", "track", "hand", "none"}
        "none" takes a place away that was said before.
    track, track_name : str or None
        Text of a GPX file, and the file's name.
    latitude_deg, longitude_deg, within_m, datum : float or str or None
        By hand.
    """

    how: Literal["exif", "track", "hand", "none"]
    track: Annotated[str, Field(max_length=900_000)] | None = None
    track_name: Line = "track.gpx"
    latitude_deg: Degrees | None = None
    longitude_deg: Degrees | None = None
    within_m: Metres | None = None
    datum: Line | None = None


@dataclass(frozen=True, slots=True)
class SightingAsked:
    """What the person says of one animal of one visit; None leaves what was said before.

    Attributes
    ----------
    evidence : tuple of PictureAsked or None
        Its pictures.
    when, time_zone : str or None
        Local time; the zone of times that name none.
    clock_s : float
        Added to the pictures' times.
    place : PlaceAsked or None
        Where the place shall come from.
    another : bool
        A second animal on a picture that is used already.
    """

    name: Line | None = None
    certainty: Literal["certain", "likely", "unsure"] | None = None
    observer: Line | None = None
    determined_by: Line | None = None
    life_stage: Line | None = None
    sex: Line | None = None
    count: Annotated[int, Field(strict=True, ge=-1, le=2**40)] | None = None
    behaviour: Line | None = None
    plant: Line | None = None
    note: Line | None = None
    locality: Line | None = None
    country: Line | None = None
    sensitive: bool | None = None
    evidence: Annotated[tuple[PictureAsked, ...], Field(max_length=200)] | None = None
    when: Line | None = None
    time_zone: Line | None = None
    clock_s: Annotated[float, Field(strict=True, ge=-1e9, le=1e9, allow_inf_nan=False)] = 0.0
    place: PlaceAsked | None = None
    another: bool = False


@dataclass(frozen=True, slots=True)
class WhyAsked:
    """Why a sighting is withdrawn."""

    why: Line = ""


@dataclass(frozen=True, slots=True)
class VagueAsked:
    """A species, or a circle, whose exact place shall never leave."""

    species: Line | None = None
    latitude_deg: Degrees | None = None
    longitude_deg: Degrees | None = None
    radius_m: Metres = 1000.0
    grid_deg: Annotated[float, Field(strict=True, ge=0, le=400, allow_inf_nan=False)] = 0.1
    why: Line = ""


@dataclass(frozen=True, slots=True)
class ExportAsked:
    """What shall leave, and how exactly; places are asked for each time."""

    licence: Literal["cc0", "cc-by", "cc-by-nc", "reserved"]
    formats: Annotated[
        tuple[Literal["archive", "csv", "geojson"], ...], Field(min_length=1, max_length=3)
    ]
    places: PlacesWord = "none"
    grid_deg: Annotated[float, Field(strict=True, ge=0, le=400, allow_inf_nan=False)] = 0.1
    pictures: Literal["none", "small", "full"] = "small"
    title: Line = "Sightings"
    creator: Line = ""
    rights_holder: Line = ""
    since: Line = ""
    until: Line = ""
    outing: Number | None = None


@dataclass(frozen=True, slots=True)
class LeavingSaid:
    """What left with an export, with the keys of the command line.

    Attributes
    ----------
    files : tuple of str
        Names of the files, to be fetched one by one.
    folder : str
        Where they lie.
    records, exact, vague, withheld, pictures, near : int
        How many sightings; with the exact place, on a grid, without; pictures; given away.
    skipped : tuple of Skipped
        Pictures that did not go along.
    places, caution : str
        Which places leave, and what to think of first.
    """

    files: tuple[str, ...]
    folder: str
    records: int
    exact: int
    vague: int
    withheld: int
    pictures: int
    near: int
    skipped: tuple[Skipped, ...]
    places: str
    caution: str
