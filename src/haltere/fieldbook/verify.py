"""Reads everything again, names what changed or vanished, and repairs it from the other copy."""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from haltere.errors import FrameError, NothingToDoError, WriteError
from haltere.fieldbook.book import Book, now
from haltere.fieldbook.card_root import standing
from haltere.fieldbook.copying import look_again, restore
from haltere.fieldbook.durable import (
    UNFINISHED,
    ReadBack,
    disk_of,
    in_words,
    make_folders,
    sweep_parts,
    sync_folder,
)
from haltere.fieldbook.locking import only_one
from haltere.fieldbook.manifest import DATA
from haltere.fieldbook.originals import Place, Role, copy_row, is_adopted, places, refresh_lists
from haltere.fieldbook.verdict import SAFE, CardVerdict, verdict_on
from haltere.progress import Progress, silent

_PAGE = 200
"""Copies that are read between two records; a break costs no more than these."""


@dataclass(frozen=True, slots=True)
class Damage:
    """One copy that is not what it was.

    Attributes
    ----------
    file : str
        Its place below the folder of originals.
    folder : str
        That folder.
    what : {"changed", "missing"}
        Whether it reads differently, or not at all.
    repaired : bool
        Whether it is whole again.
    note : str
        What was done, or what helps.
    """

    file: str
    folder: str
    what: Literal["changed", "missing"]
    repaired: bool
    note: str


@dataclass(frozen=True, slots=True)
class CardNow:
    """A card that was called safe to format and no longer is.

    Attributes
    ----------
    source : str
        Where the card was.
    unloaded : str
        When.
    verdict : CardVerdict
        What holds now.
    """

    source: str
    unloaded: str
    verdict: CardVerdict


@dataclass(frozen=True, slots=True)
class Verified:
    """What came of reading everything again.

    Attributes
    ----------
    book : str
        The book's folder.
    copies : int
        Copies that were read.
    good : int
        Those that are what they were, or are again.
    bytes : int
        Length of what was read.
    verified_from : {"disk", "cache"}
        'cache' when at least one could not be read past the computer's memory.
    damages : tuple of Damage
        What changed or vanished.
    not_there : tuple of str
        Folders whose disk is not plugged in; nothing is said of them.
    strays : tuple of str
        Files among the originals that the book does not know.
    withdrawn : tuple of CardNow
        Cards that are no longer safe to format.
    seconds : float
        What it took.
    """

    book: str
    copies: int
    good: int
    bytes: int
    verified_from: str
    damages: tuple[Damage, ...]
    not_there: tuple[str, ...]
    strays: tuple[str, ...]
    withdrawn: tuple[CardNow, ...]
    seconds: float


@dataclass(frozen=True, slots=True)
class _Copy:
    id: int
    original: int
    place: Place
    path: str
    sha256: str
    size: int

    @property
    def file(self) -> Path:
        return self.place.root / self.path


def verify(book: Book, *, repair_from: Role | None = None, progress: Progress = silent) -> Verified:
    """Read every copy of every original from its disk and compare it with what it was.

    Holds `_PAGE` rows and pieces of two files.

    Parameters
    ----------
    book : Book
        Open book.
    repair_from : {"first", "second"}, optional
        Bring back what changed or vanished from the copies on that side; what changed is set
        aside, not thrown away. A folder that was adopted in place is never written to.
    progress : Progress, optional
        Told of copies; it may raise to stop.

    Returns
    -------
    Verified
        What is well and what is not.

    Raises
    ------
    NothingToDoError
        When the book holds no original.
    BookError
        When another haltere is at work.
    WriteError
        When a repair can't be written.
    """
    begun = time.monotonic()
    with ExitStack() as stack:
        stack.enter_context(in_words(book.folder))
        stack.enter_context(only_one(book.folder))
        book.originals.mkdir(exist_ok=True)
        there, not_there = _reachable(book)
        _stand_again(book, there, repair_from)
        writable = [one for one in there if not is_adopted(book, one) and _writable(one.root)]
        for place in writable:
            if place.role == "second":
                stack.enter_context(only_one(place.root))
            sweep_parts(place.root)
        safe = _verdicts(book)
        total = _count(book, there)
        if total == 0 and not not_there:
            raise NothingToDoError(
                f"{book.folder}: this field book holds no originals yet; begin with "
                "haltere unload CARD"
            )
        bad: list[tuple[_Copy, ReadBack | None]] = []
        copies = size = cached = 0
        with ThreadPoolExecutor(max_workers=2, thread_name_prefix="read-back") as pool:
            for page in _pages(book, there):
                progress("reading again", copies, total)
                backs = list(pool.map(_look, page))
                _note(book, page, backs)
                for copy, back in zip(page, backs, strict=True):
                    copies += 1
                    size += 0 if back is None else back.size
                    cached += back is not None and back.read_from == "cache"
                    if back is None or back.sha256 != copy.sha256:
                        bad.append((copy, back))
        progress("reading again", copies, total)
        mendable = [one for one in there if not _is_own(book, one) and _writable(one.root)]
        damages = tuple(_repair(book, one, back, repair_from, mendable) for one, back in bad)
        refresh_lists(book, [*writable, *(one for one in there if is_adopted(book, one))])
        return Verified(
            book=str(book.folder),
            copies=copies,
            good=copies - sum(not one.repaired for one in damages),
            bytes=size,
            verified_from="cache" if cached else "disk",
            damages=damages,
            not_there=tuple(str(place.root) for place in not_there),
            strays=tuple(_strays(book, there)),
            withdrawn=tuple(_withdrawn(book, safe)),
            seconds=round(time.monotonic() - begun, 3),
        )


