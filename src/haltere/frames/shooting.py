"""Reads when and how a picture was taken; wild values become None."""

from __future__ import annotations

import logging
import math
import re
from collections.abc import Mapping
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

from haltere.frames.frame import Shooting
from haltere.frames.limits import LIMITS

_UNIT_MM = {2: 25.4, 3: 10.0, 4: 1.0, 5: 0.001}
_TIME = re.compile(r"(\d{4})[:\-/](\d{2})[:\-/](\d{2})[ T](\d{2}):(\d{2}):(\d{2})")
_OFFSET = re.compile(r"([+-])(\d{2}):?(\d{2})")
_FIRST_YEAR, _LAST_YEAR = 1990, 2098  # digital cameras begin; firmware's 'not set' dates end


def read_tags(path: Path) -> Mapping[str, Any]:
    """Read the Exif tags of a file; an unreadable block is an empty one.

    Parameters
    ----------
    path : Path
        JPEG, TIFF or raw file.

    Returns
    -------
    mapping
        exifread's tags by name, '' on any damage.
    """
    import exifread

    logging.getLogger("exifread").setLevel(logging.CRITICAL)
    try:
        with path.open("rb") as stream:
            tags: Mapping[str, Any] = exifread.process_file(stream, details=False)
            return tags
    except Exception:  # a damaged Exif block may break a reader anywhere; it is not the picture
        return {}


def orientation_in(tags: Mapping[str, Any]) -> int:
    """Give the Exif orientation.

    Parameters
    ----------
    tags : mapping
        From `read_tags`.

    Returns
    -------
    int
        1..8; 1 when missing or wild.
    """
    value = _number(tags, "Image Orientation")
    return int(value) if value in (1, 2, 3, 4, 5, 6, 7, 8) else 1


def read_shooting(path: Path, *, size_px: tuple[int, int] | None = None) -> Shooting:
    """Answer when and how a picture was taken.

    Parameters
    ----------
    path : Path
        JPEG, TIFF or raw file.
    size_px : tuple of int, optional
        Real width and height in pixels; without it the pixel pitch stays None for pictures,
        because nobody can tell then whether the picture was reduced.

    Returns
    -------
    Shooting
        None for whatever the file does not say, or says wildly.
    """
    return shooting_in(read_tags(path), size_px)


def shooting_in(tags: Mapping[str, Any], size_px: tuple[int, int] | None) -> Shooting:
    """Pick the shooting data out of Exif tags.

    Parameters
    ----------
    tags : mapping
        From `read_tags`.
    size_px : tuple of int or None
        Real width and height in pixels.

    Returns
    -------
    Shooting
        None for whatever the tags do not say, or say wildly.
    """
    flash = _number(tags, "EXIF Flash")
    number = _number(tags, "EXIF ImageNumber", "Image ImageNumber")
    return Shooting(
        time=_time(tags),
        exposure_s=_within(_number(tags, "EXIF ExposureTime"), 1e-6, 86400.0),
        f_number=_within(_number(tags, "EXIF FNumber"), 0.5, 256.0),
        iso=_within(_number(tags, "EXIF ISOSpeedRatings"), 1.0, 1e7),
        focal_mm=_within(_number(tags, "EXIF FocalLength"), 0.5, 5000.0),
        flash_fired=None if flash is None or flash < 0 else bool(int(flash) & 1),
        pixel_pitch_mm=_pitch_mm(tags, size_px),
        serial=_text(tags, "EXIF BodySerialNumber", "Image CameraSerialNumber"),
        number=int(number) if number is not None and 0 < number < 1e9 else None,
    )


def _values(tags: Mapping[str, Any], name: str) -> Any:
    tag = tags.get(name)
    return None if tag is None else getattr(tag, "values", None)


def _number(tags: Mapping[str, Any], *names: str) -> float | None:
    for name in names:
        values = _values(tags, name)
        if isinstance(values, (str, bytes)) or not values:
            continue
        try:
            value = float(values[0])
        except (TypeError, ValueError, ZeroDivisionError, OverflowError, IndexError, KeyError):
            continue
        if math.isfinite(value):
            return value
    return None


def _text(tags: Mapping[str, Any], *names: str) -> str | None:
    for name in names:
        values = _values(tags, name)
        if isinstance(values, str):
            clean = "".join(c for c in values if c.isprintable()).strip()
            if clean:
                return clean[:64]
    return None


def _within(value: float | None, low: float, high: float) -> float | None:
    return value if value is not None and low <= value <= high else None


def _time(tags: Mapping[str, Any]) -> datetime | None:
    pairs = (
        ("EXIF DateTimeOriginal", "EXIF SubSecTimeOriginal", "EXIF OffsetTimeOriginal"),
        ("EXIF DateTimeDigitized", "EXIF SubSecTimeDigitized", "EXIF OffsetTimeDigitized"),
        ("Image DateTimeOriginal", "EXIF SubSecTimeOriginal", "EXIF OffsetTimeOriginal"),
        ("Image DateTime", "EXIF SubSecTime", "EXIF OffsetTime"),
    )
    for name, fraction, offset in pairs:
        match = _TIME.match(_text(tags, name) or "")
        if match is None:
            continue
        try:
            moment = datetime.strptime("".join(match.groups()), "%Y%m%d%H%M%S")
        except ValueError:
            continue
        if not _FIRST_YEAR <= moment.year <= _LAST_YEAR:
            continue
        digits = _text(tags, fraction) or ""
        if digits.isascii() and digits.isdigit():
            moment += timedelta(microseconds=int(digits[:6].ljust(6, "0")))
        return moment.replace(tzinfo=_zone(_text(tags, offset)))
    return None


def _zone(text: str | None) -> timezone | None:
    match = _OFFSET.fullmatch(text or "")
    if match is None:
        return None
    minutes = int(match[2]) * 60 + int(match[3])
    if minutes > 14 * 60:
        return None
    return timezone(timedelta(minutes=-minutes if match[1] == "-" else minutes))


def _pitch_mm(tags: Mapping[str, Any], size_px: tuple[int, int] | None) -> float | None:
    """Pixel pitch of this picture, or None when a crop or a stale tag makes it a guess."""
    resolution = _number(tags, "EXIF FocalPlaneXResolution")
    unit = _UNIT_MM.get(int(_number(tags, "EXIF FocalPlaneResolutionUnit") or 2))
    width = _number(tags, "EXIF ExifImageWidth")
    height = _number(tags, "EXIF ExifImageLength")
    if not resolution or resolution <= 0 or unit is None or size_px is None or min(size_px) < 1:
        return None
    if not width or not height or width < 1 or height < 1:
        return None  # without the size at capture nobody can tell whether the tag is stale
    at_capture, real = sorted((width, height)), sorted(size_px)
    if abs((at_capture[1] / at_capture[0]) / (real[1] / real[0]) - 1) > LIMITS.aspect_slack:
        return None
    pitch = _within(
        unit / resolution * at_capture[1] / real[1], LIMITS.min_pitch_mm, LIMITS.max_pitch_mm
    )
    if (
        pitch is None
        or _within(pitch * real[1], LIMITS.min_sensor_mm, LIMITS.max_sensor_mm) is None
    ):
        return None
    return pitch
