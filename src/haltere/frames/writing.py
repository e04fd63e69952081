"""Writes results so that they are whole or not there at all."""

from __future__ import annotations

import contextlib
import errno
import io
import os
import secrets
import struct
from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

import haltere
from haltere.errors import WriteError
from haltere.frames.exif import Carried, carried_from, exif_block, packed
from haltere.frames.icc import srgb_profile
from haltere.frames.tags import Table

_CURES = {
    errno.ENOSPC: "the disk is full; free some space or choose another folder",
    errno.EDQUOT
    if hasattr(errno, "EDQUOT")
    else -1: "your share of the disk is used up; free some",
    errno.EACCES: "you may not write there; choose another folder",
    errno.EPERM: "you may not write there; choose another folder",
    errno.EROFS: "the disk is write-protected; choose another folder",
    errno.ENOENT: "its folder does not exist; make it or choose another",
    errno.ENOTDIR: "its folder is a file; choose another folder",
    errno.EISDIR: "a folder of that name stands there; choose another name",
    errno.EFBIG: "the file grows larger than the disk allows; choose another disk",
    errno.ENAMETOOLONG: "the name is too long; choose a shorter one",
}
_EXIF, _GPS = 34665, 34853
# tifffile refuses to write these pointers; neighbours keep their place in the sorted table
_PLACEHOLDER = {_EXIF: 34664, _GPS: 34854}
_XMP = 700
_STRIP_BYTES = 1 << 18  # pieces that compress well and that every reader takes


@contextlib.contextmanager
def replacing(path: Path) -> Iterator[BinaryIO]:
    """Open a file that appears under its name only when it is whole and on the disk.

    Parameters
    ----------
    path : Path
        Where the result shall stand.

    Yields
    ------
    BinaryIO
        Stream to write and read; it stands under a temporary name in the same folder.

    Raises
    ------
    WriteError
        When it can't be written; nothing is left behind then.
    """
    path = Path(path)
    temporary = path.with_name(f".haltere-{secrets.token_hex(8)}.part")
    try:
        with temporary.open("xb+") as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(temporary, path)  # noqa: PTH105 - Path.replace is the same, this says it plainly
        _sync_folder(path.parent)
    except OSError as error:
        if isinstance(error, WriteError):
            raise
        why = _CURES.get(error.errno or 0, f"{error.strerror or error}; try another folder")
        raise WriteError(f"{path}: can't be written: {why}") from error
    finally:
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)


