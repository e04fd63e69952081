"""What was found of runs, newest first: for statistics and for records, never to skip work."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, TypeVar

from haltere.fieldbook.book import Book

Result = TypeVar("Result")


@dataclass(frozen=True, slots=True)
class Answered(Generic[Result]):
    """The newest answer on one run.

    Attributes
    ----------
    outing : int
        Number of its outing.
    subject : str
        Id of the run.
    params : dict
        Every number that the answer depends on.
    result : object
        The answer.
    made : tuple of Path
        Files that it made.
    """

    outing: int
    subject: str
    params: dict[str, Any]
    result: Result
    made: tuple[Path, ...]


def newest_answers(
    book: Book, verb: str, kind: type[Result], outing_id: int | None = None
) -> Iterator[Answered[Result]]:
    """Give the newest answer on each run that a verb was asked about.

    Holds one answer at a time.

    Parameters
    ----------
    book : Book
        Open book.
    verb : str
        What was done: "keepers", "gaps", "merge".
    kind : type
        Dataclass of the answer.
    outing_id : int, optional
        Only of this outing.

    Yields
    ------
    Answered
        In order of outing and run; one that reads as something else is left out.
    """
    import msgspec

    rows = book.connection.execute(
        "SELECT outing_id, subject, params, answer, made FROM step WHERE stands IN "
        "(SELECT max(stands) FROM step WHERE verb = ? AND subject != '' AND "
        "(?2 IS NULL OR outing_id = ?2) GROUP BY outing_id, subject) ORDER BY outing_id, subject",
        (verb, outing_id),
    )
    for row in rows:
        try:
            result = msgspec.json.decode(row[3].encode(), type=kind)
        except msgspec.ValidationError:
            continue
        made = tuple(Path(name) for name in json.loads(row[4]))
        yield Answered(int(row[0]), row[1], json.loads(row[2]), result, made)


def answer_on_file(
    book: Book, path: Path, verb: str, kind: type[Result]
) -> tuple[str, Result] | None:
    """Give the newest answer on the run that a file belongs to.

    Parameters
    ----------
    book : Book
        Open book.
    path : Path
        The picture, or the raw file beside it.
    verb : str
        What was done: "keepers", "gaps".
    kind : type
        Dataclass of the answer.

    Returns
    -------
    (str, object) or None
        The frame's name in the answer, and the answer; None when nothing was said of it.
    """
    import msgspec

    row = book.connection.execute(
        "SELECT f.name, s.answer FROM frame f JOIN run_frame m ON m.frame_id = f.id "
        "JOIN run r ON r.id = m.run_id JOIN step s ON s.outing_id = f.outing_id "
        "AND s.subject = r.name AND s.verb = ?2 WHERE ?1 IN (f.path, f.raw_path) "
        "ORDER BY s.stands DESC LIMIT 1",
        (str(path.resolve()), verb),
    ).fetchone()
    if row is None:
        return None
    try:
        return row[0], msgspec.json.decode(row[1].encode(), type=kind)
    except msgspec.ValidationError:
        return None


def state_of_answers(book: Book) -> str:
    """Mark the state of all that statistics over judged bursts and placed sweeps depend on.

    Parameters
    ----------
    book : Book
        Open book.

    Returns
    -------
    str
        Another one as soon as an answer, a word of support, a clock or an outing is another.
    """
    mark = hashlib.sha256()
    for asked in (
        "SELECT count(*), max(stands) FROM step WHERE verb IN ('keepers', 'gaps')",
        "SELECT outing_id, run, word FROM support ORDER BY outing_id, run",
        "SELECT serial, shift_s FROM camera ORDER BY serial",
        "SELECT id, day, name FROM outing ORDER BY id",
        "SELECT count(*), max(id) FROM frame",
    ):
        for row in book.connection.execute(asked):
            mark.update(repr(tuple(row)).encode())
    return mark.hexdigest()[:16]
