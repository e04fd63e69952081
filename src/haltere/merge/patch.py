"""A region of a merged picture taken from one frame, its seams blended scale by scale."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.errors import SweepError
from haltere.frames import Pixels, encode
from haltere.merge.source import light_table
from haltere.merge.views import Views

if TYPE_CHECKING:
    import tifffile

Codes = NDArray[np.uint16]
Mask = NDArray[np.uint8]

_LEVELS = 5  # the coarsest blends over some 32 px: wider, and a patch would colour its neighbours
_LEAST_PX = 3


@dataclass(frozen=True, slots=True)
class Box:
    """A part of a picture: x0, y0 and one past x1, y1."""

    x0: int
    y0: int
    x1: int
    y1: int

    @property
    def slices(self) -> tuple[slice, slice]:
        """Rows and columns."""
        return slice(self.y0, self.y1), slice(self.x0, self.x1)


def polygon_mask(points: list[tuple[float, float]], size_px: tuple[int, int]) -> Mask:
    """Fill a polygon.

    Parameters
    ----------
    points : list of (x, y)
        Corners, picture pixels.
    size_px : tuple of 2 ints
        Width and height of the picture.

    Returns
    -------
    ndarray of uint8, shape (H, W)
        255 inside.
    """
    mask = np.zeros((size_px[1], size_px[0]), np.uint8)
    corners = np.rint(np.array(points) * 16).astype(np.int32)
    cv2.fillPoly(mask, [corners], 255, shift=4)
    return mask


def box_of(mask: Mask) -> Box | None:
    """Find the part of a picture that a patch can change, blending included.

    Parameters
    ----------
    mask : ndarray of uint8, shape (H, W)
        Above 127 where the frame is taken.

    Returns
    -------
    Box or None
        None where the mask is empty.
    """
    rows = np.flatnonzero((mask > 127).any(1))
    cols = np.flatnonzero((mask > 127).any(0))
    if len(rows) == 0:
        return None
    reach = 1 << (_LEVELS + 2)  # as far as the kernels of all scales spread, down and up
    height, width = mask.shape
    return Box(
        max(int(cols[0]) - reach, 0),
        max(int(rows[0]) - reach, 0),
        min(int(cols[-1]) + 1 + reach, width),
        min(int(rows[-1]) + 1 + reach, height),
    )


def seen_from(
    views: Views, index: int, pixels: Pixels, box: Box
) -> tuple[NDArray[np.float32], Mask]:
    """Carry a frame to a part of the picture, along its own plane of focus.

    Parameters
    ----------
    views : Views
        Of the merge.
    index : int
        Number of the view.
    pixels : Pixels
        The frame in colour, full size.
    box : Box
        Part of the picture.

    Returns
    -------
    codes : ndarray of float32, shape (h, w, 3)
        16-bit code values.
    seen : ndarray of uint8, shape (h, w)
        255 where the frame saw the place.
    """
    matrix = views.to_frame(index) @ np.array([[1.0, 0, box.x0], [0, 1.0, box.y0], [0, 0, 1.0]])
    size = (box.x1 - box.x0, box.y1 - box.y0)
    corners = np.array([[0, 0], [size[0], 0], [0, size[1]], [size[0], size[1]]], np.float64)
    at = cv2.perspectiveTransform(corners[None], matrix)[0]
    height, width = pixels.array.shape[:2]
    low = np.clip(np.floor(at.min(0)) - 8, 0, (width, height)).astype(int)
    high = np.clip(np.ceil(at.max(0)) + 8, 0, (width, height)).astype(int)
    if (high - low).min() < _LEAST_PX:
        return np.zeros((size[1], size[0], 3), np.float32), np.zeros((size[1], size[0]), np.uint8)
    part = pixels.array[low[1] : high[1], low[0] : high[0]]
    table = light_table(pixels) * np.float32(views.views[index].gain)
    light = np.empty(part.shape, np.float32)
    for channel in range(3):
        light[..., channel] = table[part[..., channel], channel]
    matrix = np.array([[1.0, 0, -low[0]], [0, 1.0, -low[1]], [0, 0, 1.0]]) @ matrix
    inverse = cv2.WARP_INVERSE_MAP
    warped = cv2.warpPerspective(
        light, matrix, size, flags=cv2.INTER_LANCZOS4 | inverse, borderMode=cv2.BORDER_REFLECT
    )
    inside = np.full(part.shape[:2], 255, np.uint8)
    edge = 4  # the kernel reaches so far
    inside[:edge] = inside[-edge:] = 0
    inside[:, :edge] = inside[:, -edge:] = 0
    seen = cv2.warpPerspective(inside, matrix, size, flags=cv2.INTER_NEAREST | inverse)
    codes = encode(np.asarray(warped, np.float32), pixels.icc, 16)
    return codes.astype(np.float32), np.asarray(seen, np.uint8)


def blended(base: Codes, fresh: NDArray[np.float32], mask: Mask) -> Codes:
    """Put one picture into another, each scale of detail blended over its own width.

    Burt & Adelson (1983), *A multiresolution spline with application to image mosaics*, from
    memory.  What the mask's coarsest scale does not reach stays as it was, to the last bit.

    Parameters
    ----------
    base : ndarray of uint16, shape (h, w, 3)
        What is patched.
    fresh : ndarray of float32, shape (h, w, 3)
        What is put in.
    mask : ndarray of uint8, shape (h, w)
        255 where it is put in.

    Returns
    -------
    ndarray of uint16, shape (h, w, 3)
        The patched part.
    """
    # only the difference is blended: where both agree nothing is rounded twice
    apart = fresh - base.astype(np.float32)
    share = mask.astype(np.float32) / 255.0
    levels = min(_LEVELS, int(math.log2(max(min(mask.shape) / 4, 1))))
    kept: list[tuple[NDArray[np.float32], NDArray[np.float32]]] = []
    for _ in range(levels):
        small = cv2.pyrDown(apart)
        wide = cv2.pyrUp(small, dstsize=(apart.shape[1], apart.shape[0]))
        kept.append((np.asarray(apart - wide, np.float32), share))
        apart = np.asarray(small, np.float32)
        share = np.asarray(cv2.pyrDown(share), np.float32)
    total = apart * share[..., None]
    for fine, part in reversed(kept):
        total = cv2.pyrUp(total, dstsize=(fine.shape[1], fine.shape[0])) + fine * part[..., None]
    return np.asarray(np.clip(np.rint(base + total), 0, 65535), np.uint16)


def patched(
    base: Codes, views: Views, index: int, pixels: Pixels, mask: Mask, box: Box
) -> tuple[Codes, float]:
    """Take a region from one frame.

    Parameters
    ----------
    base : ndarray of uint16, shape (h, w, 3)
        The picture within the box, so far.
    views : Views
        Of the merge.
    index : int
        Number of the view.
    pixels : Pixels
        The frame in colour, full size.
    mask : ndarray of uint8, shape (h, w)
        Above 127 where the frame is taken, within the box.
    box : Box
        Where that lies in the picture.

    Returns
    -------
    codes : ndarray of uint16, shape (h, w, 3)
        The picture within the box, patched.
    seen : float
        Share of the region that the frame saw; the rest stays as it was.
    """
    fresh, saw = seen_from(views, index, pixels, box)
    wanted = np.where(mask > 127, np.uint8(255), np.uint8(0))
    taken = np.minimum(wanted, saw)
    # what the frame did not see must not bleed in from coarser scales
    fresh = np.where(saw[..., None] > 0, fresh, base).astype(np.float32)
    return blended(base, fresh, taken), float((taken > 0).sum() / max((wanted > 0).sum(), 1))


def read_part(path: Path, box: Box) -> NDArray[np.generic]:
    """Read a part of a picture or map that haltere wrote; only the rows it needs are unpacked.

    Parameters
    ----------
    path : Path
        TIFF in strips.
    box : Box
        Part of it.

    Returns
    -------
    ndarray
        Of the file's type, shape (h, w) or (h, w, 3).

    Raises
    ------
    SweepError
        When the file is gone, broken or smaller than the part.
    """
    import tifffile

    try:
        with tifffile.TiffFile(path) as tiff:
            page = tiff.pages[0]
            assert isinstance(page, tifffile.TiffPage)
            return _rows(tiff, page, box)[:, box.x0 : box.x1]
    except (OSError, tifffile.TiffFileError, ValueError, IndexError, AssertionError) as error:
        msg = f"{path}: can't be read; merge the sweep again"
        raise SweepError(msg) from error


def _rows(tiff: tifffile.TiffFile, page: tifffile.TiffPage, box: Box) -> NDArray[np.generic]:
    high = int(page.rowsperstrip)
    first, last = box.y0 // high, (box.y1 - 1) // high
    if page.is_tiled or last >= len(page.dataoffsets):
        return np.asarray(page.asarray()[box.y0 : box.y1])
    strips = []
    handle = tiff.filehandle
    for k in range(first, last + 1):
        handle.seek(page.dataoffsets[k])
        strip, _, shape = page.decode(handle.read(page.databytecounts[k]), k)
        assert strip is not None
        strips.append(np.asarray(strip).reshape(shape)[0])
    rows = np.concatenate(strips)[box.y0 - first * high : box.y1 - first * high]
    return rows if page.samplesperpixel > 1 else rows[..., 0]
