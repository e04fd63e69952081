"""Addresses of a merged picture in depth: pair, relief, views from side to side."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Path, Request, Response
from fastapi.responses import FileResponse

from haltere.doors.bench.outings import Number, RunId, shelf_of
from haltere.doors.bench.patching import merged_of
from haltere.doors.bench.pictures import KEPT, Jpeg, Rev
from haltere.doors.bench.said import JobSaid
from haltere.doors.bench.said_picture import DepthSaid
from haltere.doors.bench.shelf import revision, within
from haltere.doors.bench.work import said_job
from haltere.errors import UsageError
from haltere.evening.in_depth import FOLDER, SAID, known_in_depth, picture_now
from haltere.fieldbook import ask

routes = APIRouter(prefix="/api/outings/{outing}/runs/{run}/depth", tags=["depth"])
Side = Annotated[int, Path(ge=0, le=64)]


@routes.get("")
def depth(request: Request, outing: Number, run: RunId) -> DepthSaid:
    """Tell what there is of a merged picture in depth."""
    shelf = shelf_of(request)
    with shelf.book() as book:
        at = merged_of(shelf, book, outing, run)
    known = known_in_depth(at.folder)
    if known is None or known.deep.stereo is None:
        return DepthSaid(None, False, 0, (1, 1), 0.0, False, 0.0, 0.0, 0.0, "")
    return DepthSaid(
        revision(at.folder / FOLDER / SAID), known.of == picture_now(at.folder), len(known.sides),
        known.size_px, known.swing_deg, known.deep.stereo.angle_sure,
        known.deep.stereo.guessed_share, known.deep.unknown_share, known.deep.end_share,
        known.deep.stereo.text,
    )  # fmt: skip


@routes.post("")
def make(request: Request, outing: Number, run: RunId) -> JobSaid:
    """Ask for a merged picture in depth."""
    shelf = shelf_of(request)
    with shelf.book() as book:
        at = merged_of(shelf, book, outing, run)
        return said_job(ask(book, "depth", at.outing, run))


@routes.get("/sides/{side}", response_class=Jpeg)
def one_side(
    request: Request, outing: Number, run: RunId, side: Side, rev: Rev = ""
) -> FileResponse:
    """Show the picture from one side; 0 is farthest to the left."""
    return _file(request, outing, run, f"side-{side:02d}.jpg", "image/jpeg")


@routes.get("/{which}", response_class=Response)
def shown(
    request: Request, outing: Number, run: RunId, which: Literal["pair", "red-cyan", "relief"],
    rev: Rev = "",
) -> FileResponse:  # fmt: skip
    """Show the pair, the picture for red and cyan glasses, or the relief."""
    if which == "relief":
        return _file(request, outing, run, "relief.png", "image/png")
    return _file(request, outing, run, f"{which}.jpg", "image/jpeg")


def _file(request: Request, outing: int, run: str, name: str, kind: str) -> FileResponse:
    shelf = shelf_of(request)
    with shelf.book() as book:
        at = merged_of(shelf, book, outing, run)
    path = at.folder / FOLDER / name
    if not path.is_file():
        raise UsageError(f"{run}: has no such view in depth yet; make them on its picture")
    return FileResponse(within(path, shelf.roots(), name), media_type=kind, headers=KEPT)
