"""Files on their way from the card into the book: poured, and read back beside the next one."""

from __future__ import annotations

import contextlib
import os
from collections import deque
from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor, wait
from pathlib import Path

from haltere.errors import FrameError, WriteError
from haltere.fieldbook.book import Book
from haltere.fieldbook.card import About, CardFile
from haltere.fieldbook.copying import FileRefusedError, Tick, hash_of, look_again, pour, settle
from haltere.fieldbook.durable import ReadBack, ReadFrom, cure, fresh_part
from haltere.fieldbook.filing import Check, Copy, Entry, Filing
from haltere.fieldbook.limits import LIMITS
from haltere.fieldbook.manifest import DATA
from haltere.fieldbook.naming import Names, Token, fit_path
from haltere.fieldbook.originals import Place, is_adopted, seen_before
from haltere.fieldbook.seen_again import SeenAgain


class Arriving:
    """Takes file after file; checks run beside it, records follow in batches.

    It holds the names of one visit's outings, at most `LIMITS.waiting_files` files that wait for
    their check, and a piece of a file for each place. Leaving its `with` block in whatever way
    records what was checked.

    Parameters
    ----------
    book : Book
        Open book, locked by the caller.
    filing : Filing
        Where batches are written down.
    places : sequence of Place
        Where every file must be: the book's own (or the adopted folder) first, then the second.
    seen : SeenAgain
        Tells which original a file of the card is.
    tick : callable
        Told of the bytes that were read from the card.
    """

    def __init__(
        self,
        book: Book,
        filing: Filing,
        places: Sequence[Place],
        seen: SeenAgain,
        tick: Tick,
    ) -> None:
        self._book = book
        self._filing = filing
        self._places = places
        self._seen = seen
        self._adopted = places[0] if is_adopted(book, places[0]) else None
        self._tick = tick
        self._pool = ThreadPoolExecutor(max_workers=len(places), thread_name_prefix="read-back")
        self._waiting = deque[Entry]()
        self._names: dict[str, Names] = {}

    def __enter__(self) -> Arriving:
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        """Record what is checked already; the rest is found again by its content."""
        self._pool.shutdown(wait=True, cancel_futures=True)
        if kind is not None:
            whole = [e for e in self._waiting if not any(c.check.cancelled() for c in e.copies)]
            with contextlib.suppress(Exception):  # the error on its way out tells more
                self._filing.file(whole)

    def take(self, file: CardFile, about: About, bag: str, group: frozenset[Token]) -> None:
        """Read one file and send it on its way.

        Parameters
        ----------
        file : CardFile
            On the card.
        about : About
            Its day and kind.
        bag : str
            Folder of its outing.
        group : frozenset of Token
            All files of its exposure.

        Raises
        ------
        WriteError
            When a place can't be written; nothing further will work then.
        FrameError
            When the file can't be read; `refuse` it then.
        """
        entry = Entry(file, about, bag)
        if self._adopted is not None:
            self._take_in_place(entry, self._adopted, group)
            return
        tick = self._tick
        if seen_before(self._book, file.token):
            entry.sha256 = hash_of(file, tick)
            if self._recognised(entry):
                return
            tick = _no_tick
        places, parts = self._pour(entry, self._places, tick)
        if self._recognised(entry):
            _remove(parts)
            return
        self._send(entry, places, parts, group)

    def refuse(self, file: CardFile, about: About, why: str) -> None:
        """Note that a file could not be read.

        Parameters
        ----------
        file : CardFile
            On the card.
        about : About
            Its day and kind.
        why : str
            In words.
        """
        self._waiting.append(Entry(file, about, "", trouble=why))

    def record(self, *, everything: bool = False) -> None:
        """Record what is checked; wait for checks only when too many are open.

        Parameters
        ----------
        everything : bool, optional
            Wait for all.

        Raises
        ------
        WriteError
            When a disk refused.
        BookError
            When the book can't be written.
        """
        while self._waiting:
            waiting = sum(entry.file.size for entry in self._waiting)
            full = waiting > LIMITS.waiting_bytes or len(self._waiting) > LIMITS.waiting_files
            batch: list[Entry] = []
            size = 0
            for entry in self._waiting:
                if len(batch) >= LIMITS.batch_files or size >= LIMITS.batch_bytes:
                    break
                if not _checked(entry) and not everything and not (full and not batch):
                    break
                wait([copy.check for copy in entry.copies])
                batch.append(entry)
                size += entry.file.size
            enough = len(batch) >= LIMITS.batch_files or size >= LIMITS.batch_bytes
            if not (enough or everything or full):
                return
            for _ in batch:
                self._waiting.popleft()
            self._filing.file(batch)

    def _take_in_place(self, entry: Entry, adopted: Place, group: frozenset[Token]) -> None:
        file = entry.file
        if file.name != file.inside.as_posix():
            raise FrameError("has a name that is no readable text; rename it, and unload again")
        back = look_again(file.path)
        if back is None:
            raise FrameError("can't be read; give yourself permission, or check the disk")
        self._tick(file.size)
        entry.sha256 = back.sha256
        if self._recognised(entry):
            return
        others = [place for place in self._places if place is not adopted]
        others, parts = self._pour(entry, others, _no_tick) if others else (others, [])
        if entry.sha256 != back.sha256:
            _remove(parts)
            raise FrameError("changed while it was read; let other programs finish with it")
        entry.path = file.path.relative_to(adopted.root).as_posix()
        entry.copies.append(Copy(adopted, entry.path, _known(back.read_from)))
        self._send(entry, others, parts, group)

    def _pour(
        self, entry: Entry, places: Sequence[Place], tick: Tick
    ) -> tuple[list[Place], list[Path]]:
        """Pour a file to the places that take it; those that do not are its trouble."""
        left = list(places)
        while True:
            parts = _parts(left)
            try:
                entry.sha256 = pour(entry.file, parts, tick)
            except FileRefusedError as error:
                left.pop(parts.index(error.part))
                entry.trouble = str(error)
                tick = _no_tick
                if self._adopted is None and left[:1] != list(places[:1]):
                    raise  # the book's own place comes first
                if not left:
                    return left, []
            else:
                return left, parts

    def _send(
        self, entry: Entry, places: Sequence[Place], parts: list[Path], group: frozenset[Token]
    ) -> None:
        """Find the file's name at the places and have its copies read back there."""
        self._waiting.append(entry)
        if not places:
            return
        names = self._names_in(entry.bag)
        name, there = "", list[ReadBack | None]()
        for name in names.free_for(fit_path(entry.file.inside), group):
            there = [_standing(place.root / entry.bag / DATA / name) for place in places]
            # a whole file of that name without a record is what a break left: it is adopted
            if all(back is None or back.sha256 == entry.sha256 for back in there):
                break
        names.take(name, entry.file.token)
        entry.path = entry.path or name
        for place, part, back in zip(places, parts, there, strict=True):
            path = f"{entry.bag}/{DATA}/{name}"
            if back is None:
                check: Check = self._pool.submit(settle, part, place.root / path, entry.sha256)
            else:
                _remove([part])
                check = _known(back.read_from)
            entry.copies.append(Copy(place, path, check))

    def _recognised(self, entry: Entry) -> bool:
        """Answer whether the file is known; if so, have its copies read again."""
        entry.original = self._seen.original_of(entry.file, entry.sha256)
        if entry.original is None:
            return False
        self._waiting.append(entry)
        copies = self._book.connection.execute(
            "SELECT c.place_id, c.path, p.root, p.role, p.device FROM copy c "
            "JOIN place p ON p.id = c.place_id WHERE c.original_id = ?",
            (entry.original,),
        ).fetchall()
        for copy in copies:
            place = Place(int(copy[0]), self._book.folder / copy[2], copy[3], copy[4])
            if place.root.is_dir():
                check: Check = self._pool.submit(_look, place.root / copy[1])
                entry.copies.append(Copy(place, copy[1], check))
        return True

    def _names_in(self, bag: str) -> Names:
        if bag not in self._names:
            taken: list[tuple[str, Token | None]] = []
            begin = f"{bag}/{DATA}/"
            for place in self._places:
                rows = self._book.connection.execute(
                    "SELECT c.path, f.path, f.bytes, f.mtime_ns FROM copy c LEFT JOIN card_file f "
                    "ON f.original_id = c.original_id "
                    "WHERE c.place_id = ? AND c.path > ? AND c.path < ?",
                    (place.id, begin, f"{bag}/{DATA}0"),
                )
                taken += [
                    (row[0][len(begin) :], None if row[1] is None else (row[1], row[2], row[3]))
                    for row in rows
                ]
            self._names[bag] = Names(taken)
        return self._names[bag]


def _checked(entry: Entry) -> bool:
    return all(copy.check.done() for copy in entry.copies)


def _parts(places: Sequence[Place]) -> list[Path]:
    try:
        return [fresh_part(place.root) for place in places]
    except OSError as error:
        raise WriteError(f"{places[0].root}: can't be written: {cure(error)}") from error


def _remove(parts: Sequence[Path]) -> None:
    for part in parts:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)


def _known(read_from: ReadFrom) -> Check:
    """Give a check that is over."""
    check: Check = Future()
    check.set_result(read_from)
    return check


def _look(path: Path) -> ReadFrom | ReadBack | None:
    return look_again(path)


def _standing(path: Path) -> ReadBack | None:
    """Read what stands under a name; something unreadable there is like another file."""
    if not os.path.lexists(path):
        return None
    return look_again(path, sync=True) or ReadBack("", 0, "cache")


def _no_tick(_: int) -> None:
    """Count nothing: these bytes were counted before."""
