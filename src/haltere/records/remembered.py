"""What the book remembers of sidecars, and verdicts that came from them, as rows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from haltere.fieldbook.book import Book, Rows, now
from haltere.fieldbook.searching import Found


@dataclass(frozen=True, slots=True)
class Remembered:
    """A sidecar as it was when it was last written or read.

    Attributes
    ----------
    sha256 : str
        Hash of the file.
    verdict : {"keep", "maybe", "drop", "undecided"}
        What it said.
    """

    sha256: str
    verdict: Found


def remembered_in(book: Book, outing_id: int) -> dict[str, dict[Path, Remembered]]:
    """Give what is remembered of an outing's sidecars.

    Parameters
    ----------
    book : Book
        Open book.
    outing_id : int
        The outing.

    Returns
    -------
    dict
        Frame's name to its sidecars.
    """
    rows = book.connection.execute(
        "SELECT f.name, s.path, s.sha256, s.verdict FROM sidecar s "
        "JOIN frame f ON f.id = s.frame_id WHERE f.outing_id = ? ORDER BY s.written DESC",
        (outing_id,),
    )
    folder = book.folder.resolve()
    found: dict[str, dict[Path, Remembered]] = {}
    for name, path, sha256, verdict in rows:
        found.setdefault(name, {})[folder / path] = Remembered(sha256, verdict)
    return found


def decided_at(book: Book, outing_id: int) -> dict[str, float]:
    """Tell when the person last had something to say on each frame, in haltere.

    Parameters
    ----------
    book : Book
        Open book.
    outing_id : int
        The outing.

    Returns
    -------
    dict
        Frame's name to seconds since 1970; taking back counts as saying.
    """
    rows = book.connection.execute(
        "SELECT f.name, max(max(a.done, coalesce(a.undone, ''))) FROM decision d "
        "JOIN act a ON a.id = d.act_id JOIN frame f ON f.id = d.frame_id "
        "WHERE f.outing_id = ? GROUP BY f.id",
        (outing_id,),
    )
    return {name: datetime.fromisoformat(moment).timestamp() for name, moment in rows}


def remember(rows: Rows, folder: Path, frame_id: int, path: Path, about: Remembered) -> None:
    """Write down how a sidecar is now.

    Parameters
    ----------
    rows : Rows
        From `Book.writing`.
    folder : Path
        The book's, without links.
    frame_id : int
        Whose sidecar.
    path : Path
        The file.
    about : Remembered
        What it holds.
    """
    rows.execute(
        "INSERT INTO sidecar (frame_id, path, sha256, verdict, written) VALUES (?, ?, ?, ?, ?) "
        "ON CONFLICT (frame_id, path) DO UPDATE SET sha256 = excluded.sha256, "
        "verdict = excluded.verdict, written = excluded.written",
        (frame_id, kept_path(folder, path), about.sha256, about.verdict, now()),
    )


def take_over(rows: Rows, ids: Mapping[str, int], read: Sequence[tuple[str, Found]]) -> None:
    """Write down verdicts that another program gave, as one act that can be taken back.

    Parameters
    ----------
    rows : Rows
        From `Book.writing`.
    ids : mapping
        Frame's name to its number.
    read : sequence of (str, str)
        Frames and verdicts.
    """
    if read:
        _act(rows, ids, read, f"read {_counted(len(read))} from sidecars", stands=True)


def note_lost(rows: Rows, ids: Mapping[str, int], lost: Sequence[tuple[str, Found]]) -> None:
    """Keep in the history what sidecars said when a later verdict of the person stands.

    Parameters
    ----------
    rows : Rows
        From `Book.writing`.
    ids : mapping
        Frame's name to its number.
    lost : sequence of (str, str)
        Frames and the verdicts that do not stand.
    """
    if lost:
        what = f"read {_counted(len(lost))} from sidecars, older than yours"
        _act(rows, ids, lost, what, stands=False)


def kept_path(folder: Path, path: Path) -> str:
    """Give a path as the book keeps it: below its folder if it is there, so that it can be moved.

    Parameters
    ----------
    folder : Path
        The book's, without links.
    path : Path
        Of a file.

    Returns
    -------
    str
        Relative or whole.
    """
    if path.is_relative_to(folder):
        return path.relative_to(folder).as_posix()
    return str(path)


def _act(
    rows: Rows,
    ids: Mapping[str, int],
    verdicts: Sequence[tuple[str, Found]],
    what: str,
    *,
    stands: bool,
) -> None:
    moment = now()
    act = rows.execute(
        "INSERT INTO act (what, done, undone) VALUES (?, ?, ?)",
        (what, moment, None if stands else moment),
    ).lastrowid
    rows.executemany(
        "INSERT INTO decision (act_id, frame_id, verdict) VALUES (?, ?, ?)",
        [(act, ids[name], verdict) for name, verdict in verdicts],
    )


def _counted(number: int) -> str:
    return f"{number} verdict{'' if number == 1 else 's'}"
