"""Lays records out as files: a Darwin Core archive, a table, a map's GeoJSON."""

from __future__ import annotations

import csv
import io
import json
import uuid
import zipfile
from collections.abc import Sequence
from datetime import datetime

from haltere.records.terms import LICENCES, MEDIA, MEDIA_TYPE, OCCURRENCE, ROW_TYPE, Titles

Table = Sequence[Sequence[str]]
_WORLD = {"wgs84", "epsg:4326", "wgs 84"}


def tab_text(heading: Sequence[str], rows: Table) -> bytes:
    """Write rows with tabs between cells and no quotes; no cell holds a tab or a line's end.

    Parameters
    ----------
    heading : sequence of str
        First line.
    rows : sequence of sequences of str
        The rest.

    Returns
    -------
    bytes
        UTF-8.
    """
    return "".join(
        "\t".join(" ".join(cell.split()) for cell in row) + "\n" for row in (heading, *rows)
    ).encode()


def csv_text(rows: Table) -> bytes:
    """Write records as a plain table, the standard's terms as heading.

    Parameters
    ----------
    rows : sequence of sequences of str
        In the order of `OCCURRENCE`.

    Returns
    -------
    bytes
        UTF-8, commas, quotes where they are needed.
    """
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow([name for name, _ in OCCURRENCE])
    table.writerows(rows)
    return text.getvalue().encode()


def geojson_text(rows: Table) -> bytes:
    """Write records as points on a map (RFC 7946).

    Parameters
    ----------
    rows : sequence of sequences of str
        In the order of `OCCURRENCE`.

    Returns
    -------
    bytes
        UTF-8; a record without a place, or in another datum than the world's, has no point.
    """
    features = []
    for row in rows:
        said = {name: cell for (name, _), cell in zip(OCCURRENCE, row, strict=True) if cell}
        point = None
        if "decimalLatitude" in said and said.get("geodeticDatum", "").casefold() in _WORLD:
            place = [float(said["decimalLongitude"]), float(said["decimalLatitude"])]
            point = {"type": "Point", "coordinates": place}
        features.append({"type": "Feature", "id": row[0], "geometry": point, "properties": said})
    whole = {"type": "FeatureCollection", "features": features}
    return (json.dumps(whole, ensure_ascii=False, indent=1) + "\n").encode()


def meta_xml(*, media: bool) -> bytes:
    """Write the archive's own description (Darwin Core text guide, 2023-09-13).

    Parameters
    ----------
    media : bool
        Whether pictures go along.

    Returns
    -------
    bytes
        UTF-8.
    """
    parts = [_table("core", "id", ROW_TYPE, "occurrence.txt", OCCURRENCE, 0)]
    if media:
        parts.append(_table("extension", "coreid", MEDIA_TYPE, "multimedia.txt", MEDIA, 1))
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<archive xmlns="http://rs.tdwg.org/dwc/text/" metadata="eml.xml">\n'
        + "".join(parts)
        + "</archive>\n"
    ).encode()


def _table(
    kind: str, key: str, row_type: str, file: str, terms: Sequence[tuple[str, str]], first: int
) -> str:
    fields = "".join(
        f'    <field index="{number}" term="{iri}"/>\n'
        for number, (_, iri) in enumerate(terms, first)
    )
    return (
        f'  <{kind} encoding="UTF-8" fieldsTerminatedBy="\\t" linesTerminatedBy="\\n" '
        f'fieldsEnclosedBy="" ignoreHeaderLines="1" rowType="{row_type}">\n'
        f"    <files><location>{file}</location></files>\n"
        f'    <{key} index="0"/>\n{fields}  </{kind}>\n'
    )


def eml_xml(titles: Titles, about: str, ids: Sequence[str], newest: str) -> bytes:
    """Describe the records as a set (EML 2.2.0; valid by its schema); it names no place.

    Parameters
    ----------
    titles : Titles
        Title, creator, licence.
    about : str
        What the set is, in a sentence.
    ids : sequence of str
        Their occurrenceIDs: the same set has the same package id.
    newest : str
        When the last of them was written, ISO 8601.

    Returns
    -------
    bytes
        UTF-8.
    """
    from xml.sax.saxutils import escape

    package = uuid.uuid5(uuid.NAMESPACE_URL, " ".join((*sorted(ids), newest)))
    licence = LICENCES[titles.licence]
    rights = f'<ulink url="{licence}"><citetitle>{titles.licence}</citetitle></ulink>'
    rights = rights if licence.startswith("http") else escape(licence)
    person = f"<individualName><surName>{escape(titles.creator)}</surName></individualName>"
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<eml:eml xmlns:eml="https://eml.ecoinformatics.org/eml-2.2.0" '
        f'packageId="{package}" system="haltere" scope="system" xml:lang="en">\n'
        "  <dataset>\n"
        f"    <title>{escape(titles.title)}</title>\n"
        f"    <creator>{person}</creator>\n"
        f"    <pubDate>{newest[:10]}</pubDate>\n"
        "    <language>en</language>\n"
        f"    <abstract><para>{escape(about)}</para></abstract>\n"
        f"    <intellectualRights><para>{rights}</para></intellectualRights>\n"
        f"    <contact>{person}</contact>\n"
        "  </dataset>\n"
        "</eml:eml>\n"
    ).encode()


def zipped(files: Sequence[tuple[str, bytes]], newest: str) -> bytes:
    """Put files into one archive; the same files give the same bytes.

    Holds all of them.

    Parameters
    ----------
    files : sequence of str and bytes
        Name and content.
    newest : str
        Time that all of them get, ISO 8601.

    Returns
    -------
    bytes
        ZIP; pictures are stored as they are, the rest is deflated.
    """
    moment = datetime.fromisoformat(newest)
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, data in files:
            about = zipfile.ZipInfo(name, moment.timetuple()[:6])
            about.external_attr = 0o644 << 16
            about.create_system = 3
            plain = name.endswith(".jpg")
            about.compress_type = zipfile.ZIP_STORED if plain else zipfile.ZIP_DEFLATED
            archive.writestr(about, data)
    return buffer.getvalue()
