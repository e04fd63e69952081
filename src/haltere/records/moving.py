"""The moving itself: second names first, then the book, then the first names go.

It is written down what will be moved; each file gets its second name (a hard link, or on another
disk a copy that is read back and compared); the book is told, in one transaction; only then the
first name goes. A break leaves a file under both names at worst, and `finish` ends what was begun.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from haltere.errors import HaltereError
from haltere.fieldbook.book import Book, Rows, now
from haltere.fieldbook.catalogue import OutingRow, identity
from haltere.fieldbook.durable import UNFINISHED, sweep_parts
from haltere.fieldbook.manifest import write_bag
from haltere.fieldbook.originals import place_at, places, refresh_lists
from haltere.frames.frame import Skipped
from haltere.progress import Progress, silent
from haltere.records.carrying import carry, clear
from haltere.records.limits import LIMITS
from haltere.records.remembered import kept_path

Way = Literal["leaving", "returning"]


@dataclass(frozen=True, slots=True)
class Moved:
    """What came of moving dropped frames.

    Attributes
    ----------
    frames : tuple of str
        Frames that were moved, with raw file and sidecar.
    files : tuple of str
        Where their files are now.
    already : int
        Frames that were moved before.
    skipped : tuple of Skipped
        Frames that stayed where they were, and why.
    """

    frames: tuple[str, ...]
    files: tuple[str, ...]
    already: int
    skipped: tuple[Skipped, ...]


@dataclass(frozen=True, slots=True)
class MovingFile:
    """One file of a frame that moves.

    Attributes
    ----------
    row : int
        Its number in the book's list of moved files; 0 before it has one.
    copy : int or None
        Number of the copy that it is; None for a sidecar.
    home, away : Path
        Its names in the outing and in the folder of dropped frames.
    root : Path
        That folder.
    sha256 : str
        What it holds.
    """

    row: int
    copy: int | None
    home: Path
    away: Path
    root: Path
    sha256: str


@dataclass(frozen=True, slots=True)
class MovingFrame:
    """The files of one frame, which move together.

    Attributes
    ----------
    frame : str
        The frame's name.
    frame_id : int
        Its number.
    files : tuple of MovingFile
        Picture, raw file, sidecars.
    """

    frame: str
    frame_id: int
    files: tuple[MovingFile, ...]


def finish(book: Book, outing: OutingRow, progress: Progress) -> dict[Way, Moved]:
    """End what a break left begun.

    Parameters
    ----------
    book : Book
        Open book, locked by the caller.
    outing : OutingRow
        The outing.
    progress : Progress
        Told how many frames were moved.

    Returns
    -------
    dict
        What was moved either way.
    """
    for root in _roots(book):
        sweep_parts(root)
        with contextlib.suppress(OSError):
            (root / UNFINISHED).rmdir()  # stays when something is in it
    half = "f.outing_id = ? AND m.cleared = 0 AND m.state = "
    _clear(book, list(moving_rows(book, f"{half}'away'", outing.id)), "leaving")
    _clear(book, list(moving_rows(book, f"{half}'home'", outing.id)), "returning")
    ways: tuple[Way, ...] = ("leaving", "returning")
    ended = {
        way: _carried(
            book,
            outing,
            list(moving_rows(book, f"f.outing_id = ? AND m.state = '{way}'", outing.id)),
            way,
            progress,
        )
        for way in ways
    }
    if any(one.frames for one in ended.values()):
        _refresh(book, outing)
    return ended


def move(
    book: Book, outing: OutingRow, groups: list[MovingFrame], way: Way, progress: Progress
) -> Moved:
    """Write down what moves, and move it, batch by batch.

    Parameters
    ----------
    book : Book
        Open book, locked by the caller.
    outing : OutingRow
        The outing.
    groups : list of MovingFrame
        What moves, with the names that it gets.
    way : {"leaving", "returning"}
        From home, or back.
    progress : Progress
        Told how many frames were moved.

    Returns
    -------
    Moved
        A frame that could not move stays whole where it was, and is named.
    """
    frames: list[str] = []
    files: list[str] = []
    skipped: list[Skipped] = []
    for begin in range(0, len(groups), LIMITS.batch_files):
        progress("moving frames", begin, len(groups))
        with book.writing() as rows:
            batch = [
                _begin(rows, book, group, way)
                for group in groups[begin : begin + LIMITS.batch_files]
            ]
        part = _carried(book, outing, batch, way, silent)
        frames += part.frames
        files += part.files
        skipped += part.skipped
    progress("moving frames", len(groups), len(groups))
    if frames:
        _refresh(book, outing)
    return Moved(tuple(frames), tuple(files), 0, tuple(skipped))


def settled(book: Book, files: Sequence[MovingFile]) -> None:
    """Write down that nothing is left to bring back.

    Parameters
    ----------
    book : Book
        Open book, locked by the caller.
    files : sequence of MovingFile
        Of a frame that is at home.
    """
    with book.writing() as rows:
        rows.executemany(
            "UPDATE moved SET state = 'home', cleared = 1, changed = ? WHERE id = ?",
            [(now(), one.row) for one in files],
        )


def _carried(
    book: Book, outing: OutingRow, groups: list[MovingFrame], way: Way, progress: Progress
) -> Moved:
    """Give files their second names, tell the book, and take the first names away."""
    if not groups:
        return Moved((), (), 0, ())
    done: list[MovingFrame] = []
    skipped: list[Skipped] = []
    for number, group in enumerate(groups):
        progress("moving frames", number, len(groups))
        made: list[MovingFile] = []
        try:
            for one in group.files:
                target = one.root if way == "leaving" else book.originals
                if carry(*_from_to(one, way), one.sha256, target):
                    made.append(one)
        except HaltereError as error:
            skipped.append(Skipped(group.frame, str(error)))
            _give_up(book, group, way, made)
            continue
        done.append(group)
    if not done:
        return Moved((), (), 0, tuple(skipped))
    roots = {one.root for group in done for one in group.files}
    there = {root: place_at(book, root, "first").id for root in roots}
    home = place_at(book, book.originals, "first")
    originals = book.originals.resolve()
    with book.writing() as rows:
        for group in done:
            for one in group.files:
                if way == "leaving":
                    _switch(rows, book, group.frame_id, one, way, there[one.root], one.root)
                else:
                    _switch(rows, book, group.frame_id, one, way, home.id, originals)
    _clear(book, done, way)
    files = [str(_from_to(one, way)[1]) for group in done for one in group.files]
    return Moved(tuple(g.frame for g in done), tuple(files), 0, tuple(skipped))


def _from_to(one: MovingFile, way: Way) -> tuple[Path, Path]:
    return (one.home, one.away) if way == "leaving" else (one.away, one.home)


def _begin(rows: Rows, book: Book, group: MovingFrame, way: Way) -> MovingFrame:
    """Write down that a frame's files are about to move."""
    files: list[MovingFile] = []
    for one in group.files:
        home = kept_path(book.folder.resolve(), one.home)
        if one.row:
            rows.execute(
                "UPDATE moved SET state = ?, home = ?, sha256 = ?, cleared = 0, changed = ? "
                "WHERE id = ?",
                (way, home, one.sha256, now(), one.row),
            )
            files.append(one)
            continue
        cursor = rows.execute(
            "INSERT INTO moved (frame_id, copy_id, home, away, root, sha256, state, cleared, "
            "changed) VALUES (?, ?, ?, ?, ?, ?, ?, 0, ?)",
            (group.frame_id, one.copy, home, str(one.away), str(one.root), one.sha256, way, now()),
        )
        assert cursor.lastrowid is not None
        files.append(replace(one, row=cursor.lastrowid))
    return replace(group, files=tuple(files))


