"""Reads a checklist of species: Darwin Core columns, or a simple table."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Iterable, Iterator
from pathlib import Path

from haltere.errors import FrameError, UsageError
from haltere.fieldbook.checklists import Taxon, fold
from haltere.records.checklist_archive import archive_rows

MOST_BYTES = 500 << 20
"""Larger than the names of all insects; a larger file is something else."""

KEPT = (
    "taxonRank", "scientificNameAuthorship", "taxonomicStatus", "kingdom", "phylum", "class",
    "order", "family", "genus",
)  # fmt: skip
_ALSO = {
    "name": "scientificName",
    "species": "scientificName",
    "taxon": "scientificName",
    "canonicalname": "canonicalName",
    "author": "scientificNameAuthorship",
    "authorship": "scientificNameAuthorship",
    "rank": "taxonRank",
    "status": "taxonomicStatus",
    "id": "taxonID",
    "accepted": "acceptedNameUsage",
    "synonym of": "acceptedNameUsage",
    "common name": "vernacularName",
    "vernacular": "vernacularName",
}
_TERMS = (
    "taxonID", "scientificName", "canonicalName", "acceptedNameUsage", "acceptedNameUsageID",
    "vernacularName", *KEPT,
)  # fmt: skip


def read_checklist(path: Path) -> tuple[str, tuple[Taxon, ...]]:
    """Read a checklist.

    Parameters
    ----------
    path : Path
        CSV or TSV in UTF-8 with a heading: Darwin Core terms, or name, author, rank, family,
        synonym of, common name; or a Darwin Core archive of taxa (ZIP).

    Returns
    -------
    sha256 : str
        Of the file.
    taxa : tuple of Taxon
        Every line that has a name; a synonym of a name that is not in the file stands alone.

    Raises
    ------
    FrameError
        When the file can't be read.
    UsageError
        When it is no table of names.
    """
    try:
        if path.stat().st_size > MOST_BYTES:
            raise UsageError(f"{path.name}: is too large for a checklist; give one group's names")
        data = path.read_bytes()
    except OSError as error:
        raise FrameError(f"{path.name}: can't be read ({error.strerror}); check it") from error
    if data[:4] == b"PK\x03\x04":
        rows = list(_named(path.name, archive_rows(path, MOST_BYTES)))
    else:
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError:
            raise UsageError(f"{path.name}: is not text in UTF-8; save it so") from None
        rows = list(_named(path.name, _rows(path.name, text)))
    by_name = {fold(row["plain"]): row["taxonID"] for row in reversed(rows)}
    known = {row["taxonID"] for row in rows}
    taxa = []
    for row in rows:
        accepted = row.get("acceptedNameUsageID") or None
        if accepted is None and row.get("acceptedNameUsage"):
            accepted = by_name.get(fold(_plain(row["acceptedNameUsage"], "")))
        if accepted == row["taxonID"] or accepted not in known:
            accepted = None
        rest = {term: row[term] for term in KEPT if row.get(term)}
        taxa.append(
            Taxon(row["taxonID"], row["plain"], accepted, row.get("vernacularName", ""), rest)
        )
    return hashlib.sha256(data).hexdigest(), tuple(taxa)


def _rows(file: str, text: str) -> Iterator[dict[str, str]]:
    head = text.split("\n", 1)[0]
    sign = max("\t,;", key=head.count)
    # a table with tabs quotes nothing, and may hold a lone inch sign
    plain = sign == "\t" and '"' not in head
    table = csv.reader(
        io.StringIO(text, newline=""),
        delimiter=sign,
        quoting=csv.QUOTE_NONE if plain else csv.QUOTE_MINIMAL,
    )
    try:
        terms = [_term(word) for word in next(table, [])]
        if "scientificName" not in terms:
            raise UsageError(
                f"{file}: its first line names no column 'scientificName' or 'name'; a checklist "
                "is a table with a heading"
            )
        for number, cells in enumerate(table, 2):
            row = {t: c.strip() for t, c in zip(terms, cells, strict=False) if t}
            row["taxonID"] = row.get("taxonID") or f"line {number}"
            yield row
    except csv.Error as error:
        raise UsageError(f"{file}: is a broken table ({error}); save it again as CSV") from error


def _named(file: str, rows: Iterable[dict[str, str]]) -> Iterator[dict[str, str]]:
    """Leave out lines without a name, and give each its name without the author."""
    found = 0
    for row in rows:
        if row.get("scientificName"):
            author = row.get("scientificNameAuthorship", "")
            row["plain"] = row.get("canonicalName") or _plain(row["scientificName"], author)
            found += 1
            yield row
    if not found:
        raise UsageError(f"{file}: holds no name")


def _term(heading: str) -> str:
    word = heading.strip().rpartition("/")[2].rpartition(":")[2]
    for term in _TERMS:
        if word.casefold() == term.casefold():
            return term
    return _ALSO.get(word.casefold(), "")


def _plain(name: str, author: str) -> str:
    """Take the author off a name: what the table says, or what begins after the epithets."""
    if author and name.endswith(author):
        return name[: -len(author)].strip()
    words = name.split()
    kept = words[:1]
    for word in words[1:]:
        # epithets are written small; an author has a capital or a bracket
        if word[:1].islower() and word not in ("de", "van", "von", "du", "del", "la"):
            kept.append(word)
        elif word.startswith("(") and word.endswith(")") and word[1:2].isupper() and len(kept) == 1:
            following = words[words.index(word) + 1 : words.index(word) + 2]
            if not (following and following[0][:1].islower()):
                break
            kept.append(word)  # a subgenus
        else:
            break
    return " ".join(kept)
