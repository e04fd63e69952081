"""Addresses of long work: asking for it, following it, stopping it."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from dataclasses import asdict
from typing import Annotated

from fastapi import APIRouter, Path, Request
from fastapi.sse import EventSourceResponse, ServerSentEvent

from haltere.doors.bench.eyes import eye_now, moves
from haltere.doors.bench.limits import LIMITS
from haltere.doors.bench.outings import Number, RunId, shelf_of
from haltere.doors.bench.page_words import ON_UNLOAD, on_page
from haltere.doors.bench.said import JobSaid, Queue, WorkAsked
from haltere.doors.bench.shelf import Shelf
from haltere.errors import UsageError
from haltere.fieldbook import (
    Job,
    ask,
    cancel_job,
    frames_in,
    jobs,
    outing_numbered,
    outings,
    run_named,
    state_mark,
)

routes = APIRouter(prefix="/api", tags=["work"])


@routes.get("/jobs")
def queue(request: Request) -> Queue:
    """Tell all work that waits, runs or ended lately."""
    return _queue(shelf_of(request))


@routes.get("/jobs/follow", response_class=EventSourceResponse)
async def follow(request: Request) -> AsyncIterator[ServerSentEvent]:
    """Tell the queue, and again whenever it changes."""
    shelf, last = shelf_of(request), ""
    closing: asyncio.Event = request.app.state.closing
    while not closing.is_set():
        said = json.dumps(asdict(await asyncio.to_thread(_queue, shelf)))
        if said != last:
            last = said
            yield ServerSentEvent(raw_data=said, event="queue", retry=1000)
        try:
            await asyncio.wait_for(closing.wait(), LIMITS.follow_s)
        except TimeoutError:
            continue


@routes.post("/jobs/{job}/cancel")
def cancel(request: Request, job: Annotated[int, Path(ge=1, le=2**53)]) -> JobSaid:
    """Ask work to stop; it ends at its next step."""
    with shelf_of(request).book() as book:
        return said_job(cancel_job(book, job))


@routes.post("/demo")
def demo(request: Request) -> JobSaid:
    """Make up a card and work it, in a book that is empty."""
    with shelf_of(request).book() as book:
        if any(row.frames for row in outings(book)):
            raise UsageError("This book holds outings of yours; open an empty one for the demo.")
        return said_job(ask(book, "demo"))


@routes.post("/outings/{outing}/evening")
def whole_evening(request: Request, outing: Number) -> JobSaid:
    """Work a whole outing: split it, judge bursts, merge sweeps."""
    with shelf_of(request).book() as book:
        return said_job(ask(book, "evening", outing_numbered(book, outing).id))


@routes.post("/outings/{outing}/runs/{run}/work")
def work(request: Request, outing: Number, run: RunId, said: WorkAsked) -> JobSaid:
    """Ask for long work on one run: judging at another eye, covering, merging."""
    with shelf_of(request).book() as book:
        row = outing_numbered(book, outing)
        one = run_named(book, row.id, run)
        params: dict[str, object] = {}
        if said.kind == "judge" and one.kind == "sweep":
            raise UsageError(f"{run}: is a sweep; its eye is not judged frame by frame")
        if said.kind != "judge" and one.kind != "sweep":
            raise UsageError(f"{run}: is no sweep; there is nothing to merge")
        if said.eye is not None:
            frame = next((f for f in frames_in(book, row.id) if f.name == said.eye.frame), None)
            if frame is None or frame.name not in one.frames:
                raise UsageError(f"{said.eye.frame}: is no frame of {run}; load the page anew")
            if said.eye.x_px > frame.width_px - 1 or said.eye.y_px > frame.height_px - 1:
                raise UsageError(f"The eye lies outside {frame.name}; click on the picture.")
            params["eye"] = [said.eye.frame, said.eye.x_px, said.eye.y_px]
            params["before"] = eye_now(book, row.id, run)
        if said.without:
            strangers = [name for name in said.without if name not in one.frames]
            if strangers:
                raise UsageError(f"{strangers[0]}: is no frame of {run}; load the page anew")
            if len(one.frames) - len(set(said.without)) < 2:
                raise UsageError("A merge needs two frames at least; leave fewer out.")
            params["without"] = sorted(set(said.without))
        return said_job(ask(book, said.kind, row.id, run, params))


@routes.post("/outings/{outing}/runs/{run}/eye/back")
def eye_back(request: Request, outing: Number, run: RunId) -> JobSaid:
    """Judge a burst again at the eye that it had before the last move."""
    with shelf_of(request).book() as book:
        row = outing_numbered(book, outing)
        one = run_named(book, row.id, run)
        standing = moves(book, row.id, one.id)
        if not standing:
            raise UsageError("The eye was not moved here, or is just being moved.")
        last = standing[-1]
        params: dict[str, object] = {"back": last.id}
        if last.params["before"] is not None:
            params["eye"] = last.params["before"]
        return said_job(ask(book, "judge", row.id, one.id, params))


def _queue(shelf: Shelf) -> Queue:
    with shelf.book() as book:
        return Queue(tuple(said_job(job) for job in jobs(book)), state_mark(book))


def said_job(job: Job) -> JobSaid:
    """Say how a job stands.

    Parameters
    ----------
    job : Job
        The job.
    """
    own = ON_UNLOAD if job.kind == "unload" else None
    return JobSaid(
        job.id, job.kind, job.outing_id, job.subject, job.state,  # type: ignore[arg-type]
        on_page(job.step, own), job.done, job.total, on_page(job.error, own),
    )  # fmt: skip
