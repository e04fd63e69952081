"""What it takes that a file is on the disk, and how to see it there and not in memory."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import re
import secrets
import sqlite3
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import BinaryIO, Literal

from haltere.errors import BookError, HaltereError, WriteError
from haltere.fieldbook.limits import LIMITS

ReadFrom = Literal["disk", "cache"]

UNFINISHED = ".unfinished"
"""Folder beside the outings where files lie until they are whole; on the same file system, so
that a rename moves them, and apart from the outings, so that no name on a card can meet one."""

_IN_MEMORY = {"tmpfs", "ramfs", "devtmpfs"}
_CURES = {
    errno.ENOSPC: "the disk is full; free some space",
    errno.EACCES: "you may not write there; give yourself permission",
    errno.EPERM: "you may not write there; give yourself permission",
    errno.EROFS: "the disk is write-protected; unlock it",
    errno.EFBIG: "the file is larger than this disk allows; use another disk",
    errno.EIO: "the disk has a fault; use another",
    errno.ENODEV: "the disk is gone; plug it in",
    errno.ENOENT: "its folder is gone; plug the disk in",
    errno.ENAMETOOLONG: "the name is too long for this disk; use another disk",
    errno.EILSEQ: "the disk does not take this name; use another disk",
    errno.EINVAL: "the disk does not take this name; use another disk",
}


@dataclass(frozen=True, slots=True)
class ReadBack:
    """What a file held when it was read back.

    Attributes
    ----------
    sha256 : str
        Its hash, hexadecimal.
    size : int
        Its length in bytes.
    read_from : {"disk", "cache"}
        Whether the bytes came from the disk for certain.
    """

    sha256: str
    size: int
    read_from: ReadFrom


def cure(error: OSError) -> str:
    """Say in words why a disk refused, and what helps.

    Parameters
    ----------
    error : OSError
        What the system said.

    Returns
    -------
    str
        Reason and cure, without the file's name.
    """
    return _CURES.get(error.errno or 0, f"{error.strerror or error}; check the disk")


@contextlib.contextmanager
def in_words(place: Path) -> Iterator[None]:
    """Turn what disk and database say into a sentence for a person.

    Parameters
    ----------
    place : Path
        What was being worked on, for the message.

    Yields
    ------
    None
        For as long as errors are to be caught.

    Raises
    ------
    WriteError
        For any error of a disk that nobody closer by put into words.
    BookError
        For any error of the database.
    """
    try:
        yield
    except OSError as error:
        if isinstance(error, HaltereError):
            raise
        raise WriteError(f"{error.filename or place}: {cure(error)} and try again") from error
    except sqlite3.Error as error:
        raise BookError(f"{place}: the book can't be used ({error}); check its disk") from error


def fresh_part(root: Path) -> Path:
    """Name a file that is to grow until it is whole.

    Parameters
    ----------
    root : Path
        Place of originals; its folder for unfinished files is made when needed.

    Returns
    -------
    Path
        Short and new, whatever the final name is.
    """
    folder = root / UNFINISHED
    folder.mkdir(parents=True, exist_ok=True)
    return folder / f"{secrets.token_hex(8)}.part"


def sweep_parts(root: Path) -> int:
    """Remove what an interrupted run left unfinished.

    Parameters
    ----------
    root : Path
        Place of originals, locked by the caller.

    Returns
    -------
    int
        How many files were removed.
    """
    parts = list((root / UNFINISHED).glob("*.part"))
    for part in parts:
        part.unlink(missing_ok=True)
    return len(parts)


def make_folders(folder: Path) -> None:
    """Make a folder and those above it, and put their names on the disk.

    Parameters
    ----------
    folder : Path
        May be there already.
    """
    missing = []
    at = folder
    while not at.is_dir():
        missing.append(at)
        at = at.parent
    for one in reversed(missing):
        one.mkdir(exist_ok=True)
        sync_folder(one.parent)


def sync_folder(folder: Path) -> None:
    """Put the names in a folder on the disk; Windows has no such call.

    Parameters
    ----------
    folder : Path
        The folder.
    """
    if sys.platform == "win32":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ENOTSUP):  # some network disks refuse
            raise
    finally:
        os.close(handle)


def write_whole(path: Path, data: bytes, root: Path) -> None:
    """Write a small file so that it is whole or not there, also after a power cut.

    Parameters
    ----------
    path : Path
        Where; an older one is replaced.
    data : bytes
        What.
    root : Path
        Place of originals on the same file system.

    Raises
    ------
    WriteError
        When the disk refuses.
    """
    part = fresh_part(root)
    try:
        make_folders(path.parent)
        with part.open("xb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        part.replace(path)
        sync_folder(path.parent)
    except OSError as error:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        raise WriteError(f"{path}: can't be written: {cure(error)} and try again") from error


def drop_cache(stream: BinaryIO) -> ReadFrom:
    """Have the system forget what it remembers of a file, so that reading asks the disk.

    Parameters
    ----------
    stream : BinaryIO
        Open and synced.

    Returns
    -------
    {"disk", "cache"}
        Where the next reading comes from; 'cache' whenever that is not certain.
    """
    if sys.platform != "linux":  # elsewhere there is no call that is certain to do it
        return "cache"
    handle = stream.fileno()
    try:
        os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_SEQUENTIAL)
        for _ in range(LIMITS.drops):
            os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_DONTNEED)
            if _forgotten(handle):
                return "disk"
    except OSError:
        pass
    return "cache"


def read_back(
    path: Path, *, synced: bool = False, tick: Callable[[int], None] | None = None
) -> ReadBack:
    """Sync a file, drop it from memory, and read it from the disk.

    Holds one piece of the file.

    Parameters
    ----------
    path : Path
        The file.
    synced : bool, optional
        Whether it is only read, because nobody wrote to it lately.
    tick : callable, optional
        Told of the bytes of each piece.

    Returns
    -------
    ReadBack
        What was read.

    Raises
    ------
    OSError
        When it can't be read.
    """
    with path.open("rb" if synced else "rb+", buffering=0) as stream:
        if not synced:
            os.fsync(stream.fileno())
        read_from = drop_cache(stream)
        digest, size = hash_stream(stream, tick)
    return ReadBack(digest, size, read_from)


def hash_stream(stream: BinaryIO, tick: Callable[[int], None] | None = None) -> tuple[str, int]:
    """Hash what is left of a stream.

    Parameters
    ----------
    stream : BinaryIO
        Open for reading, without a buffer of its own.
    tick : callable, optional
        Told of the bytes of each piece.

    Returns
    -------
    sha256 : str
        Hexadecimal.
    size : int
        Bytes read.
    """
    digest, size = hashlib.sha256(), 0
    room = memoryview(bytearray(LIMITS.piece_bytes))
    while count := stream.readinto(room):  # type: ignore[attr-defined]
        digest.update(room[:count])
        size += count
        if tick is not None:
            tick(count)
    return digest.hexdigest(), size


def disk_of(path: Path) -> str:
    """Tell which disk a path lies on.

    On Linux two partitions of one disk count as one; elsewhere, and behind volume managers of
    several disks, every file system counts as a disk of its own.

    Parameters
    ----------
    path : Path
        File or folder that is there.

    Returns
    -------
    str
        Equal for paths on one disk.
    """
    return _disk_of_device(path.stat().st_dev, path)


def _disk_of_device(device: int, path: Path) -> str:
    if sys.platform == "linux":
        if os.major(device) == 0:  # a file system without a number of its own, or none on a disk
            source = Path(_mounted(path.resolve())[1])
            with contextlib.suppress(OSError):
                if source.is_block_device():
                    device = source.stat().st_rdev
        if os.major(device) != 0:
            return f"disk {_whole(f'{os.major(device)}:{os.minor(device)}')}"
    return f"device {device}"


def _whole(number: str) -> str:
    """Name the disk of a partition, through one layer of encryption or volumes if it is one."""
    about = Path("/sys/dev/block", number)
    try:
        place = about.resolve(strict=True)
    except OSError:
        return number
    if (place / "partition").exists():
        place = place.parent
    below = list((place / "slaves").glob("*"))
    if len(below) == 1:
        with contextlib.suppress(OSError):
            return _whole((below[0] / "dev").read_text("ascii").strip())
    return place.name


def _forgotten(handle: int) -> bool:
    """Ask for the first byte without waiting for a disk: it must not be there.

    One question only: asking may already start the reading of what follows.
    """
    if os.fstat(handle).st_size == 0:
        return True  # nothing to remember
    try:
        os.preadv(handle, [bytearray(1)], 0, os.RWF_NOWAIT)
    except BlockingIOError:
        return True
    except (OSError, AttributeError):  # a file system or kernel that can't be asked so
        about = os.fstat(handle)
        return _file_system(about.st_dev, f"/proc/self/fd/{handle}") not in _IN_MEMORY
    return False


@lru_cache(maxsize=64)
def _file_system(device: int, link: str) -> str:
    del device  # the key; the link is only how to get there
    return _mounted(Path(link).resolve())[0]


def _mounted(path: Path) -> tuple[str, str]:
    """Give type and source of the file system that a path lies on."""
    best, found = -1, ("", "")
    with contextlib.suppress(OSError):
        text = Path("/proc/self/mountinfo").read_text("utf-8", "surrogateescape")
        for line in text.splitlines():
            before, _, after = line.partition(" - ")
            point = re.sub(r"\\([0-7]{3})", lambda m: chr(int(m[1], 8)), before.split()[4])
            if len(point) >= best and path.is_relative_to(point):
                best, found = len(point), (after.split()[0], after.split()[1])
    return found
