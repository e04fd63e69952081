"""Sightings as rows of Darwin Core, the standard for records of living things."""

from __future__ import annotations

from dataclasses import dataclass

from haltere.fieldbook.sightings import SightingRow
from haltere.records.vague import Told

DWC = "http://rs.tdwg.org/dwc/terms/"
DCTERMS = "http://purl.org/dc/terms/"
ROW_TYPE = f"{DWC}Occurrence"
MEDIA_TYPE = "http://rs.gbif.org/terms/1.0/Multimedia"

OCCURRENCE: tuple[tuple[str, str], ...] = tuple(
    (name, (DCTERMS if name in ("modified", "license", "rightsHolder") else DWC) + name)
    for name in (
        "occurrenceID", "basisOfRecord", "occurrenceStatus", "modified", "license", "rightsHolder",
        "datasetName", "recordedBy", "identifiedBy", "individualCount", "sex", "lifeStage",
        "behavior", "associatedTaxa", "occurrenceRemarks", "samplingProtocol", "eventDate",
        "scientificName", "scientificNameAuthorship", "acceptedNameUsage", "taxonRank",
        "verbatimIdentification", "identificationQualifier", "identificationRemarks",
        "nameAccordingTo", "vernacularName", "kingdom", "phylum", "class", "order", "family",
        "genus", "countryCode", "locality", "decimalLatitude", "decimalLongitude",
        "geodeticDatum", "coordinateUncertaintyInMeters", "coordinatePrecision",
        "georeferenceSources", "dataGeneralizations", "informationWithheld",
    )
)  # fmt: skip
"""Column and its name in the standard; long-standing terms, since not every reader knows new ones."""  # noqa: E501

MEDIA: tuple[tuple[str, str], ...] = tuple(
    (name, DCTERMS + name)
    for name in (
        "type", "format", "identifier", "title", "description", "created", "creator", "license",
        "rightsHolder",
    )
)  # fmt: skip

LICENCES = {
    "cc0": "https://creativecommons.org/publicdomain/zero/1.0/legalcode",
    "cc-by": "https://creativecommons.org/licenses/by/4.0/legalcode",
    "cc-by-nc": "https://creativecommons.org/licenses/by-nc/4.0/legalcode",
    "reserved": "All rights reserved",
}
"""The three that collections of open records take, and none."""

_QUALIFIERS = {"certain": "", "likely": "cf.", "unsure": "?"}
_REMARKS = {"certain": "", "likely": "likely", "unsure": "not sure"}


@dataclass(frozen=True, slots=True)
class Titles:
    """What is said of the whole export.

    Attributes
    ----------
    title, creator : str
        Of the records as a set.
    licence : str
        A key of `LICENCES`.
    rights_holder : str
        Empty takes each record's observer.
    """

    title: str
    creator: str
    licence: str
    rights_holder: str = ""


def one_line(text: str) -> str:
    """Write words in one line, without signs that can't be printed.

    Parameters
    ----------
    text : str
        As the person wrote it.
    """
    return " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())


def day_or_hour(row: SightingRow, told: Told) -> str:
    """Give a sighting's time as exactly as it may be told.

    Parameters
    ----------
    row : SightingRow
        The sighting.
    told : Told
        What may be told.

    Returns
    -------
    str
        ISO 8601.
    """
    return row.said.when if told.hour else row.said.when[:10]


def occurrence(row: SightingRow, told: Told, titles: Titles, remarks: dict[str, str]) -> list[str]:
    """Write a sighting as one row.

    Parameters
    ----------
    row : SightingRow
        The sighting.
    told : Told
        What may be told of its place.
    titles : Titles
        What is said of all of them.
    remarks : dict
        Its free words, as far as they may be told: behaviour, plant, note.

    Returns
    -------
    list of str
        In the order of `OCCURRENCE`.
    """
    said, named = row.said, row.said.named
    rest = {} if named is None else named.rest
    number = f"{told.uncertainty_m}" if told.uncertainty_m is not None else ""
    cells = {
        "occurrenceID": row.occurrence,
        "basisOfRecord": "HumanObservation",
        "occurrenceStatus": "present",
        "modified": row.written,
        "license": LICENCES[titles.licence],
        "rightsHolder": titles.rights_holder or said.observer,
        "datasetName": titles.title,
        "recordedBy": said.observer,
        "identifiedBy": said.determined_by or said.observer,
        "individualCount": f"{said.count}",
        "sex": said.sex,
        "lifeStage": said.life_stage,
        "behavior": remarks["behaviour"],
        "associatedTaxa": f'"on":"{remarks["plant"]}"' if remarks["plant"] else "",
        "occurrenceRemarks": remarks["note"],
        "samplingProtocol": "handheld macro photography" if said.evidence else "",
        "eventDate": day_or_hour(row, told),
        "scientificName": said.name if named is None else named.name,
        "acceptedNameUsage": "" if named is None else named.accepted,
        "verbatimIdentification": said.name,
        "identificationQualifier": _QUALIFIERS[said.certainty],
        "identificationRemarks": _REMARKS[said.certainty],
        "nameAccordingTo": "" if named is None else named.checklist,
        "vernacularName": "" if named is None else named.vernacular,
        "countryCode": told.country,
        "locality": told.locality,
        "decimalLatitude": told.latitude_deg,
        "decimalLongitude": told.longitude_deg,
        "geodeticDatum": told.datum,
        "coordinateUncertaintyInMeters": number,
        "coordinatePrecision": "" if told.precision_deg is None else f"{told.precision_deg:g}",
        "georeferenceSources": told.how,
        "dataGeneralizations": told.generalised,
        "informationWithheld": told.withheld,
    }
    return [cells.get(name, rest.get(name, "")) for name, _ in OCCURRENCE]
