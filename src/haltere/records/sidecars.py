"""Verdicts out into sidecars, and back in from sidecars that another program changed."""

from __future__ import annotations

import contextlib
import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from haltere.errors import FrameError, WriteError
from haltere.fieldbook.book import Book
from haltere.fieldbook.catalogue import OutingRow, frame_ids, frames_in
from haltere.fieldbook.decisions import decisions_in
from haltere.fieldbook.locking import only_one
from haltere.fieldbook.searching import Found
from haltere.frames.frame import Skipped
from haltere.frames.writing import make_folder, write_bytes
from haltere.progress import Progress, silent
from haltere.records.limits import LIMITS
from haltere.records.places import Lying, sidecars_lie
from haltere.records.remembered import (
    Remembered,
    decided_at,
    note_lost,
    remember,
    remembered_in,
    take_over,
)
from haltere.records.xmp import verdict_in, with_verdict

_LEFT_OVER = re.compile(r"\.haltere-[0-9a-f]{16}\.part")


@dataclass(frozen=True, slots=True)
class Said:
    """One verdict that went into a sidecar or came out of it.

    Attributes
    ----------
    frame : str
        The frame's name.
    file : str
        The sidecar.
    verdict : {"keep", "maybe", "drop", "undecided"}
        What both say now.
    """

    frame: str
    file: str
    verdict: Found


@dataclass(frozen=True, slots=True)
class Conflict:
    """A frame on which the book and its sidecar were both changed; the later one stands.

    Attributes
    ----------
    frame : str
        The frame's name.
    file : str
        The sidecar.
    book : {"keep", "maybe", "drop", "undecided"}
        What the person decided in haltere.
    sidecar : {"keep", "maybe", "drop", "undecided"}
        What the other program wrote.
    stands : {"book", "sidecar"}
        Which was later; the other is kept in the history.
    """

    frame: str
    file: str
    book: Found
    sidecar: Found
    stands: str


@dataclass(frozen=True, slots=True)
class Exchange:
    """What came of writing and reading the sidecars of an outing.

    Attributes
    ----------
    written : tuple of Said
        Sidecars that were made or changed.
    read : tuple of Said
        Verdicts that were taken over.
    unchanged : int
        Frames whose sidecar says the same already, or that need none.
    conflicts : tuple of Conflict
        Frames that were changed on both sides.
    skipped : tuple of Skipped
        Sidecars that were left alone, and why.
    """

    written: tuple[Said, ...]
    read: tuple[Said, ...]
    unchanged: int
    conflicts: tuple[Conflict, ...]
    skipped: tuple[Skipped, ...]


@dataclass(slots=True)
class _Plan:
    """What is to be done, before anything is."""

    write: list[tuple[str, Lying, Found, str]] = field(default_factory=list)
    read: list[Said] = field(default_factory=list)
    lost: list[tuple[str, Found]] = field(default_factory=list)
    seen: list[tuple[str, Path, Remembered]] = field(default_factory=list)
    conflicts: list[Conflict] = field(default_factory=list)
    skipped: list[Skipped] = field(default_factory=list)
    unchanged: int = 0


def exchange(
    book: Book, outing: OutingRow, *, beside: bool = False, progress: Progress = silent
) -> Exchange:
    """Bring an outing's verdicts and its sidecars to agree.

    A sidecar that another program changed since is read; its verdicts become one act that `undo`
    takes back. Then every sidecar that doesn't say what the book says is written, whole or not at
    all; a frame without verdict gets none. Where both were changed the later stands, by the
    file's time and the book's, which counts in seconds (in the same second: the book); the other
    is kept in the history. Holds names and verdicts, and one sidecar at a time.

    Parameters
    ----------
    book : Book
        Open book in a folder.
    outing : OutingRow
        The outing.
    beside : bool, optional
        Whether sidecars may be written beside originals that lie where the photographer put
        them; without it they go to the book's folder 'sidecars'.
    progress : Progress, optional
        Told how many frames were looked at.

    Returns
    -------
    Exchange
        What was written, read and left alone.

    Raises
    ------
    BookError
        When another haltere is at work on this book, or it can't be written.
    """
    with only_one(book.folder):
        ids = frame_ids(book, outing.id)
        plan = _planned(book, outing, beside=beside, progress=progress)
        if plan.lost or plan.read or plan.seen:
            with book.writing() as rows:
                note_lost(rows, ids, plan.lost)
                take_over(rows, ids, [(one.frame, one.verdict) for one in plan.read])
                for name, path, about in plan.seen:
                    remember(rows, book.folder.resolve(), ids[name], path, about)
        written = _write(book, ids, plan, progress)
    return Exchange(
        tuple(written),
        tuple(plan.read),
        plan.unchanged,
        tuple(plan.conflicts),
        tuple(plan.skipped),
    )


