"""When and how a picture was taken."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from haltere.frames import Shooting, find_frames, read_shooting
from tests.frames.made import Tag, jpeg_bytes, ratio, short, texture, words

PICTURE = texture(24, 32)


def shooting(tmp_path: Path, exif: dict[int, Tag]) -> Shooting:
    path = tmp_path / "x.jpg"
    path.write_bytes(jpeg_bytes(PICTURE, exif))
    return read_shooting(path, size_px=(32, 24))


def test_all_that_a_camera_says_is_read(tmp_path: Path) -> None:
    said = shooting(
        tmp_path,
        {
            33434: ratio((1, 200)),
            33437: ratio((8, 1)),
            34855: short(200),
            36867: words("2025:06:01 10:20:30"),
            36881: words("+02:00"),
            37385: short(1),
            37386: ratio((60, 1)),
            37521: words("645"),
            40962: short(32),
            40963: short(24),
            41486: ratio((4000, 1)),
            41488: short(3),
            42033: words("M1-0042"),
        },
    )
    zone = timezone(timedelta(hours=2))
    assert said == Shooting(
        time=datetime(2025, 6, 1, 10, 20, 30, 645000, zone),
        exposure_s=0.005,
        f_number=8.0,
        iso=200.0,
        focal_mm=60.0,
        flash_fired=True,
        pixel_pitch_mm=None,  # 2.5 um times 32 px is no sensor
        serial="M1-0042",
    )


@pytest.mark.parametrize(
    ("unit", "resolution"), [(2, (25400, 4)), (3, (10000, 4)), (4, (1000, 4)), (5, (1, 4))]
)
def test_every_unit_of_focal_plane_resolution_gives_the_same_pitch(
    tmp_path: Path, unit: int, resolution: tuple[int, int]
) -> None:
    exif = {40962: short(5184), 40963: short(3888), 41486: ratio(resolution), 41488: short(unit)}
    path = tmp_path / "x.jpg"
    path.write_bytes(jpeg_bytes(PICTURE, exif))
    assert read_shooting(path, size_px=(5184, 3888)).pixel_pitch_mm == pytest.approx(0.004)


def test_a_reduced_picture_has_wider_pixels(tmp_path: Path) -> None:
    exif = {40962: short(5184), 40963: short(3888), 41486: ratio((2500, 1)), 41488: short(3)}
    path = tmp_path / "x.jpg"
    path.write_bytes(jpeg_bytes(PICTURE, exif))
    assert read_shooting(path, size_px=(1296, 972)).pixel_pitch_mm == pytest.approx(0.016)
    assert read_shooting(path, size_px=(972, 1296)).pixel_pitch_mm == pytest.approx(0.016)


def test_a_cropped_or_unsized_picture_gives_no_pitch(tmp_path: Path) -> None:
    exif = {40962: short(5184), 40963: short(3888), 41486: ratio((2500, 1)), 41488: short(3)}
    path = tmp_path / "x.jpg"
    path.write_bytes(jpeg_bytes(PICTURE, exif))
    assert read_shooting(path, size_px=(1296, 1296)).pixel_pitch_mm is None
    assert read_shooting(path).pixel_pitch_mm is None
    del exif[40962]
    path.write_bytes(jpeg_bytes(PICTURE, exif))
    assert read_shooting(path, size_px=(5184, 3888)).pixel_pitch_mm is None


@pytest.mark.parametrize(
    "when", ["0000:00:00 00:00:00", "2025:13:01 10:00:00", "2099:01:01 00:00:00", "    ", "soon"]
)
def test_a_clock_that_was_never_set_is_no_time(tmp_path: Path, when: str) -> None:
    assert shooting(tmp_path, {36867: words(when)}).time is None


@pytest.mark.parametrize("number", [33434, 33437, 37386])
def test_a_number_divided_by_zero_is_unknown(tmp_path: Path, number: int) -> None:
    said = shooting(tmp_path, {number: ratio((1, 0))})
    assert said == Shooting()


def test_values_of_real_cameras_agree_with_two_other_readers(open_data: Path) -> None:
    frames = {f.name: f for f in find_frames([open_data / "cameras"]).frames}
    # Pillow and exifread agree on these
    expected = {
        "flower.jpg": (datetime(2003, 12, 14, 12, 1, 44), 0.002, 4.9, None, 21.3125),
        "dsc_09827.jpg": (datetime(2004, 5, 22, 9, 32, 21, 700000), 0.0025, 5.0, None, 190.0),
        "02.jpg": (datetime(2006, 2, 16, 21, 19, 26), 0.00625, 5.0, None, 9.2),
        "L01.jpg": (datetime(2006, 2, 15, 23, 39, 7), 0.004, 6.2, None, 14.2),
        "broken_exif_dpi.jpg": (datetime(2013, 9, 11, 16, 45, 13, 900000), 0.004, 8.0, 400, 14.0),
        "empty_gps_ifd.jpg": (
            datetime(2020, 7, 27, 14, 46, 48, 780685),
            0.0714286,
            1.79,
            25600,
            4.74,
        ),
        "ignore_frame_size.mpo": (datetime(2020, 8, 9, 14, 21, 5), 0.04, 3.5, 320, 20.0),
    }
    for name, (time, exposure, f_number, iso, focal) in expected.items():
        said = frames[name].shooting
        assert said.time == time, name
        assert said.exposure_s == pytest.approx(exposure, rel=1e-5), name
        assert (said.f_number, said.iso, said.focal_mm) == (f_number, iso, focal), name


def test_wild_values_of_a_real_file_become_unknown(open_data: Path) -> None:
    said = read_shooting(open_data / "cameras" / "01.jpg", size_px=(8, 8))
    assert (said.time, said.exposure_s) == (None, None)


def test_stale_focal_plane_tags_of_a_real_crop_give_no_pitch(open_data: Path) -> None:
    path = open_data / "cameras" / "broken_exif_dpi.jpg"
    assert read_shooting(path, size_px=(1500, 1000)).pixel_pitch_mm == pytest.approx(
        0.00488, abs=1e-5
    )
    assert read_shooting(path, size_px=(100, 100)).pixel_pitch_mm is None


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(at=st.integers(20, 400), junk=st.binary(min_size=1, max_size=12))
def test_a_damaged_exif_block_never_breaks_the_reader(tmp_path: Path, at: int, junk: bytes) -> None:
    exif = {36867: words("2025:06:01 10:20:30"), 37386: ratio((60, 1)), 41486: ratio((9, 1))}
    data = bytearray(jpeg_bytes(PICTURE, exif, {271: words("Invented"), 274: short(1)}))
    data[at : at + len(junk)] = junk
    path = tmp_path / "x.jpg"
    path.write_bytes(bytes(data))
    found = find_frames([path])
    assert len(found.frames) + len(found.skipped) == 1
