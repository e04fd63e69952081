"""Plans that the photographer wants to find again: what was asked, and what was answered then."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from haltere.errors import UsageError
from haltere.fieldbook.book import Book, now


@dataclass(frozen=True, slots=True)
class KeptPlan:
    """One plan that was kept.

    Attributes
    ----------
    id : int
        Its number in the book.
    name : str
        As the photographer calls it.
    kit : str
        Text of the kit's file, with everything that was said of the kit.
    said : dict
        What was asked for, number by number.
    answer : dict
        The plan as it was then, as `haltere plan --json` prints it.
    kept : str
        When, UTC.
    """

    id: int
    name: str
    kit: str
    said: dict[str, Any]
    answer: dict[str, Any]
    kept: str


def keep_plan(
    book: Book, name: str, kit: str, said: Mapping[str, Any], answer: Mapping[str, Any]
) -> KeptPlan:
    """Write a plan down.

    Parameters
    ----------
    book : Book
        Open book.
    name : str
        What to call it.
    kit : str
        Text of the kit's file.
    said : mapping
        What was asked for.
    answer : mapping
        The plan, as JSON can say it.

    Returns
    -------
    KeptPlan
        As it stands in the book.

    Raises
    ------
    UsageError
        When the name says nothing.
    """
    called = " ".join(name.split())
    if not called:
        raise UsageError("A plan needs a name by which you find it again.")
    with book.writing() as rows:
        number = rows.execute(
            "INSERT INTO kept_plan (name, kit, said, answer, kept) VALUES (?, ?, ?, ?, ?)",
            (called, kit, json.dumps(dict(said)), json.dumps(dict(answer)), now()),
        ).lastrowid
    return next(one for one in kept_plans(book) if one.id == number)


def kept_plans(book: Book) -> tuple[KeptPlan, ...]:
    """List the plans that were kept, newest first.

    Parameters
    ----------
    book : Book
        Open book.

    Returns
    -------
    tuple of KeptPlan
        Without those that were forgotten.
    """
    rows = book.connection.execute(
        "SELECT id, name, kit, said, answer, kept FROM kept_plan WHERE forgotten IS NULL "
        "ORDER BY id DESC"
    )
    return tuple(
        KeptPlan(int(row[0]), row[1], row[2], json.loads(row[3]), json.loads(row[4]), row[5])
        for row in rows
    )


def forget_plan(book: Book, number: int, *, forgotten: bool = True) -> None:
    """Take a plan off the list, or put it back.

    Parameters
    ----------
    book : Book
        Open book.
    number : int
        Its number.
    forgotten : bool, optional
        False puts it back.

    Raises
    ------
    UsageError
        When there is none.
    """
    with book.writing() as rows:
        changed = rows.execute(
            "UPDATE kept_plan SET forgotten = ? WHERE id = ?",
            (now() if forgotten else None, number),
        ).rowcount
    if not changed:
        raise UsageError(f"plan {number}: is not in this field book; load the page anew")
