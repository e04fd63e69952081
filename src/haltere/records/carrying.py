"""Gives a file a second name elsewhere, whole and compared, and takes the first away."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path, PurePosixPath

from haltere.errors import FrameError, WriteError
from haltere.fieldbook.card import CardFile
from haltere.fieldbook.copying import pour, settle
from haltere.fieldbook.durable import cure, fresh_part, hash_stream, make_folders, sync_folder


def hash_file(path: Path) -> str:
    """Hash a file.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    str
        SHA-256, hexadecimal.

    Raises
    ------
    FrameError
        When it can't be read, or is a link.
    """
    if path.is_symlink():
        raise FrameError(f"{path.name}: is a link; links are not followed")
    try:
        with path.open("rb", buffering=0) as stream:
            return hash_stream(stream)[0]
    except OSError as error:
        raise FrameError(f"{path.name}: can't be read: {cure(error)}") from error


def holds(path: Path, sha256: str) -> bool:
    """Answer whether a file holds what it should.

    Parameters
    ----------
    path : Path
        The file.
    sha256 : str
        What it should hold.

    Returns
    -------
    bool
        False also when it is gone or can't be read.
    """
    try:
        return hash_file(path) == sha256
    except FrameError:
        return False


def carry(source: Path, target: Path, sha256: str, root: Path) -> bool:
    """Give a file a second name: a hard link, or a copy that was read back from the disk.

    Parameters
    ----------
    source : Path
        The file.
    target : Path
        Its second name; what stands there already must be the same.
    sha256 : str
        What the file holds.
    root : Path
        Folder on the target's file system, for what is unfinished.

    Returns
    -------
    bool
        False when the second name was there already, from before a break.

    Raises
    ------
    FrameError
        When the file is gone or has changed, or something else has the name.
    WriteError
        When the disk refuses.
    """
    if os.path.lexists(target):
        if not holds(target, sha256):
            raise FrameError(f"{target}: something else took this name; try again")
        return False
    if not holds(source, sha256):
        raise FrameError(
            f"{source.name}: is gone or has changed since it was unloaded; haltere verify tells "
            "more"
        )
    try:
        make_folders(target.parent)
    except OSError as error:
        raise WriteError(f"{target.parent}: can't be made: {cure(error)}") from error
    if not _linked(source, target):
        _copied(source, target, sha256, root)
    try:
        sync_folder(target.parent)
    except OSError as error:
        raise WriteError(f"{target.parent}: can't be written: {cure(error)}") from error
    return True


def clear(source: Path, target: Path, sha256: str) -> bool:
    """Take the first name away, if the second holds the same; another file is left alone.

    Parameters
    ----------
    source, target : Path
        First and second name.
    sha256 : str
        What both hold.

    Returns
    -------
    bool
        False when it is still there and should be tried again.
    """
    if not os.path.lexists(source) or source == target:
        return True
    try:
        same = source.samefile(target)  # two names of one file need no reading
        if not same and not (holds(target, sha256) and holds(source, sha256)):
            return True
        source.unlink()
        sync_folder(source.parent)
    except OSError:
        return False  # it stays under both names; nothing is lost
    return True


def _linked(source: Path, target: Path) -> bool:
    """Try the way that moves no byte; other disks and simple file systems refuse it."""
    try:
        os.link(source, target)
    except (OSError, NotImplementedError):
        return False
    return True


def _copied(source: Path, target: Path, sha256: str, root: Path) -> None:
    part: Path | None = None
    try:
        about = source.stat()
        part = fresh_part(root)
        name = source.name
        card = CardFile(source, PurePosixPath(name), name, about.st_size, about.st_mtime_ns)
        if pour(card, [part], lambda _: None) != sha256:
            raise FrameError(f"{name}: changed while it was copied; let other programs finish")
        settle(part, target, sha256)
    except (FrameError, WriteError):
        raise
    except OSError as error:
        raise WriteError(f"{target}: can't be written: {cure(error)}") from error
    finally:
        if part is not None:
            with contextlib.suppress(OSError):
                part.unlink(missing_ok=True)
            with contextlib.suppress(OSError):
                part.parent.rmdir()
