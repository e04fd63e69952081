"""Addresses of exports: asking for one, and fetching the files that it made."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import msgspec
from fastapi import APIRouter, Request
from fastapi import Path as InPath
from fastapi.responses import FileResponse

from haltere.doors.bench.outings import Number, shelf_of
from haltere.doors.bench.said import JobSaid
from haltere.doors.bench.sightings_said import ExportAsked, LeavingSaid
from haltere.doors.bench.work import said_job
from haltere.errors import UsageError
from haltere.fieldbook import Job, ask, open_book, outing_numbered
from haltere.fieldbook.sightings import sightings
from haltere.frames.writing import make_folder, write_bytes
from haltere.progress import Progress
from haltere.records import Titles, Wanted, cautions, export, makers, one_line, refuse_grid

FOLDER, SAID = "exports", "export.json"
FILES = r"^sightings\.(zip|csv|geojson)$"
KINDS = {"zip": "application/zip", "csv": "text/csv", "geojson": "application/geo+json"}

routes = APIRouter(prefix="/api", tags=["sightings"])


@routes.post("/exports")
def ask_for_export(request: Request, said: ExportAsked) -> JobSaid:
    """Ask for an export; it is made beside the page."""
    with shelf_of(request).book() as book:
        refuse_grid(said.grid_deg)
        if said.outing is not None:
            outing_numbered(book, said.outing)
        makers(sightings(book), said.creator)
        return said_job(ask(book, "export", said.outing, "", asdict(said)))


@routes.get("/exports/{job}")
def what_left(request: Request, job: Number) -> LeavingSaid:
    """Tell what left with an export."""
    return _read(shelf_of(request).folder / FOLDER / str(job))


@routes.get("/exports/{job}/{name}", response_class=FileResponse)
def exported_file(
    request: Request, job: Number, name: Annotated[str, InPath(pattern=FILES)]
) -> FileResponse:
    """Give one file of an export."""
    path = shelf_of(request).folder / FOLDER / str(job) / name
    if not path.is_file():
        raise UsageError(f"{name}: is no longer where it was; export again")
    kind = KINDS[path.suffix.removeprefix(".")]
    return FileResponse(path, media_type=kind, filename=name)


def _read(folder: Path) -> LeavingSaid:
    try:
        return msgspec.json.decode((folder / SAID).read_bytes(), type=LeavingSaid)
    except (OSError, msgspec.MsgspecError):
        raise UsageError("This export is no longer there; export again.") from None


def make_export(folder: Path, job: Job, progress: Progress) -> None:
    """Write the files of an export into the book's folder, and what was said of them.

    Parameters
    ----------
    folder : Path
        The book's folder.
    job : Job
        What was asked for.
    progress : Progress
        Told of each picture.
    """
    said = msgspec.convert(job.params, ExportAsked)
    out = folder / FOLDER / str(job.id)
    make_folder(out)
    with open_book(folder) as book:
        wanted = Wanted(
            said.places, said.grid_deg, said.pictures, said.formats, said.outing, said.since,
            said.until,
        )  # fmt: skip
        titles = Titles(
            one_line(said.title) or "Sightings", makers(sightings(book), said.creator),
            said.licence, one_line(said.rights_holder),
        )  # fmt: skip
        done = export(book, wanted, titles, out, progress)
    left = LeavingSaid(
        **{
            **asdict(done),
            "files": tuple(Path(name).name for name in done.files),
            "skipped": done.skipped,
        },
        folder=str(out),
        places=cautions.place_told(
            said.places,
            done.exact,
            done.vague,
            done.withheld,
            "Ask for a grid or exact places, each time, to let them go.",
        ),
        caution=cautions.EXPORT,
    )
    write_bytes(out / SAID, msgspec.json.encode(left))
