"""Outings, their frames and their runs, as rows."""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC
from pathlib import Path

from haltere.errors import UsageError
from haltere.fieldbook.book import Book, now
from haltere.fieldbook.frame_rows import FRAME_COLUMNS, frame_of_row, row_of_frame
from haltere.frames import find_frames
from haltere.frames.content import stamp_of
from haltere.frames.frame import Frame, Skipped
from haltere.progress import Progress, silent
from haltere.runs.run import Direction, Pass, Run, RunKind


@dataclass(frozen=True, slots=True)
class OutingRow:
    """One outing of the book.

    Attributes
    ----------
    id : int
        Its number in the book.
    day : str
        Date, ISO 8601; empty when no frame tells it.
    name : str
        As the photographer calls it, or the folder's.
    folder : Path
        Where its originals lie.
    in_place : bool
        Whether they lie where the photographer put them.
    frames : int
        How many pictures of it are written down.
    """

    id: int
    day: str
    name: str
    folder: Path
    in_place: bool
    frames: int

    @property
    def title(self) -> str:
        """Day and name, the day once where nobody named the outing."""
        return " ".join(dict.fromkeys(word for word in (self.day, self.name) if word))

    @property
    def originals(self) -> Path:
        """Folder of the pictures: an unloaded outing keeps them apart from its manifest."""
        payload = self.folder / "data"
        return payload if not self.in_place and payload.is_dir() else self.folder


def place_outing(book: Book, folder: Path, name: str, *, day: str = "", in_place: bool) -> int:
    """Give the outing whose originals lie in a folder, and begin it when it is new.

    Parameters
    ----------
    book : Book
        Open book.
    folder : Path
        Where the originals lie.
    name : str
        What it is called; an outing that is there keeps its own.
    day : str, optional
        Date, ISO 8601.
    in_place : bool
        Whether the photographer keeps the originals there.

    Returns
    -------
    int
        The outing's number.
    """
    where = str(folder.resolve())
    known = book.connection.execute("SELECT id FROM outing WHERE folder = ?", (where,)).fetchone()
    if known is not None:
        return int(known[0])
    with book.writing() as rows:
        rows.execute(
            "INSERT INTO outing (day, name, folder, in_place, begun) VALUES (?, ?, ?, ?, ?) "
            "ON CONFLICT (folder) DO NOTHING",
            (day, name, where, int(in_place), now()),
        )
    return int(
        book.connection.execute("SELECT id FROM outing WHERE folder = ?", (where,)).fetchone()[0]
    )


def outings(book: Book) -> tuple[OutingRow, ...]:
    """List the outings, newest first.

    Parameters
    ----------
    book : Book
        Open book.

    Returns
    -------
    tuple of OutingRow
        All of them.
    """
    rows = book.connection.execute(
        "SELECT o.*, (SELECT count(*) FROM frame f WHERE f.outing_id = o.id) AS frames "
        "FROM outing o ORDER BY o.day DESC, o.id DESC"
    )
    return tuple(outing_of_row(row) for row in rows)


def outing_named(book: Book, word: str) -> OutingRow:
    """Find the outing that a word means: its number, its name, its day, or day and name.

    Where several fit, one with pictures goes before those without.

    Parameters
    ----------
    book : Book
        Open book.
    word : str
        As the photographer wrote it.

    Returns
    -------
    OutingRow
        The one.

    Raises
    ------
    UsageError
        When none or several fit.
    """
    everything = outings(book)
    fits = [
        one
        for one in everything
        if word in (str(one.id), one.name, one.day, f"{one.day} {one.name}")
    ]
    if len(fits) > 1:  # a card's other files may make an outing of another day, without pictures
        fits = [one for one in fits if one.frames] or fits
    if len(fits) == 1:
        return fits[0]
    if not everything:
        raise UsageError("the field book has no outing yet; begin with haltere unload CARD")
    near = ", ".join(f"{one.id} ({one.title})" for one in (fits or everything)[:5])
    kind = "fits several outings" if fits else "is no outing of this field book"
    raise UsageError(f"{word}: {kind}; name one by its number: {near}")


