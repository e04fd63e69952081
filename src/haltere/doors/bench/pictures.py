"""Addresses of pictures: looks, crops and tiles, named by numbers only."""

from __future__ import annotations

from enum import IntEnum
from typing import Annotated

from fastapi import APIRouter, Path, Query, Request, Response

from haltere.doors.bench.limits import LIMITS
from haltere.doors.bench.outings import Number, RunId, shelf_of
from haltere.doors.bench.pyramid import Rgb, tile
from haltere.doors.bench.shelf import LayerName, file_of, within
from haltere.errors import UsageError
from haltere.fieldbook import answers_in, outing_numbered
from haltere.merge.merged import Merge
from haltere.merge.repairing import JPEG, MADE

Level = Annotated[int, Path(ge=0, le=20)]
Place = Annotated[int, Path(ge=0, le=4096)]
Rev = Annotated[str, Query(max_length=60)]
"""Changes with the file; the page sends it so that the browser may keep what it has."""

KEPT = {"cache-control": "private, max-age=31536000, immutable"}

routes = APIRouter(prefix="/api", tags=["pictures"])


class Longest(IntEnum):
    """Longest side of a look, px: few sizes, so that each is made once."""

    TINY = 160
    SMALL = 320
    MIDDLE = 640
    LARGE = 1280


class Jpeg(Response):
    """A picture."""

    media_type = "image/jpeg"


def jpeg_answer(content: bytes | None) -> Response:
    """Answer with a picture that the browser may keep; refuse where there is none.

    Parameters
    ----------
    content : bytes or None
        The picture.

    Raises
    ------
    UsageError
        Where there is none.
    """
    if content is None:
        raise UsageError("The picture has no such part; load the page anew.")
    return Jpeg(content, headers=KEPT)


@routes.get("/frames/{frame}/look", response_class=Jpeg)
def look(
    request: Request, frame: Number, rev: Rev = "", longest: Longest = Longest.SMALL
) -> Response:
    """Give a small look at a whole frame."""
    shelf = shelf_of(request)
    return jpeg_answer(shelf.look(shelf.frame(frame), int(longest)))


@routes.get("/frames/{frame}/crop", response_class=Jpeg)
def crop(
    request: Request,
    frame: Number,
    x: Annotated[float, Query(ge=-10_000, le=100_000, allow_inf_nan=False)],
    y: Annotated[float, Query(ge=-10_000, le=100_000, allow_inf_nan=False)],
    side: Annotated[int, Query(ge=LIMITS.crop_px[0], le=LIMITS.crop_px[1])] = 208,
    rev: Rev = "",
) -> Response:
    """Give a crop of a frame at one picture pixel a pixel."""
    shelf = shelf_of(request)
    return jpeg_answer(shelf.eye(shelf.frame(frame), (x, y), side))


@routes.get("/frames/{frame}/tiles/{level}/{column}/{row}", response_class=Jpeg)
def frame_tile(
    request: Request, frame: Number, level: Level, column: Place, row: Place, rev: Rev = ""
) -> Response:
    """Give one tile of a frame; level 0 is full size."""
    shelf = shelf_of(request)
    return jpeg_answer(shelf.tile(shelf.frame(frame), level, column, row))


@routes.get("/frames/{frame}/preview/{level}/{column}/{row}", response_class=Jpeg)
def preview_tile(
    request: Request, frame: Number, level: Level, column: Place, row: Place, rev: Rev = ""
) -> Response:
    """Give one tile of the picture inside a raw file, while the frame is not developed yet."""
    shelf = shelf_of(request)
    return jpeg_answer(tile(shelf.preview(shelf.frame(frame)), level, column, row))


@routes.get(
    "/outings/{outing}/runs/{run}/layers/{which}/tiles/{level}/{column}/{row}",
    response_class=Jpeg,
)
def layer_tile(
    request: Request, outing: Number, run: RunId, which: LayerName, level: Level, column: Place,
    row: Place, rev: Rev = "",
) -> Response:  # fmt: skip
    """Give one tile of a merged picture or of one of its maps."""
    return jpeg_answer(tile(_layer(request, outing, run, which), level, column, row))


@routes.get("/outings/{outing}/runs/{run}/layers/{which}/look", response_class=Jpeg)
def layer_look(
    request: Request, outing: Number, run: RunId, which: LayerName, rev: Rev = ""
) -> Response:
    """Give a merged picture or one of its maps small enough for one tile."""
    levels = _layer(request, outing, run, which)
    return jpeg_answer(tile(levels, len(levels) - 1, 0, 0))


def _layer(request: Request, outing: int, run: str, which: LayerName) -> list[Rgb]:
    shelf = shelf_of(request)
    with shelf.book() as book:
        row = outing_numbered(book, outing)
        answered = answers_in(book, row.id, run).get(("merge", run))
    merge = None if answered is None else answered.as_a(Merge)
    if merge is None:
        raise UsageError(f"{run}: is not merged yet; merge it first")
    name = {
        "merged": merge.picture_jpeg,
        "origin": merge.origin_map,
        "depth": merge.depth_map,
        "confidence": merge.confidence_map,
        "repaired": merge.picture_jpeg,
    }[which]
    path = file_of(answered, name)
    if path is None:
        raise UsageError(f"{run}: its pictures are gone or were changed; merge it again")
    if which == "repaired":
        path = path.with_name(MADE) / JPEG
    return shelf.layer(within(path, shelf.roots(row), path.name), which)
