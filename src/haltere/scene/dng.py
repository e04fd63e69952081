"""A mosaic raw file that raw developers open: DNG with preview and shooting data."""

from __future__ import annotations

import io
import struct
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from haltere.scene.exif import Shot, exif_ifd_block

BLACK, WHITE = 256, 4095
# Camera colours are linear sRGB divided by these, so that white balance has something to do.
_NEUTRAL = (0.5, 1.0, 0.625)
# XYZ (D65) to linear sRGB, IEC 61966-2-1.
_XYZ_TO_SRGB = ((3.2406, -1.5372, -0.4986), (-0.9689, 1.8758, 0.0415), (0.0557, -0.2040, 1.0570))


def mosaic(light: NDArray[np.float32]) -> NDArray[np.uint16]:
    """RGGB mosaic (H, W) uint16 of linear light (H, W, 3), black level 256, white level 4095.

    Parameters
    ----------
    light : ndarray of float32, shape (H, W, 3)
        Linear light, 1 = white.
    """
    scale = np.float32(WHITE - BLACK)
    out = np.empty(light.shape[:2], np.float32)
    for y, x, c in ((0, 0, 0), (0, 1, 1), (1, 0, 1), (1, 1, 2)):
        out[y::2, x::2] = light[y::2, x::2, c] * np.float32(_NEUTRAL[c])
    return np.asarray(np.clip(np.rint(out * scale + BLACK), 0, WHITE), dtype=np.uint16)


def write_dng(path: Path, raw: NDArray[np.uint16], preview: NDArray[np.uint8], shot: Shot) -> None:
    """Write a DNG: JPEG preview in the first directory, the mosaic in its sub-directory.

    Parameters
    ----------
    path : Path
        File to write.
    raw : ndarray of uint16, shape (H, W)
        Mosaic from `mosaic`.
    preview : ndarray of uint8, shape (h, w, 3)
        Developed picture.
    shot : Shot
        Shooting data.
    """
    import tifffile

    buffer = io.BytesIO()
    h, w = preview.shape[:2]
    small = Image.fromarray(preview)
    small.save(buffer, "JPEG", quality=90, subsampling=0)
    matrix: list[int] = []
    for row, n in zip(_XYZ_TO_SRGB, _NEUTRAL, strict=True):
        for v in row:
            matrix += [round(v * n * 10000), 10000]
    bits = [
        (50706, 1, 4, bytes([1, 4, 0, 0]), True),
        (50707, 1, 4, bytes([1, 1, 0, 0]), True),
        (50708, 2, 0, f"Invented {shot.model}", True),
        (271, 2, 0, "Invented", True),
        (272, 2, 0, shot.model, True),
        (274, 3, 1, 1, True),
        (306, 2, 0, shot.time.strftime("%Y:%m:%d %H:%M:%S"), True),
        (50721, 10, 9, tuple(matrix), True),
        (50778, 3, 1, 21, True),
        (50728, 5, 3, (1, 2, 1, 1, 5, 8), True),
    ]
    with tifffile.TiffWriter(path, byteorder="<") as tw:
        # as plain bytes: the writer's JPEG needs a codec library that users need not have
        tw.write(
            np.frombuffer(buffer.getvalue(), np.uint8)[None], subifds=1, subfiletype=1,
            photometric="minisblack", metadata=None, software="haltere scene", extratags=bits,
        )  # fmt: skip
        tw.write(
            raw, photometric="cfa", subfiletype=0, metadata=None,
            extratags=[
                (33421, 3, 2, (2, 2), True),
                (33422, 1, 4, bytes([0, 1, 1, 2]), True),
                (50714, 5, 1, (BLACK, 1), True),
                (50717, 4, 1, WHITE, True),
            ],
        )  # fmt: skip
    _finish_first_directory(path, shot, (w, h))


def _finish_first_directory(path: Path, shot: Shot, preview_px: tuple[int, int]) -> None:
    """Write the first directory anew at the end of the file, with an Exif directory beside it.

    The TIFF writer refuses to write a pointer to an Exif directory itself, and it took the JPEG
    preview for plain bytes; values elsewhere in the file keep their places, so that only the
    directory's entries have to be copied and the preview's set right.
    """
    data = bytearray(path.read_bytes())
    data += b"\0" * (len(data) % 2)
    first = struct.unpack_from("<I", data, 4)[0]
    count = struct.unpack_from("<H", data, first)[0]
    kept = {}
    for k in range(count):
        entry = bytes(data[first + 2 + 12 * k : first + 14 + 12 * k])
        kept[struct.unpack_from("<H", entry)[0]] = entry
    after = bytes(data[first + 2 + 12 * count : first + 6 + 12 * count])
    bits_at = len(data)
    data += struct.pack("<4H", 8, 8, 8, 0)
    width, height = preview_px
    for tag, value in (
        (256, struct.pack("<HHII", 256, 4, 1, width)),
        (257, struct.pack("<HHII", 257, 4, 1, height)),
        (258, struct.pack("<HHII", 258, 3, 3, bits_at)),
        (259, struct.pack("<HHIHH", 259, 3, 1, 7, 0)),  # JPEG
        (262, struct.pack("<HHIHH", 262, 3, 1, 6, 0)),  # YCbCr
        (277, struct.pack("<HHIHH", 277, 3, 1, 3, 0)),
        (278, struct.pack("<HHII", 278, 4, 1, height)),
        (530, struct.pack("<HHIHH", 530, 3, 2, 1, 1)),
    ):
        kept[tag] = value
    here = len(data)
    exif_at = here + 2 + 12 * (len(kept) + 1) + 4
    kept[34665] = struct.pack("<HHII", 34665, 4, 1, exif_at)
    data += struct.pack("<H", len(kept)) + b"".join(kept[tag] for tag in sorted(kept)) + after
    data += exif_ifd_block(shot, exif_at)
    struct.pack_into("<I", data, 4, here)
    path.write_bytes(bytes(data))
