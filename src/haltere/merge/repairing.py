"""A merged picture with its repairs, rendered beside the merge, which stays as it was."""

from __future__ import annotations

import contextlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import cast

import numpy as np
from numpy.typing import NDArray

from haltere.errors import FrameError, SweepError, WriteError
from haltere.frames import (
    Decoder,
    Frame,
    make_folder,
    write_bytes,
    write_jpeg,
    write_map,
    write_picture,
)
from haltere.merge.patch import Box, Codes, Mask, box_of, patched, read_part
from haltere.merge.views import Views
from haltere.progress import Progress, silent

PICTURE, JPEG, ORIGIN, STATE = "picture.tif", "picture.jpg", "origin.tif", "state.txt"
MADE = "repaired"


@dataclass(frozen=True, slots=True)
class Region:
    """What is taken from one frame.

    Attributes
    ----------
    index : int
        Number of the view.
    mask : ndarray of uint8, shape (H, W)
        Above 127 where it is taken; of the picture's size.
    """

    index: int
    mask: Mask


@dataclass(frozen=True, slots=True)
class Taken:
    """What came of one region.

    Attributes
    ----------
    box_px : tuple of 4 ints
        Part of the picture that may have changed, blending included.
    seen : float
        Share of the region that the frame saw; the rest stays as it was.
    """

    box_px: tuple[int, int, int, int]
    seen: float


def render_part(
    folder: Path,
    views: Views,
    regions: Sequence[Region],
    frames: Mapping[int, Frame],
    decoder: Decoder,
) -> tuple[Box, Codes]:
    """Render only what the last region can change, at full size: what a person waits for.

    Earlier regions that reach into it are rendered first.

    Parameters
    ----------
    folder : Path
        Where the merge lies.
    views : Views
        Of the merge.
    regions : sequence of Region
        Oldest first.
    frames : mapping of int to Frame
        The frames that are needed, by the number of their view.
    decoder : Decoder
        Open decoder.

    Returns
    -------
    box : Box
        Part of the picture.
    codes : ndarray of uint16, shape (h, w, 3)
        It, repaired.

    Raises
    ------
    SweepError
        When the region is empty or the merge can't be read.
    FrameError
        When a frame can't be decoded.
    """
    box = box_of(regions[-1].mask)
    if box is None:
        msg = f"{folder}: the region holds no pixel of the picture; draw it again"
        raise SweepError(msg)
    boxes = [box_of(region.mask) for region in regions]
    touching = [
        (region, own)
        for region, own in zip(regions, boxes, strict=True)
        if own is not None and _meet(own, box)
    ]
    whole = touching[0][1]
    for _, own in touching[1:]:
        whole = Box(
            min(whole.x0, own.x0), min(whole.y0, own.y0),
            max(whole.x1, own.x1), max(whole.y1, own.y1),
        )  # fmt: skip
    codes = cast(Codes, np.array(read_part(folder / PICTURE, whole)))
    for region, own in touching:
        pixels = decoder.rgb(frames[region.index], member="raw" if views.raw else "jpeg")
        rows, cols = _within(own, whole)
        codes[rows, cols], _ = patched(
            codes[rows, cols], views, region.index, pixels, region.mask[own.slices], own
        )
    rows, cols = _within(box, whole)
    return box, codes[rows, cols]


