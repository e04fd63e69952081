"""Results are whole or not there, tagged, and carry the shooting data."""

from __future__ import annotations

import errno
import io
import os
from datetime import datetime
from pathlib import Path

import exifread
import numpy as np
import pytest
import tifffile
from PIL import Image

from haltere.errors import WriteError
from haltere.frames import (
    find_frames,
    make_folder,
    read_shooting,
    srgb_profile,
    write_bytes,
    write_jpeg,
    write_map,
    write_picture,
)
from haltere.frames import writing as room
from tests.frames.made import exif_bytes, jpeg_bytes, octets, ratio, short, texture, words

RGB16 = np.random.default_rng(3).integers(0, 65536, (37, 53, 3), dtype=np.uint16)


def source(tmp_path: Path, *, gps: bool = True, width: int = 32) -> Path:
    """A camera's JPEG with everything that must and must not travel."""
    main = {
        271: words("Invented"),
        272: words("Handheld M1"),
        274: short(6),
        315: words("A. Person"),
    }
    exif = {
        33434: ratio((1, 200)),
        33437: ratio((8, 1)),
        34855: short(200),
        36867: words("2025:06:01 10:20:30"),
        37386: ratio((60, 1)),
        37500: words("maker's own offsets, useless elsewhere"),
        37521: words("645"),
        40962: short(width),
        40963: short(24),
        41486: ratio((2500, 1)),
        41488: short(3),
    }
    place = {1: words("N"), 2: ratio((48, 1), (8, 1), (0, 1))} if gps else {}
    data = jpeg_bytes(texture(24, 32))
    body = b"Exif\0\0" + exif_bytes(main, exif, place)
    path = tmp_path / "source.jpg"
    path.write_bytes(data[:2] + b"\xff\xe1" + (len(body) + 2).to_bytes(2, "big") + body + data[2:])
    return path


def tags(path: Path) -> dict[str, str]:
    with path.open("rb") as stream:
        return {k: str(v) for k, v in exifread.process_file(stream, details=False).items()}


def test_a_written_picture_reads_back_unchanged(tmp_path: Path) -> None:
    write_picture(tmp_path / "x.tif", RGB16, None, source(tmp_path))
    assert np.array_equal(tifffile.imread(tmp_path / "x.tif"), RGB16)


def test_another_reader_agrees(tmp_path: Path) -> None:
    import cv2

    write_picture(tmp_path / "x.tif", RGB16, None, source(tmp_path))
    got = cv2.imread(str(tmp_path / "x.tif"), cv2.IMREAD_UNCHANGED)
    assert np.array_equal(got[:, :, ::-1], RGB16)


@pytest.mark.parametrize("kind", ["tif", "jpg"])
def test_shooting_data_travel(tmp_path: Path, kind: str) -> None:
    path = tmp_path / f"x.{kind}"
    if kind == "tif":
        write_picture(path, RGB16, None, source(tmp_path))
    else:
        write_jpeg(path, (RGB16 >> 8).astype(np.uint8), None, source(tmp_path))
    said = read_shooting(path, size_px=(53, 37))
    assert said.time == datetime(2025, 6, 1, 10, 20, 30, 645000)
    assert (said.exposure_s, said.f_number, said.iso, said.focal_mm) == (0.005, 8.0, 200.0, 60.0)
    kept = tags(path)
    assert kept["Image Make"] == "Invented"
    assert kept["Image Artist"] == "A. Person"
    assert (kept["EXIF ExifImageWidth"], kept["EXIF ExifImageLength"]) == ("53", "37")
    assert kept["Image Orientation"] == "Horizontal (normal)"
    assert kept["Image Software"].startswith("haltere ")


@pytest.mark.parametrize("kind", ["tif", "jpg"])
@pytest.mark.parametrize("asked", [False, True])
def test_the_place_travels_only_when_asked(tmp_path: Path, kind: str, asked: bool) -> None:
    path = tmp_path / f"x.{kind}"
    if kind == "tif":
        write_picture(path, RGB16, None, source(tmp_path), keep_gps=asked)
    else:
        write_jpeg(path, (RGB16 >> 8).astype(np.uint8), None, source(tmp_path), keep_gps=asked)
    assert any(name.startswith("GPS") for name in tags(path)) is asked


def test_maker_notes_stay_behind(tmp_path: Path) -> None:
    write_picture(tmp_path / "x.tif", RGB16, None, source(tmp_path))
    assert b"useless elsewhere" not in (tmp_path / "x.tif").read_bytes()


