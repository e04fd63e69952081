"""A patch while it is being chosen: how it would look, where it is sharpest, what stands."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from haltere.errors import SweepError, UsageError
from haltere.evening.repairs import Corners, mask_of, size_of, state_of
from haltere.evening.under_patch import NUMBERS, box_about, mask_around, middle_of, sees
from haltere.fieldbook import Book, Repair, can_redo, keep_repair, repairs_of
from haltere.focus.detail import sharpness
from haltere.frames import Decoder, Frame, Pixels
from haltere.merge.patch import Box, Codes, Mask, box_of, seen_from
from haltere.merge.repairing import Region, render_part, rendered
from haltere.merge.views import Views, read_views
from haltere.progress import Progress, silent


@dataclass(frozen=True, slots=True)
class Patches:
    """The patches of a merged picture as they stand.

    Attributes
    ----------
    standing : tuple of Repair
        Oldest first.
    boxes_px : tuple of (4 ints)
        Part of the picture that each can change.
    again : bool
        Whether one that was taken back can stand again.
    written : int
        How many of the first ones the written picture shows.
    current : bool
        Whether what is written shows all of them and no other.
    """

    standing: tuple[Repair, ...]
    boxes_px: tuple[tuple[int, int, int, int], ...]
    again: bool
    written: int
    current: bool


def patches(book: Book, folder: Path) -> Patches:
    """Tell the patches that stand, and how far the written picture has followed.

    Parameters
    ----------
    book : Book
        Open book.
    folder : Path
        Where the merge lies.

    Raises
    ------
    SweepError
        When the folder holds no merge.
    """
    views, mark = read_views(folder)
    standing = repairs_of(book, folder, mark)
    size = size_of(views)
    boxes = [box_of(mask_of(one, size)) for one in standing]
    shown = rendered(folder)
    fits = [n for n in range(1, len(standing) + 1) if state_of(mark, standing[:n]) == shown]
    written = fits[0] if fits else 0
    current = written == len(standing) if standing else shown is None
    told = tuple((b.x0, b.y0, b.x1, b.y1) if b is not None else (0, 0, 0, 0) for b in boxes)
    return Patches(standing, told, can_redo(book, folder, mark), written, current)


def put_patch(book: Book, folder: Path, corners: Corners, frame: str) -> Repair:
    """Write a patch down without rendering anything.

    Parameters
    ----------
    book : Book
        Open book.
    folder : Path
        Where the merge lies.
    corners : tuple of (x, y)
        Region, pixels of the merged picture.
    frame : str
        Name of a merged frame.

    Raises
    ------
    UsageError
        When the region is empty or the frame was not merged.
    SweepError
        When the folder holds no merge.
    """
    views, mark = read_views(folder)
    _index_of(views, frame)
    box_about(mask_around(views, corners))
    return keep_repair(book, folder, mark, Repair(0, frame, None, corners, None))


def mark_of(folder: Path) -> str:
    """Tell this merge from another one in the same folder.

    Parameters
    ----------
    folder : Path
        Where the merge lies.
    """
    return read_views(folder)[1]


def seen_patched(
    book: Book,
    folder: Path,
    corners: Corners,
    frame: str,
    frames: Mapping[str, Frame],
    decoder: Decoder,
) -> Codes:
    """Render a region as it would look if it came from one frame, at full size.

    Parameters
    ----------
    book : Book
        Open book.
    folder : Path
        Where the merge lies.
    corners : tuple of (x, y)
        Region, pixels of the merged picture.
    frame : str
        Name of a merged frame.
    frames : mapping of str to Frame
        The merged frames by name.
    decoder : Decoder
        Open decoder.

    Returns
    -------
    ndarray of uint16, shape (h, w, 3)
        The part that `Under.box_px` names.

    Raises
    ------
    UsageError
        When the region is empty or the frame was not merged.
    SweepError
        When the folder holds no merge.
    FrameError
        When a frame can't be decoded.
    """
    views, mark = read_views(folder)
    asked = Repair(0, frame, None, corners, None)
    return _rendered(folder, views, (*repairs_of(book, folder, mark), asked), frames, decoder)


def patch_rendered(
    book: Book, folder: Path, number: int, frames: Mapping[str, Frame], decoder: Decoder
) -> Codes:
    """Render what a patch that stands changes, at full size, with those before it.

    Parameters
    ----------
    book : Book
        Open book.
    folder : Path
        Where the merge lies.
    number : int
        Its number in the book.
    frames : mapping of str to Frame
        The merged frames by name.
    decoder : Decoder
        Open decoder.

    Raises
    ------
    UsageError
        When no such patch stands.
    SweepError
        When the folder holds no merge.
    FrameError
        When a frame can't be decoded.
    """
    views, mark = read_views(folder)
    standing = repairs_of(book, folder, mark)
    place = next((i for i, one in enumerate(standing) if one.id == number), None)
    if place is None:
        raise UsageError(f"patch {number}: does not stand any more; load the page anew")
    return _rendered(folder, views, standing[: place + 1], frames, decoder)


def sharpest(
    folder: Path,
    corners: Corners,
    frames: Mapping[str, Frame],
    decoder: Decoder,
    about: float | None = None,
    progress: Progress = silent,
) -> dict[str, float]:
    """Measure how fine the detail of a region is in each frame that saw it.

    Holds three frames at a time.

    Parameters
    ----------
    folder : Path
        Where the merge lies.
    corners : tuple of (x, y)
        Region, pixels of the merged picture.
    frames : mapping of str to Frame
        The merged frames by name.
    decoder : Decoder
        Open decoder.
    about : float, optional
        Depth near which to look first, when there are more frames than are measured.
    progress : Progress, optional
        Told of each frame; may raise to cancel.

    Returns
    -------
    dict of str to float
        Frame to fineness, cycles per pixel, finest first; see `haltere.focus.detail.sharpness`.

    Raises
    ------
    UsageError
        When the region is empty or too small.
    SweepError
        When no frame saw the region.
    FrameError
        When a frame can't be decoded.
    """
    views, _ = read_views(folder)
    mask = mask_around(views, corners)
    whole = box_about(mask)
    inner = _filled(mask, whole)
    if min(inner.x1 - inner.x0, inner.y1 - inner.y0) < NUMBERS.least_px:
        raise UsageError("The patch is too small to tell sharpness there; make it larger.")
    x, y = middle_of(mask, whole)
    chosen = [k for k in range(len(views.views)) if sees(views, k, corners)]
    if not chosen:
        raise SweepError(f"{folder.name}: no frame saw the whole region; make it smaller")
    depths = {k: views.plane_at(k, x, y) for k in chosen}
    middle = float(np.median(list(depths.values()))) if about is None else about
    chosen = sorted(chosen, key=lambda k: abs(depths[k] - middle))[: NUMBERS.measured]
    place = (inner.x0 - whole.x0, inner.y0 - whole.y0, inner.x1 - whole.x0, inner.y1 - whole.y0)
    member = "raw" if views.raw else "jpeg"
    waiting: deque[tuple[int, Future[Pixels]]] = deque()
    found: dict[str, float] = {}
    todo = deque(chosen)
    while todo or waiting:
        while todo and len(waiting) <= NUMBERS.ahead:
            k = todo.popleft()
            frame = _frame(frames, views.views[k].frame)
            waiting.append((k, decoder.submit_rgb(frame, member=member)))  # type: ignore[arg-type]
        k, future = waiting.popleft()
        codes, _ = seen_from(views, k, future.result(), whole)
        grey = (codes @ np.array([0.299, 0.587, 0.114], np.float32)) / np.float32(257.0)
        found[views.views[k].frame] = sharpness(grey, place)
        progress("comparing", len(found), len(chosen))
    return dict(sorted(found.items(), key=lambda item: -item[1]))


def _rendered(
    folder: Path,
    views: Views,
    standing: Sequence[Repair],
    frames: Mapping[str, Frame],
    decoder: Decoder,
) -> Codes:
    size = size_of(views)
    regions = [Region(_index_of(views, one.frame), mask_of(one, size)) for one in standing]
    box_about(regions[-1].mask)
    needed = {one.index: _frame(frames, views.views[one.index].frame) for one in regions}
    return render_part(folder, views, regions, needed, decoder)[1]


def _filled(mask: Mask, within: Box) -> Box:
    """Tell where a region itself lies, without what blends about it."""
    part = mask[within.slices] > 127
    rows, cols = np.flatnonzero(part.any(1)), np.flatnonzero(part.any(0))
    return Box(
        within.x0 + int(cols[0]), within.y0 + int(rows[0]),
        within.x0 + int(cols[-1]) + 1, within.y0 + int(rows[-1]) + 1,
    )  # fmt: skip


def _index_of(views: Views, frame: str) -> int:
    for k, view in enumerate(views.views):
        if view.frame == frame:
            return k
    raise UsageError(f"{frame}: was not merged into this picture; choose another frame")


def _frame(frames: Mapping[str, Frame], name: str) -> Frame:
    if name not in frames:
        raise SweepError(f"{name}: is not in the book any more; merge the sweep again")
    return frames[name]
