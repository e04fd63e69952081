"""Records a batch of files that were read back: copies, originals and the card's own list."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from haltere.errors import FrameError, WriteError
from haltere.fieldbook.book import Book, now
from haltere.fieldbook.card import About, CardFile
from haltere.fieldbook.copying import FileRefusedError, look_again, pour, set_aside, settle
from haltere.fieldbook.durable import ReadBack, ReadFrom, cure, fresh_part, sync_folder
from haltere.fieldbook.manifest import DATA
from haltere.fieldbook.naming import fit_path, numbered, outing_folder
from haltere.fieldbook.originals import (
    Place,
    copy_row,
    is_adopted,
    outing_row,
    refresh_lists,
)
from haltere.frames.frame import Skipped

Check = Future[ReadFrom | ReadBack | None]


@dataclass(slots=True, eq=False)
class Copy:
    """One copy that is being checked.

    Attributes
    ----------
    place : Place
        Where.
    path : str
        Below the place's root.
    check : Future
        A new copy gives where it was read from, or raises; one that was there before gives what
        was read, None when it is gone.
    """

    place: Place
    path: str
    check: Check


@dataclass(slots=True, eq=False)
class Entry:
    """One file of the card between its reading and its record.

    Attributes
    ----------
    file : CardFile
        On the card.
    about : About
        Its day and kind.
    bag : str
        Folder of its outing.
    sha256 : str
        What was read from the card; empty before.
    path : str
        Its place in the outing; empty for what the book knows already.
    copies : list of Copy
        What is being checked.
    original : int or None
        The original that it is, when the book knows it already.
    trouble : str
        Why it is not safely in the book.
    """

    file: CardFile
    about: About
    bag: str
    sha256: str = ""
    path: str = ""
    copies: list[Copy] = field(default_factory=list)
    original: int | None = None
    trouble: str = ""


@dataclass(slots=True)
class Tally:
    """What came of the files so far.

    Attributes
    ----------
    copied : int
        Files that are new in the book.
    known : int
        Files that it had, under whatever name.
    copied_bytes : int
        Bytes of the new ones.
    cached : int
        Checks that were not certain to have come from a disk.
    mended : int
        Copies that had changed or vanished and were made again from the card.
    troubles : list of Skipped
        Files that are not safely in the book, and why.
    folders : dict
        New files by outing folder.
    """

    copied: int = 0
    known: int = 0
    copied_bytes: int = 0
    cached: int = 0
    mended: int = 0
    troubles: list[Skipped] = field(default_factory=list)
    folders: dict[str, int] = field(default_factory=dict)


Good = list[tuple[Copy, ReadFrom]]


class Filing:
    """Writes down batches of one visit.

    Parameters
    ----------
    book : Book
        Open book, locked by the caller.
    visit_id : int
        The visit.
    places : sequence of Place
        Where every file must be: the book's own (or the adopted folder) first, then the second.
    name : str
        What the outings are called.
    """

    def __init__(self, book: Book, visit_id: int, places: Sequence[Place], name: str) -> None:
        self.tally = Tally()
        self.visit_id = visit_id
        self._book = book
        self._places = places
        self._name = name

    def file(self, entries: Sequence[Entry]) -> None:
        """Record a batch in one transaction, after everything in it is on the disk.

        Parameters
        ----------
        entries : sequence of Entry
            Their checks are waited for.

        Raises
        ------
        WriteError
            When a disk refused; what was good is recorded first.
        BookError
            When the book can't be written.
        """
        stopped: WriteError | None = None
        kept: list[tuple[Entry, Good]] = []
        for entry in entries:
            try:
                kept.append((entry, self._outcome(entry)))
            except WriteError as error:
                stopped = stopped or error
        self._sync(kept)
        with self._book.writing() as rows:
            for entry, good in kept:
                self._write(rows, entry, good)
        bags = {
            copy.path.partition("/")[0]
            for _, good in kept
            for copy, _ in good
            if not is_adopted(self._book, copy.place)
        }
        if bags:
            refresh_lists(self._book, self._own_places(), bags)
        if stopped is not None:
            raise stopped

    def _own_places(self) -> list[Place]:
        return [place for place in self._places if not is_adopted(self._book, place)]

    def _sync(self, kept: Sequence[tuple[Entry, Good]]) -> None:
        """Put all names on the way to the batch's files on the disk."""
        folders = {
            copy.place.root / above
            for _, good in kept
            for copy, _ in good
            if not is_adopted(self._book, copy.place)
            for above in PurePosixPath(copy.path).parents
        }
        for folder in sorted(folders):
            try:
                sync_folder(folder)
            except OSError as error:
                raise WriteError(f"{folder}: can't be written: {cure(error)}") from error

    def _outcome(self, entry: Entry) -> Good:
        """Wait for a file's checks; mend what the card can mend."""
        good: Good = []
        refused: WriteError | None = None
        for copy in entry.copies:
            try:
                result = copy.check.result()
            except FileRefusedError as error:
                entry.trouble = str(error)
                continue
            except WriteError as error:
                refused = refused or error
                continue
            if isinstance(result, ReadBack):
                if result.sha256 == entry.sha256:
                    good.append((copy, result.read_from))
            elif result is not None:
                good.append((copy, result))
        if refused is not None:
            raise refused
        if entry.original is not None:
            self._mend(entry, good)
        return good

    def _mend(self, entry: Entry, good: Good) -> None:
        """See that a known original is at every place it should be, taking it from the card."""
        lacking = [
            place for place in self._places if place.id not in {copy.place.id for copy, _ in good}
        ]
        for place in lacking:
            there = next((copy for copy in entry.copies if copy.place.id == place.id), None)
            if is_adopted(self._book, place):
                if there is not None:
                    entry.trouble = f"changed or vanished in {place.root} after it was adopted"
                continue
            adopted = any(is_adopted(self._book, copy.place) for copy, _ in good)
            if there is None and place.role == "first" and adopted:
                continue  # a folder adopted in place holds it already
            path = there.path if there is not None else self._path_for(entry, place)
            part = fresh_part(place.root)
            try:
                if pour(entry.file, [part], lambda _: None) != entry.sha256:
                    raise FrameError("changed while it was read; unload again")
                if there is not None:
                    set_aside(place.root / path, place.root)
                    self.tally.mended += 1
                if part.exists() and not os.path.lexists(place.root / path):
                    read_from = settle(part, place.root / path, entry.sha256)
                else:  # what a break left there is the same file: see `_path_for`
                    back = look_again(place.root / path)
                    assert back is not None
                    read_from = back.read_from
            except (FrameError, FileRefusedError) as error:
                entry.trouble = str(error)
                continue
            except OSError as error:
                if isinstance(error, WriteError):
                    raise
                raise WriteError(f"{place.root / path}: {cure(error)} and try again") from error
            finally:
                with contextlib.suppress(OSError):
                    part.unlink(missing_ok=True)
            done: Check = Future()
            done.set_result(read_from)
            good.append((Copy(place, path, done), read_from))

    def _path_for(self, entry: Entry, place: Place) -> str:
        """Choose a name at a place for an original that is not there yet."""
        row = self._book.connection.execute(
            "SELECT o.path, t.day, t.name, t.folder, t.in_place FROM original o "
            "JOIN outing t ON t.id = o.outing_id WHERE o.id = ?",
            (entry.original,),
        ).fetchone()
        own = Path(row[3])
        bag = outing_folder(row[1], row[2]) if row[4] else own.name
        inside = fit_path(entry.file.inside) if row[4] else row[0]
        number = 0
        while True:
            number += 1
            path = f"{bag}/{DATA}/{numbered(inside, number)}"
            taken = self._book.connection.execute(
                "SELECT 1 FROM copy WHERE place_id = ? AND path = ?", (place.id, path)
            ).fetchone()
            if taken is not None:
                continue
            if not os.path.lexists(place.root / path):
                return path
            back = look_again(place.root / path)
            if back is not None and back.sha256 == entry.sha256:
                return path

    def _write(self, rows: sqlite3.Connection, entry: Entry, good: Good) -> None:
        original = entry.original
        first = self._places[0].id
        if original is None and any(copy.place.id == first for copy, _ in good):
            original = self._new_original(rows, entry)
        if original is not None:
            for copy, read_from in good:
                copy_row(rows, original, copy.place.id, copy.path, read_from)
            self._mark_bad(rows, original, entry, good)
        file = entry.file
        rows.execute(
            "INSERT INTO card_file (visit_id, path, bytes, mtime_ns, original_id, trouble) "
            "VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (visit_id, path) DO UPDATE SET "
            "bytes = excluded.bytes, mtime_ns = excluded.mtime_ns, "
            "original_id = excluded.original_id, trouble = excluded.trouble",
            (self.visit_id, file.name, file.size, file.mtime_ns, original, entry.trouble),
        )
        self._count(entry, good, original)

    def _new_original(self, rows: sqlite3.Connection, entry: Entry) -> int:
        place = self._places[0]
        adopted = is_adopted(self._book, place)
        folder = place.root if adopted else (place.root / entry.bag).resolve()
        outing = outing_row(rows, entry.about.day, self._name, folder, in_place=adopted)
        cursor = rows.execute(
            "INSERT INTO original (outing_id, sha256, bytes, path, kind, arrived) "
            "VALUES (?, ?, ?, ?, ?, ?)",
            (outing, entry.sha256, entry.file.size, entry.path, entry.about.kind, now()),
        )
        assert cursor.lastrowid is not None
        return cursor.lastrowid

    def _mark_bad(self, rows: sqlite3.Connection, original: int, entry: Entry, good: Good) -> None:
        fine = {copy.place.id for copy, _ in good}
        for copy in entry.copies:
            if entry.original is not None and copy.place.id not in fine:
                state = "missing" if copy.check.result() is None else "changed"
                rows.execute(
                    "UPDATE copy SET state = ?, checked = ? WHERE original_id = ? AND place_id = ?",
                    (state, now(), original, copy.place.id),
                )

    def _count(self, entry: Entry, good: Good, original: int | None) -> None:
        tally = self.tally
        tally.cached += sum(read_from == "cache" for _, read_from in good)
        if entry.trouble:
            tally.troubles.append(Skipped(entry.file.name, entry.trouble))
        if original is None:
            return
        if entry.original is not None:
            tally.known += 1
            return
        tally.copied += 1
        tally.copied_bytes += entry.file.size
        tally.folders[entry.bag] = tally.folders.get(entry.bag, 0) + 1
