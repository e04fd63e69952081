"""Names of delivered files, from a template that cannot give a place away by itself."""

from __future__ import annotations

import difflib
import re
import string
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from haltere.errors import UsageError

FIELDS = ("date", "time", "number", "name", "kind")
TEMPLATE = "{date}-{number}"
_FORBIDDEN = re.compile(r'[<>:"/\\|?*\x00-\x1f]')
_RESERVED = {"con", "prn", "aux", "nul"} | {f"{w}{n}" for w in ("com", "lpt") for n in range(1, 10)}
_LONGEST = 120


@dataclass(frozen=True, slots=True)
class Named:
    """What a name is made from.

    Attributes
    ----------
    number : int
        Which picture of this delivery, from 1.
    stem : str
        Name of the source without its suffix; only used where the template asks for it.
    taken : datetime or None
        When it was taken.
    kind : str
        "merged" or "single".
    """

    number: int
    stem: str
    taken: datetime | None
    kind: str


def check_template(template: str) -> None:
    """Refuse a template that makes no names.

    Parameters
    ----------
    template : str
        As "{date}-{number}".

    Raises
    ------
    UsageError
        When a field is unknown, or braces don't match.
    """
    try:
        fields = [field for _, field, _, _ in string.Formatter().parse(template)]
    except ValueError as error:
        raise UsageError(
            f"--name {template}: a brace has no partner; write fields as {{date}}"
        ) from error
    for field in fields:
        if field is not None and field not in FIELDS:
            near = difflib.get_close_matches(field, FIELDS, n=1)
            meant = f"; did you mean {{{near[0]}}}?" if near else ""
            known = ", ".join(f"{{{one}}}" for one in FIELDS)
            raise UsageError(f"--name {template}: {{{field}}} is unknown{meant} (known: {known})")
    if not template.strip():
        raise UsageError("--name: an empty name is none; write one as {date}-{number}")


def file_name(template: str, named: Named, suffix: str, taken_names: Collection[str]) -> str:
    """Give a name that every system takes and that is not in use.

    Parameters
    ----------
    template : str
        Checked by `check_template`.
    named : Named
        What goes in.
    suffix : str
        With its dot.
    taken_names : collection of str
        Names in use, in lower case.

    Returns
    -------
    str
        File name; "-2" and so on is added where it is in use.
    """
    moment = named.taken
    said = template.format(
        date="undated" if moment is None else moment.strftime("%Y-%m-%d"),
        time="untimed" if moment is None else moment.strftime("%H%M%S"),
        number=f"{named.number:02d}",
        name=named.stem,
        kind=named.kind,
    )
    stem = _FORBIDDEN.sub("_", said).strip(" .")[:_LONGEST] or "picture"
    if stem.lower().split(".")[0] in _RESERVED:
        stem = f"_{stem}"
    name, count = f"{stem}{suffix}", 1
    while name.lower() in taken_names:
        count += 1
        name = f"{stem}-{count}{suffix}"
    return name


def names_in(folder: Path) -> set[str]:
    """Give the names in use in a folder, in lower case.

    Parameters
    ----------
    folder : Path
        May be missing.

    Returns
    -------
    set of str
        For `file_name`.
    """
    if not folder.is_dir():
        return set()
    return {path.name.lower() for path in folder.iterdir()}