def test_the_pixel_pitch_travels_unless_the_source_was_reduced(tmp_path: Path) -> None:
    picture = np.zeros((900, 1200, 3), np.uint16)
    write_picture(tmp_path / "x.tif", picture, None, source(tmp_path))
    said = read_shooting(tmp_path / "x.tif", size_px=(1200, 900))
    assert said.pixel_pitch_mm == pytest.approx(0.004)
    write_picture(tmp_path / "x.tif", picture, None, source(tmp_path, width=320))
    assert read_shooting(tmp_path / "x.tif", size_px=(1200, 900)).pixel_pitch_mm is None


def test_big_endian_data_travel_right(tmp_path: Path, open_data: Path) -> None:
    for name in ("flower.jpg", "dsc_09827.jpg", "broken_exif_dpi.jpg", "ignore_frame_size.mpo"):
        origin = open_data / "cameras" / name
        write_picture(tmp_path / "x.tif", RGB16, None, origin)
        before, after = read_shooting(origin), read_shooting(tmp_path / "x.tif")
        assert before == after, name


def test_the_result_of_a_broken_source_is_still_written(tmp_path: Path, open_data: Path) -> None:
    for origin in (open_data / "broken").iterdir():
        write_picture(tmp_path / "x.tif", RGB16, None, origin)
        assert np.array_equal(tifffile.imread(tmp_path / "x.tif"), RGB16)


def test_the_profile_is_embedded_or_srgb(tmp_path: Path, open_data: Path) -> None:
    icc = (open_data / "icc" / "SwappedRedAndGreen.icc").read_bytes()
    for given, expected in ((icc, icc), (None, srgb_profile())):
        write_picture(tmp_path / "x.tif", RGB16, given)
        with tifffile.TiffFile(tmp_path / "x.tif") as file:
            assert file.pages.first.iccprofile == expected
        write_jpeg(tmp_path / "x.jpg", (RGB16 >> 8).astype(np.uint8), given)
        with Image.open(tmp_path / "x.jpg") as image:
            assert image.info["icc_profile"] == expected


def test_our_own_results_are_frames_again(tmp_path: Path, decoder: object) -> None:
    write_picture(tmp_path / "x.tif", RGB16, None, source(tmp_path))
    (frame,) = find_frames([tmp_path / "x.tif"]).frames
    assert (frame.kind, frame.width_px, frame.height_px, frame.orientation) == ("tiff", 53, 37, 1)
    assert np.array_equal(decoder.rgb(frame).array, RGB16)  # type: ignore[attr-defined]


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16, np.float32])
def test_maps_read_back_unchanged(tmp_path: Path, dtype: type) -> None:
    array = np.arange(35 * 21).reshape(35, 21).astype(dtype)
    if dtype is np.float32:
        array[3, 4] = np.nan
    write_map(tmp_path / "m.tif", array)
    got = tifffile.imread(tmp_path / "m.tif")
    assert got.dtype == dtype
    assert np.array_equal(got, array, equal_nan=dtype is np.float32)


def test_the_same_result_is_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a.tif", "b.tif"):
        write_picture(tmp_path / name, RGB16, None, source(tmp_path))
    assert (tmp_path / "a.tif").read_bytes() == (tmp_path / "b.tif").read_bytes()


def test_a_write_that_fails_leaves_the_old_file_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_bytes(tmp_path / "x.tif", b"old")

    def full(handle: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(WriteError, match=r"x\.tif: can't be written: the disk is full"):
        write_picture(tmp_path / "x.tif", RGB16, None)
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"x.tif": b"old"}


def test_an_interrupted_write_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(KeyboardInterrupt), room.replacing(tmp_path / "x.bin") as stream:
        stream.write(b"half")
        raise KeyboardInterrupt
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("place", ["missing/x.tif", "file/x.tif", "folder"])
def test_a_wrong_place_is_said_with_the_cure(tmp_path: Path, place: str) -> None:
    (tmp_path / "file").write_bytes(b"")
    (tmp_path / "folder").mkdir()
    with pytest.raises(WriteError, match=r"can't be written: .*(choose|make)"):
        write_map(tmp_path / place, np.zeros((3, 3), np.float32))


def test_a_huge_exif_block_does_not_break_the_jpeg(tmp_path: Path) -> None:
    main = {271: words("Invented")}
    exif = {
        36867: words("2025:06:01 10:20:30"),
        37510: octets(*bytes(40000)),
        37511: octets(*bytes(40000)),
    }
    block = exif_bytes(main, exif)
    tiff = tmp_path / "big.tif"
    tiff.write_bytes(block)
    write_jpeg(tmp_path / "x.jpg", texture(16, 16), None, tiff)
    assert read_shooting(tmp_path / "x.jpg").time == datetime(2025, 6, 1, 10, 20, 30)
    with Image.open(io.BytesIO((tmp_path / "x.jpg").read_bytes())) as image:
        image.load()


def test_a_folder_that_can_not_be_made_is_named_with_the_cure(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(WriteError, match=r"file/out: can't be made .*choose another folder"):
        make_folder(tmp_path / "file" / "out")