def _planned(book: Book, outing: OutingRow, *, beside: bool, progress: Progress) -> _Plan:
    frames = frames_in(book, outing.id)
    known = remembered_in(book, outing.id)
    decided = decisions_in(book, outing.id)
    moments = decided_at(book, outing.id)
    lying = sidecars_lie(book, outing, frames, beside=beside, remembered=known)
    plan = _Plan()
    for done, frame in enumerate(frames):
        progress("reading sidecars", done, len(frames))
        where = lying[frame.name]
        plan.skipped += where.ignored
        try:
            _plan_one(
                plan,
                frame.name,
                where,
                known.get(frame.name, {}),
                decided.get(frame.name, "undecided"),
                moments.get(frame.name, 0.0),
            )
        except FrameError as error:
            plan.skipped.append(Skipped(str(where.read_from or where.path), str(error)))
    progress("reading sidecars", len(frames), len(frames))
    return plan


def _plan_one(
    plan: _Plan,
    name: str,
    where: Lying,
    known: Mapping[Path, Remembered],
    in_book: Found,
    decided_s: float,
) -> None:
    """Compare three verdicts: the book's, the file's, and what both said last."""
    path = where.read_from
    if path is None:
        if in_book == "undecided":
            plan.unchanged += 1
        else:
            plan.write.append((name, where, in_book, ""))
        return
    data, changed_s = _read(path)
    sha256 = hashlib.sha256(data).hexdigest()
    last = known.get(path)
    if last is not None and last.sha256 == sha256:
        in_file = before = last.verdict
    else:
        in_file = verdict_in(data)
        before = "undecided" if last is None else last.verdict
    stands = in_book
    if in_file not in (in_book, before):
        if in_book == before:
            stands = in_file
        else:
            later = "sidecar" if int(changed_s) > decided_s else "book"
            stands = in_file if later == "sidecar" else in_book
            plan.conflicts.append(Conflict(name, str(path), in_book, in_file, later))
            if later == "book":
                plan.lost.append((name, in_file))
    if stands != in_book:
        plan.read.append(Said(name, str(path), stands))
    if stands != in_file:
        plan.write.append((name, where, stands, sha256))
        return  # remembered when it is written
    if stands == in_book:
        plan.unchanged += 1
    if last is None or last.sha256 != sha256:
        plan.seen.append((name, path, Remembered(sha256, in_file)))


def _read(path: Path) -> tuple[bytes, float]:
    try:
        if path.is_symlink():
            raise FrameError("is a link; links are not followed: put the file itself there")
        about = path.stat()
        if about.st_size > LIMITS.sidecar_bytes:
            raise FrameError(
                f"is larger than {LIMITS.sidecar_bytes >> 20} MiB, which no sidecar is; move it "
                "away"
            )
        if not path.is_file():
            raise FrameError("is not a file; move it away")
        return path.read_bytes(), about.st_mtime
    except FrameError:
        raise
    except OSError as error:
        raise FrameError(f"can't be read ({error.strerror}); give yourself permission") from error


def _write(book: Book, ids: Mapping[str, int], plan: _Plan, progress: Progress) -> list[Said]:
    written: list[Said] = []
    fresh: list[tuple[str, Path, Remembered]] = []
    swept = set[Path]()
    for done, (name, where, verdict, sha256) in enumerate(plan.write):
        progress("writing sidecars", done, len(plan.write))
        try:
            source = where.read_from
            data = None if source is None else _read(source)[0]
            if (hashlib.sha256(data).hexdigest() if data is not None else "") != sha256:
                raise FrameError("is being changed by another program; let it finish, try again")
            new = with_verdict(data, verdict)
            if where.path.parent not in swept:
                swept.add(where.path.parent)
                _sweep(make_folder(where.path.parent))
            write_bytes(where.path, new)
        except WriteError as error:
            said = str(error).removeprefix(f"{where.path}: ")
            plan.skipped.append(Skipped(str(where.path), said))
            continue
        except FrameError as error:
            plan.skipped.append(Skipped(str(where.path), str(error)))
            continue
        fresh.append((name, where.path, Remembered(hashlib.sha256(new).hexdigest(), verdict)))
        written.append(Said(name, str(where.path), verdict))
        if len(fresh) >= LIMITS.batch_files:
            _remember(book, ids, fresh)
    _remember(book, ids, fresh)
    progress("writing sidecars", len(plan.write), len(plan.write))
    return written


def _remember(
    book: Book, ids: Mapping[str, int], fresh: list[tuple[str, Path, Remembered]]
) -> None:
    """Write down a batch; after a break before it, the files say the same as the book anyway."""
    if not fresh:
        return
    with book.writing() as rows:
        for name, path, about in fresh:
            remember(rows, book.folder.resolve(), ids[name], path, about)
    fresh.clear()


def _sweep(folder: Path) -> None:
    """Remove what an exchange that was killed left under a temporary name."""
    with contextlib.suppress(OSError):
        for path in folder.iterdir():
            if _LEFT_OVER.fullmatch(path.name):
                path.unlink()
