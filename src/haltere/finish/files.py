"""Writes a delivered picture: TIFF, JPEG or PNG, each with profile, shooting data and caption."""

from __future__ import annotations

import io
import struct
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from haltere.finish.caption import XMP_MARK, photoshop_segment
from haltere.frames.exif import Carried, completed
from haltere.frames.writing import exif_segment, write_bytes, write_tiff

Kind = Literal["tiff", "jpeg", "png"]
SUFFIX: dict[Kind, str] = {"tiff": ".tif", "jpeg": ".jpg", "png": ".png"}


@dataclass(frozen=True, slots=True)
class Along:
    """What goes into a file beside the pixels.

    Attributes
    ----------
    icc : bytes
        Colour profile.
    carried : Carried
        Shooting data and words for Exif.
    xmp, iptc : bytes
        Packet and records.
    dots_per_inch : float
        How finely it is meant to be printed.
    srgb : bool
        Whether the profile is sRGB's.
    """

    icc: bytes
    carried: Carried
    xmp: bytes
    iptc: bytes
    dots_per_inch: float
    srgb: bool

    def tags(self, codes: NDArray[np.generic], *, jpeg: bool) -> Carried:
        """Give the tags of one file, with all that the standard asks of it.

        Parameters
        ----------
        codes : ndarray
            Its pixels.
        jpeg : bool
            Whether it is a JPEG.
        """
        return completed(
            self.carried, (codes.shape[1], codes.shape[0]), jpeg=jpeg, srgb=self.srgb,
            dots_per_inch=self.dots_per_inch,
        )  # fmt: skip


def write_file(
    path: Path, kind: Kind, codes: NDArray[np.generic], along: Along, quality: int = 92
) -> None:
    """Write a picture whole or not at all.

    Parameters
    ----------
    path : Path
        Where.
    kind : {"tiff", "jpeg", "png"}
        What.
    codes : ndarray of uint8 or uint16, shape (H, W, 3)
        Code values; 8 bits for a JPEG.
    along : Along
        Profile and words.
    quality : int, optional
        Of a JPEG, 1 to 95.

    Raises
    ------
    WriteError
        When it can't be written.
    """
    if kind == "tiff":
        packets = {700: along.xmp, 33723: along.iptc}
        write_tiff(
            path, codes, "rgb", along.icc, along.tags(codes, jpeg=False),
            packets=packets, dots_per_inch=along.dots_per_inch,
        )  # fmt: skip
    elif kind == "jpeg":
        write_bytes(path, _jpeg(np.asarray(codes, np.uint8), along, quality))
    else:
        write_bytes(path, _png(codes, along))


def _jpeg(codes: NDArray[np.uint8], along: Along, quality: int) -> bytes:
    from PIL import Image

    buffer = io.BytesIO()
    dots = round(along.dots_per_inch)
    Image.fromarray(np.ascontiguousarray(codes)).save(
        buffer,
        "JPEG",
        quality=quality,
        subsampling=0,
        icc_profile=along.icc,
        exif=b"Exif\0\0" + exif_segment(along.tags(codes, jpeg=True)),
        dpi=(dots, dots),
    )
    data = buffer.getvalue()
    # behind the Exif segment, where readers look for them
    at = 2
    while data[at + 1] in (0xE0, 0xE1):
        at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    extra = b"".join(
        bytes((0xFF, marker)) + struct.pack(">H", len(body) + 2) + body
        for marker, body in (
            (0xE1, XMP_MARK + along.xmp),
            (0xED, photoshop_segment(along.iptc)),
        )
        if len(body) < 65533
    )
    return data[:at] + extra + data[at:]


def _png(codes: NDArray[np.generic], along: Along) -> bytes:
    """Write a PNG of 8 or 16 bits (ISO/IEC 15948:2003 and its third edition)."""
    high, wide = codes.shape[:2]
    bits = 16 if codes.dtype == np.uint16 else 8
    rows = codes.reshape(high, -1).astype(">u2" if bits == 16 else np.uint8).view(np.uint8)
    raw = rows.reshape(high, -1)
    step = 3 * bits // 8
    # each byte less the one a pixel before it: smooth pictures pack well
    packed = np.empty((high, raw.shape[1] + 1), np.uint8)
    packed[:, 0] = 1
    packed[:, 1 : step + 1] = raw[:, :step]
    np.subtract(raw[:, step:], raw[:, :-step], out=packed[:, step + 1 :])
    metre = round(along.dots_per_inch / 0.0254)
    text = b"XML:com.adobe.xmp\0\0\0\0\0" + along.xmp
    chunks = (
        (b"IHDR", struct.pack(">IIBBBBB", wide, high, bits, 2, 0, 0, 0)),
        (b"iCCP", b"profile\0\0" + zlib.compress(along.icc)),
        (b"pHYs", struct.pack(">IIB", metre, metre, 1)),
        (b"eXIf", exif_segment(along.tags(codes, jpeg=False))),
        (b"iTXt", text),
        (b"IDAT", zlib.compress(packed.tobytes(), 6)),
        (b"IEND", b""),
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
        for name, body in chunks
    )
