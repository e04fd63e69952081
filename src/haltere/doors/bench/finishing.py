"""Addresses of a picture's crop and what it carries, of lengths on it, and of its delivery."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path as File
from typing import Annotated

import msgspec
from fastapi import APIRouter, Query, Request
from fastapi.responses import FileResponse

from haltere.doors.bench.exports import FOLDER
from haltere.doors.bench.finishing_said import (
    CarriedSaid,
    DeliverAsked,
    DeliveredSaid,
    FinishAsked,
    FinishSaid,
    LineAsked,
    LineKept,
    LineSaid,
)
from haltere.doors.bench.outings import Number, RunId, shelf_of
from haltere.doors.bench.page_words import on_page
from haltere.doors.bench.patching import merged_of
from haltere.doors.bench.said import JobSaid
from haltere.doors.bench.shelf import Shelf, capture_before
from haltere.doors.bench.work import said_job
from haltere.errors import UsageError
from haltere.evening import Told
from haltere.evening.finishing import one_source
from haltere.evening.ruled import Line, Ruled, keep, kept, rule, subject_of
from haltere.evening.scale_known import has_depth, scale_of
from haltere.evening.settled import budget_of, settings_of, settle
from haltere.fieldbook import Book, Job, answers_in, ask, job_numbered, newest_kit, open_book
from haltere.fieldbook.finishing import finishings_of, undo_finishing
from haltere.fieldbook.measured import undo_line
from haltere.finish.crop import Box, crop_box
from haltere.finish.measuring import scale_words
from haltere.finish.scale_bar import Bar, bar_for
from haltere.finish.source import Source, sources_of
from haltere.frames.writing import make_folder, write_bytes
from haltere.kit import Capture
from haltere.progress import Progress

SAID = "delivered.json"
Crop = Annotated[str, Query(max_length=60)]
Millimetres = Annotated[float, Query(gt=0, le=100_000, allow_inf_nan=False)]

routes = APIRouter(prefix="/api/outings/{outing}/runs/{run}/finish", tags=["finishing"])


@dataclass(frozen=True, slots=True)
class Picture:
    """A merged picture and what the book knows of how it was taken."""

    source: Source
    told: Told
    taken: Capture

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height."""
        return self.source.frame.width_px, self.source.frame.height_px


def picture_of(shelf: Shelf, book: Book, outing: int, run: str) -> Picture:
    """Find a merged picture, with the kit that it was taken with.

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
    at = merged_of(shelf, book, outing, run)
    source = one_source(at.folder)
    return Picture(source, *_taken(book, outing, run, source))


def _taken(book: Book, outing: int, run: str, source: Source) -> tuple[Told, Capture]:
    from haltere.evening import capture_of

    kit = newest_kit(book)
    taken = capture_before(answers_in(book, outing, run))
    if taken is None:
        return Told(kit), capture_of([source.frame], Told(kit))
    # the newest kit's errors are those of this picture only where it was taken with that kit
    same = kit is not None and kit.magnification == taken.magnification
    return Told(kit if same else None), taken


@routes.get("")
def stands(request: Request, outing: Number, run: RunId) -> FinishSaid:
    """Tell what stands of a picture's finishing."""
    shelf = shelf_of(request)
    with shelf.book() as book:
        return _said(book, picture_of(shelf, book, outing, run))


@routes.get("/carries")
def carries(
    request: Request, outing: Number, run: RunId, crop: Crop = "whole",
    viewing_mm: Millimetres = 400.0, print_mm: Millimetres | None = None,
    bar_mm: Millimetres | None = None,
) -> CarriedSaid:  # fmt: skip
    """Tell what a crop would carry; nothing is written down."""
    shelf = shelf_of(request)
    with shelf.book() as book:
        at = picture_of(shelf, book, outing, run)
        return _carried(at, crop_box(at.size_px, crop), viewing_mm, print_mm, bar_mm)


@routes.post("")
def change(request: Request, outing: Number, run: RunId, said: FinishAsked) -> FinishSaid:
    """Write down what the picture shall be made with; the picture itself stays as it is."""
    shelf = shelf_of(request)
    changes = {
        "crop": said.crop, "bar": said.bar, "bar_mm": said.bar_mm, "corner": said.corner,
    }  # fmt: skip
    with shelf.book() as book:
        at = picture_of(shelf, book, outing, run)
        settings = settings_of(book, at.source).changed(**changes)
        if settings.bar != "none":
            _bar(at, crop_box(at.size_px, settings.crop), settings.bar_mm)
        settle(book, at.source, changes)
        return _said(book, at)


@routes.post("/undo")
def take_back(request: Request, outing: Number, run: RunId) -> FinishSaid:
    """Take the last settings back."""
    shelf = shelf_of(request)
    with shelf.book() as book:
        at = picture_of(shelf, book, outing, run)
        if undo_finishing(book, at.source.folder or at.source.frame.path) is None:
            raise UsageError("There is nothing to take back.")
        return _said(book, at)


@routes.post("/measure")
def measure(request: Request, outing: Number, run: RunId, said: LineAsked) -> LineSaid:
    """Measure a line with corners, in depth where the merge knows it."""
    shelf = shelf_of(request)
    with shelf.book() as book:
        at = picture_of(shelf, book, outing, run)
        ruled = _ruled(at, said.as_line())
        return LineSaid(ruled.measured, ruled.scale, scale_words(ruled.scale))


