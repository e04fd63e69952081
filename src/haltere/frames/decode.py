"""Decodes one picture file to upright pixels; runs inside a decoding process only."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, cast

import numpy as np
from numpy.typing import NDArray

from haltere.errors import FrameError
from haltere.frames.embedded import embedded_look
from haltere.frames.limits import LIMITS
from haltere.frames.shooting import orientation_in, read_tags
from haltere.frames.tags import with_neutral_orientation
from haltere.frames.upright import turn_upright, upright_size
from haltere.freed_memory import empty_pages

What = Literal["luma", "rgb", "look", "preview"]
Array = NDArray[np.uint8] | NDArray[np.uint16]

_CUT_SHORT = "is cut short: the file ends before the picture does; copy it again from the card"
_DAMAGED = "has damaged picture data; copy it again from the card"


@dataclass(frozen=True, slots=True)
class Decoded:
    """Upright pixels and what must be known of them."""

    array: Array
    scale: float
    linear: bool
    icc: bytes | None


def reduced_size(width_px: int, height_px: int, longest_px: int | None) -> tuple[int, int]:
    """Choose the reduced size whose two axes share one scale.

    Parameters
    ----------
    width_px, height_px : int
        Full size.
    longest_px : int or None
        Longest side wanted; None for full size.

    Returns
    -------
    width_px, height_px : int
        At most `longest_px` on the longest side; up to 2 % less where that makes the short side
        come out whole, so that a position scales alike in x and y.
    """
    long, short = max(width_px, height_px), min(width_px, height_px)
    if longest_px is None or longest_px >= long:
        return width_px, height_px
    wanted = max(1, longest_px)
    least = max(1, int(wanted * (1 - LIMITS.iso_shape_search)))
    best, miss = wanted, 1.0
    for candidate in range(wanted, least - 1, -1):
        exact = short * candidate / long
        off = abs(exact - round(exact))
        if off < miss - 1e-9:
            best, miss = candidate, off
        if miss <= LIMITS.iso_shape_px:
            break
    other = max(1, round(short * best / long))
    return (best, other) if width_px >= height_px else (other, best)


def decode(
    path: Path,
    kind: str,
    orientation: int | None,
    what: What,
    longest_px: int | None,
    room: Room | None = None,
) -> Decoded:
    """Decode a file to upright grey or RGB pixels.

    Parameters
    ----------
    path : Path
        The file.
    kind : {"jpeg", "tiff", "raw"}
        What it is.
    orientation : int or None
        Exif orientation of the stored pixels; None asks the file itself.
    what : {"luma", "rgb", "look", "preview"}
        Grey (H, W) or colour (H, W, 3); "look" is colour as well, and may come from the small
        picture that the camera put into the file; "preview" is what a raw file holds of that
        kind, however large.
    longest_px : int or None
        Longest side wanted, None for full size.
    room : callable, optional
        Gives an array of uint8 of a shape that a full-size JPEG is decoded into, where it needs
        no turning.

    Returns
    -------
    Decoded
        Pixels of dtype uint8 (8-bit files) or uint16.

    Raises
    ------
    FrameError
        When the file is damaged; the text is the reason without the file's name.
    """
    if orientation is None:
        orientation = probe_raw(path)[2] if kind == "raw" else orientation_in(read_tags(path))
    if kind == "jpeg":
        looked = _jpeg_look(path, longest_px) if what == "look" else None
        upright = orientation == 1 and longest_px is None
        read = looked or _jpeg(path, what, longest_px, room if upright else None)
    else:
        read = (_tiff if kind == "tiff" else _raw)(path, what, longest_px)
    stored, full, linear, icc = read
    if what == "preview" and not linear:
        longest_px = max(stored.shape[:2])
    size = reduced_size(*full, longest_px)
    array = turn_upright(stored, orientation)
    size = upright_size(*size, orientation)
    if (array.shape[1], array.shape[0]) != size:
        import cv2

        array = cast(
            "Array", cv2.resize(np.ascontiguousarray(array), size, interpolation=cv2.INTER_AREA)
        )
    return Decoded(np.ascontiguousarray(array), max(size) / max(full), linear, icc)


def shrunk(array: Array, longest_px: int) -> Array:
    """Shrink a decoded picture to the size, and by the steps, that decoding it small takes.

    Parameters
    ----------
    array : ndarray of uint8 or uint16, shape (H, W) or (H, W, 3)
        Picture; not written to.
    longest_px : int
        Longest side wanted.

    Returns
    -------
    ndarray, as `array`
        The array itself when it is no larger.
    """
    import cv2

    height, width = array.shape[:2]
    size = reduced_size(width, height, longest_px)
    step = block_factor(width, height, size)
    # a mean of whole blocks is what a JPEG gives small
    for wide, high in ((width // step, height // step), size):
        if (array.shape[1], array.shape[0]) != (wide, high):
            small = cv2.resize(array, (wide, high), interpolation=cv2.INTER_AREA)
            array = cast("Array", small)
    return array


Room = Callable[[tuple[int, int, int]], NDArray[np.uint8]]
_Read = tuple[Array, tuple[int, int], bool, bytes | None]


def _jpeg(path: Path, what: What, longest_px: int | None, room: Room | None) -> _Read:
    data = path.read_bytes()
    array, full = _jpeg_pixels(data, what, longest_px, room)
    return array, full, False, icc_of_jpeg(data)


def _jpeg_look(path: Path, longest_px: int | None) -> _Read | None:
    """Use a small picture inside the file; None where it must be decoded itself."""
    import simplejpeg

    if longest_px is None:
        return None
    with path.open("rb") as file:
        head = file.read(LIMITS.head_bytes)
    try:
        height, width, _, _ = simplejpeg.decode_jpeg_header(head, strict=False)
    except (ValueError, KeyError):
        return None
    rgb = embedded_look(path, (width, height), max(reduced_size(width, height, longest_px)))
    return None if rgb is None else (rgb, (width, height), False, icc_of_jpeg(head))


def block_factor(width: int, height: int, size: tuple[int, int]) -> int:
    """Choose the largest whole shrinking by blocks that leaves one exact scale.

    Parameters
    ----------
    width, height : int
        Full size.
    size : tuple of int
        Wanted width and height, which it does not go below.

    Returns
    -------
    int
        1, 2, 4 or 8.
    """
    fit = (k for k in (8, 4, 2) if width % k == height % k == 0)
    return next((k for k in fit if size[0] * k <= width and size[1] * k <= height), 1)


def _jpeg_pixels(
    data: bytes, what: What, longest_px: int | None, room: Room | None = None
) -> tuple[Array, tuple[int, int]]:
    """Decode at the smallest scale that the format gives cheaply and that is not below asked."""
    import simplejpeg

    try:
        height, width, _, _ = simplejpeg.decode_jpeg_header(data, strict=False)
        size = reduced_size(width, height, longest_px)
        factor = block_factor(width, height, size)
        array = simplejpeg.decode_jpeg(
            data,
            "GRAY" if what == "luma" else "RGB",
            buffer=room((height, width, 1 if what == "luma" else 3)) if room else None,
            min_height=height // factor if factor > 1 else 0,
            min_width=width // factor if factor > 1 else 0,
        )
    except (ValueError, KeyError) as error:
        text = str(error).lower()
        cut = "premature" in text or "empty" in text
        if isinstance(error, KeyError):  # the library's word for a head that names no colours
            cut = not data.rstrip(b"\0").endswith(b"\xff\xd9")
        raise FrameError(_CUT_SHORT if cut else _DAMAGED) from None
    return (array[:, :, 0] if what == "luma" else array), (width, height)


def icc_of_jpeg(data: bytes) -> bytes | None:
    """Collect the ICC profile from a JPEG's APP2 segments.

    Parameters
    ----------
    data : bytes
        The file.

    Returns
    -------
    bytes or None
        The profile; None when there is none or a piece is missing.
    """
    pieces: dict[int, bytes] = {}
    total, at = 0, 2
    while at + 4 <= len(data):
        if data[at] != 0xFF:
            at += 1
            continue
        marker = data[at + 1]
        if marker == 0xFF:
            at += 1
            continue
        if marker in (0x00, 0x01) or 0xD0 <= marker <= 0xD8:
            at += 2
            continue
        if marker in (0xD9, 0xDA):
            break
        size = int.from_bytes(data[at + 2 : at + 4], "big")
        body = data[at + 4 : at + 2 + size]
        if marker == 0xE2 and body[:12] == b"ICC_PROFILE\0" and len(body) > 14:
            pieces[body[12]], total = body[14:], body[13]
        at += 2 + max(size, 2)
    if not pieces or sorted(pieces) != list(range(1, total + 1)):
        return None
    profile = b"".join(pieces[i] for i in sorted(pieces))
    return profile if len(profile) > 128 else None


def _tiff(path: Path, what: What, longest_px: int | None) -> _Read:
    del longest_px
    import tifffile

    try:
        with tifffile.TiffFile(path) as file:
            page = file.pages.first
            icc = page.iccprofile
            full = (int(page.imagewidth), int(page.imagelength))
            try:
                array = _tiff_page(page)
            except ValueError as error:  # a compression that pure Python does not know
                if "imagecodecs" not in str(error) and "requires" not in str(error):
                    raise
                array = _tiff_by_opencv(path)
    except FrameError:
        raise
    except MemoryError:
        raise
    except Exception as error:  # tifffile raises many kinds on damage
        raise FrameError(_tiff_reason(error, path)) from None
    if (array.shape[1], array.shape[0]) != full:
        raise FrameError(_DAMAGED)
    if what == "luma" and array.ndim == 3:
        array = _grey(array)
    elif what != "luma" and array.ndim == 2:
        array = cast("Array", np.repeat(array[:, :, None], 3, axis=2))
    return array, full, False, bytes(icc) if icc else None


def _tiff_page(page: Any) -> Array:
    for offset, count in zip(page.dataoffsets, page.databytecounts, strict=False):
        if offset + count > page.parent.filehandle.size:
            raise FrameError(_CUT_SHORT)
    if int(page.photometric) == 6:
        raise ValueError("YCbCr requires a full decoder")
    array: NDArray[Any] = page.asarray()
    array = np.squeeze(array)
    samples = int(page.samplesperpixel)
    if samples > 1 and int(page.planarconfig) == 2:
        array = np.moveaxis(array, 0, -1)
    array = array.reshape(int(page.imagelength), int(page.imagewidth), samples)
    if array.dtype not in (np.uint8, np.uint16):
        raise FrameError("is a TIFF that is not 8 or 16 bit; save it so")
    array = array[:, :, :3] if samples >= 3 else array[:, :, 0]
    if int(page.photometric) == 0:
        array = np.iinfo(array.dtype).max - array
    return cast("Array", array)


def _tiff_by_opencv(path: Path) -> Array:
    import cv2

    # OpenCV turns a TIFF whatever it is told, so the tag is made neutral first
    data = np.frombuffer(with_neutral_orientation(path.read_bytes()), np.uint8)
    array = cv2.imdecode(data, cv2.IMREAD_UNCHANGED | cv2.IMREAD_IGNORE_ORIENTATION)
    if array is None:
        raise FrameError(_DAMAGED)
    if array.dtype not in (np.uint8, np.uint16):
        raise FrameError("is a TIFF that is not 8 or 16 bit; save it so")
    if array.ndim == 3:
        array = array[:, :, 2::-1] if array.shape[2] >= 3 else array[:, :, 0]
    return cast("Array", array)


def _tiff_reason(error: Exception, path: Path) -> str:
    text = str(error).lower()
    cut = any(word in text for word in ("eof", "truncat", "incomplete", "not enough", "too small"))
    return _CUT_SHORT if cut and path.exists() else _DAMAGED


def _grey(array: Array) -> Array:
    """Weigh RGB to luma as JPEG does (ITU-R BT.601), in whole numbers so that all agree."""
    rgb = array.astype(np.uint32)
    luma = (19595 * rgb[..., 0] + 38470 * rgb[..., 1] + 7471 * rgb[..., 2] + 32768) >> 16
    return cast("Array", luma.astype(array.dtype))


DEVELOPED: dict[str, Any] = {
    "output_bps": 16,
    "gamma": (1, 1),
    "no_auto_bright": True,
    "adjust_maximum_thr": 0.0,  # else white follows each frame's own brightest spot
    "use_camera_wb": True,
    "user_flip": 0,
}
"""How raw files are developed: linear light, sRGB's primaries, the camera's white balance."""


def _raw(path: Path, what: What, longest_px: int | None) -> _Read:
    import rawpy

    try:
        with rawpy.imread(str(path)) as raw:
            full = (int(raw.sizes.width), int(raw.sizes.height))
            if what != "rgb" and longest_px is not None:
                least = 1 if what == "preview" else longest_px
                preview = _raw_preview(raw, what, full, least)
                if preview is not None:
                    return preview, full, False, None
            size = reduced_size(*full, longest_px)
            half = size[0] * 2 <= full[0] and size[1] * 2 <= full[1]
            half = half and full[0] % 2 == full[1] % 2 == 0
            array = _developed(raw, half_size=half)
    except (rawpy.LibRawIOError, rawpy.LibRawDataError):
        raise FrameError(_CUT_SHORT) from None
    except rawpy.LibRawUnsufficientMemoryError:
        raise MemoryError from None
    except (rawpy.LibRawError, rawpy.NotSupportedError) as error:
        raise FrameError(f"can't be developed ({_said(error)}); {_RAW_CURE}") from None
    return (_grey(array) if what == "luma" else array), full, True, None


def _developed(raw: Any, *, half_size: bool) -> Array:
    """Develop an opened raw file; what its sensor saw is let go of before the picture is copied."""
    import rawpy

    raw.dcraw_process(rawpy.Params(**DEVELOPED, half_size=half_size))
    if raw.raw_type == rawpy.RawType.Flat:
        empty_pages(raw.raw_image)
    return cast("Array", raw.dcraw_make_mem_image())


_RAW_CURE = "use the camera's JPEG or save a DNG"


def _said(error: Exception) -> str:
    said = error.args[0] if error.args else error
    return (said.decode("utf-8", "replace") if isinstance(said, bytes) else str(said)).strip()


def _raw_preview(raw: Any, what: What, full: tuple[int, int], longest_px: int) -> Array | None:
    """Use the JPEG inside a raw file when it is large enough and shows the same picture."""
    import rawpy

    try:
        thumb = raw.extract_thumb()
    except (rawpy.LibRawError, rawpy.NotSupportedError):
        return None
    if thumb.format != rawpy.ThumbFormat.JPEG:
        return None
    try:
        array, size = _jpeg_pixels(thumb.data, what, None)
    except FrameError:
        return None
    wanted = reduced_size(*full, longest_px)
    if size[0] < wanted[0] or size[1] < wanted[1]:
        return None
    if abs((size[0] / size[1]) / (full[0] / full[1]) - 1) > LIMITS.aspect_slack / 4:
        return None
    return array


def probe_raw(path: Path) -> tuple[int, int, int]:
    """Ask the raw reader whether a file is raw, and how large.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    width_px, height_px, orientation : int
        Stored size; orientation by the Exif block, else as the raw reader understands the file.

    Raises
    ------
    FrameError
        When it is no raw file or a damaged one.
    """
    import rawpy

    try:
        with rawpy.RawPy() as raw:
            raw.open_file(str(path))
            sizes = raw.sizes
            turned = {0: 1, 3: 3, 5: 8, 6: 6}.get(int(sizes.flip), 1)
            width, height = int(sizes.width), int(sizes.height)
    except rawpy.LibRawFileUnsupportedError:
        raise FrameError("is not a picture that haltere reads: JPEG, TIFF or camera raw") from None
    except (rawpy.LibRawIOError, rawpy.LibRawDataError):
        raise FrameError(_CUT_SHORT) from None
    except (rawpy.LibRawError, rawpy.NotSupportedError) as error:
        raise FrameError(f"can't be opened as raw ({_said(error)}); {_RAW_CURE}") from None
    if width * height > LIMITS.max_px:
        raise FrameError("is larger than haltere opens; make a smaller copy")
    if width < 1 or height < 1:
        raise FrameError(_DAMAGED)
    tags = read_tags(path)
    return width, height, orientation_in(tags) if "Image Orientation" in tags else turned
