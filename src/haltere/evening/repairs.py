"""Repairs of a merged picture: written into the field book first, then rendered."""

from __future__ import annotations

import hashlib
import io
import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

from haltere.errors import SweepError, UsageError
from haltere.evening.book_of_merge import book_of
from haltere.evening.merged_frames import files_of, frame_of
from haltere.fieldbook import Book, Repair, keep_repair, repairs_of, undo_repair
from haltere.frames import Decoder, Frame
from haltere.merge.patch import Mask, box_of, polygon_mask
from haltere.merge.repairing import (
    JPEG,
    MADE,
    ORIGIN,
    PICTURE,
    Region,
    render_repairs,
    rendered,
)
from haltere.merge.views import Views, read_views
from haltere.progress import Progress, silent

Corners = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Said:
    """One repair as it is told.

    Attributes
    ----------
    number : int
        Its number in the field book.
    frame : str
        Frame that the region is taken from.
    depth : float or None
        Depth that was asked for, in the unit of the depth map.
    polygon_px : tuple or None
        Corners, pixels of the merged picture; None for a mask.
    box_px : tuple of 4 ints
        Part of the merged picture that may have changed.
    seen_share : float or None
        Share of the region that the frame saw; None where nothing was rendered now.
    """

    number: int
    frame: str
    depth: float | None
    polygon_px: Corners | None
    box_px: tuple[int, int, int, int]
    seen_share: float | None


@dataclass(frozen=True, slots=True)
class Repaired:
    """A merged picture and what was repaired in it.

    Attributes
    ----------
    merged : str
        Folder of the merge; the files are named relative to it.
    picture, picture_jpeg, origin_map : str or None
        With the repairs; None while there are none.
    repairs : tuple of Said
        Those that stand, oldest first.
    taken_back : int or None
        Number of the repair that was taken back just now.
    """

    merged: str
    picture: str | None
    picture_jpeg: str | None
    origin_map: str | None
    repairs: tuple[Said, ...]
    taken_back: int | None = None


def repair(
    folder: Path,
    decoder: Decoder,
    *,
    polygon_px: Corners | None = None,
    mask: Path | None = None,
    frame: str | None = None,
    depth: float | None = None,
    undo: bool = False,
    book_folder: Path | None = None,
    progress: Progress = silent,
) -> Repaired:
    """Add or take back a repair and render the picture, or only list what stands.

    The book is written first: whatever happens to the rendering, the next call catches up.

    Parameters
    ----------
    folder : Path
        Where the merge lies.
    decoder : Decoder
        Open decoder.
    polygon_px : tuple of (x, y), optional
        Region, pixels of the merged picture.
    mask : Path, optional
        Region as a grey picture of the same size, light where the frame is taken.
    frame : str, optional
        Name of a merged frame.
    depth : float, optional
        In the unit of the depth map: the frame nearest to it is taken.
    undo : bool, optional
        Take back the last repair that stands.
    book_folder : Path, optional
        Folder of the field book; told by the merge when left out.
    progress : Progress, optional
        Told of each region; may raise to cancel.

    Returns
    -------
    Repaired
        What stands, and where the picture lies.

    Raises
    ------
    UsageError
        When the region or frame makes no sense.
    SweepError
        When the folder holds no merge.
    BookError
        When the book can't be written.
    WriteError
        When the picture can't be written.
    """
    views, mark = read_views(folder)
    asked = None
    if polygon_px is not None or mask is not None:
        asked = _asked(views, polygon_px, mask, frame, depth)
    back: Repair | None = None
    with book_of(folder, book_folder) as book:
        if asked is not None:
            keep_repair(book, folder, mark, asked)
        elif undo:
            back = undo_repair(book, folder, mark)
        return _caught_up(book, folder, views, mark, decoder, back, progress)


def view_named(folder: Path, word: str) -> str:
    """Find the merged frame that a word means: its name, or the last part of it.

    Parameters
    ----------
    folder : Path
        Where the merge lies.
    word : str
        As given.

    Returns
    -------
    str
        The frame's name.

    Raises
    ------
    UsageError
        When no merged frame, or more than one, goes by it.
    """
    names = [view.frame for view in read_views(folder)[0].views]
    if word in names:
        return word
    same = [name for name in names if name.rpartition("/")[2] == Path(word).name]
    if len(same) == 1:
        return same[0]
    if same:
        raise UsageError(f"{word}: {len(same)} merged frames are called so; say {same[0]}")
    raise UsageError(
        f"{word}: is not among the {len(names)} frames that were merged; name one of them, for "
        f"example {names[0]}"
    )


def repaired_answer(done: Repaired) -> dict[str, object]:
    """Turn a repaired picture into plain lists and dictionaries, the keys of the JSON.

    Parameters
    ----------
    done : Repaired
        From `repair`.
    """
    return asdict(done)


