"""Carries one file from the card to its places: poured, read back, and only then given its name."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from pathlib import Path, PurePosixPath
from typing import BinaryIO

from haltere.errors import FrameError, WriteError
from haltere.fieldbook.card import CardFile
from haltere.fieldbook.durable import (
    ReadBack,
    ReadFrom,
    cure,
    drop_cache,
    fresh_part,
    hash_stream,
    make_folders,
    read_back,
)
from haltere.fieldbook.limits import LIMITS
from haltere.fieldbook.naming import numbered

SET_ASIDE = "set-aside"
"""Folder beside the outings for files that changed: a repair keeps what it replaces."""

Tick = Callable[[int], None]


_OF_ONE_FILE = {errno.EFBIG, errno.ENAMETOOLONG, errno.EINVAL, errno.EILSEQ}


class FileRefusedError(WriteError):
    """Raised when a place does not take one file, though it takes others.

    Parameters
    ----------
    message : str
        What happened, and the cure.
    part : Path
        The temporary name at that place.
    """

    def __init__(self, message: str, part: Path) -> None:
        super().__init__(message)
        self.part = part


class NotTheSameError(FileRefusedError):
    """Raised when a file does not read back as it was written."""


def pour(file: CardFile, parts: Sequence[Path], tick: Tick) -> str:
    """Read a card's file once, hash it, and write it to every place under a temporary name.

    Holds one piece of the file. Nothing is synced yet: that is the reader-back's first act, so
    that this can go on with the next file meanwhile.

    Parameters
    ----------
    file : CardFile
        On the card.
    parts : sequence of Path
        Temporary names, one at each place; on failure they are removed.
    tick : callable
        Told of the bytes of each piece.

    Returns
    -------
    str
        SHA-256 of what was read.

    Raises
    ------
    FrameError
        When the card's file can't be read, or changed meanwhile.
    FileRefusedError
        When a place does not take this file.
    WriteError
        When a place can't be written.
    """
    try:
        return _poured(file, parts, tick)
    except BaseException:
        for part in parts:
            with contextlib.suppress(OSError):
                part.unlink(missing_ok=True)
        raise


def hash_of(file: CardFile, tick: Tick) -> str:
    """Hash a card's file without writing it anywhere.

    Parameters
    ----------
    file : CardFile
        On the card.
    tick : callable
        Told of the bytes of each piece.

    Returns
    -------
    str
        SHA-256.

    Raises
    ------
    FrameError
        When it can't be read, or changed meanwhile.
    """
    try:
        with file.path.open("rb", buffering=0) as stream:
            drop_cache(stream)
            digest, size = hash_stream(stream, tick)
    except OSError as error:
        raise _unreadable(error) from error
    _whole(file, size)
    return digest


def settle(part: Path, final: Path, sha256: str) -> ReadFrom:
    """Sync a poured file, read it back from the disk, and give it its name when it is the same.

    Parameters
    ----------
    part : Path
        Temporary name.
    final : Path
        Where nothing stands yet.
    sha256 : str
        What it must hold.

    Returns
    -------
    {"disk", "cache"}
        Where it was read back from.

    Raises
    ------
    NotTheSameError
        When it reads back differently; it is removed.
    FileRefusedError
        When the disk does not take this name.
    WriteError
        When the disk refuses, or something took the name.
    """
    try:
        back = read_back(part)
        if back.sha256 != sha256:
            part.unlink()
            raise NotTheSameError(
                f"{final}: did not read back as it was written; copy it again, and distrust that "
                "disk, its cable or its reader",
                part,
            )
        make_folders(final.parent)
        if os.path.lexists(final):
            raise WriteError(f"{final}: something took this name meanwhile; try again")
        part.rename(final)
    except WriteError:
        raise
    except OSError as error:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        words = f"{final}: can't be written: {cure(error)} and try again"
        if error.errno in _OF_ONE_FILE:
            raise FileRefusedError(words, part) from error
        raise WriteError(words) from error
    return back.read_from


def look_again(path: Path, *, sync: bool = False) -> ReadBack | None:
    """Read an original that is there already, from the disk.

    Parameters
    ----------
    path : Path
        The file.
    sync : bool, optional
        Sync it first: a break may have come before that.

    Returns
    -------
    ReadBack or None
        None when it is gone or can't be read.
    """
    try:
        return read_back(path, synced=not sync)
    except OSError:
        return None


def set_aside(path: Path, root: Path) -> Path | None:
    """Move a file that changed out of the way, and keep it.

    Parameters
    ----------
    path : Path
        The file in an outing.
    root : Path
        Its place of originals.

    Returns
    -------
    Path or None
        Where it is now; None when there was nothing.
    """
    if not os.path.lexists(path):
        return None
    aside = root / SET_ASIDE / path.relative_to(root)
    make_folders(aside.parent)
    number = 1
    while os.path.lexists(aside):
        number += 1
        aside = aside.with_name(numbered(path.name, number))
    path.rename(aside)
    return aside


def restore(source: Path, final: Path, sha256: str, root: Path) -> ReadFrom:
    """Bring a good copy back to where one changed or vanished.

    Parameters
    ----------
    source : Path
        The good copy.
    final : Path
        Where it belongs; what stands there is set aside.
    sha256 : str
        What it must hold.
    root : Path
        The place of originals that `final` lies in.

    Returns
    -------
    {"disk", "cache"}
        Where it was read back from.

    Raises
    ------
    FrameError
        When the copy can't be read.
    WriteError
        When it can't be written, or does not read back as it should.
    """
    facts = source.stat()
    file = CardFile(
        source, PurePosixPath(source.name), source.name, facts.st_size, facts.st_mtime_ns
    )
    part = fresh_part(root)
    if pour(file, [part], lambda _: None) != sha256:
        part.unlink(missing_ok=True)
        raise NotTheSameError(
            f"{source}: is not what the book knows; it can't repair anything", part
        )
    try:
        set_aside(final, root)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise WriteError(f"{final}: can't be set aside: {cure(error)} and try again") from error
    return settle(part, final, sha256)


def _poured(file: CardFile, parts: Sequence[Path], tick: Tick) -> str:
    digest, size = hashlib.sha256(), 0
    room = memoryview(bytearray(LIMITS.piece_bytes))
    with ExitStack() as stack:
        try:
            stream = stack.enter_context(file.path.open("rb", buffering=0))
            drop_cache(stream)
        except OSError as error:
            raise _unreadable(error) from error
        outs = [_opened(part, stack) for part in parts]
        while True:
            try:
                count = stream.readinto(room)
            except OSError as error:
                raise _unreadable(error) from error
            if not count:
                break
            piece = room[:count]
            for part, out in zip(parts, outs, strict=True):
                _put(out, piece, part)
            digest.update(piece)
            size += count
            tick(count)
    _whole(file, size)
    for part in parts:
        try:
            os.utime(part, ns=(file.mtime_ns, file.mtime_ns))
        except OSError as error:
            if not part.exists():
                raise WriteError(f"{part}: {cure(error)} and try again") from error
            # a time that this disk can't hold (before 1980) is no reason to refuse the file
    return digest.hexdigest()


def _opened(part: Path, stack: ExitStack) -> BinaryIO:
    try:
        return stack.enter_context(part.open("xb", buffering=0))
    except OSError as error:
        raise _unwritable(error, part) from error


def _put(out: BinaryIO, piece: memoryview, part: Path) -> None:
    """Write all of a piece; the system may take less of it at a time."""
    try:
        while piece:
            piece = piece[out.write(piece) :]
    except OSError as error:
        raise _unwritable(error, part) from error


def _unwritable(error: OSError, part: Path) -> WriteError:
    words = f"{part.parent.parent}: can't be written: {cure(error)} and try again"
    return FileRefusedError(words, part) if error.errno in _OF_ONE_FILE else WriteError(words)


def _unreadable(error: OSError) -> FrameError:
    if isinstance(error, PermissionError):
        return FrameError("may not be read; give yourself permission to read it")
    return FrameError(f"can't be read ({error.strerror or error}); clean the card's contacts")


def _whole(file: CardFile, size: int) -> None:
    if size != file.size:
        raise FrameError(
            f"gave {size} bytes of the {file.size} that were announced; let the camera finish "
            "writing, and unload again"
        )
