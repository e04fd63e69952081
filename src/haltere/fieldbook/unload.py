"""Unloads a card: every file copied, read back, recorded, so that a break anywhere loses nothing.

The order is what keeps the promise. A file is poured under a temporary name, synced, read back and
compared, renamed, its folder synced; then a batch of files is recorded in one transaction, and the
lists of hashes follow. So a final name always holds a whole file, a record always has its file, and
what a break leaves between the two is found again by its content.
"""

from __future__ import annotations

import contextlib
import shutil
import time
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from haltere.errors import FrameError, UsageError, WriteError
from haltere.fieldbook.arriving import Arriving
from haltere.fieldbook.book import Book, now
from haltere.fieldbook.card import Card, about, exposures, look_over, taken_out
from haltere.fieldbook.clock import clock_shifts
from haltere.fieldbook.copying import FileRefusedError
from haltere.fieldbook.durable import cure, in_words, sweep_parts
from haltere.fieldbook.filing import Filing
from haltere.fieldbook.limits import LIMITS
from haltere.fieldbook.locking import only_one
from haltere.fieldbook.naming import outing_folder, same_place
from haltere.fieldbook.originals import (
    Place,
    is_adopted,
    place_at,
    refresh_lists,
    seen_before,
    visit_of,
)
from haltere.fieldbook.refusals import check_unload
from haltere.fieldbook.seen_again import SeenAgain
from haltere.fieldbook.verdict import CardVerdict, verdict_on
from haltere.frames.frame import Skipped
from haltere.progress import Progress, silent


@dataclass(frozen=True, slots=True)
class UnloadedOuting:
    """One outing that files of the card went to.

    Attributes
    ----------
    id : int
        Its number in the book.
    day, name : str
        Date, and what it is called.
    folder : str
        Its folder; originals lie in 'data' below it, or in it when it was adopted in place.
    files : int
        Files of this card in it.
    """

    id: int
    day: str
    name: str
    folder: str
    files: int


@dataclass(frozen=True, slots=True)
class Unloaded:
    """What came of a card.

    Attributes
    ----------
    source : str
        The card.
    book : str
        The book's folder.
    second : str or None
        Folder of the second copy.
    outings : tuple of UnloadedOuting
        Where its files are.
    files, bytes : int
        Files on the card, and their length.
    copied, known : int
        New files, and files that the book had already, under whatever name.
    mended : int
        Copies that had changed or vanished and were made again from the card.
    verified_from : {"disk", "cache"}
        'cache' when at least one copy could not be read back past the computer's memory.
    troubles : tuple of Skipped
        Files that are not safely in the book, and why.
    left_out : tuple of Skipped
        Links, and things that hold no data.
    verdict : CardVerdict
        What may be done with the card.
    seconds : float
        What it took.
    """

    source: str
    book: str
    second: str | None
    outings: tuple[UnloadedOuting, ...]
    files: int
    bytes: int
    copied: int
    known: int
    mended: int
    verified_from: str
    troubles: tuple[Skipped, ...]
    left_out: tuple[Skipped, ...]
    verdict: CardVerdict
    seconds: float