def _reachable(book: Book) -> tuple[list[Place], list[Place]]:
    """Part the places that are plugged in from those that are not."""
    there: list[Place] = []
    not_there: list[Place] = []
    for place in places(book):
        folders = {path.partition("/")[0] for path in _some_paths(book, place)}
        if not folders:
            continue
        own_names = is_adopted(book, place)
        # the empty folder where a disk should be mounted is no disk
        stands = place.root.is_dir() and (
            any(place.root.iterdir())
            if own_names
            else any((place.root / f).is_dir() for f in folders)
        )
        own = place.root == book.originals
        (there if stands or own or _erased(book, place) else not_there).append(place)
    return there, not_there


def _erased(book: Book, place: Place) -> bool:
    """Answer whether a folder that does not stand is gone from a disk that is plugged in.

    Its disk is there when what stands of its path lies on the disk it was last seen on, or beside
    the book, where it lay before. An unplugged disk leaves at most a mount point on another disk.
    """
    now_on = disk_of(standing(place.root))
    if now_on == place.disk:
        return True
    row = book.connection.execute(
        "SELECT device FROM place WHERE root = ?", (book.originals.name,)
    ).fetchone()
    beside = row is not None and row[0] == place.disk
    return beside and now_on == disk_of(standing(book.folder.resolve()))


def _is_own(book: Book, place: Place) -> bool:
    """Answer whether a folder is the photographer's own, and not one for dropped frames."""
    if not is_adopted(book, place):
        return False
    where = (str(place.root),)
    own = book.connection.execute("SELECT 1 FROM outing WHERE in_place AND folder = ?", where)
    moved = book.connection.execute("SELECT 1 FROM moved WHERE root = ?", where)
    return own.fetchone() is not None or moved.fetchone() is None


def _stand_again(book: Book, there: Sequence[Place], repair_from: Role | None) -> None:
    """Make folders that were erased anew, to be filled from the other side."""
    for place in there:
        if repair_from not in (None, place.role) and not _is_own(book, place):
            with contextlib.suppress(OSError):  # said of each file, where it can't be written
                make_folders(place.root)


def _some_paths(book: Book, place: Place) -> list[str]:
    rows = book.connection.execute("SELECT path FROM copy WHERE place_id = ?", (place.id,))
    return [row[0] for row in rows]


def _writable(root: Path) -> bool:
    return os.access(root, os.W_OK | os.X_OK)


def _count(book: Book, there: Sequence[Place]) -> int:
    return sum(len(_some_paths(book, place)) for place in there)


def _pages(book: Book, there: Sequence[Place]) -> Iterator[list[_Copy]]:
    for place in there:
        last = ""
        while True:
            rows = book.connection.execute(
                "SELECT c.id, c.original_id, c.path, o.sha256, o.bytes FROM copy c "
                "JOIN original o ON o.id = c.original_id "
                "WHERE c.place_id = ? AND c.path > ? ORDER BY c.path LIMIT ?",
                (place.id, last, _PAGE),
            ).fetchall()
            if not rows:
                break
            last = rows[-1][2]
            yield [_Copy(int(r[0]), int(r[1]), place, r[2], r[3], int(r[4])) for r in rows]


