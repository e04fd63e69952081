"""Addresses of the season, an evening, a run, and of what the person decides."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request

from haltere.doors.bench import telling
from haltere.doors.bench.layers import grid
from haltere.doors.bench.said import ActSaid, AllOutings, Decision, EveningSaid, Grid, RunSaid
from haltere.doors.bench.shelf import Shelf, file_of, within
from haltere.errors import UsageError
from haltere.fieldbook import answers_in, decide, outing_numbered, undo
from haltere.merge.merged import Merge

Number = Annotated[int, Path(ge=1, le=2**53, examples=[1])]
RunId = Annotated[str, Path(pattern=r"^[a-z0-9-]{1,40}$", examples=["run-02"])]

routes = APIRouter(prefix="/api", tags=["outings"])


def shelf_of(request: Request) -> Shelf:
    """Give what the bench holds."""
    held = request.app.state.shelf
    assert isinstance(held, Shelf)
    return held


@routes.get("/outings")
def season(request: Request) -> AllOutings:
    """Tell all outings of the book."""
    with shelf_of(request).book() as book:
        return telling.season(book)


@routes.get("/outings/{outing}")
def evening(request: Request, outing: Number) -> EveningSaid:
    """Tell one outing run by run."""
    with shelf_of(request).book() as book:
        return telling.evening(book, outing_numbered(book, outing))


@routes.get("/outings/{outing}/runs/{run}")
def one_run(request: Request, outing: Number, run: RunId) -> RunSaid:
    """Tell everything of one run."""
    with shelf_of(request).book() as book:
        return telling.one_run(book, outing_numbered(book, outing), run)


@routes.get("/outings/{outing}/runs/{run}/origin")
def origin(request: Request, outing: Number, run: RunId) -> Grid:
    """Say which frame each place of a merged picture comes from."""
    shelf = shelf_of(request)
    with shelf.book() as book:
        row = outing_numbered(book, outing)
        answered = answers_in(book, row.id, run).get(("merge", run))
    merge = None if answered is None else answered.as_a(Merge)
    path = None if merge is None else file_of(answered, merge.origin_map)
    if merge is None or path is None:
        raise UsageError(f"{run}: is not merged yet, or its maps are gone; merge it again")
    return grid(merge, within(path, shelf.roots(row), path.name))


@routes.post("/outings/{outing}/decisions")
def decisions(request: Request, outing: Number, said: Decision) -> ActSaid:
    """Write down the person's word on some frames."""
    with shelf_of(request).book() as book:
        row = outing_numbered(book, outing)
        return ActSaid(decide(book, row.id, said.frames, said.verdict).what)


@routes.post("/undo")
def take_back(request: Request) -> ActSaid:
    """Take back the last act that still stands."""
    with shelf_of(request).book() as book:
        act = undo(book)
    if act is None:
        raise UsageError("There is nothing to take back.")
    return ActSaid(act.what)
