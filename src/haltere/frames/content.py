"""What a file is, told by its content: JPEG, TIFF, maybe raw, or foreign."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Literal

from haltere.errors import FrameError
from haltere.frames.limits import LIMITS
from haltere.frames.tags import Table, TagFile

HeadKind = Literal["jpeg", "tiff", "maybe raw"]

_READS = "haltere reads JPEG, TIFF and camera raw"
_FOREIGN: tuple[tuple[int, bytes, str], ...] = (
    (0, b"\x89PNG\r\n\x1a\n", "a PNG picture"),
    (0, b"GIF8", "a GIF picture"),
    (0, b"BM", "a BMP picture"),
    (8, b"WEBP", "a WebP picture"),
    (4, b"ftyphei", "a HEIF picture"),
    (4, b"ftypmif1", "a HEIF picture"),
    (4, b"ftypavif", "an AVIF picture"),
    (0, b"\x00\x00\x00\x0cJXL ", "a JPEG XL picture"),
    (0, b"\xff\x0a", "a JPEG XL picture"),
    (0, b"\x00\x00\x00\x0cjP  ", "a JPEG 2000 picture"),
    (0, b"8BPS", "a layered editor file"),
    (0, b"%PDF", "a PDF document"),
    (0, b"PK\x03\x04", "a ZIP archive"),
    (8, b"AVI ", "a film"),
    (4, b"ftypqt", "a film"),
    (4, b"ftypisom", "a film"),
    (4, b"ftypmp4", "a film"),
    (4, b"ftypMSNV", "a film"),
)
_PLAIN_TIFF = {0: "grey", 1: "grey", 2: "colour", 6: "colour"}
_RAW_PHOTOMETRIC = {32803, 34892}
_STANDALONE = {0x01, *range(0xD0, 0xD8)}
_SIZE_MARKERS = {*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC}
_READABLE_SIZE_MARKERS = {0xC0, 0xC1, 0xC2, 0xC9, 0xCA}


@dataclass(frozen=True, slots=True)
class Head:
    """What the head of a file promises.

    Attributes
    ----------
    kind : {"jpeg", "tiff", "maybe raw"}
        What it is; 'maybe raw' is for the raw reader to say.
    width_px, height_px : int
        Stored size, before turning upright; 0 for 'maybe raw'.
    """

    kind: HeadKind
    width_px: int
    height_px: int


def head_of(path: Path) -> Head:
    """Tell what a file is from its first bytes and tables.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    Head
        Kind and stored size.

    Raises
    ------
    FrameError
        When it is foreign, empty, damaged or can't be read; the text is the reason without the
        file's name.
    """
    try:
        with path.open("rb") as stream:
            start = stream.read(64)
            if not start:
                raise FrameError("is empty (0 bytes); copy it again from the card")
            for offset, magic, words in _FOREIGN:
                if start[offset : offset + len(magic)] == magic:
                    raise FrameError(f"is {words}; {_READS}")
            if start[:3] == b"\xff\xd8\xff" or start[:2] == b"\xff\xd8":
                return _jpeg(stream)
            if start[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
                return _tiff(stream, start)
            if _is_text(start):
                raise FrameError(f"is not a picture but text; {_READS}")
            if len(start) < 64:
                raise FrameError(f"is not a picture, only {len(start)} bytes; {_READS}")
    except FrameError:
        raise
    except PermissionError:
        raise FrameError("may not be read; give yourself permission to read it") from None
    except OSError as error:
        reason = error.strerror or "unknown reason"
        raise FrameError(f"can't be read ({reason}); check the card or disk") from None
    return Head("maybe raw", 0, 0)


def _is_text(start: bytes) -> bool:
    """Say whether the first bytes are writing; raw files have control bytes among them."""
    if start[:2] in (b"\xff\xfe", b"\xfe\xff"):  # UTF-16 says so itself
        return True
    # the last letter may be cut in two
    whole = start if len(start) < 64 else start[:-3] + start[-3:].rstrip(bytes(range(128, 256)))
    try:
        return all(c.isprintable() or c in "\t\r\n\f\ufeff" for c in whole.decode("utf-8"))
    except UnicodeDecodeError:
        return False


def _checked(kind: HeadKind, width_px: int, height_px: int) -> Head:
    if width_px <= 0 or height_px <= 0:
        raise FrameError("says that its picture has no width or height; copy it again")
    if width_px * height_px > LIMITS.max_px:
        most = LIMITS.max_px // 1_000_000
        raise FrameError(
            f"says it is {width_px} x {height_px} px, more than the {most} million pixels that "
            "haltere opens; make a smaller copy"
        )
    return Head(kind, width_px, height_px)


def _jpeg(stream: BinaryIO) -> Head:
    """Walk the markers to the one that says the size, as a decoder would."""
    stream.seek(2)
    junk = 0
    broken = FrameError("is cut short or damaged before its picture begins; copy it again")
    while True:
        byte = stream.read(1)
        if not byte:
            raise broken
        if byte != b"\xff":
            junk += 1
            if junk > LIMITS.max_header_bytes:
                raise broken
            continue
        marker = stream.read(1)
        while marker == b"\xff":
            marker = stream.read(1)
        if not marker:
            raise broken
        code = marker[0]
        if code == 0 or code in _STANDALONE or code == 0xD8:
            continue
        if code in (0xD9, 0xDA):
            raise FrameError("holds shooting data but no picture; leave it out")
        length = stream.read(2)
        if len(length) < 2 or (size := struct.unpack(">H", length)[0]) < 2:
            raise broken
        if code not in _SIZE_MARKERS:
            stream.seek(size - 2, 1)
            continue
        frame = stream.read(6)
        if len(frame) < 6:
            raise broken
        bits, height, width, components = struct.unpack(">BHHB", frame)
        if code not in _READABLE_SIZE_MARKERS or bits != 8:
            raise FrameError(f"is a JPEG of a rare kind ({bits} bit); save it as plain JPEG")
        if components not in (1, 3):
            raise FrameError("is a JPEG with print inks (CMYK), not light; save it as RGB")
        return _checked("jpeg", width, height)


def _tiff(stream: BinaryIO, start: bytes) -> Head:
    """Tell plain TIFF from raw files that borrow its layout."""
    try:
        file = TagFile(stream)
        tables = list(file.chain())
    except ValueError:
        tables = []
    if not tables:
        raise FrameError("is a TIFF whose tables are damaged; copy it again")
    if start[8:10] == b"CR" or any(_rawish(table) for table in tables):
        return Head("maybe raw", 0, 0)
    return _plain_tiff(tables[0])


def _rawish(table: Table) -> bool:
    """Say whether a table belongs to a raw file: sensor mosaic, or a DNG version."""
    if 50706 in table:
        return True
    return 262 in table and table[262].integer(-1) in _RAW_PHOTOMETRIC


def _plain_tiff(table: Table) -> Head:
    width = table[256].integer(0) if 256 in table else 0
    height = table[257].integer(0) if 257 in table else 0
    bits = table[258].numbers() if 258 in table else (1.0,)
    photometric = table[262].integer(-1) if 262 in table else -1
    head = _checked("tiff", width, height)
    if photometric not in _PLAIN_TIFF:
        raise FrameError("is a TIFF that is neither grey nor RGB; save it as RGB with 8 or 16 bit")
    if not bits or any(b not in (8, 16) for b in bits):
        shown = "/".join(str(int(b)) for b in bits) or "unknown"
        raise FrameError(f"is a TIFF of {shown} bit; save it with 8 or 16 bit")
    formats = table[339].numbers() if 339 in table else (1.0,)
    if any(f not in (1, 4) for f in formats):
        raise FrameError("is a TIFF with signed or floating numbers; save it with 8 or 16 bit")
    return head


def stamp_of(path: Path) -> tuple[int, int]:
    """Give what a file is known again by.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    size, written : int
        Bytes, and nanoseconds.

    Raises
    ------
    OSError
        When it is gone.
    """
    told = path.stat()
    return told.st_size, told.st_mtime_ns
