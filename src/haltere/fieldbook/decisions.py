"""What the person decided, beside what the tool said; every act can be taken back."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from haltere.errors import UsageError
from haltere.fieldbook.book import Book, now
from haltere.fieldbook.catalogue import frame_ids
from haltere.fieldbook.searching import LAST_WORD, VERDICTS, Found


@dataclass(frozen=True, slots=True)
class Act:
    """One act of deciding.

    Attributes
    ----------
    id : int
        Its number.
    what : str
        In words: "drop 12 frames".
    done : str
        When, UTC.
    """

    id: int
    what: str
    done: str


def decide(book: Book, outing_id: int, names: Iterable[str], verdict: Found, what: str = "") -> Act:
    """Write down what the person decided of some frames.

    Parameters
    ----------
    book : Book
        Open book.
    outing_id : int
        Their outing.
    names : iterable of str
        The frames; the last part of a name is enough where only one frame has it.
    verdict : {"keep", "maybe", "drop", "undecided"}
        The same for all of them.
    what : str, optional
        In words; made up when left out.

    Returns
    -------
    Act
        Which `undo` takes back as a whole.

    Raises
    ------
    UsageError
        When a frame is not in the outing, a short name fits several, or the verdict is unknown.
    """
    if verdict not in VERDICTS:
        raise UsageError(f"{verdict}: expected one of {', '.join(VERDICTS)}")
    ids = frame_ids(book, outing_id)
    chosen = list(dict.fromkeys(_meant(name, ids) for name in names))
    said = what or f"{verdict} {len(chosen)} frame{'' if len(chosen) == 1 else 's'}"
    moment = now()
    with book.writing() as rows:
        act = rows.execute("INSERT INTO act (what, done) VALUES (?, ?)", (said, moment)).lastrowid
        assert act is not None
        rows.executemany(
            "INSERT INTO decision (act_id, frame_id, verdict) VALUES (?, ?, ?)",
            [(act, ids[name], verdict) for name in chosen],
        )
    return Act(act, said, moment)


def _meant(name: str, ids: Mapping[str, int]) -> str:
    """Find a frame by its name, or by the last part of it where only one has it."""
    if name in ids:
        return name
    same = [known for known in ids if known.rpartition("/")[2] == name]
    if len(same) == 1:
        return same[0]
    if same:
        raise UsageError(f"{name}: {len(same)} frames are called so; say {same[0]} or another")
    near = difflib.get_close_matches(name.lower(), {one.lower(): one for one in ids}, n=1)
    meant = next((one for one in ids if near and one.lower() == near[0]), None)
    cure = "haltere book --outing lists them" if meant is None else f"did you mean {meant}?"
    raise UsageError(f"{name}: is no frame of this outing; {cure}")


def undo(book: Book) -> Act | None:
    """Take back the last act that still stands.

    Parameters
    ----------
    book : Book
        Open book.

    Returns
    -------
    Act or None
        What was taken back; None when nothing is left to take back.
    """
    with book.writing() as rows:
        last = rows.execute(
            "SELECT id, what, done FROM act WHERE undone IS NULL ORDER BY id DESC LIMIT 1"
        ).fetchone()
        if last is None:
            return None
        rows.execute("UPDATE act SET undone = ? WHERE id = ?", (now(), last[0]))
    return Act(int(last[0]), last[1], last[2])


def decisions_in(book: Book, outing_id: int) -> dict[str, Found]:
    """Give what stands for each frame of an outing that was decided on.

    Parameters
    ----------
    book : Book
        Open book.
    outing_id : int
        The outing.

    Returns
    -------
    dict
        Frame to verdict; 'undecided' where a decision was set back.
    """
    rows = book.connection.execute(
        f"SELECT f.name, {LAST_WORD} FROM frame f WHERE f.outing_id = ?", (outing_id,)
    )
    return {row[0]: row[1] for row in rows if row[1] is not None}
