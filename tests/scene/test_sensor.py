"""Noise, tone curve, raw file and shooting data."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone
from pathlib import Path

import cv2
import exifread
import numpy as np
import pytest
import rawpy

from haltere.scene.dng import mosaic, write_dng
from haltere.scene.exif import Shot, exif_bytes
from haltere.scene.sensor import Sensor, add_noise, tone

OTHER = Path(__file__).resolve().parents[3] / "shared" / "data" / "render-sweep"
# Standard deviation in grey levels of the green channel of JPEG frames about a Gaussian of 4 px,
# in even background of grey 52-68: median of 8 frames of a sweep made with a path tracer
# (Mitsuba 3.9.1, its own sensor model), measured November 2026.
OTHER_NOISE_LEVELS = 0.53
SHOT = Shot(
    datetime(2026, 6, 4, 7, 8, 9, 123456, tzinfo=timezone(timedelta(hours=2))),
    1 / 200, 11.0, 200, 60.0, 1600 / 17.3, (1600, 1200), "HL-5", "1234567", "60 mm macro", 17,
)  # fmt: skip


def jpeg_noise(picture: np.ndarray) -> float:
    ok, data = cv2.imencode(
        ".jpg",
        picture,
        [cv2.IMWRITE_JPEG_QUALITY, 92, cv2.IMWRITE_JPEG_SAMPLING_FACTOR, 0x111111],
    )
    assert ok
    back = cv2.imdecode(data, cv2.IMREAD_COLOR)
    assert back is not None
    return green_noise(np.asarray(back))


def green_noise(bgr: np.ndarray) -> float:
    """Median over even tiles of the green channel's deviation from its own blur."""
    g = bgr[..., 1].astype(np.float32)
    smooth = cv2.GaussianBlur(g, (0, 0), 4)
    found = []
    for y in range(0, g.shape[0] - 63, 64):
        for x in range(0, g.shape[1] - 63, 64):
            level = smooth[y : y + 64, x : x + 64]
            if 52 < level.mean() < 68 and np.ptp(level) < 5:
                found.append(float((g - smooth)[y : y + 64, x : x + 64].std()))
    return float(np.median(found))


def flat(grey: float) -> np.ndarray:
    linear = ((grey / 255 + 0.055) / 1.055) ** 2.4
    ramp = 1.0 + np.linspace(-0.03, 0.03, 512, dtype=np.float32)
    return np.broadcast_to(np.float32(linear) * ramp[None, :, None], (512, 512, 3)).copy()


def test_noise_is_that_of_frames_made_with_another_renderer() -> None:
    ours = jpeg_noise(tone(add_noise(flat(60.0), Sensor(), 1)))
    assert ours == pytest.approx(OTHER_NOISE_LEVELS, rel=0.15)


@pytest.mark.skipif(
    not OTHER.is_dir(), reason="the other renderer's set is not beside the checkout"
)
def test_the_stored_noise_is_what_the_other_set_shows() -> None:
    measured = []
    for i in range(0, 62, 16):
        frame = cv2.imread(str(OTHER / f"frame_{i:03d}.jpg"))
        assert frame is not None
        measured.append(green_noise(np.asarray(frame)))
    assert np.median(measured) == pytest.approx(OTHER_NOISE_LEVELS, rel=0.1)


def test_shot_noise_grows_with_the_root_of_light() -> None:
    sensor = Sensor(10000.0, 0.0)
    deviation = [
        add_noise(np.full((300, 300), v, np.float32), sensor, 2).std() for v in (0.04, 0.64)
    ]
    assert deviation[1] / deviation[0] == pytest.approx(4.0, rel=0.03)


def test_the_tone_curve_is_that_of_srgb() -> None:
    # grey 188 is half the light and 118 is 18 % grey (IEC 61966-2-1)
    levels = tone(np.array([0.0, 0.18, 0.5, 1.0, 1.7], np.float32))
    assert levels.tolist() == [0, 118, 188, 255, 255]


@pytest.fixture(name="raw_file")
def _raw_file(tmp_path: Path) -> tuple[Path, np.ndarray]:
    y, x = np.mgrid[0:96, 0:128]
    light = np.stack([0.1 + x / 400, 0.5 - y / 400, 0.2 + 0.1 * np.sin(x / 9)], -1)
    light = light.astype(np.float32)
    picture = tone(light)
    path = tmp_path / "A.DNG"
    write_dng(path, mosaic(light), np.ascontiguousarray(picture[::2, ::2]), SHOT)
    return path, picture


def test_a_raw_developer_gives_the_colours_of_the_jpeg(raw_file: tuple[Path, np.ndarray]) -> None:
    path, picture = raw_file
    with rawpy.imread(str(path)) as raw:
        developed = raw.postprocess(
            use_camera_wb=True, no_auto_bright=True, gamma=(2.4, 12.92), output_bps=8
        )
    difference = np.abs(developed.astype(int) - picture.astype(int))[4:-4, 4:-4]
    assert np.median(difference) <= 1
    assert difference.mean() < 1.5


def test_the_mosaic_comes_back_bit_for_bit(raw_file: tuple[Path, np.ndarray]) -> None:
    path, _ = raw_file
    with rawpy.imread(str(path)) as raw:
        assert raw.raw_image.shape == (96, 128)
        assert raw.raw_pattern is not None
        assert raw.raw_pattern.tolist() == [[0, 1], [3, 2]]
        assert raw.black_level_per_channel == [256] * 4


def test_the_raw_file_carries_a_jpeg_preview(raw_file: tuple[Path, np.ndarray]) -> None:
    path, picture = raw_file
    with rawpy.imread(str(path)) as raw:
        thumb = raw.extract_thumb()
    assert thumb.format == rawpy.ThumbFormat.JPEG
    preview = cv2.imdecode(np.frombuffer(thumb.data, np.uint8), cv2.IMREAD_COLOR)
    assert preview is not None
    small = picture[::2, ::2, ::-1].astype(int)
    assert np.abs(np.asarray(preview).astype(int) - small).mean() < 3


def test_raw_and_jpeg_say_when_and_how_they_were_taken(
    raw_file: tuple[Path, np.ndarray], tmp_path: Path
) -> None:
    from PIL import Image

    jpeg = tmp_path / "A.JPG"
    Image.fromarray(raw_file[1]).save(jpeg, exif=exif_bytes(SHOT))
    wanted = {
        "Image Make": "Invented",
        "EXIF DateTimeOriginal": "2026:06:04 07:08:09",
        "EXIF SubSecTimeOriginal": "123",
        "EXIF OffsetTimeOriginal": "+02:00",
        "EXIF ExposureTime": "1/200",
        "EXIF FNumber": "11",
        "EXIF ISOSpeedRatings": "200",
        "EXIF FocalLength": "60",
        "EXIF BodySerialNumber": "1234567",
        "EXIF FocalPlaneResolutionUnit": "3",
    }
    for path in (raw_file[0], jpeg):
        with path.open("rb") as file:
            tags = exifread.process_file(file, details=False)
        assert {k: str(tags[k]) for k in wanted} == wanted
        per_cm = tags["EXIF FocalPlaneXResolution"].values[0]
        assert float(per_cm) / 10 == pytest.approx(1600 / 17.3, rel=1e-3)
        assert "fired" in str(tags["EXIF Flash"]).lower()
