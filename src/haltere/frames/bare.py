"""A JPEG without anything that travels with it: place, names, previews, comments."""

from __future__ import annotations

import struct

from haltere.frames.exif import packed
from haltere.frames.tags import Tag

_PLAIN = {0xDB, 0xC4, 0xDD, 0xDA, 0xDC, 0xCC, *range(0xC0, 0xC4), *range(0xC5, 0xCC), 0xCD, 0xCE}
_PLAIN |= {0xCF}
"""What is needed to see the picture: tables, frame, scans (ITU-T T.81, from memory)."""

_KEPT_TEXTS = {0xE0: b"JFIF\0", 0xE2: b"ICC_PROFILE\0", 0xEE: b"Adobe"}
"""Of what programs add, only colour and the form of the file."""


def bare_jpeg(data: bytes, orientation: int = 1, creator: str = "", rights: str = "") -> bytes:
    """Copy a JPEG, its pixels untouched, and leave behind all that describes it.

    Parameters
    ----------
    data : bytes
        A JPEG file.
    orientation : int, optional
        Exif orientation, written again since without it the picture lies on its side.
    creator, rights : str, optional
        Written into the copy's own small Exif block.

    Returns
    -------
    bytes
        Colour profile, tables and scans; what stands behind the picture's end is cut off.

    Raises
    ------
    ValueError
        When it is no whole JPEG.
    """
    if data[:2] != b"\xff\xd8":
        raise ValueError("no JPEG")
    out = bytearray(b"\xff\xd8")
    at = 2
    while True:
        while data[at : at + 2] == b"\xff\xff":
            at += 1
        if at + 2 > len(data) or data[at] != 0xFF:
            raise ValueError("a broken JPEG")
        marker = data[at + 1]
        if marker == 0xD9:
            break
        length = int.from_bytes(data[at + 2 : at + 4], "big")
        body = data[at : at + 2 + length]
        if len(body) != 2 + length or length < 2:
            raise ValueError("a JPEG that was cut short")
        wanted = _KEPT_TEXTS.get(marker)
        if marker == 0xE0 and body[4:9] == b"JFIF\0":
            # the last two numbers are the size of a thumbnail, which is left behind
            out += b"\xff\xe0\x00\x10" + body[4:16] + b"\0\0"
            out += _exif(orientation, creator, rights)
        elif marker in _PLAIN or (
            wanted is not None and marker != 0xE0 and body[4:].startswith(wanted)
        ):
            out += body
        at += 2 + length
        if marker == 0xDA:
            end = _scan_end(data, at)
            out += data[at:end]
            at = end
    if b"Exif\0\0" not in out[:64]:
        out[2:2] = _exif(orientation, creator, rights)
    return bytes(out) + b"\xff\xd9"


def _scan_end(data: bytes, at: int) -> int:
    """Find the next marker that is no part of a scan."""
    while True:
        at = data.find(b"\xff", at)
        if at < 0 or at + 1 >= len(data):
            raise ValueError("a JPEG that was cut short")
        following = data[at + 1]
        if following == 0 or 0xD0 <= following <= 0xD7:
            at += 2
        elif following == 0xFF:
            at += 1
        else:
            return at


def _exif(orientation: int, creator: str, rights: str) -> bytes:
    table = {274: Tag(3, 1, struct.pack("<H", orientation), "<")}
    for number, words in ((315, creator), (33432, rights)):
        if words:
            text = words.encode("utf-8", "replace")[:2000] + b"\0"
            table[number] = Tag(2, len(text), text, "<")
    body = b"Exif\0\0II*\0" + struct.pack("<I", 8) + packed(table, 8)
    return b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body