def _look(copy: _Copy) -> ReadBack | None:
    return look_again(copy.file)


def _note(book: Book, page: Sequence[_Copy], backs: Sequence[ReadBack | None]) -> None:
    rows = []
    for copy, back in zip(page, backs, strict=True):
        if back is None:
            rows.append(("missing", "disk", now(), copy.id))
        else:
            state = "good" if back.sha256 == copy.sha256 else "changed"
            rows.append((state, back.read_from, now(), copy.id))
    with book.writing() as connection:
        connection.executemany(
            "UPDATE copy SET state = ?, read_from = ?, checked = ? WHERE id = ?", rows
        )


def _repair(
    book: Book,
    copy: _Copy,
    back: ReadBack | None,
    repair_from: Role | None,
    mendable: Sequence[Place],
) -> Damage:
    damage = Damage(
        copy.path, str(copy.place.root), "missing" if back is None else "changed", False, ""
    )
    sources = book.connection.execute(
        "SELECT p.root, c.path, p.role FROM copy c JOIN place p ON p.id = c.place_id "
        "WHERE c.original_id = ? AND c.state = 'good' AND c.id <> ?",
        (copy.original, copy.id),
    ).fetchall()
    own = _is_own(book, copy.place)
    if not sources:
        cure = "bring it back from a backup of yours" if own else "unload its card again"
        return replace(damage, note=f"there is no good copy in the book; {cure}")
    if own:
        good = book.folder / sources[0][0] / sources[0][1]
        return replace(damage, note=f"stands in your own folder; a good copy is {good}")
    fitting = [row for row in sources if row[2] == repair_from]
    if not fitting:
        side = f"--from-{sources[0][2]}"
        return replace(damage, note=f"a good copy is there: haltere verify {side} brings it back")
    if copy.place not in mendable:
        return replace(damage, note="its disk is write-protected; unlock it")
    source = book.folder / fitting[0][0] / fitting[0][1]
    try:
        read_from = restore(source, copy.file, copy.sha256, copy.place.root)
        sync_folder(copy.file.parent)
        if is_adopted(book, copy.place):  # a folder for dropped frames holds nothing else
            with contextlib.suppress(OSError):
                (copy.place.root / UNFINISHED).rmdir()
    except (FrameError, WriteError, OSError) as error:
        return replace(damage, note=f"could not be repaired: {error}")
    with book.writing() as rows:
        copy_row(rows, copy.original, copy.place.id, copy.path, read_from)
    kept = "" if back is None else "; what stood there is in the folder set-aside"
    return replace(damage, repaired=True, note=f"brought back from {source}{kept}")


def _strays(book: Book, there: Sequence[Place]) -> Iterator[str]:
    """Name files among the originals that no record tells of; our own sidecars are told of."""
    written = book.connection.execute("SELECT path FROM sidecar")
    ours = {(book.folder / row[0]).resolve() for row in written}
    for place in there:
        if is_adopted(book, place):
            continue
        known = set(_some_paths(book, place))
        for bag in sorted({path.partition("/")[0] for path in known}):
            for base, _, names in os.walk(place.root / bag / DATA):
                for name in sorted(names):
                    path = Path(base, name)
                    if (
                        path.relative_to(place.root).as_posix() not in known
                        and path.resolve() not in ours
                    ):
                        yield os.fsencode(path).decode("utf-8", "backslashreplace")


def _verdicts(book: Book) -> set[int]:
    """Give the visits whose cards are safe to format as things stand."""
    rows = book.connection.execute("SELECT id FROM visit WHERE ended IS NOT NULL").fetchall()
    return {int(row[0]) for row in rows if verdict_on(book, int(row[0])).code in SAFE}


def _withdrawn(book: Book, before: set[int]) -> Iterator[CardNow]:
    for visit in sorted(before - _verdicts(book)):
        row = book.connection.execute(
            "SELECT source, ended FROM visit WHERE id = ?", (visit,)
        ).fetchone()
        yield CardNow(row[0], row[1], verdict_on(book, visit))
