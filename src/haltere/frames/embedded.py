"""The small pictures that a camera puts into a JPEG beside the picture itself."""

from __future__ import annotations

import contextlib
import io
import struct
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from haltere.frames.limits import LIMITS
from haltere.frames.tags import TagFile

Rgb = NDArray[np.uint8]

_EXIF, _SEVERAL = b"Exif\0\0", b"MPF\0"
_THUMBNAIL_AT, _THUMBNAIL_BYTES, _ENTRIES = 0x0201, 0x0202, 0xB002


def embedded_look(path: Path, full_px: tuple[int, int], longest_px: int) -> Rgb | None:
    """Find a small picture inside a JPEG that shows the same, large enough to be looked at.

    Reads the head of the file and the small picture, never the picture itself.

    Parameters
    ----------
    path : Path
        The file.
    full_px : tuple of int
        Stored width and height of the picture.
    longest_px : int
        Longest side wanted.

    Returns
    -------
    ndarray of uint8, shape (H, W, 3), or None
        As it is stored, not upright; None when there is none that large of the same shape.
    """
    import simplejpeg

    found = []
    with path.open("rb") as file:
        head = file.read(LIMITS.head_bytes)
        for where, size in _places(head):
            file.seek(where)
            data = file.read(size)
            try:
                height, width, _, _ = simplejpeg.decode_jpeg_header(data, strict=False)
            except (ValueError, KeyError):
                continue
            if longest_px <= max(width, height) < max(full_px):
                found.append((width * height, data))
    for _, data in sorted(found, key=lambda one: one[0]):
        try:
            rgb = simplejpeg.decode_jpeg(data, "RGB")
        except (ValueError, KeyError):
            continue
        cut = _without_bars(np.asarray(rgb, np.uint8), full_px)
        if cut is not None and max(cut.shape[:2]) >= longest_px:
            return cut
    return None


def _without_bars(rgb: Rgb, full_px: tuple[int, int]) -> Rgb | None:
    """Cut away the black bars by which cameras bring a picture to 4:3; None if it is another."""
    height, width = rgb.shape[:2]
    wanted = full_px[0] / full_px[1]
    if abs((width / height) / wanted - 1) <= LIMITS.aspect_slack:
        return rgb
    high, wide = min(height, round(width / wanted)), min(width, round(height * wanted))
    middle = (height - high) // 2, (width - wide) // 2
    # the bars may differ by a row; where the window is brightest it holds no bar
    at = [(middle[0] + d, middle[1] + e) for d, e in ((0, 0), (1, 0), (-1, 0), (0, 1), (0, -1))]
    inside = [one for one in at if 0 <= one[0] <= height - high and 0 <= one[1] <= width - wide]
    top, left = max(inside, key=lambda one: int(rgb[one[0] :, one[1] :][:high, :wide].sum()))
    bars = np.ones((height, width), bool)
    # a soft edge of the picture reaches a little into its bars
    bars[max(0, top - 2) : top + high + 2, max(0, left - 2) : left + wide + 2] = False
    if not bars.any() or float(rgb[bars].mean()) > LIMITS.bar_level:
        return None
    return np.ascontiguousarray(rgb[top : top + high, left : left + wide])


def _places(head: bytes) -> Iterator[tuple[int, int]]:
    """Name where small pictures lie in the file, and their sizes."""
    for at, body in _segments(head):
        for begin, listed in ((_EXIF, _thumbnail), (_SEVERAL, _several)):
            if not body.startswith(begin):
                continue
            with contextlib.suppress(ValueError, struct.error):  # damaged tags name nothing
                for where, size in listed(TagFile(io.BytesIO(body[len(begin) :]))):
                    if 0 < size <= LIMITS.look_bytes:
                        yield at + len(begin) + where, size


def _segments(head: bytes) -> Iterator[tuple[int, bytes]]:
    at = 2
    while at + 4 <= len(head) and head[at] == 0xFF:
        marker = head[at + 1]
        if marker == 0xFF:
            at += 1
            continue
        size = int.from_bytes(head[at + 2 : at + 4], "big")
        if marker in (0xD9, 0xDA) or size < 2:
            return
        if marker in (0xE1, 0xE2):
            yield at + 4, head[at + 4 : at + 2 + size]
        at += 2 + size


def _thumbnail(tags: TagFile) -> Iterator[tuple[int, int]]:
    """Find the one of Exif, in its second table (Exif 2.3, 4.5.5)."""
    following = tags.table(tags.first)[1]
    if following:
        table, _ = tags.table(following)
        if _THUMBNAIL_AT in table and _THUMBNAIL_BYTES in table:
            yield table[_THUMBNAIL_AT].integer(0), table[_THUMBNAIL_BYTES].integer(0)


def _several(tags: TagFile) -> Iterator[tuple[int, int]]:
    """Find those behind the picture (CIPA DC-007, from memory); the first is the picture itself."""
    table, _ = tags.table(tags.first)
    entries = table[_ENTRIES].data if _ENTRIES in table else b""
    for number in range(1, min(len(entries) // 16, 16)):
        _, size, where = struct.unpack_from(f"{tags.order}III", entries, 16 * number)
        yield int(where), int(size)
