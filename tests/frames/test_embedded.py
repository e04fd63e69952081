"""A look at a frame comes from the small picture inside its file, where there is one."""

from __future__ import annotations

import struct
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from haltere.frames import Decoder, find_frames
from haltere.frames.embedded import embedded_look
from haltere.frames.exif import packed
from tests.frames.made import jpeg_bytes, long, octets, short, texture

Rgb = NDArray[np.uint8]


def small(rgb: Rgb, width: int, height: int) -> Rgb:
    return np.asarray(cv2.resize(rgb, (width, height), interpolation=cv2.INTER_AREA), np.uint8)


def segment(marker: int, body: bytes) -> bytes:
    return bytes((0xFF, marker)) + struct.pack(">H", len(body) + 2) + body


def with_thumbnail(rgb: Rgb, thumb: Rgb, orientation: int = 1) -> bytes:
    """A JPEG with a small picture in the second table of its Exif."""
    data = jpeg_bytes(thumb)
    main = {0x0112: short(orientation)}
    second = 8 + len(packed(main, 8))
    places = {0x0103: short(6), 0x0201: long(0), 0x0202: long(len(data))}
    places[0x0201] = long(second + len(packed(places, second)))
    block = b"II*\0" + struct.pack("<I", 8) + packed(main, 8, second) + packed(places, second)
    whole = jpeg_bytes(rgb)
    return whole[:2] + segment(0xE1, b"Exif\0\0" + block + data) + whole[2:]


def with_preview(rgb: Rgb, preview: Rgb) -> bytes:
    """A JPEG followed by a small picture that a list in its head names."""
    whole, data = jpeg_bytes(rgb), jpeg_bytes(preview)

    def head(where: int) -> bytes:
        entries = struct.pack("<IIIHH", 0x030000, len(whole), 0, 0, 0)
        entries += struct.pack("<IIIHH", 0x010001, len(data), where, 0, 0)
        table = {0xB000: octets(0x30, 0x31, 0x30, 0x30), 0xB001: long(2), 0xB002: octets(*entries)}
        return segment(0xE2, b"MPF\0II*\0" + struct.pack("<I", 8) + packed(table, 8))

    behind = len(whole) + len(head(0)) - (2 + 4 + 4)  # counted from the list's own head
    return whole[:2] + head(behind) + whole[2:] + data


def looked(place: Path, data: bytes, decoder: Decoder, longest_px: int) -> Rgb:
    place.mkdir()
    (place / "M_0001.JPG").write_bytes(data)
    (frame,) = find_frames([place]).frames
    return np.asarray(decoder.look(frame, longest_px).array)


PICTURE = texture(400, 600, 3)
OTHER = np.ascontiguousarray(255 - PICTURE)
"""What the small picture shows, so that one sees where a look came from."""


def shows(look: Rgb, whole: Rgb) -> bool:
    return bool(np.abs(look.astype(int) - small(whole, look.shape[1], look.shape[0])).mean() < 6)


def test_a_small_picture_is_taken_where_it_is_large_enough(
    tmp_path: Path, decoder: Decoder
) -> None:
    data = with_thumbnail(PICTURE, small(OTHER, 180, 120))
    look = looked(tmp_path / "a", data, decoder, 150)
    assert max(look.shape) == 150
    assert shows(look, OTHER)
    assert shows(looked(tmp_path / "b", data, decoder, 300), PICTURE)


def test_black_bars_about_a_small_picture_are_cut_away(tmp_path: Path, decoder: Decoder) -> None:
    thumb = np.zeros((120, 160, 3), np.uint8)
    thumb[7:114] = small(OTHER, 160, 107)
    look = looked(tmp_path / "a", with_thumbnail(PICTURE, thumb), decoder, 150)
    assert look.shape == (100, 150, 3)
    assert shows(look, OTHER)


def test_a_small_picture_of_another_shape_is_not_taken(tmp_path: Path, decoder: Decoder) -> None:
    cut = np.ascontiguousarray(OTHER[:, :533])
    data = with_thumbnail(PICTURE, small(cut, 160, 120))
    assert shows(looked(tmp_path / "a", data, decoder, 150), PICTURE)


def test_a_small_picture_is_turned_with_its_frame(tmp_path: Path, decoder: Decoder) -> None:
    data = with_thumbnail(PICTURE, small(OTHER, 180, 120), orientation=6)
    look = looked(tmp_path / "a", data, decoder, 150)
    assert look.shape == (150, 100, 3)
    assert shows(look, np.ascontiguousarray(np.rot90(OTHER, -1)))


def test_a_preview_behind_the_picture_is_found(tmp_path: Path, decoder: Decoder) -> None:
    data = with_preview(PICTURE, small(OTHER, 360, 240))
    assert shows(looked(tmp_path / "a", data, decoder, 300), OTHER)


def test_measuring_never_sees_the_small_picture(tmp_path: Path, decoder: Decoder) -> None:
    (tmp_path / "M_0001.JPG").write_bytes(with_thumbnail(PICTURE, small(OTHER, 180, 120)))
    (frame,) = find_frames([tmp_path]).frames
    assert shows(np.asarray(decoder.rgb(frame, 150).array), PICTURE)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 400), st.binary(min_size=1, max_size=12), st.booleans())
def test_damaged_tags_lead_to_no_small_picture_or_a_true_one(
    tmp_path_factory: pytest.TempPathFactory, at: int, junk: bytes, behind: bool
) -> None:
    make = with_preview if behind else with_thumbnail
    data = bytearray(make(texture(40, 60), small(texture(40, 60), 36, 24)))
    data[20 + at : 20 + at + len(junk)] = junk
    path = tmp_path_factory.mktemp("junk") / "a.jpg"
    path.write_bytes(data)
    look = embedded_look(path, (60, 40), 30)
    assert look is None or (look.ndim == 3 and 30 <= max(look.shape[:2]) < 60)
