"""Addresses of patches: what lies under one, how it would look, putting it and second thoughts."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path as File
from typing import Annotated

import numpy as np
from fastapi import APIRouter, Path, Query, Request, Response
from PIL import Image

from haltere.doors.bench.limits import LIMITS
from haltere.doors.bench.outings import Number, RunId, shelf_of
from haltere.doors.bench.pictures import Jpeg, Rev, jpeg_answer
from haltere.doors.bench.pyramid import jpeg
from haltere.doors.bench.said import JobSaid, Layer
from haltere.doors.bench.said_picture import (
    AroundAsked,
    PatchAsked,
    PatchesSaid,
    PatchSaid,
    PlaceSaid,
    PlaneSaid,
    SharpestSaid,
    UnderSaid,
)
from haltere.doors.bench.shelf import Shelf, merge_in, revision, within
from haltere.doors.bench.work import said_job
from haltere.errors import UsageError
from haltere.evening import patching, under_patch
from haltere.fieldbook import (
    Book,
    ask,
    frame_ids,
    frames_in,
    outing_numbered,
    redo_repair,
    undo_repair,
)
from haltere.frames.frame import Frame
from haltere.merge.merged import Merge
from haltere.merge.patch import Codes
from haltere.merge.repairing import JPEG, MADE, PICTURE
from haltere.show.pictures import with_profile

_POINT = r"-?[0-9]{1,5}(\.[0-9]{1,2})?,-?[0-9]{1,5}(\.[0-9]{1,2})?"
Around = Annotated[str, Query(pattern=f"^{_POINT}(;{_POINT}){{2,199}}$", max_length=4000)]
"""Corners of a region as "x,y;x,y;x,y", pixels of the merged picture."""

routes = APIRouter(prefix="/api/outings/{outing}/runs/{run}/patches", tags=["patches"])


@dataclass(frozen=True, slots=True)
class Merged:
    """A merge that the bench may work on: its folder, and the frames that went in."""

    folder: File
    merge: Merge
    frames: dict[str, Frame]
    numbers: dict[str, int]
    outing: int

    def named(self, number: int) -> str:
        """Give the name of a merged frame.

        Raises
        ------
        UsageError
            When it was not merged.
        """
        name = next((name for name, known in self.numbers.items() if known == number), None)
        if name is None or name not in self.merge.frames_used:
            raise UsageError("This frame was not merged into the picture; choose another one.")
        return name


def merged_of(shelf: Shelf, book: Book, outing: int, run: str) -> Merged:
    """Find a merge, and refuse what lies outside the book's folders.

    Parameters
    ----------
    shelf : Shelf
        What the bench holds.
    book : Book
        Open book.
    outing : int
        Its number.
    run : str
        The sweep.

    Raises
    ------
    UsageError
        When it is not merged, or its files are gone.
    """
    row = outing_numbered(book, outing)
    merge, path = merge_in(book, row.id, run)
    roots = shelf.roots(row)
    folder = within(path, roots, path.name).parent
    used = set(merge.frames_used)
    known = {one.name: one for one in frames_in(book, row.id) if one.name in used}
    for one in known.values():
        within(one.path, roots, one.name)
    return Merged(folder, merge, known, frame_ids(book, row.id), row.id)


def _corners(around: str) -> tuple[tuple[float, float], ...]:
    points = (one.split(",") for one in around.split(";"))
    return tuple((float(x), float(y)) for x, y in points)


def _icc(path: File) -> bytes | None:
    with Image.open(path) as picture:
        found = picture.info.get("icc_profile")
    return found if isinstance(found, bytes) else None


def _as_jpeg(codes: Codes, at: Merged) -> bytes:
    rgb8 = ((codes.astype(np.uint32) + 128) // 257).astype(np.uint8)
    picture = with_profile(Image.fromarray(rgb8), _icc(at.folder / at.merge.picture_jpeg))
    return jpeg(np.asarray(picture), LIMITS.patch_quality)


def _standing(book: Book, at: Merged) -> PatchesSaid:
    told = patching.patches(book, at.folder)
    layer = None
    if told.written:
        x0, y0, x1, y1 = at.merge.crop_px
        layer = Layer("repaired", revision(at.folder / MADE / JPEG), x1 - x0, y1 - y0)
    return PatchesSaid(
        tuple(
            PatchSaid(one.id, one.frame, one.polygon_px, box)
            for one, box in zip(told.standing, told.boxes_px, strict=True)
        ),
        told.again, told.written, told.current, layer, str(at.folder / MADE / PICTURE),
    )  # fmt: skip


@routes.get("")
def standing(request: Request, outing: Number, run: RunId) -> PatchesSaid:
    """Tell the patches that stand."""
    shelf = shelf_of(request)
    with shelf.book() as book:
        return _standing(book, merged_of(shelf, book, outing, run))


@routes.post("")
def put(request: Request, outing: Number, run: RunId, said: PatchAsked) -> PatchesSaid:
    """Write a patch down."""
    shelf = shelf_of(request)
    with shelf.book() as book:
        at = merged_of(shelf, book, outing, run)
        patching.put_patch(book, at.folder, said.around, at.named(said.frame))
        return _standing(book, at)


@routes.post("/undo")
def take_back(request: Request, outing: Number, run: RunId) -> PatchesSaid:
    """Take the last patch back."""
    shelf = shelf_of(request)
    with shelf.book() as book:
        at = merged_of(shelf, book, outing, run)
        if undo_repair(book, at.folder, patching.mark_of(at.folder)) is None:
            raise UsageError("There is no patch to take back.")
        return _standing(book, at)


@routes.post("/redo")
def put_again(request: Request, outing: Number, run: RunId) -> PatchesSaid:
    """Let the patch stand again that was taken back last."""
    shelf = shelf_of(request)
    with shelf.book() as book:
        at = merged_of(shelf, book, outing, run)
        if redo_repair(book, at.folder, patching.mark_of(at.folder)) is None:
            raise UsageError("There is no patch to put again.")
        return _standing(book, at)


@routes.post("/write")
def write(request: Request, outing: Number, run: RunId) -> JobSaid:
    """Ask for the picture to be written with the patches that stand."""
    shelf = shelf_of(request)
    with shelf.book() as book:
        at = merged_of(shelf, book, outing, run)
        return said_job(ask(book, "patch", at.outing, run))


@routes.get("/place")
def place(
    request: Request, outing: Number, run: RunId,
    x: Annotated[float, Query(ge=0, le=100_000, allow_inf_nan=False)],
    y: Annotated[float, Query(ge=0, le=100_000, allow_inf_nan=False)],
) -> PlaceSaid:  # fmt: skip
    """Tell what is known of one pixel of the merged picture."""
    shelf = shelf_of(request)
    with shelf.book() as book:
        at = merged_of(shelf, book, outing, run)
        found = under_patch.place_at(book, at.folder, x, y)
    return PlaceSaid(at.merge.depth_unit, found.frame, found.depth, found.confidence, found.patched)


@routes.post("/under")
def under(request: Request, outing: Number, run: RunId, said: AroundAsked) -> UnderSaid:
    """Tell which planes lie under a region."""
    shelf = shelf_of(request)
    with shelf.book() as book:
        at = merged_of(shelf, book, outing, run)
        found = under_patch.under(book, at.folder, said.around)
    planes = tuple(
        PlaneSaid(one.frame, at.numbers[one.frame], one.depth, one.sees, one.share)
        for one in found.planes
        if one.frame in at.frames
    )
    return UnderSaid(
        found.box_px, found.picture_share, at.merge.depth_unit, found.depth,
        at.numbers[found.nearest], planes,
    )  # fmt: skip


@routes.post("/sharpest")
def sharpest(request: Request, outing: Number, run: RunId, said: AroundAsked) -> SharpestSaid:
    """Measure which frame is sharpest in a region."""
    shelf = shelf_of(request)
    with shelf.book() as book:
        at = merged_of(shelf, book, outing, run)
        about = under_patch.under(book, at.folder, said.around).depth
    found = patching.sharpest(at.folder, said.around, at.frames, shelf.decoder, about)
    return SharpestSaid(at.numbers[next(iter(found))], found)


@routes.get("/preview", response_class=Jpeg)
def preview(
    request: Request, outing: Number, run: RunId, around: Around,
    frame: Annotated[int, Query(ge=1, le=2**53)], rev: Rev = "",
) -> Response:  # fmt: skip
    """Show how a region would look from one frame; `rev` names the patches before it."""
    shelf = shelf_of(request)
    with shelf.book() as book:
        at = merged_of(shelf, book, outing, run)
        name, corners = at.named(frame), _corners(around)
        before = [(one.id, one.done) for one in patching.patches(book, at.folder).standing]
        key = (str(at.folder), patching.mark_of(at.folder), str(before), around, frame)
        return jpeg_answer(
            shelf.kept(
                key,
                lambda: _as_jpeg(
                    patching.seen_patched(book, at.folder, corners, name, at.frames, shelf.decoder),
                    at,
                ),
            )
        )


@routes.get("/{patch}/look", response_class=Jpeg)
def look(
    request: Request, outing: Number, run: RunId,
    patch: Annotated[int, Path(ge=1, le=2**53)], rev: Rev = "",
) -> Response:  # fmt: skip
    """Show the part of the picture that a patch changes; `rev` names it and those before it."""
    shelf = shelf_of(request)
    with shelf.book() as book:
        at = merged_of(shelf, book, outing, run)
        before = [(one.id, one.done) for one in patching.patches(book, at.folder).standing]
        key = (str(at.folder), patching.mark_of(at.folder), str(before), patch)
        return jpeg_answer(
            shelf.kept(
                key,
                lambda: _as_jpeg(
                    patching.patch_rendered(book, at.folder, patch, at.frames, shelf.decoder), at
                ),
            )
        )