def make_folder(folder: Path) -> Path:
    """Make a folder for results, with those above it.

    Parameters
    ----------
    folder : Path
        Folder; it may be there already.

    Returns
    -------
    Path
        The same path.

    Raises
    ------
    WriteError
        When it can't be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        why = error.strerror or str(error)
        msg = f"{folder}: can't be made ({why}); choose another folder."
        raise WriteError(msg) from error
    return folder


def _sync_folder(folder: Path) -> None:
    """Put the new name on the disk too; Windows has no such call and needs none."""
    if os.name == "nt":
        return
    with contextlib.suppress(OSError):  # some network disks refuse; the file itself is safe
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def write_bytes(path: Path, data: bytes) -> None:
    """Write a small file whole or not at all.

    Parameters
    ----------
    path : Path
        Where.
    data : bytes
        What.

    Raises
    ------
    WriteError
        When it can't be written.
    """
    with replacing(path) as stream:
        stream.write(data)


def write_picture(
    path: Path,
    rgb16: NDArray[np.uint16],
    icc: bytes | None,
    exif_from: Path | None = None,
    *,
    keep_gps: bool = False,
) -> None:
    """Write a 16-bit RGB TIFF with profile and shooting data.

    Parameters
    ----------
    path : Path
        Where.
    rgb16 : ndarray of uint16, shape (H, W, 3)
        Upright code values.
    icc : bytes or None
        Profile; None writes sRGB's.
    exif_from : Path, optional
        Picture whose shooting data go along.
    keep_gps : bool, optional
        Take the position along.

    Raises
    ------
    WriteError
        When it can't be written.
    """
    carried = carried_from(exif_from, (rgb16.shape[1], rgb16.shape[0]), keep_gps=keep_gps)
    write_tiff(path, rgb16, "rgb", icc or srgb_profile(), carried)


def write_map(path: Path, array: NDArray[np.uint16] | NDArray[np.float32]) -> None:
    """Write an origin, depth or confidence map as TIFF.

    Parameters
    ----------
    path : Path
        Where.
    array : ndarray of uint8, uint16 or float32, shape (H, W)
        The map; NaN stays NaN.

    Raises
    ------
    WriteError
        When it can't be written.
    """
    write_tiff(path, array, "minisblack", None, Carried())


def write_tiff(
    path: Path,
    array: NDArray[np.generic],
    photometric: str,
    icc: bytes | None,
    carried: Carried,
    *,
    packets: Mapping[int, bytes] | None = None,
    dots_per_inch: float | None = None,
) -> None:
    """Write a TIFF with profile, shooting data and whole packets of metadata.

    Parameters
    ----------
    path : Path
        Where.
    array : ndarray
        Pixels, (H, W) or (H, W, 3).
    photometric : {"rgb", "minisblack"}
        What they mean.
    icc : bytes or None
        Profile.
    carried : Carried
        Tags to write.
    packets : mapping, optional
        Tag number to bytes: 700 for XMP, 33723 for IPTC.
    dots_per_inch : float, optional
        How finely it is meant to be printed.

    Raises
    ------
    WriteError
        When it can't be written.
    """
    import tifffile

    tags: list[tuple[int, int, int, object, bool]] = [
        (n, tag.code, tag.count, tag.data, True) for n, tag in carried.main.items() if tag.code == 2
    ]
    tags.append((274, 3, 1, 1, True))
    for number, told in (packets or {}).items():
        # XMP counts bytes, IPTC counts fours of them (Adobe's TIFF notes, from memory)
        wide = 1 if number == _XMP else 4
        whole = told + b"\0" * (-len(told) % wide)
        tags.append((number, wide, len(whole) // wide, whole, True))
    fine = None if dots_per_inch is None else (dots_per_inch, dots_per_inch)
    subs = [(_EXIF, carried.exif), (_GPS, carried.gps)]
    subs = [(number, table) for number, table in subs if table]
    tags += [(_PLACEHOLDER[number], 4, 1, 0, True) for number, _ in subs]
    rows = max(1, _STRIP_BYTES // max(1, array[0].nbytes))
    with replacing(path) as stream:
        with tifffile.TiffWriter(stream, byteorder="<") as writer:
            writer.write(
                _packed_strips(array, rows),
                shape=array.shape,
                dtype=array.dtype,
                photometric=photometric,
                compression="zlib",
                predictor=array.dtype.kind == "u",
                rowsperstrip=rows,
                iccprofile=icc,
                software=software(),
                metadata=None,
                extratags=tags,
                resolution=fine,
            )
        _append_tables(stream, dict(subs))


def _packed_strips(pixels: NDArray[np.generic], rows: int) -> Iterator[bytes]:
    """Pack a picture strip by strip on two threads, whole numbers as steps from their neighbours.

    A fifth of the time that zlib takes at its quickest, and no larger where it is mostly noise.
    """
    from isal import isal_zlib

    stepped = pixels.dtype.kind == "u"

    def packed(top: int) -> bytes:
        part = pixels[top : top + rows]
        strip = part.astype(part.dtype.newbyteorder("<"), order="C")
        if stepped:
            strip[:, 1:] -= part[:, :-1]
        return bytes(isal_zlib.compress(strip.data, 1))

    tops = range(0, len(pixels), rows)
    with ThreadPoolExecutor(2) as pool:
        # a few strips at a time: all of them packed are as large as the file
        for at in range(0, len(tops), 16):
            yield from pool.map(packed, tops[at : at + 16])


def _append_tables(stream: BinaryIO, subs: dict[int, Table]) -> None:
    """Hang the Exif and position tables behind the picture and point the placeholders to them."""
    stream.seek(4)
    (first,) = struct.unpack("<I", stream.read(4))
    stream.seek(first)
    (count,) = struct.unpack("<H", stream.read(2))
    entries = stream.read(12 * count)
    pointer = {_PLACEHOLDER[number]: number for number in subs}
    for i in range(count):
        number = pointer.get(struct.unpack_from("<H", entries, 12 * i)[0])
        if number is None:
            continue
        at = stream.seek(0, 2)
        if at % 2:
            stream.write(b"\0")
            at += 1
        stream.write(packed(subs[number], at))
        stream.seek(first + 2 + 12 * i)
        stream.write(struct.pack("<HHII", number, 4, 1, at))


def write_jpeg(
    path: Path,
    rgb8: NDArray[np.uint8],
    icc: bytes | None,
    exif_from: Path | None = None,
    *,
    quality: int = 92,
    keep_gps: bool = False,
) -> None:
    """Write a JPEG with profile and shooting data.

    Parameters
    ----------
    path : Path
        Where.
    rgb8 : ndarray of uint8, shape (H, W, 3)
        Upright code values.
    icc : bytes or None
        Profile; None writes sRGB's.
    exif_from : Path, optional
        Picture whose shooting data go along.
    quality : int, optional
        JPEG quality, 1..95; colour is kept at full resolution.
    keep_gps : bool, optional
        Take the position along.

    Raises
    ------
    WriteError
        When it can't be written.
    """
    from PIL import Image

    carried = carried_from(exif_from, (rgb8.shape[1], rgb8.shape[0]), keep_gps=keep_gps)
    block = exif_segment(carried)
    buffer = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(rgb8)).save(
        buffer,
        "JPEG",
        quality=quality,
        subsampling=0,
        icc_profile=icc or srgb_profile(),
        exif=b"Exif\0\0" + block,
    )
    write_bytes(path, buffer.getvalue())


def exif_segment(carried: Carried) -> bytes:
    """Write tags as an Exif block that fits into one segment of a JPEG.

    Parameters
    ----------
    carried : Carried
        Tags to write; long ones are given up where they don't fit.

    Returns
    -------
    bytes
        TIFF-formed block.
    """
    block = exif_block(carried, software())
    if len(block) <= 65000:
        return block
    short = {n: tag for n, tag in carried.exif.items() if len(tag.data) <= 256}
    return exif_block(Carried(carried.main, short, carried.gps), software())


def software() -> str:
    """Name what wrote a file.

    Returns
    -------
    str
        Name and version.
    """
    return f"haltere {haltere.__version__}"
