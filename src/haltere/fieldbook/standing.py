"""The answers that stand: the newest to each question of an outing, as it was written down."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from haltere.fieldbook.book import Book
from haltere.fieldbook.catalogue import identity
from haltere.fieldbook.steps import code_version

Result = TypeVar("Result")


@dataclass(frozen=True, slots=True)
class Standing:
    """One answer of the book.

    Attributes
    ----------
    verb : str
        What was asked: "keepers", "gaps", "merge".
    subject : str
        Of which run.
    params : dict
        Every number that the answer depends on.
    made : tuple of Path
        Files that came of it.
    whole : bool
        Whether those files are still there, unchanged.
    current : bool
        Whether this very haltere gave it.
    ended : str
        When, UTC.
    text : str
        The answer itself, JSON.
    """

    verb: str
    subject: str
    params: dict[str, Any]
    made: tuple[Path, ...]
    whole: bool
    current: bool
    ended: str
    text: str

    def as_a(self, kind: type[Result]) -> Result | None:
        """Read the answer as what it was.

        Parameters
        ----------
        kind : type
            Dataclass of the answer.

        Returns
        -------
        object or None
            None when it was written by a haltere that said it in another way.
        """
        import msgspec

        try:
            return msgspec.json.decode(self.text.encode(), type=kind)
        except msgspec.ValidationError:
            return None


def answers_in(
    book: Book, outing_id: int, subject: str | None = None
) -> dict[tuple[str, str], Standing]:
    """Give the newest answer to each question of an outing.

    Parameters
    ----------
    book : Book
        Open book.
    outing_id : int
        The outing.
    subject : str, optional
        Only of this run.

    Returns
    -------
    dict
        By verb and run.
    """
    rows = book.connection.execute(
        "SELECT verb, subject, version, params, answer, made, ended FROM step "
        "WHERE outing_id = ? AND verb <> 'runs' AND (? IS NULL OR subject = ?) ORDER BY stands",
        (outing_id, subject, subject),
    )
    version = code_version()
    found = {}
    for row in rows:
        made = json.loads(row["made"])
        found[row["verb"], row["subject"]] = Standing(
            verb=row["verb"],
            subject=row["subject"],
            params=json.loads(row["params"]),
            made=tuple(Path(name) for name in made),
            whole=all(list(identity(Path(name))) == about for name, about in made.items()),
            current=row["version"] == version,
            ended=row["ended"],
            text=row["answer"],
        )
    return found


def renew(book: Book, outing_id: int, verb: str, subject: str, text: str) -> None:
    """Let an answer that is known from before stand again, instead of those that came after it.

    Parameters
    ----------
    book : Book
        Open book.
    outing_id : int
        The outing.
    verb, subject : str
        What was asked, of which run.
    text : str
        The answer, JSON as it is written down; nothing happens where it isn't.
    """
    with book.writing() as rows:
        rows.execute(
            "UPDATE step SET stands = (SELECT max(stands) + 1 FROM step) WHERE id = (SELECT id "
            "FROM step WHERE outing_id = ? AND verb = ? AND subject = ? AND answer = ? "
            "ORDER BY stands DESC LIMIT 1)",
            (outing_id, verb, subject, text),
        )


def state_mark(book: Book) -> str:
    """Give a mark that changes when frames, runs, answers or decisions are written down.

    Parameters
    ----------
    book : Book
        Open book.

    Returns
    -------
    str
        The same as long as nothing of these changed.
    """
    row = book.connection.execute(
        "SELECT (SELECT max(id) FROM frame), (SELECT max(id) FROM run), "
        "(SELECT max(stands) FROM step), (SELECT max(id) FROM act), "
        "(SELECT count(undone) FROM act)"
    ).fetchone()
    return ".".join(str(part or 0) for part in row)
