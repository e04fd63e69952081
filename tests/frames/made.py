"""Makes small picture files of every kind that the tests of this room need."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import simplejpeg
from numpy.typing import NDArray

from haltere.frames.exif import packed
from haltere.frames.tags import Tag


def short(*values: int) -> Tag:
    return Tag(3, len(values), struct.pack(f"<{len(values)}H", *values), "<")


def long(*values: int) -> Tag:
    return Tag(4, len(values), struct.pack(f"<{len(values)}I", *values), "<")


def octets(*values: int) -> Tag:
    return Tag(1, len(values), bytes(values), "<")


def words(text: str) -> Tag:
    return Tag(2, len(text) + 1, text.encode() + b"\0", "<")


def ratio(*pairs: tuple[int, int]) -> Tag:
    flat = [part for pair in pairs for part in pair]
    return Tag(5, len(pairs), struct.pack(f"<{len(flat)}I", *flat), "<")


def signed_ratio(*pairs: tuple[int, int]) -> Tag:
    flat = [part for pair in pairs for part in pair]
    return Tag(10, len(pairs), struct.pack(f"<{len(flat)}i", *flat), "<")


def texture(height: int, width: int, seed: int = 0) -> NDArray[np.uint8]:
    """Smooth colour blobs (H, W, 3): JPEG keeps them well, and no side looks like another."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[:height, :width] / max(height, width)
    waves = [np.sin(rng.uniform(2, 9) * x + rng.uniform(2, 9) * y + k) for k in range(3)]
    picture = np.stack(waves, axis=2) * 60 + 110 + 60 * (x - 0.5)[:, :, None]
    return np.clip(np.rint(picture), 0, 255).astype(np.uint8)


def jpeg_bytes(
    rgb: NDArray[np.uint8], exif: dict[int, Tag] | None = None, main: dict[int, Tag] | None = None
) -> bytes:
    """A JPEG with the Exif tags given, as a camera would write it."""
    data = simplejpeg.encode_jpeg(np.ascontiguousarray(rgb), 95, colorsubsampling="444")
    if exif is None and main is None:
        return data
    block = exif_bytes(main or {}, exif or {})
    body = b"Exif\0\0" + block
    return data[:2] + b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body + data[2:]


def exif_bytes(
    main: dict[int, Tag], exif: dict[int, Tag], gps: dict[int, Tag] | None = None
) -> bytes:
    """A TIFF-formed Exif block."""
    main = dict(main)
    subs = [(number, table) for number, table in ((34665, exif), (34853, gps or {})) if table]
    for number, _ in subs:
        main[number] = long(0)
    at = 8 + len(packed(main, 8))
    blocks = b""
    for number, table in subs:
        main[number] = long(at + len(blocks))
        blocks += packed(table, at + len(blocks))
    return b"II*\0" + struct.pack("<I", 8) + packed(main, 8) + blocks


def write_dng(
    path: Path,
    mosaic: NDArray[np.uint16],
    preview: bytes | None = None,
    preview_px: tuple[int, int] = (0, 0),
    orientation: int = 1,
    when: str | None = None,
) -> None:
    """A DNG as a camera writes it: a JPEG preview first, the sensor's mosaic in a sub-table."""
    height, width = mosaic.shape
    one = [(1, 1), (0, 1), (0, 1), (0, 1), (1, 1), (0, 1), (0, 1), (0, 1), (1, 1)]
    shown = preview if preview is not None else bytes(48)
    size = preview_px if preview is not None else (4, 4)
    main = {
        254: long(1),
        256: long(size[0]),
        257: long(size[1]),
        258: short(8, 8, 8),
        259: short(7 if preview is not None else 1),
        262: short(6 if preview is not None else 2),
        271: words("Invented"),
        272: words("Handheld M1"),
        273: long(0),
        274: short(orientation),
        277: short(3),
        278: long(size[1]),
        279: long(len(shown)),
        330: long(0),
        50706: octets(1, 4, 0, 0),
        50707: octets(1, 1, 0, 0),
        50708: words("Invented Handheld M1"),
        50721: signed_ratio(*one),
        50778: short(21),
        50728: ratio((1, 1), (1, 1), (1, 1)),
    }
    exif = {36867: words(when)} if when else {}
    if exif:
        main[34665] = long(0)
    sub = {
        254: long(0),
        256: long(width),
        257: long(height),
        258: short(16),
        259: short(1),
        262: short(32803),
        273: long(0),
        277: short(1),
        278: long(height),
        279: long(mosaic.nbytes),
        33421: short(2, 2),
        33422: octets(0, 1, 1, 2),
        50714: ratio((256, 1)),
        50717: long(4095),
    }
    at = 8 + len(packed(main, 8))
    sub_at = at
    at += len(packed(sub, at))
    exif_at = at
    at += len(packed(exif, at)) if exif else 0
    main[330], main[273] = long(sub_at), long(at)
    shown += b"\0" * (len(shown) % 2)
    sub[273] = long(at + len(shown))
    if exif:
        main[34665] = long(exif_at)
    path.write_bytes(
        b"II*\0"
        + struct.pack("<I", 8)
        + packed(main, 8)
        + packed(sub, sub_at)
        + (packed(exif, exif_at) if exif else b"")
        + shown
        + mosaic.astype("<u2").tobytes()
    )