def render_repairs(
    folder: Path,
    views: Views,
    regions: Sequence[Region],
    frames: Mapping[int, Frame],
    decoder: Decoder,
    state: str,
    progress: Progress = silent,
) -> tuple[Taken, ...]:
    """Render all regions, one over the other, and write the picture and its origin map.

    They lie in a folder of their own; the merge itself is not touched.  Holds the picture at
    16 bit, its origin map and one frame.

    Parameters
    ----------
    folder : Path
        Where the merge lies.
    views : Views
        Of the merge.
    regions : sequence of Region
        Oldest first; none removes the repaired picture.
    frames : mapping of int to Frame
        The frames that are needed, by the number of their view.
    decoder : Decoder
        Open decoder.
    state : str
        Names the regions; written last, so that `rendered` tells a whole result.
    progress : Progress, optional
        Told of each region and file; may raise to cancel.

    Returns
    -------
    tuple of Taken
        Of each region.

    Raises
    ------
    SweepError
        When a region is empty or the merge can't be read.
    FrameError
        When a frame can't be decoded.
    WriteError
        When the result can't be written; the merge and an earlier result stay.
    """
    out = folder / MADE
    if not regions:
        _remove(out)
        return ()
    x0, y0, x1, y1 = views.crop_px
    whole = Box(0, 0, x1 - x0, y1 - y0)
    steps = len(regions) + 3
    codes = cast(Codes, read_part(folder / PICTURE, whole)).copy()
    origin = cast(NDArray[np.uint16], read_part(folder / ORIGIN, whole)).copy()
    taken = []
    for number, region in enumerate(regions):
        box = box_of(region.mask)
        if box is None:
            msg = f"{folder}: the region holds no pixel of the picture; draw it again"
            raise SweepError(msg)
        frame = frames[region.index]
        pixels = decoder.rgb(frame, member="raw" if views.raw else "jpeg")
        if pixels.array.shape[:2] != (views.size_px[1], views.size_px[0]):
            msg = f"{frame.name}: has another size than when it was merged; merge the sweep again"
            raise FrameError(msg)
        part = region.mask[box.slices]
        codes[box.slices], seen = patched(codes[box.slices], views, region.index, pixels, part, box)
        origin[box.slices][part > 127] = region.index
        taken.append(Taken((box.x0, box.y0, box.x1, box.y1), seen))
        progress("repairing", number + 1, steps)
        del pixels
    make_folder(out)
    with contextlib.suppress(OSError):  # from here on the folder is not whole
        (out / STATE).unlink(missing_ok=True)
    icc = _profile(folder / PICTURE)
    exif_from = folder / JPEG
    write_map(out / ORIGIN, origin)
    progress("writing", steps - 2, steps)
    rgb8 = ((codes.astype(np.uint32) + 128) // 257).astype(np.uint8)
    write_jpeg(out / JPEG, rgb8, icc, exif_from)
    progress("writing", steps - 1, steps)
    write_picture(out / PICTURE, codes, icc, exif_from)
    write_bytes(out / STATE, state.encode())
    progress("writing", steps, steps)
    return tuple(taken)


def rendered(folder: Path) -> str | None:
    """Tell which regions the repaired picture shows.

    Parameters
    ----------
    folder : Path
        Where the merge lies.

    Returns
    -------
    str or None
        The state that was given to `render_repairs`; None where there is no whole result.
    """
    try:
        return (folder / MADE / STATE).read_text("utf-8")
    except OSError:
        return None


def _meet(one: Box, other: Box) -> bool:
    return one.x0 < other.x1 and other.x0 < one.x1 and one.y0 < other.y1 and other.y0 < one.y1


def _within(part: Box, whole: Box) -> tuple[slice, slice]:
    return (
        slice(part.y0 - whole.y0, part.y1 - whole.y0),
        slice(part.x0 - whole.x0, part.x1 - whole.x0),
    )


def _profile(path: Path) -> bytes | None:
    import tifffile

    with tifffile.TiffFile(path) as tiff:
        found = tiff.pages[0].iccprofile  # type: ignore[union-attr]
    return None if found is None else bytes(found)


def _remove(out: Path) -> None:
    """Remove a repaired picture when the last repair was taken back."""
    if not out.is_dir():
        return
    try:
        for name in (STATE, PICTURE, JPEG, ORIGIN):
            (out / name).unlink(missing_ok=True)
        out.rmdir()
    except OSError as error:
        msg = f"{out}: can't be removed ({error.strerror}); close what shows it and try again"
        raise WriteError(msg) from error
