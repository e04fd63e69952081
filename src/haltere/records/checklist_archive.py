"""A checklist that comes as a Darwin Core archive: a ZIP whose meta.xml says how to read it."""

from __future__ import annotations

import csv
import io
import struct
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from haltere.errors import UsageError

# what a spoilt archive makes zipfile and csv raise, by trying thousands of them
_BROKEN = (
    zipfile.BadZipFile, zlib.error, csv.Error, LookupError, ValueError, RuntimeError, OSError,
    EOFError, struct.error,
)  # fmt: skip
_SIGNS = {"\\t": "\t", "\\n": "\n", "\\r": "\r", "&quot;": '"'}


def archive_rows(path: Path, most_bytes: int) -> Iterator[dict[str, str]]:
    """Read the names of an archive, each with the first common name that it gives.

    Parameters
    ----------
    path : Path
        ZIP with a meta.xml whose core is of taxa.
    most_bytes : int
        A larger table is not unpacked.

    Yields
    ------
    dict
        Cells by the standard's term names; `taxonID` is the archive's own number.

    Raises
    ------
    UsageError
        When it is no such archive.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            yield from _rows(archive, path.name, most_bytes)
    except UsageError:
        raise
    except _BROKEN as error:
        raise UsageError(f"{path.name}: is a broken archive ({error}); fetch it again") from error


def _rows(archive: zipfile.ZipFile, name: str, most_bytes: int) -> Iterator[dict[str, str]]:
    from lxml import etree

    inside = {one.rpartition("/")[2]: one for one in archive.namelist()}
    if "meta.xml" not in inside:
        raise UsageError(f"{name}: holds no meta.xml; a checklist is a table or such an archive")
    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False)
    try:
        root = etree.fromstring(_read(archive, inside["meta.xml"], 1 << 20), parser)
    except etree.XMLSyntaxError as error:
        raise UsageError(f"{name}: its meta.xml is broken; fetch it again") from error
    cores = [one for one in root.iter("{*}core") if (one.get("rowType") or "").endswith("/Taxon")]
    if not cores:
        raise UsageError(f"{name}: is an archive of something else than names")
    common: dict[str, str] = {}
    for one in root.iter("{*}extension"):
        if (one.get("rowType") or "").endswith("/VernacularName"):
            for row in _table(archive, inside, one, "coreid", most_bytes):
                if row.get("vernacularName"):
                    common.setdefault(row["coreid"], row["vernacularName"])
    for row in _table(archive, inside, cores[0], "id", most_bytes):
        row["taxonID"] = row.get("taxonID") or row["id"]
        row.setdefault("vernacularName", common.get(row["id"], ""))
        yield row


def _table(
    archive: zipfile.ZipFile, inside: dict[str, str], part: Any, key: str, most_bytes: int
) -> Iterator[dict[str, str]]:
    """Read one table as meta.xml says, its defaults after the text guide of the standard."""
    location = next((one.text or "" for one in part.iter("{*}location")), "")
    if location not in inside:
        raise UsageError(f"{archive.filename}: its table {location} is missing; fetch it again")
    columns = {0: key}
    constant: dict[str, str] = {}
    for one in part.iter("{*}id", "{*}coreid"):
        columns = {int(one.get("index", "0")): key}
    terms: list[tuple[int, str]] = list(columns.items())
    for one in part.iter("{*}field"):
        term = (one.get("term") or "").rpartition("/")[2]
        if one.get("index") is not None:
            terms.append((int(one.get("index")), term))
        elif one.get("default"):
            constant[term] = one.get("default")
    between = _sign(part.get("fieldsTerminatedBy", ","))
    quote = _sign(part.get("fieldsEnclosedBy", '"'))
    text = _read(archive, inside[location], most_bytes).decode(part.get("encoding", "UTF-8"))
    lines = io.StringIO(text.removeprefix("\ufeff"), newline="")
    table = csv.reader(lines, delimiter=between, quotechar=quote) if quote else None
    for number, cells in enumerate(table or (line.rstrip("\r\n").split(between) for line in lines)):
        if number < int(part.get("ignoreHeaderLines", "0")) or not cells:
            continue
        said = {term: cells[at].strip() for at, term in terms if at < len(cells)}
        if said.get(key):
            yield {**constant, **said}


def _sign(word: str) -> str:
    for spelled, sign in _SIGNS.items():
        word = word.replace(spelled, sign)
    return word


def _read(archive: zipfile.ZipFile, name: str, most_bytes: int) -> bytes:
    if archive.getinfo(name).file_size > most_bytes:
        raise UsageError(f"{archive.filename}: {name} is too large for a checklist of one group")
    return archive.read(name)
