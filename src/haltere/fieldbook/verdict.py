"""Whether a card may be formatted: said only when two disks gave every file back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from haltere.fieldbook.book import Book

VerdictCode = Literal["safe-to-format", "safe-to-empty", "two-copies", "one-copy", "keep"]
SAFE: tuple[VerdictCode, ...] = ("safe-to-format", "safe-to-empty")


@dataclass(frozen=True, slots=True)
class CardVerdict:
    """What may be done with a card.

    Attributes
    ----------
    code : {"safe-to-format", "safe-to-empty", "two-copies", "one-copy", "keep"}
        'safe-to-empty' is a folder whose own disk holds one of the copies: its files may go, the
        disk must not be formatted. 'two-copies' and 'one-copy' also stand for a folder adopted
        in place, which is a copy itself.
    text : str
        The same in words.
    """

    code: VerdictCode
    text: str


@dataclass(frozen=True, slots=True)
class _Count:
    """Files of a visit, by how well they are kept."""

    files: int
    bad: int
    cached: int
    alone: int
    on_own_disk: bool
    places: int
    disks: int


def verdict_on(book: Book, visit_id: int) -> CardVerdict:
    """Answer whether a card may be formatted, from what the book knows of its visit.

    Every file must have been read back from two different disks and be good there as of the last
    check; one that was only read back from memory is not counted as seen.

    Parameters
    ----------
    book : Book
        Open book.
    visit_id : int
        From `unload`.

    Returns
    -------
    CardVerdict
        Code and words.
    """
    about = book.connection.execute(
        "SELECT source, device, ended FROM visit WHERE id = ?", (visit_id,)
    ).fetchone()
    source, disk = str(about[0]), str(about[1])
    count = _counted(book, visit_id, disk)
    in_place = (
        book.connection.execute(
            "SELECT 1 FROM outing WHERE in_place = 1 AND folder = ?", (source,)
        ).fetchone()
        is not None
    )
    what = "folder" if in_place else "card"
    if about[2] is not None and not count.files:
        return CardVerdict("keep", f"The {what} holds no file.")
    if count.bad:
        return CardVerdict(
            "keep",
            f"Keep the {what}: {_of(count.bad, count.files)} not safely in the book; they are "
            "named below, and unloading again tries them again.",
        )
    if about[2] is None:
        return CardVerdict("keep", f"Keep the {what}: unloading is not finished; start it again.")
    all_of = "the one file" if count.files == 1 else f"all {count.files} files"
    if count.alone:
        return _one_copy(count, all_of, in_place)
    if count.cached:
        return CardVerdict(
            "two-copies",
            f"Two copies, verified from cache, keep the {what}: {all_of} read back the same, but "
            f"{_of(count.cached, count.files)} not seen twice on a disk, only in the computer's "
            "memory.",
        )
    if in_place:
        return CardVerdict("two-copies", f"Two verified copies on two disks of {all_of}.")
    if count.on_own_disk:
        return CardVerdict(
            "safe-to-empty",
            f"Safe to empty the folder: {all_of} were read back from two different disks and are "
            "the same. One of them is the disk that the folder lies on: never format that disk.",
        )
    return CardVerdict(
        "safe-to-format",
        f"Safe to format: {all_of} on the card were read back from two different disks and are "
        "the same.",
    )


def _one_copy(count: _Count, all_of: str, in_place: bool) -> CardVerdict:
    seen = " (verified from cache, not from the disk)" if count.cached else ""
    keep = "make a second" if in_place else "keep the card"
    if count.places > 1 and count.disks < 2 and count.alone == count.files:
        keep = "make one elsewhere" if in_place else keep
        return CardVerdict(
            "one-copy",
            f"Two copies on the same disk{seen}, {keep}: {all_of} read back the same, but what "
            "breaks that disk takes both; name a folder on another disk with --second.",
        )
    if count.places > 1:
        why = f"{_of(count.alone, count.files)} on one disk only"
    else:
        why = "a second copy on another disk is made with --second"
    return CardVerdict(
        "one-copy", f"One verified copy{seen}, {keep}: {all_of} read back the same, but {why}."
    )


def _of(some: int, every: int) -> str:
    if some == every:
        return "the file is" if every == 1 else f"all {every} files are"
    return f"{some} of {every} files {'is' if some == 1 else 'are'}"


def _counted(book: Book, visit_id: int, own_disk: str) -> _Count:
    """Go through the visit's files; holds one file's copies at a time."""
    rows = book.connection.execute(
        "SELECT f.path, f.original_id, f.trouble, c.place_id, p.device, c.state, c.read_from "
        "FROM card_file f LEFT JOIN copy c ON c.original_id = f.original_id "
        "LEFT JOIN place p ON p.id = c.place_id WHERE f.visit_id = ? ORDER BY f.path",
        (visit_id,),
    )
    files = bad = cached = alone = 0
    own = False
    places: set[int] = set()
    disks: set[str] = set()
    name: str | None = None
    good: set[str] = set()
    seen: set[str] = set()
    troubled = False

    def close() -> None:
        nonlocal files, bad, cached, alone
        if name is None:
            return
        files += 1
        bad += troubled or not good
        alone += len(good) == 1 and not troubled
        cached += bool(good) and len(seen) < min(len(good), 2)

    for path, original, trouble, place, disk, state, read_from in rows:
        if path != name:
            close()
            name, good, seen, troubled = path, set(), set(), False
        troubled = troubled or bool(trouble) or original is None
        if state == "good":
            good.add(disk)
            places.add(place)
            disks.add(disk)
            own = own or disk == own_disk
            if read_from == "disk":
                seen.add(disk)
    close()
    return _Count(files, bad, cached, alone, own, len(places), len(disks))