def _caught_up(
    book: Book,
    folder: Path,
    views: Views,
    mark: str,
    decoder: Decoder,
    back: Repair | None,
    progress: Progress,
) -> Repaired:
    standing = repairs_of(book, folder, mark)
    names = {view.frame: k for k, view in enumerate(views.views)}
    size = size_of(views)
    regions = [Region(names[one.frame], mask_of(one, size)) for one in standing]
    state = state_of(mark, standing)
    shares: Sequence[float | None] = [None] * len(standing)
    if (rendered(folder) or "") != (state if standing else ""):
        frames = _frames(views, {region.index for region in regions}, folder)
        taken = render_repairs(folder, views, regions, frames, decoder, state, progress)
        shares = [one.seen for one in taken]
    said = []
    for one, region, share in zip(standing, regions, shares, strict=True):
        box = box_of(region.mask)
        assert box is not None
        place = (box.x0, box.y0, box.x1, box.y1)
        said.append(Said(one.id, one.frame, one.depth, one.polygon_px, place, share))
    return Repaired(
        str(folder),
        f"{MADE}/{PICTURE}" if standing else None,
        f"{MADE}/{JPEG}" if standing else None,
        f"{MADE}/{ORIGIN}" if standing else None,
        tuple(said),
        None if back is None else back.id,
    )


def _asked(
    views: Views,
    polygon_px: Corners | None,
    mask: Path | None,
    frame: str | None,
    depth: float | None,
) -> Repair:
    size = size_of(views)
    data = None
    if polygon_px is not None:
        if len(polygon_px) < 3 or not all(math.isfinite(v) for p in polygon_px for v in p):
            raise UsageError("--polygon needs at least three corners, such as 10,10 90,10 50,80.")
        region = polygon_mask(list(polygon_px), size)
    else:
        assert mask is not None
        region = _read_mask(mask, size)
        data = _png(region)
    box = box_of(region)
    if box is None:
        raise UsageError(
            f"the region lies outside the picture, which is {size[0]} x {size[1]} px, or is empty"
        )
    if frame is None:
        assert depth is not None
        if not math.isfinite(depth):
            raise UsageError(f"--depth {depth} is no depth; read it in the depth map.")
        rows, cols = np.nonzero(region > 127)
        number = views.nearest(depth, float(cols.mean()), float(rows.mean()))
        frame = views.views[number].frame
    return Repair(0, frame, depth, polygon_px, data)


def size_of(views: Views) -> tuple[int, int]:
    """Width and height of the merged picture.

    Parameters
    ----------
    views : Views
        Of the merge.
    """
    x0, y0, x1, y1 = views.crop_px
    return x1 - x0, y1 - y0


def mask_of(one: Repair, size: tuple[int, int]) -> Mask:
    """Draw the region of a repair.

    Parameters
    ----------
    one : Repair
        The repair.
    size : tuple of 2 ints
        Width and height of the merged picture.
    """
    from PIL import Image

    if one.polygon_px is not None:
        return polygon_mask(list(one.polygon_px), size)
    assert one.mask_png is not None
    with Image.open(io.BytesIO(one.mask_png)) as picture:
        return np.asarray(picture.convert("L"))


def _read_mask(path: Path, size: tuple[int, int]) -> Mask:
    from PIL import Image

    try:
        with Image.open(path) as picture:
            if picture.size != size:
                raise UsageError(
                    f"{path}: is {picture.width} x {picture.height} px; a mask has the merged "
                    f"picture's size, {size[0]} x {size[1]}."
                )
            return np.asarray(picture.convert("L"))
    except (OSError, Image.DecompressionBombError, SyntaxError) as error:
        if isinstance(error, UsageError):
            raise
        raise UsageError(f"{path}: is no picture that can be read; give a grey PNG.") from error


def _png(mask: Mask) -> bytes:
    from PIL import Image

    buffer = io.BytesIO()
    Image.fromarray(np.where(mask > 127, np.uint8(255), np.uint8(0))).save(buffer, "PNG")
    return buffer.getvalue()


def state_of(mark: str, standing: Sequence[Repair]) -> str:
    """Name a list of repairs, so that a rendered picture can tell which it shows.

    Parameters
    ----------
    mark : str
        Of the merge.
    standing : sequence of Repair
        Oldest first.
    """
    told = hashlib.sha256(mark.encode())
    for one in standing:  # a number is given anew once what had it is gone
        told.update(f"\n{one.id} {one.frame} {one.polygon_px}".encode())
        told.update(one.mask_png or b"")
    return told.hexdigest()


def _frames(views: Views, wanted: set[int], folder: Path) -> dict[int, Frame]:
    """Describe the frames that are needed."""
    out = {}
    for k in sorted(wanted):
        view = views.views[k]
        gone = [path for path in files_of(view, folder) if not path.is_file()]
        if gone:
            raise SweepError(
                f"{gone[0]}: is not there any more; plug its disk in, or merge the sweep again"
            )
        found = frame_of(view, folder)
        if found is None:
            raise SweepError(f"{view.path}: can't be read any more; merge the sweep again")
        out[k] = found
    return out
