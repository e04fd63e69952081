"""Carries shooting data from a source file into a result, without what must not travel."""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from haltere.frames.tags import TYPE_BYTES, Table, Tag, TagFile

_ORIENTATION, _EXIF, _GPS, _SOFTWARE = 274, 34665, 34853, 305
# make, model, description, date, artist, copyright: what describes the shot, not the file layout
_CARRIED = (270, 271, 272, 306, 315, 33432)
# maker notes point into the old file; an interoperability table describes the old JPEG
_LEFT = {37500, 40965}
_FOCAL_PLANE = {41486, 41487, 41488}
_WIDTH, _HEIGHT = 40962, 40963
_MAX_TEXT = 4096
_EXIF_VERSION, _COMPONENTS, _FLASHPIX, _COLOUR_SPACE = 36864, 37121, 40960, 40961
_X_RESOLUTION, _Y_RESOLUTION = 282, 283
_LAYOUT = {296: 2, 531: 1}  # dots an inch; colour is sampled in the middle of its pixels
_DESCRIPTION, _ARTIST, _COPYRIGHT = 270, 315, 33432
_COMMENTS = {37510, 40091, 40092, 40095, 42016}  # user's comment, XP words, unique number


@dataclass(frozen=True, slots=True)
class Carried:
    """Tags that go along into a result.

    Attributes
    ----------
    main, exif, gps : dict
        Tag number to `Tag`, little-endian.
    """

    main: Table = field(default_factory=dict)
    exif: Table = field(default_factory=dict)
    gps: Table = field(default_factory=dict)


def carried_from(
    source: Path | None, size_px: tuple[int, int], *, keep_gps: bool = False
) -> Carried:
    """Collect the tags that a result takes over from its source.

    Left behind: position (unless asked), thumbnail, maker notes, orientation (the result is
    upright), and the focal-plane resolution where the source was reduced after capture.

    Parameters
    ----------
    source : Path or None
        Picture whose shooting data to take.
    size_px : tuple of int
        Width and height of the result.
    keep_gps : bool, optional
        Take the position along.

    Returns
    -------
    Carried
        Empty when the source has no readable tags.
    """
    found = _open(source) if source is not None else None
    if found is None:
        return Carried()
    file, main, true_size = found
    exif = _sub(file, main, _EXIF)
    gps = _sub(file, main, _GPS) if keep_gps else {}
    said = {exif[n].integer(0) for n in (_WIDTH, _HEIGHT) if n in exif}
    stale = bool(said) and true_size is not None and not said <= set(true_size)
    exif = {
        number: _little(tag)
        for number, tag in exif.items()
        if number not in _LEFT and not (stale and number in _FOCAL_PLANE)
    }
    if _WIDTH in exif or _HEIGHT in exif:
        exif[_WIDTH], exif[_HEIGHT] = (_long(value) for value in size_px)
    kept = {n: _little(main[n]) for n in _CARRIED if n in main and len(main[n].data) <= _MAX_TEXT}
    return Carried(kept, exif, {n: _little(tag) for n, tag in gps.items()})


def with_words(
    carried: Carried, *, caption: str = "", creator: str = "", rights: str = ""
) -> Carried:
    """Say who made a picture and what it shows, in place of what the camera was told to say.

    The camera's own description and comments are dropped: nobody reads them, and they may name
    the place.

    Parameters
    ----------
    carried : Carried
        Tags taken over.
    caption, creator, rights : str, optional
        Words; what is empty leaves the creator and the rights of the source as they are.

    Returns
    -------
    Carried
        With these words.
    """
    main = {number: tag for number, tag in carried.main.items() if number != _DESCRIPTION}
    for number, words in ((_DESCRIPTION, caption), (_ARTIST, creator), (_COPYRIGHT, rights)):
        if words:
            coded = words.encode("utf-8") + b"\0"  # Exif says ASCII; readers take UTF-8
            main[number] = Tag(2, len(coded), coded, "<")
    exif = {number: tag for number, tag in carried.exif.items() if number not in _COMMENTS}
    return Carried(main, exif, carried.gps)


def completed(
    carried: Carried, size_px: tuple[int, int], *, jpeg: bool, srgb: bool, dots_per_inch: float
) -> Carried:
    """Add what the standard asks of a file (Exif 3.0, CIPA DC-008-2023, from memory), and no more.

    Parameters
    ----------
    carried : Carried
        Tags taken over.
    size_px : tuple of int
        Width and height of the file's picture.
    jpeg : bool
        Whether it is a JPEG; a TIFF says its size and layout elsewhere.
    srgb : bool
        Whether its colours are sRGB.
    dots_per_inch : float
        How finely it is meant to be printed.

    Returns
    -------
    Carried
        With version, colour space, resolution, and a JPEG's layout.
    """
    exif = {number: tag for number, tag in carried.exif.items() if number not in (_WIDTH, _HEIGHT)}
    exif.setdefault(_EXIF_VERSION, Tag(7, 4, b"0232", "<"))
    exif.setdefault(_FLASHPIX, Tag(7, 4, b"0100", "<"))
    exif[_COLOUR_SPACE] = Tag(3, 1, struct.pack("<H", 1 if srgb else 65535), "<")
    main = dict(carried.main)
    if jpeg:
        exif[_WIDTH], exif[_HEIGHT] = (_long(value) for value in size_px)
        exif[_COMPONENTS] = Tag(7, 4, b"\1\2\3\0", "<")
        fine = Tag(5, 1, struct.pack("<II", round(1000 * dots_per_inch), 1000), "<")
        main |= {_X_RESOLUTION: fine, _Y_RESOLUTION: fine}
        main |= {number: Tag(3, 1, struct.pack("<H", v), "<") for number, v in _LAYOUT.items()}
    return Carried(main, exif, carried.gps)