def unload(
    book: Book,
    source: Path,
    *,
    name: str = "",
    second: Path | None = None,
    in_place: bool = False,
    progress: Progress = silent,
) -> Unloaded:
    """Copy a card into the book, or adopt a folder where it stands; nothing is written to either.

    Started again after a break of any kind, it goes on and ends as if there had been none.
    Holds the list of the card's files, the names of its outings, and pieces of files.

    Parameters
    ----------
    book : Book
        Open book.
    source : Path
        The card's folder.
    name : str, optional
        What the outing is called; the day alone without it.
    second : Path, optional
        Folder for a second copy, best on another disk.
    in_place : bool, optional
        Leave the files where they are and take them into the book from there.
    progress : Progress, optional
        Told of megabytes read from the card; it may raise to stop.

    Returns
    -------
    Unloaded
        What was copied, what is wrong, and whether the card may be formatted.

    Raises
    ------
    UsageError
        When the folders make no sense together.
    BookError
        When another haltere is at work, or the book can't be written.
    WriteError
        When a disk is too full or refuses; what was copied so far is safe.
    FrameError
        When the card was taken out; what was copied so far is safe.
    """
    begun = time.monotonic()
    check_unload(book.folder, source, name=name, second=second, in_place=in_place)
    card = look_over(source)
    with ExitStack() as stack:
        stack.enter_context(in_words(book.folder))
        stack.enter_context(only_one(book.folder))
        roots = _make_roots(book, second)
        if second is not None:
            stack.enter_context(only_one(roots[-1]))
        for root in roots:
            sweep_parts(root)
        targets = [place_at(book, roots[0], "first")]
        targets += [place_at(book, root, "second") for root in roots[1:]]
        if in_place:
            name = name or card.root.name
            targets[0] = place_at(book, card.root, "first")
        _refuse_roles(book, targets, in_place)
        refresh_lists(book, [one for one in targets if not is_adopted(book, one)])
        _refuse_full(book, card, targets)
        visit = visit_of(book, card, name, roots[1] if second is not None else None)
        filing = Filing(book, visit, targets, name)
        _list_troubles(book, visit, card)
        try:
            _carry(book, card, filing, targets, name, progress)
        finally:
            for root in roots:
                with contextlib.suppress(OSError):
                    sweep_parts(root)
        if in_place:
            refresh_lists(book, targets[:1])
        tally = filing.tally
        if not tally.troubles and not card.troubles:
            with book.writing() as rows:
                rows.execute("UPDATE visit SET ended = ? WHERE id = ?", (now(), visit))
        return Unloaded(
            source=str(card.root),
            book=str(book.folder),
            second=str(roots[1]) if second is not None else None,
            outings=_outings_of(book, visit),
            files=len(card.files),
            bytes=sum(file.size for file in card.files),
            copied=tally.copied,
            known=tally.known,
            mended=tally.mended,
            verified_from="cache" if tally.cached else "disk",
            troubles=(*card.troubles, *tally.troubles),
            left_out=card.left_out,
            verdict=verdict_on(book, visit),
            seconds=round(time.monotonic() - begun, 3),
        )


def _carry(
    book: Book,
    card: Card,
    filing: Filing,
    places: Sequence[Place],
    name: str,
    progress: Progress,
) -> None:
    """Send every file on its way, exposure by exposure, and record what arrives."""
    gone = taken_out(card)
    shifts = clock_shifts(book)
    bags = _Bags(book, name, card.root if is_adopted(book, places[0]) else None)
    tick = _meter(progress, sum(file.size for file in card.files))
    tick(0)
    try:
        seen = SeenAgain(book, filing.visit_id, (file.token for file in card.files))
        with Arriving(book, filing, places, seen, tick) as arriving:
            for group in exposures(card):
                facts = about(group, shifts)
                tokens = frozenset(file.token for file in group)
                pairs = list(zip(group, facts, strict=True))
                pairs.sort(key=lambda pair: pair[1].kind == "other")  # sidecars follow their frame
                seen.begin((file, fact.kind) for file, fact in pairs)
                for file, fact in pairs:
                    try:
                        arriving.take(file, fact, bags.of(fact.day), tokens)
                    except (FrameError, FileRefusedError) as error:
                        if gone():
                            raise
                        arriving.refuse(file, fact, str(error))
                    arriving.record()
            arriving.record(everything=True)
    except (WriteError, FrameError) as error:
        safe = _safe(book, filing.visit_id)
        so_far = (
            f"{safe} of {len(card.files)} files are in the book and safe, and "
            "unloading again goes on from there"
        )
        if isinstance(error, FrameError):
            raise FrameError(
                f"{card.root}: was taken out in the middle; put it back. {so_far}"
            ) from error
        raise WriteError(f"{error}. {so_far}") from error