def _switch(
    rows: Rows,
    book: Book,
    frame_id: int,
    one: MovingFile,
    way: Way,
    place: int,
    root: Path,
) -> None:
    """Tell the book where a file is now; it lies under both names at this moment."""
    source, target = _from_to(one, way)
    if one.copy is not None:
        # a card that was unloaded again meanwhile may have brought another copy
        rows.execute(
            "UPDATE moved SET copy_id = NULL WHERE copy_id IN (SELECT c.id FROM copy c WHERE "
            "c.place_id = ? AND c.id <> ? AND c.original_id = "
            "(SELECT original_id FROM copy WHERE id = ?))",
            (place, one.copy, one.copy),
        )
        rows.execute(
            "DELETE FROM copy WHERE place_id = ? AND id <> ? AND original_id = "
            "(SELECT original_id FROM copy WHERE id = ?)",
            (place, one.copy, one.copy),
        )
        rows.execute(
            "UPDATE copy SET place_id = ?, path = ? WHERE id = ?",
            (place, target.relative_to(root).as_posix(), one.copy),
        )
        _, moment = identity(target)
        rows.execute(
            "UPDATE frame SET path = ?, mtime_ns = ? WHERE id = ? AND path = ?",
            (str(target), moment, frame_id, str(source)),
        )
        rows.execute(
            "UPDATE frame SET raw_path = ? WHERE id = ? AND raw_path = ?",
            (str(target), frame_id, str(source)),
        )
    else:
        rows.execute(
            "UPDATE OR REPLACE sidecar SET path = ? WHERE frame_id = ? AND path = ?",
            (
                kept_path(book.folder.resolve(), target),
                frame_id,
                kept_path(book.folder.resolve(), source),
            ),
        )
    state = "away" if way == "leaving" else "home"
    rows.execute("UPDATE moved SET state = ?, changed = ? WHERE id = ?", (state, now(), one.row))


