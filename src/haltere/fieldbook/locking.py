"""One unloading at a time: a lock that ends with the process that holds it."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterator
from io import FileIO
from pathlib import Path

from haltere.errors import BookError

FILE = "unloading.lock"
_AT = 1 << 30  # Windows locks bytes, and locked ones can't be read: lock one behind the words


@contextlib.contextmanager
def only_one(folder: Path) -> Iterator[None]:
    """Keep others out of a folder of originals for as long as the block lasts.

    The system lets go of the lock when the process ends, however it ends; the file itself stays
    and means nothing.

    Parameters
    ----------
    folder : Path
        Folder that is there.

    Yields
    ------
    None
        While the lock is held.

    Raises
    ------
    BookError
        When another process holds it, or the folder can't be written.
    """
    place = folder / FILE
    try:
        stream = place.open("a+b", buffering=0)
    except OSError as error:
        raise BookError(
            f"{folder}: can't be written ({error.strerror}); give yourself permission, or name "
            "another folder"
        ) from error
    with stream:
        if not _taken(stream):
            raise BookError(
                f"{folder}: another haltere is working here{_who(stream)}; let it finish, or "
                "stop it, and try again"
            )
        with contextlib.suppress(OSError):  # a full disk: the number is only for the message
            stream.truncate(0)
            stream.write(f"{os.getpid()}\n".encode("ascii"))
        try:
            yield
        finally:
            _let_go(stream)


def _who(stream: FileIO) -> str:
    with contextlib.suppress(OSError):
        stream.seek(0)
        number = (stream.read(20) or b"").strip().decode("ascii", "replace")
        if number.isdigit():
            return f" (process {number})"
    return ""


def _taken(stream: FileIO) -> bool:
    try:
        if sys.platform == "win32":
            import msvcrt

            stream.seek(_AT)
            msvcrt.locking(stream.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(stream.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _let_go(stream: FileIO) -> None:
    with contextlib.suppress(OSError):
        if sys.platform == "win32":
            import msvcrt

            stream.seek(_AT)
            msvcrt.locking(stream.fileno(), msvcrt.LK_UNLCK, 1)
        else:
            import fcntl

            fcntl.flock(stream.fileno(), fcntl.LOCK_UN)