class _Bags:
    """Names the folder of each day's outing; a name that differs in case only is the same."""

    def __init__(self, book: Book, name: str, adopted: Path | None) -> None:
        self._name = name
        self._adopted = adopted is not None
        self._only: str | None = None
        self._there = dict[str, str]()
        rows = book.connection.execute("SELECT folder, day, name, in_place FROM outing")
        for folder, day, called, in_place in rows:
            if not in_place:
                bag = Path(folder).name
                self._there[same_place(bag)] = bag
            elif folder == str(adopted):
                self._only = outing_folder(day, called)

    def of(self, day: str) -> str:
        if self._only is not None:
            return self._only
        folder = outing_folder(day, self._name)
        bag = self._there.setdefault(same_place(folder), folder)
        if self._adopted:  # one folder, one outing, whatever its files' days
            self._only = bag
        return bag


def _meter(progress: Progress, total: int) -> Callable[[int], None]:
    done = 0
    whole = max(1, total // 1_000_000)

    def tick(count: int) -> None:
        nonlocal done
        done += count
        progress("unloading, MB", min(whole, done // 1_000_000), whole)

    return tick


def _refuse_roles(book: Book, targets: Sequence[Place], in_place: bool) -> None:
    """Refuse folders that the book knows in another part: one of them is never written to."""
    if in_place and not is_adopted(book, targets[0]):
        raise UsageError(f"{targets[0].root}: holds second copies; name a folder of your own")
    if any(place.role != "second" for place in targets[1:]):
        raise UsageError(
            f"--second {targets[1].root}: was adopted in place and is never written to; name "
            "another folder"
        )


def _make_roots(book: Book, second: Path | None) -> list[Path]:
    """Make the folders of originals; a second one only where its disk is plugged in."""
    roots = [book.originals]
    if second is not None:
        roots.append(second.resolve())
    for root in roots:
        try:
            root.mkdir(exist_ok=True)
        except OSError as error:
            raise WriteError(f"{root}: can't be made: {cure(error)} and try again") from error
    return roots


def _refuse_full(book: Book, card: Card, places: Sequence[Place]) -> None:
    """Refuse before the first copy when the files can't fit."""
    wanted = sum(file.size for file in card.files if not seen_before(book, file.token))
    free: dict[int, tuple[Path, int, int]] = {}
    for place in places:
        if is_adopted(book, place):
            continue
        device = place.root.stat().st_dev
        _, _, before = free.get(device, (place.root, 0, 0))
        free[device] = (place.root, shutil.disk_usage(place.root).free, before + wanted)
    for root, room, need in free.values():
        if need and need + LIMITS.spare_bytes > room:
            raise WriteError(
                f"{root}: the disk has {room / 1e9:.1f} GB free, and the files need "
                f"{(need + LIMITS.spare_bytes) / 1e9:.1f} GB; free some space and try again. "
                "Nothing was copied"
            )


def _list_troubles(book: Book, visit: int, card: Card) -> None:
    """Write down what could not even be listed: it keeps the card from being called safe."""
    with book.writing() as rows:
        rows.execute("DELETE FROM card_file WHERE visit_id = ? AND bytes < 0", (visit,))
        rows.executemany(
            "INSERT OR REPLACE INTO card_file (visit_id, path, bytes, mtime_ns, trouble) "
            "VALUES (?, ?, -1, 0, ?)",
            [(visit, one.file, one.why) for one in card.troubles],
        )


def _safe(book: Book, visit: int) -> int:
    row = book.connection.execute(
        "SELECT count(*) FROM card_file WHERE visit_id = ? AND original_id IS NOT NULL "
        "AND trouble = ''",
        (visit,),
    ).fetchone()
    return int(row[0])


def _outings_of(book: Book, visit: int) -> tuple[UnloadedOuting, ...]:
    rows = book.connection.execute(
        "SELECT t.id, t.day, t.name, t.folder, count(*) FROM card_file f "
        "JOIN original o ON o.id = f.original_id JOIN outing t ON t.id = o.outing_id "
        "WHERE f.visit_id = ? GROUP BY t.id ORDER BY t.day, t.id",
        (visit,),
    )
    return tuple(UnloadedOuting(int(r[0]), r[1], r[2], r[3], int(r[4])) for r in rows)