def _clear(book: Book, groups: Sequence[MovingFrame], way: Way) -> None:
    """Take the first names away, where the second holds the same."""
    gone = [
        (one.row,)
        for group in groups
        for one in group.files
        if clear(*_from_to(one, way), one.sha256)
    ]
    if gone:
        with book.writing() as rows:
            rows.executemany("UPDATE moved SET cleared = 1 WHERE id = ?", gone)


def _give_up(book: Book, group: MovingFrame, way: Way, made: Sequence[MovingFile]) -> None:
    """Leave a frame where it was: take the second names away again."""
    for one in made:
        source, target = _from_to(one, way)
        clear(target, source, one.sha256)
    with book.writing() as rows:
        for one in group.files:
            if way == "leaving":
                rows.execute("DELETE FROM moved WHERE id = ?", (one.row,))
            else:
                rows.execute(
                    "UPDATE moved SET state = 'away', cleared = 1 WHERE id = ?", (one.row,)
                )


def _roots(book: Book) -> list[Path]:
    """List the folders of dropped frames, and the book's own."""
    rows = book.connection.execute("SELECT DISTINCT root FROM moved")
    return [book.originals, *(Path(row[0]) for row in rows)]


def _refresh(book: Book, outing: OutingRow) -> None:
    """Bring the outing's list of hashes to what is there now."""
    folder = outing.folder.resolve()
    originals = book.originals.resolve()
    if not folder.is_relative_to(originals):
        return
    bag = folder.relative_to(originals).parts[0]
    reachable = [place for place in places(book) if place.root.is_dir()]
    left = book.connection.execute(
        "SELECT 1 FROM copy c JOIN place p ON p.id = c.place_id WHERE p.root = 'originals' "
        "AND c.path > ? AND c.path < ? LIMIT 1",
        (f"{bag}/", f"{bag}0"),
    ).fetchone()
    if left is None:
        write_bag(book.originals / bag, (), book.originals)
    refresh_lists(book, [place for place in reachable if place.role == "first"], [bag])


def moving_rows(book: Book, where: str, word: int) -> Iterator[MovingFrame]:
    """Read files that move or moved, by frame.

    Parameters
    ----------
    book : Book
        Open book.
    where : str
        Which; `m` is the row, `f` its frame.
    word : int
        For the question mark in it.

    Yields
    ------
    MovingFrame
        With the files that fit.
    """
    found: dict[tuple[str, int], list[MovingFile]] = {}
    folder = book.folder.resolve()
    for row in book.connection.execute(
        "SELECT f.name, m.frame_id, m.id, m.copy_id, m.home, m.away, m.root, m.sha256 "
        f"FROM moved m JOIN frame f ON f.id = m.frame_id WHERE {where} ORDER BY m.id",
        (word,),
    ):
        one = MovingFile(row[2], row[3], folder / row[4], Path(row[5]), Path(row[6]), row[7])
        found.setdefault((row[0], int(row[1])), []).append(one)
    for (name, number), files in found.items():
        yield MovingFrame(name, number, tuple(files))