def _open(source: Path) -> tuple[TagFile, Table, tuple[int, int] | None] | None:
    try:
        data = source.read_bytes()
        if data[:2] == b"\xff\xd8":
            block, size = _exif_in_jpeg(data)
            if block is None:
                return None
            file = TagFile(io.BytesIO(block))
            return file, file.table(file.first)[0], size
        file = TagFile(io.BytesIO(data))
        main = file.table(file.first)[0]
        plain = main.get(256), main.get(257)
        size = (plain[0].integer(0), plain[1].integer(0)) if plain[0] and plain[1] else None
        raw = 50706 in main or 330 in main  # the first table of a raw file shows its preview
        return file, main, None if raw else size
    except (ValueError, OSError, struct.error):
        return None


def _exif_in_jpeg(data: bytes) -> tuple[bytes | None, tuple[int, int] | None]:
    block, at = None, 2
    while at + 9 < len(data):
        if data[at] != 0xFF or data[at + 1] in (0x00, 0xFF):
            at += 1
            continue
        marker = data[at + 1]
        length = int.from_bytes(data[at + 2 : at + 4], "big")
        if marker == 0xE1 and data[at + 4 : at + 10] == b"Exif\0\0" and block is None:
            block = data[at + 10 : at + 2 + length]
        if 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):
            height, width = struct.unpack(">HH", data[at + 5 : at + 9])
            return block, (width, height)
        if marker == 0xDA:
            break
        at += 2 + max(length, 2)
    return block, None


def _sub(file: TagFile, main: Table, pointer: int) -> Table:
    if pointer not in main:
        return {}
    try:
        return file.table(main[pointer].integer(0))[0]
    except (ValueError, struct.error):
        return {}


def _long(value: int) -> Tag:
    return Tag(4, 1, struct.pack("<I", value), "<")


def _little(tag: Tag) -> Tag:
    """Bring a tag to little-endian order."""
    width = TYPE_BYTES[tag.code]
    if tag.code in (5, 10):
        width = 4
    if tag.order == "<" or width == 1:
        return Tag(tag.code, tag.count, tag.data, "<")
    swapped = np.frombuffer(tag.data, f">u{width}").astype(f"<u{width}").tobytes()
    return Tag(tag.code, tag.count, swapped, "<")


def packed(table: Table, offset: int, following: int = 0) -> bytes:
    """Lay a tag table out as bytes.

    Parameters
    ----------
    table : dict
        Tag number to little-endian `Tag`.
    offset : int
        Where it will stand, counted from the TIFF header.
    following : int, optional
        Offset of the next table.

    Returns
    -------
    bytes
        The table and its values, even in length.
    """
    entries, values = b"", b""
    at = offset + 2 + 12 * len(table) + 4
    for number in sorted(table):
        tag = table[number]
        head = struct.pack("<HHI", number, tag.code, tag.count)
        if len(tag.data) <= 4:
            entries += head + tag.data.ljust(4, b"\0")
            continue
        entries += head + struct.pack("<I", at + len(values))
        values += tag.data + b"\0" * (len(tag.data) % 2)
    return struct.pack("<H", len(table)) + entries + struct.pack("<I", following) + values


def exif_block(carried: Carried, software: str) -> bytes:
    """Write the tags as the Exif block of a JPEG.

    Parameters
    ----------
    carried : Carried
        Tags to write.
    software : str
        Name and version of what made the picture.

    Returns
    -------
    bytes
        TIFF-formed block, without the 'Exif' mark before it.
    """
    main = dict(carried.main)
    main[_ORIENTATION] = Tag(3, 1, struct.pack("<H", 1), "<")
    text = software.encode("ascii", "replace") + b"\0"
    main[_SOFTWARE] = Tag(2, len(text), text, "<")
    subs = [(_EXIF, carried.exif), (_GPS, carried.gps)]
    subs = [(number, table) for number, table in subs if table]
    for number, _ in subs:
        main[number] = _long(0)
    at = 8 + len(packed(main, 8))
    blocks = b""
    for number, table in subs:
        main[number] = _long(at + len(blocks))
        blocks += packed(table, at + len(blocks))
    return b"II*\0" + struct.pack("<I", 8) + packed(main, 8) + blocks
