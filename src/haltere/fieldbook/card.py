"""What lies on a card: every file, its exposure, its day; nothing is skipped silently."""

from __future__ import annotations

import os
import stat
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby
from pathlib import Path, PurePosixPath
from typing import Literal

from haltere.errors import FrameError, UsageError
from haltere.fieldbook.durable import cure, disk_of
from haltere.fieldbook.naming import Token, same_place, stem_of, told
from haltere.frames.frame import Skipped

OriginalKind = Literal["picture", "raw", "other"]
_TIFF_HEADS = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")


@dataclass(frozen=True, slots=True)
class CardFile:
    """One file on a card.

    Attributes
    ----------
    path : Path
        Where it is.
    inside : PurePosixPath
        Its place on the card, as the system names it.
    name : str
        The same as text that can be stored and shown.
    size : int
        Bytes.
    mtime_ns : int
        Time of its last change.
    """

    path: Path
    inside: PurePosixPath
    name: str
    size: int
    mtime_ns: int

    @property
    def token(self) -> Token:
        """Name, bytes and time."""
        return self.name, self.size, self.mtime_ns


@dataclass(frozen=True, slots=True)
class Card:
    """A card, or a folder that is unloaded like one.

    Attributes
    ----------
    root : Path
        Its folder.
    disk : str
        The disk it lies on.
    files : tuple of CardFile
        Every file, those of one exposure together.
    troubles : tuple of Skipped
        Folders and files that could not even be listed.
    left_out : tuple of Skipped
        Links and things that hold no data of their own.
    """

    root: Path
    disk: str
    files: tuple[CardFile, ...]
    troubles: tuple[Skipped, ...]
    left_out: tuple[Skipped, ...]


@dataclass(frozen=True, slots=True)
class About:
    """What the head of a card's file tells.

    Attributes
    ----------
    day : str
        Day of the exposure by the camera's clock, put right; ISO 8601, or empty.
    kind : {"picture", "raw", "other"}
        By content.
    """

    day: str
    kind: OriginalKind


def look_over(given: Path) -> Card:
    """List every file on a card, hidden ones too, without opening any.

    Parameters
    ----------
    given : Path
        The card's folder; its DCIM folder keeps that name inside.

    Returns
    -------
    Card
        Links are named and not followed, in or out of the card.

    Raises
    ------
    UsageError
        When there is no such folder, or it may not be read.
    """
    root = given.resolve()
    if not root.is_dir():
        raise UsageError(f"{given}: is no folder; name the card's folder")
    if not os.access(root, os.R_OK | os.X_OK):
        raise UsageError(f"{given}: may not be read; give yourself permission")
    prefix = PurePosixPath(root.name) if root.name.upper() == "DCIM" else PurePosixPath()
    files: list[CardFile] = []
    troubles: list[Skipped] = []
    left_out: list[Skipped] = []

    def failed(error: OSError) -> None:
        place = Path(os.fsdecode(error.filename or str(root)))
        name = prefix / place.relative_to(root).as_posix() if place != root else PurePosixPath(".")
        troubles.append(Skipped(told(name.as_posix()), f"can't be listed: {_why(error)}"))

    for base, folders, names in os.walk(root, onerror=failed):
        here = Path(base)
        inside = prefix / here.relative_to(root).as_posix()
        for name in [n for n in folders if _is_link(here / n)]:
            folders.remove(name)
            left_out.append(Skipped(told((inside / name).as_posix()), _link_words(here / name)))
        for name in names:
            _file(here / name, inside / name, files, troubles, left_out)
    files.sort(key=_order)
    by_name = sorted(troubles, key=lambda one: one.file)
    return Card(
        root,
        disk_of(root),
        tuple(files),
        tuple(by_name),
        tuple(sorted(left_out, key=lambda one: one.file)),
    )


def exposures(card: Card) -> Iterator[tuple[CardFile, ...]]:
    """Give the card's files, those of one name and folder together.

    Parameters
    ----------
    card : Card
        From `look_over`.

    Yields
    ------
    tuple of CardFile
        A picture, its raw file, its sidecars.
    """
    for _, group in groupby(card.files, key=lambda file: _order(file)[:3]):
        yield tuple(group)


