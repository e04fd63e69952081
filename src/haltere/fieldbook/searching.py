"""Finds frames in the whole book, by name and by what the person decided."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from haltere.fieldbook.book import Book

Found = Literal["keep", "maybe", "drop", "undecided"]
VERDICTS: tuple[Found, ...] = get_args(Found)


# asked frame by frame, where a list over all decisions would cost more
LAST_WORD = (
    "(SELECT d.verdict FROM decision d JOIN act a ON a.id = d.act_id "
    "WHERE d.frame_id = f.id AND a.undone IS NULL ORDER BY d.act_id DESC LIMIT 1)"
)


@dataclass(frozen=True, slots=True)
class FoundFrame:
    """One frame that a search found.

    Attributes
    ----------
    outing_id : int
        Its outing.
    name : str
        Its name there.
    taken : str or None
        Moment of exposure as the camera wrote it.
    """

    outing_id: int
    name: str
    taken: str | None


def search(
    book: Book,
    text: str,
    *,
    verdict: Found | None = None,
    outing_id: int | None = None,
    most: int = 500,
) -> list[FoundFrame]:
    """Find frames by a part of their name or of their outing's, and by what was decided.

    Parameters
    ----------
    book : Book
        Open book.
    text : str
        Part of a name; empty finds all.
    verdict : {"keep", "maybe", "drop", "undecided"}, optional
        Only frames that the person judged so.
    outing_id : int, optional
        Only frames of this outing.
    most : int, optional
        At most so many.

    Returns
    -------
    list of FoundFrame
        Newest outing first.
    """
    pattern = "%" + text.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_") + "%"
    decided = ""
    words: list[object] = [pattern, pattern]
    if verdict == "undecided":
        decided = f"AND coalesce({LAST_WORD}, 'undecided') = 'undecided'"
    elif verdict is not None:
        decided = "AND f.id IN (SELECT frame_id FROM standing WHERE verdict = ?)"
        words.append(verdict)
    if outing_id is not None:
        decided += " AND o.id = ?"
        words.append(outing_id)
    rows = book.connection.execute(
        "SELECT f.outing_id, f.name, f.taken FROM outing o CROSS JOIN frame f "
        "ON f.outing_id = o.id "
        f"WHERE (f.name LIKE ? ESCAPE '\\' OR o.name LIKE ? ESCAPE '\\') {decided} "
        "ORDER BY o.day DESC, o.id DESC, f.taken, f.name LIMIT ?",
        (*words, most),
    )
    return [FoundFrame(int(row[0]), row[1], row[2]) for row in rows]