@routes.post("/lines")
def keep_measured(request: Request, outing: Number, run: RunId, said: LineKept) -> FinishSaid:
    """Write a measured line down, with what came of it."""
    shelf = shelf_of(request)
    with shelf.book() as book:
        at = picture_of(shelf, book, outing, run)
        line = said.as_line()
        keep(book, at.source, said.name, line, _ruled(at, line))
        return _said(book, at)


@routes.post("/lines/undo")
def take_line_back(request: Request, outing: Number, run: RunId) -> FinishSaid:
    """Take the last measured line back."""
    shelf = shelf_of(request)
    with shelf.book() as book:
        at = picture_of(shelf, book, outing, run)
        if undo_line(book, subject_of(at.source)) is None:
            raise UsageError("There is nothing to take back.")
        return _said(book, at)


@routes.post("/deliver")
def deliver(request: Request, outing: Number, run: RunId, said: DeliverAsked) -> JobSaid:
    """Ask for the finished picture as a file that may leave, without the place."""
    shelf = shelf_of(request)
    with shelf.book() as book:
        picture_of(shelf, book, outing, run)
        return said_job(ask(book, "finish", outing, run, asdict(said)))


@routes.get("/delivered/{job}")
def delivered(request: Request, outing: Number, run: RunId, job: Number) -> DeliveredSaid:
    """Tell what was made ready to leave."""
    return _read(shelf_of(request), outing, run, job)


@routes.get("/delivered/{job}/file", response_class=FileResponse)
def delivered_file(request: Request, outing: Number, run: RunId, job: Number) -> FileResponse:
    """Give the file that was made ready to leave."""
    shelf = shelf_of(request)
    said = _read(shelf, outing, run, job)
    path = shelf.folder / FOLDER / str(job) / File(said.file).name
    if not path.is_file():
        raise UsageError(f"{said.file}: is no longer where it was; make it again")
    return FileResponse(path, filename=path.name)


def _read(shelf: Shelf, outing: int, run: str, job: int) -> DeliveredSaid:
    with shelf.book() as book:
        known = job_numbered(book, job)
    path = shelf.folder / FOLDER / str(job) / SAID
    if (known.kind, known.outing_id, known.subject) != ("finish", outing, run):
        raise UsageError("This was not made of that picture; make it again.")
    try:
        return msgspec.json.decode(path.read_bytes(), type=DeliveredSaid)
    except (OSError, msgspec.MsgspecError):
        raise UsageError("The file is no longer there; make it again.") from None


def _said(book: Book, at: Picture) -> FinishSaid:
    settings = settings_of(book, at.source)
    scale = scale_of(at.source, at.told, at.taken)
    box = crop_box(at.size_px, settings.crop)
    return FinishSaid(
        at.size_px, settings, _carried(at, box, 400.0, None, settings.bar_mm), scale,
        has_depth(at.source) and scale is not None and scale.pupil_mm is not None,
        bool(finishings_of(book, at.source.folder or at.source.frame.path)),
        kept(book, at.source),
    )  # fmt: skip


def _carried(
    at: Picture, box: Box, viewing_mm: float, print_mm: float | None, bar_mm: float | None
) -> CarriedSaid:
    budget = budget_of(at.source, box, at.taken, viewing_mm=viewing_mm, print_mm=print_mm)
    try:
        return CarriedSaid(budget, _bar(at, box, bar_mm), "")
    except UsageError as why:
        return CarriedSaid(budget, None, on_page(str(why)))


def _ruled(at: Picture, line: Line) -> Ruled:
    if line.known_mm is None and scale_of(at.source, at.told, at.taken) is None:
        raise UsageError(
            "How large a pixel is on the animal is not known; measure something of known length "
            "first."
        )
    return rule(at.source, at.told, line, at.taken)


def _bar(at: Picture, box: Box, bar_mm: float | None) -> Bar:
    scale = scale_of(at.source, at.told, at.taken)
    if scale is None:
        raise UsageError("A scale bar needs the size of a pixel on the animal; it is not known.")
    return bar_for(box[2] - box[0], scale.mm_per_px, bar_mm)


def make_delivery(folder: File, merge: File, job: Job, progress: Progress) -> None:
    """Render a picture as its settings say, and make a file of it that may leave.

    Parameters
    ----------
    folder : Path
        The book's folder.
    merge : Path
        Folder of the merge.
    job : Job
        What was asked for.
    progress : Progress
        Told of the steps.
    """
    from haltere.evening.finishing import Asked, finish
    from haltere.finish.caption import Caption
    from haltere.finish.delivery import Delivery
    from haltere.finish.delivery import deliver as hand_out
    from haltere.frames import Decoder

    said = msgspec.convert(job.params, DeliverAsked)
    source = one_source(merge)
    with open_book(folder) as book:
        told, taken = _taken(book, job.outing_id or 0, job.subject, source)
    wish = Delivery(
        said.kind, said.purpose, name="{date}-{name}",
        caption=Caption(said.caption, said.creator, said.rights),
    )  # fmt: skip
    out = folder / FOLDER / str(job.id)
    make_folder(out)
    with Decoder(1) as decoder:
        done = finish(
            merge, told, {}, Asked(), decoder, book_folder=folder, taken=taken, progress=progress
        )
        ready = source if done.picture is None else sources_of(File(done.out))[0]
        handed = hand_out([ready], wish, out, decoder, progress=progress)
    if not handed.files:
        raise UsageError(handed.left_out[0].why)
    one = handed.files[0]
    left = DeliveredSaid(one.file, one.width_px, one.height_px, one.disclosure, str(out))
    write_bytes(out / SAID, msgspec.json.encode(left))