def about(group: tuple[CardFile, ...], shifts_s: Mapping[str, float]) -> tuple[About, ...]:
    """Tell day and kind of the files of one exposure.

    A file without a time of exposure takes the day of its exposure's others, and else that of
    its own last change in the computer's time zone.

    Parameters
    ----------
    group : tuple of CardFile
        From `exposures`.
    shifts_s : mapping
        What to add to the clock of each camera, by serial number.

    Returns
    -------
    tuple of About
        One for each file.
    """
    days, kinds = [], []
    for file in group:
        day, kind = _read(file.path, shifts_s)
        days.append(day)
        kinds.append(kind)
    shared = next((day for day in days if day), "")
    return tuple(
        About(day or shared or _changed(file), kind)
        for file, day, kind in zip(group, days, kinds, strict=True)
    )


def taken_out(card: Card) -> Callable[[], bool]:
    """Give the means to ask whether the card is gone by now.

    Parameters
    ----------
    card : Card
        A card that is there.

    Returns
    -------
    callable
        True when its folder vanished or another disk stands there.
    """
    before = card.root.stat()

    def gone() -> bool:
        try:
            now = card.root.stat()
        except OSError:
            return True
        return (now.st_dev, now.st_ino) != (before.st_dev, before.st_ino)

    return gone


def _order(file: CardFile) -> tuple[str, str, str, str]:
    folder = told(file.inside.parent.as_posix())
    return same_place(folder), folder, same_place(stem_of(file.name)), file.name


def _file(
    path: Path,
    inside: PurePosixPath,
    files: list[CardFile],
    troubles: list[Skipped],
    left_out: list[Skipped],
) -> None:
    name = told(inside.as_posix())
    try:
        facts = path.lstat()
    except OSError as error:
        troubles.append(Skipped(name, f"can't be read: {_why(error)}"))
        return
    if stat.S_ISREG(facts.st_mode):
        files.append(CardFile(path, inside, name, facts.st_size, facts.st_mtime_ns))
    elif stat.S_ISLNK(facts.st_mode):
        left_out.append(Skipped(name, _link_words(path)))
    else:
        left_out.append(Skipped(name, "is no file but a device or a pipe; it holds nothing"))


def _is_link(path: Path) -> bool:
    junction = getattr(os.path, "isjunction", None)  # Windows, Python 3.12
    return path.is_symlink() or (junction is not None and bool(junction(path)))


def _link_words(path: Path) -> str:
    try:
        target = told(str(path.readlink()))
    except OSError:
        target = "somewhere"
    return f"is a link to {target}; links are not followed"


def _why(error: OSError) -> str:
    if isinstance(error, PermissionError):
        return "you may not read it; give yourself permission"
    return cure(error)


def _read(path: Path, shifts_s: Mapping[str, float]) -> tuple[str, OriginalKind]:
    from haltere.frames.content import head_of
    from haltere.frames.shooting import read_shooting

    kind: OriginalKind = "other"
    maybe = False
    try:
        head = head_of(path)
        maybe = head.kind == "maybe raw"
        kind = "other" if maybe else "picture"
    except FrameError:
        pass  # foreign or broken: copied all the same
    shooting = read_shooting(path)
    if maybe and (shooting.time is not None or _tiff_headed(path)):
        kind = "raw"
    if shooting.time is None:
        return "", kind
    shift_s = shifts_s.get(shooting.serial or "", 0.0)
    try:
        moment = shooting.time.replace(tzinfo=None) + timedelta(seconds=shift_s)
    except OverflowError:
        return "", kind
    return moment.date().isoformat(), kind


def _tiff_headed(path: Path) -> bool:
    try:
        with path.open("rb") as stream:
            return stream.read(4) in _TIFF_HEADS
    except OSError:
        return False


def _changed(file: CardFile) -> str:
    try:
        return datetime.fromtimestamp(file.mtime_ns / 1e9).date().isoformat()
    except (OverflowError, OSError, ValueError):
        return ""
