"""Shooting data as a camera writes them, for JPEG and for the raw file."""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction

from PIL import Image
from PIL.TiffImagePlugin import IFDRational


@dataclass(frozen=True, slots=True)
class Shot:
    """Shooting data of one exposure; the maker is as invented as the animal.

    Attributes
    ----------
    time : datetime
        Aware moment of exposure.
    exposure_s, f_number, iso, focal_mm : float, float, int, float
        Settings.
    px_per_mm_sensor : float
        Pixels per mm of sensor.
    size_px : tuple of int
        Width and height of the picture.
    model, serial, lens_model : str
        Body and lens.
    number : int
        Running number.
    """

    time: datetime
    exposure_s: float
    f_number: float
    iso: int
    focal_mm: float
    px_per_mm_sensor: float
    size_px: tuple[int, int]
    model: str
    serial: str
    lens_model: str
    number: int


def _ratio(x: float) -> IFDRational:
    f = Fraction(x).limit_denominator(100000)
    return IFDRational(f.numerator, f.denominator)


def exif_bytes(shot: Shot) -> bytes:
    """Exif block, with its ``Exif`` header, for a JPEG.

    Parameters
    ----------
    shot : Shot
        How the picture was taken.
    """
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Invented", shot.model
    exif[0x0112] = 1
    exif[0x0131] = "haltere scene"
    stamp = shot.time.strftime("%Y:%m:%d %H:%M:%S")
    exif[0x0132] = stamp
    sub = exif.get_ifd(0x8769)
    sub.update(_exposure_tags(shot))
    return bytes(exif.tobytes())


def _exposure_tags(shot: Shot) -> dict[int, object]:
    stamp = shot.time.strftime("%Y:%m:%d %H:%M:%S")
    zone = shot.time.strftime("%z")
    zone = f"{zone[:3]}:{zone[3:]}" if zone else "+00:00"
    return {
        0x829A: IFDRational(1, round(1.0 / shot.exposure_s)),
        0x829D: _ratio(shot.f_number),
        0x8827: int(shot.iso),
        0x9000: b"0232",
        0x9003: stamp,
        0x9004: stamp,
        0x9010: zone,
        0x9011: zone,
        0x9291: f"{shot.time.microsecond // 1000:03d}",
        0x9209: 0x0009,  # fired, compulsory
        0x920A: _ratio(shot.focal_mm),
        0xA002: int(shot.size_px[0]),
        0xA003: int(shot.size_px[1]),
        0xA20E: _ratio(shot.px_per_mm_sensor * 10.0),
        0xA20F: _ratio(shot.px_per_mm_sensor * 10.0),
        0xA210: 3,
        0xA431: shot.serial,
        0xA434: shot.lens_model,
    }


def exif_ifd_block(shot: Shot, at: int) -> bytes:
    """Make a little-endian Exif directory to stand at byte `at` of a TIFF-like file.

    Parameters
    ----------
    shot : Shot
        Shooting data.
    at : int
        Offset of the directory in the file.
    """
    entries = []
    for tag, value in sorted(_exposure_tags(shot).items()):
        if isinstance(value, IFDRational):
            entries.append((tag, 5, 1, struct.pack("<II", value.numerator, value.denominator)))
        elif isinstance(value, int):
            entries.append((tag, 3, 1, struct.pack("<H", value)))
        elif isinstance(value, bytes):
            entries.append((tag, 7, len(value), value))
        else:
            raw = str(value).encode("ascii") + b"\0"
            entries.append((tag, 2, len(raw), raw))
    head = io.BytesIO()
    tail = io.BytesIO()
    base = at + 2 + 12 * len(entries) + 4
    head.write(struct.pack("<H", len(entries)))
    for tag, kind, count, raw in entries:
        if len(raw) <= 4:
            head.write(struct.pack("<HHI", tag, kind, count) + raw.ljust(4, b"\0"))
        else:
            head.write(struct.pack("<HHII", tag, kind, count, base + tail.tell()))
            tail.write(raw + b"\0" * (len(raw) % 2))
    head.write(struct.pack("<I", 0))
    return head.getvalue() + tail.getvalue()