def keep_frames(book: Book, outing_id: int, frames: Sequence[Frame]) -> None:
    """Write down the frames of an outing; what is there already and unchanged stays as it is.

    Parameters
    ----------
    book : Book
        Open book.
    outing_id : int
        Their outing.
    frames : sequence of Frame
        As found; their files are asked for size and time only.
    """
    known = {
        row["name"]: (row["bytes"], row["mtime_ns"], row["path"], row["raw_name"])
        for row in book.connection.execute(
            "SELECT name, bytes, mtime_ns, path, raw_name FROM frame WHERE outing_id = ?",
            (outing_id,),
        )
    }
    rows = []
    for frame in frames:
        size, moment = identity(frame.path)
        if known.get(frame.name) != (size, moment, str(frame.path.resolve()), frame.raw_name):
            rows.append(row_of_frame(outing_id, frame, size, moment))
    if not rows:
        return
    cameras = {(one.shooting.serial, "") for one in frames if one.shooting.serial is not None}
    with book.writing() as connection:
        connection.executemany(
            "INSERT INTO camera (serial, model) VALUES (?, ?) ON CONFLICT DO NOTHING", cameras
        )
        connection.executemany(_UPSERT, rows)


def catalogue_frames(
    book: Book, outing: OutingRow, progress: Progress = silent
) -> tuple[Skipped, ...]:
    """Read the headers of every picture of an unloaded outing and write its frames down.

    Parameters
    ----------
    book : Book
        Open book.
    outing : OutingRow
        The outing; all folders of its originals are searched.
    progress : Progress, optional
        Told of each file.

    Returns
    -------
    tuple of Skipped
        Files that are no picture, or can't be read.
    """
    root = outing.originals
    files = sorted(path for path in root.rglob("*") if path.is_file())
    if not files:
        return ()
    found = find_frames(files, progress=progress)

    def within(path: Path) -> str:
        return path.relative_to(root).as_posix()

    frames = [
        replace(
            frame,
            name=within(frame.path),
            raw_name=None if frame.raw_path is None else within(frame.raw_path),
        )
        for frame in found.frames
    ]
    keep_frames(book, outing.id, frames)
    with book.writing() as rows:
        for column, path in (("original_id", "name"), ("raw_id", "raw_name")):
            rows.execute(
                f"UPDATE frame SET {column} = (SELECT o.id FROM original o WHERE "
                f"o.outing_id = frame.outing_id AND o.path = frame.{path}) WHERE outing_id = ?",
                (outing.id,),
            )
    return tuple(replace(one, file=within(Path(one.file))) for one in found.skipped)


def frames_in(book: Book, outing_id: int) -> tuple[Frame, ...]:
    """Give the frames of an outing as they were found, without opening a picture.

    Times are those of the camera plus the shift that its clock was given, so that two cameras
    fall into one order.

    Parameters
    ----------
    book : Book
        Open book.
    outing_id : int
        The outing.

    Returns
    -------
    tuple of Frame
        In order of time, then name; frames without a time first.
    """
    rows = book.connection.execute(
        "SELECT f.*, c.shift_s FROM frame f LEFT JOIN camera c ON c.serial = f.camera "
        "WHERE f.outing_id = ? ORDER BY f.taken, f.name",
        (outing_id,),
    )
    frames = [frame_of_row(row) for row in rows]
    aware = all(one.shooting.time is None or one.shooting.time.tzinfo for one in frames)

    def moment(frame: Frame) -> float:
        time = frame.shooting.time
        if time is None:
            return -math.inf
        return (time if aware else time.replace(tzinfo=UTC)).timestamp()

    return tuple(sorted(frames, key=moment))


def keep_runs(book: Book, outing_id: int, runs: Sequence[Run]) -> None:
    """Write down how an outing falls into runs; the same splitting again changes nothing.

    Parameters
    ----------
    book : Book
        Open book.
    outing_id : int
        The outing; its frames are written down.
    runs : sequence of Run
        All runs of the outing.
    """
    if runs_in(book, outing_id) == tuple(runs):
        return
    ids = frame_ids(book, outing_id)
    with book.writing() as rows:
        rows.execute("DELETE FROM run WHERE outing_id = ?", (outing_id,))
        for run in runs:
            cursor = rows.execute(
                "INSERT INTO run (outing_id, name, kind, reason) VALUES (?, ?, ?, ?)",
                (outing_id, run.id, run.kind, run.reason),
            )
            passed = {
                name: (number, one.direction)
                for number, one in enumerate(run.passes)
                for name in one.frames
            }
            rows.executemany(
                "INSERT INTO run_frame (run_id, position, frame_id, pass, direction) "
                "VALUES (?, ?, ?, ?, ?)",
                [
                    (cursor.lastrowid, position, ids[name], *passed.get(name, (None, None)))
                    for position, name in enumerate(run.frames)
                ],
            )


