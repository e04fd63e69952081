"""What lies under a place of a merged picture: which frames, how deep, how sure."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import cast

import numpy as np
from numpy.typing import NDArray

from haltere.errors import UsageError
from haltere.evening.repairs import Corners, mask_of, size_of
from haltere.fieldbook import Book, repairs_of
from haltere.merge.patch import Box, Mask, box_of, polygon_mask, read_part
from haltere.merge.repairing import ORIGIN
from haltere.merge.views import Views, read_views


@dataclass(frozen=True, slots=True)
class PatchNumbers:
    """Numbers of choosing a patch.

    Attributes
    ----------
    measured : int
        Frames that are compared at most, those nearest in depth first: each costs a tenth of a
        second at 20 megapixels.
    ahead : int
        Frames decoded ahead of the one that is measured: as many as a decoder works at.
    least_px : int
        Smallest side of a region whose sharpness can be told; finer than that there is no detail
        to compare.
    edge_px : int
        How near to its border a frame is not used, because the kernel that carries it reaches so
        far.
    """

    measured: int = 24
    ahead: int = 2
    least_px: int = 16
    edge_px: float = 4.0


NUMBERS = PatchNumbers()


@dataclass(frozen=True, slots=True)
class Plane:
    """One merged frame under a region.

    Attributes
    ----------
    frame : str
        Its name.
    depth : float
        Where its plane of focus lies there, in the unit of the depth map.
    sees : bool
        Whether it saw the whole region.
    share : float
        Share of the region that the picture takes from it now.
    """

    frame: str
    depth: float
    sees: bool
    share: float


@dataclass(frozen=True, slots=True)
class Under:
    """What lies under a region of a merged picture.

    Attributes
    ----------
    box_px : tuple of 4 ints
        Part of the picture that a patch there can change, blending included.
    picture_share : float
        Share of the picture that the region takes.
    depth : float or None
        Median of the depth map; None where it knows none.
    nearest : str
        Frame whose plane lies nearest to that depth; to the middle of all, where it is unknown.
    planes : tuple of Plane
        Near to far.
    """

    box_px: tuple[int, int, int, int]
    picture_share: float
    depth: float | None
    nearest: str
    planes: tuple[Plane, ...]


@dataclass(frozen=True, slots=True)
class Place:
    """What is known of one pixel of a merged picture.

    Attributes
    ----------
    frame : str or None
        Frame with the largest share in it, patches taken into account; None where there is none.
    depth : float or None
        In the unit of the depth map; None where it knows none.
    confidence : float
        How sure the choice of the frame is, 0 to 1.
    patched : bool
        Whether a patch covers it.
    """

    frame: str | None
    depth: float | None
    confidence: float
    patched: bool


def place_at(book: Book, folder: Path, x_px: float, y_px: float) -> Place:
    """Tell what is known of one pixel of a merged picture.

    Parameters
    ----------
    book : Book
        Open book.
    folder : Path
        Where the merge lies.
    x_px, y_px : float
        Place in the picture.

    Raises
    ------
    UsageError
        When it lies outside the picture.
    SweepError
        When the folder holds no merge.
    """
    views, mark = read_views(folder)
    size = size_of(views)
    x, y = round(x_px), round(y_px)
    if not (0 <= x < size[0] and 0 <= y < size[1]):
        raise UsageError("This place lies outside the picture; point at the picture itself.")
    box = Box(x, y, x + 1, y + 1)
    origin, depth, sure = (
        float(np.asarray(read_part(folder / name, box), np.float64)[0, 0])
        for name in (ORIGIN, "depth.tif", "confidence.tif")
    )
    frame = views.views[int(origin)].frame if origin < len(views.views) else None
    patched = False
    for one in repairs_of(book, folder, mark):
        if mask_of(one, size)[y, x] > 127:
            frame, patched = one.frame, True
    return Place(frame, depth if np.isfinite(depth) else None, sure, patched)


def under(book: Book, folder: Path, corners: Corners) -> Under:
    """Tell which planes lie under a region, and what is seen there now.

    Parameters
    ----------
    book : Book
        Open book.
    folder : Path
        Where the merge lies.
    corners : tuple of (x, y)
        Region, pixels of the merged picture.

    Raises
    ------
    UsageError
        When the region is empty.
    SweepError
        When the folder holds no merge.
    """
    views, mark = read_views(folder)
    mask = mask_around(views, corners)
    box = box_about(mask)
    part = mask[box.slices] > 127
    origin = np.array(read_part(folder / ORIGIN, box), np.uint16)
    size = size_of(views)
    numbers = {view.frame: k for k, view in enumerate(views.views)}
    for one in repairs_of(book, folder, mark):
        origin[mask_of(one, size)[box.slices] > 127] = numbers[one.frame]
    found, counts = np.unique(origin[part], return_counts=True)
    shares = {int(k): float(n / part.sum()) for k, n in zip(found, counts, strict=True)}
    depths = cast(NDArray[np.float32], read_part(folder / "depth.tif", box))[part]
    known = depths[np.isfinite(depths)]
    depth = float(np.median(known)) if known.size else None
    x, y = middle_of(mask, box)
    planes = sorted(
        (
            Plane(view.frame, views.plane_at(k, x, y), sees(views, k, corners), shares.get(k, 0.0))
            for k, view in enumerate(views.views)
        ),
        key=lambda plane: plane.depth,
    )
    at = float(np.median([plane.depth for plane in planes])) if depth is None else depth
    return Under(
        (box.x0, box.y0, box.x1, box.y1),
        float(part.sum() / (size[0] * size[1])),
        depth,
        min(planes, key=lambda plane: abs(plane.depth - at)).frame,
        tuple(planes),
    )


def mask_around(views: Views, corners: Corners) -> Mask:
    """Draw a region of the merged picture.

    Parameters
    ----------
    views : Views
        Of the merge.
    corners : tuple of (x, y)
        The region, pixels of the merged picture.
    """
    return polygon_mask(list(corners), size_of(views))


def box_about(mask: Mask) -> Box:
    """Find the part of the picture that a region can change, blending included.

    Parameters
    ----------
    mask : ndarray of uint8, shape (H, W)
        The region.

    Raises
    ------
    UsageError
        When it is empty.
    """
    box = box_of(mask)
    if box is None:
        raise UsageError("The patch lies outside the picture, or is empty; draw it on the picture.")
    return box


def middle_of(mask: Mask, box: Box) -> tuple[float, float]:
    """Find the middle of a region, picture pixels.

    Parameters
    ----------
    mask : ndarray of uint8, shape (H, W)
        The region.
    box : Box
        From `box_about`.
    """
    rows, cols = np.nonzero(mask[box.slices] > 127)
    return float(cols.mean()) + box.x0, float(rows.mean()) + box.y0


def sees(views: Views, index: int, corners: Corners) -> bool:
    """Tell whether a frame saw all corners of a region, clear of its border.

    Parameters
    ----------
    views : Views
        Of the merge.
    index : int
        Number of the view.
    corners : tuple of (x, y)
        The region, pixels of the merged picture.
    """
    at = views.to_frame(index) @ np.array([(x, y, 1.0) for x, y in corners]).T
    if (at[2] <= 0).any():
        return False
    places = at[:2] / at[2]
    low, edge = places.min(axis=1), NUMBERS.edge_px
    high = places.max(axis=1)
    return bool(
        min(low) >= edge
        and high[0] <= views.size_px[0] - 1 - edge
        and high[1] <= views.size_px[1] - 1 - edge
    )