def runs_in(book: Book, outing_id: int) -> tuple[Run, ...]:
    """Give the runs of an outing.

    Parameters
    ----------
    book : Book
        Open book.
    outing_id : int
        The outing.

    Returns
    -------
    tuple of Run
        As they were written down.
    """
    found: dict[int, tuple[str, RunKind, str]] = {}
    frames: dict[int, list[str]] = {}
    passes: dict[int, dict[int, tuple[Direction, list[str]]]] = {}
    rows = book.connection.execute(
        "SELECT r.id, r.name, r.kind, r.reason, f.name AS frame, m.pass, m.direction FROM run r "
        "JOIN run_frame m ON m.run_id = r.id JOIN frame f ON f.id = m.frame_id "
        "WHERE r.outing_id = ? ORDER BY r.id, m.position",
        (outing_id,),
    )
    for row in rows:
        key = int(row["id"])
        found[key] = (row["name"], row["kind"], row["reason"])
        frames.setdefault(key, []).append(row["frame"])
        if row["pass"] is not None:
            of_run = passes.setdefault(key, {})
            of_run.setdefault(int(row["pass"]), (row["direction"], []))[1].append(row["frame"])
    return tuple(
        Run(
            name,
            kind,
            tuple(frames[key]),
            tuple(
                Pass(direction, tuple(names))
                for _, (direction, names) in sorted(passes.get(key, {}).items())
            ),
            reason,
        )
        for key, (name, kind, reason) in found.items()
    )


def run_named(book: Book, outing_id: int, word: str) -> Run:
    """Find a run of an outing by its id.

    Parameters
    ----------
    book : Book
        Open book.
    outing_id : int
        The outing.
    word : str
        As haltere runs prints it: "run-03".

    Returns
    -------
    Run
        The one.

    Raises
    ------
    UsageError
        When there is none of that name.
    """
    everything = runs_in(book, outing_id)
    for run in everything:
        if run.id == word:
            return run
    known = ", ".join(run.id for run in everything[:12]) or "none yet: haltere runs finds them"
    raise UsageError(f"--run {word}: is no run of this outing; its runs are {known}")


def frame_ids(book: Book, outing_id: int) -> dict[str, int]:
    """Give the number of each frame of an outing by its name.

    Parameters
    ----------
    book : Book
        Open book.
    outing_id : int
        The outing.

    Returns
    -------
    dict
        Name to number.
    """
    rows = book.connection.execute("SELECT name, id FROM frame WHERE outing_id = ?", (outing_id,))
    return {row[0]: int(row[1]) for row in rows}


def identity(path: Path) -> tuple[int, int]:
    """Give what tells a file from a changed one without reading it.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    bytes, mtime_ns : int
        Size and time of change; (-1, -1) when it is gone.
    """
    try:
        return stamp_of(path)
    except OSError:
        return -1, -1


_UPSERT = (
    f"INSERT INTO frame ({', '.join(FRAME_COLUMNS)}) "
    f"VALUES ({', '.join('?' * len(FRAME_COLUMNS))}) "
    "ON CONFLICT (outing_id, name) DO UPDATE SET "
    + ", ".join(f"{name} = excluded.{name}" for name in FRAME_COLUMNS[2:])
)


def outing_of_row(row: sqlite3.Row) -> OutingRow:
    """Take up an outing.

    Parameters
    ----------
    row : sqlite3.Row
        All of its columns, and ``frames``, how many it has.

    Returns
    -------
    OutingRow
        The one.
    """
    return OutingRow(
        int(row["id"]),
        row["day"],
        row["name"],
        Path(row["folder"]),
        bool(row["in_place"]),
        int(row["frames"]),
    )
