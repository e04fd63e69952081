"""The frames that a verb works on: files that were given, or a run of the field book."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from haltere.doors.cli.book_option import opened
from haltere.doors.cli.options import out_folder
from haltere.errors import UsageError

if TYPE_CHECKING:
    from haltere.evening import Told, Work
    from haltere.fieldbook import Book, OutingRow
    from haltere.frames import Decoder
    from haltere.frames.frame import Frame, Skipped


@dataclass(frozen=True, slots=True)
class RunGiven:
    """One run to work on.

    Attributes
    ----------
    frames : tuple of Frame
        Its frames.
    skipped : tuple of Skipped
        Files that were given and can't be read.
    subject : str
        The run's id in the book; empty for files.
    folder : Path
        Where the files lie.
    name : str
        What the outing is called.
    place : Path
        Folder of the book, and of what is derived.
    """

    frames: tuple[Frame, ...]
    skipped: tuple[Skipped, ...]
    subject: str
    folder: Path
    name: str
    place: Path


def run_given(
    given: Sequence[Path],
    book_folder: Path | None,
    outing: str | None,
    run_id: str | None,
    sweep_by: Decoder | None = None,
) -> RunGiven:
    """Find the frames of one run, in files or in the field book.

    With a decoder they are taken for a sweep, and their reading begins while the rest is loaded.

    Raises
    ------
    UsageError
        When both or neither were named, or the book has no such run.
    """
    if given and (run_id is not None or outing is not None or book_folder is not None):
        raise UsageError("give files, or --run with --book and --outing, not both")
    if given:
        from haltere.frames import find_frames

        early = find_frames(given)
        _begin(sweep_by, early.frames)
        from haltere.evening import folder_of, frames_given, outing_name

        found = frames_given(given, found=early)
        place = out_folder(None, given, "evenings")
        return RunGiven(
            tuple(found.frames),
            tuple(found.skipped),
            "",
            folder_of(given),
            outing_name(given),
            place,
        )
    if run_id is None:
        raise UsageError("which frames? Give a folder, files, or --run ID of your field book")
    from haltere.fieldbook import frames_in, run_named

    with opened(book_folder) as book:
        row = outing_of(book, outing)
        run = run_named(book, row.id, run_id)
        by_name = {frame.name: frame for frame in frames_in(book, row.id)}
        frames = tuple(by_name[name] for name in run.frames)
        _begin(sweep_by, frames)
        return RunGiven(
            frames,
            (),
            run.id,
            row.folder,
            row.name,
            book.folder,
        )


def _begin(decoder: Decoder | None, frames: Sequence[Frame]) -> None:
    """Begin to read the frames of a sweep."""
    if decoder is not None:
        from haltere.frames.limits import LIMITS

        decoder.read_ahead(frames, LIMITS.analysis_px)


def outing_of(book: Book, word: str | None) -> OutingRow:
    """Give the outing that was named, or the newest with pictures.

    Raises
    ------
    UsageError
        When there is none.
    """
    from haltere.fieldbook import outing_named, outings

    if word is not None:
        return outing_named(book, word)
    newest = outings(book)
    if not newest:
        raise UsageError(
            f"{book.folder}: this field book has no outing yet; begin with haltere unload CARD"
        )
    return next((one for one in newest if one.frames), newest[0])


@contextmanager
def working(run: RunGiven, decoder: Decoder, told: Told) -> Iterator[Work]:
    """Open the book that remembers the work on a run."""
    from haltere.evening import at_work

    known = bool(run.subject)
    with at_work(
        run.frames, run.folder, run.name, decoder, run.place, told.kit, known=known
    ) as work:
        yield work


@dataclass(frozen=True, slots=True)
class OutingGiven:
    """A whole outing to work on.

    Attributes
    ----------
    originals : Path
        Folder of the pictures.
    folder : Path
        Folder by which the book knows the outing.
    name : str or None
        What the book calls it; None for a bare folder, whose own name tells it.
    place : Path or None
        Folder of the book; None for a bare folder, which is adopted in place.
    out : Path or None
        Where the book keeps what is derived of this outing.
    frames : tuple of Frame
        As the book knows them; empty where they are to be looked for.
    """

    originals: Path
    folder: Path
    name: str | None = None
    place: Path | None = None
    out: Path | None = None
    frames: tuple[Frame, ...] = ()


def outing_given(folder: Path | None, book_folder: Path | None, outing: str | None) -> OutingGiven:
    """Find a whole outing: a folder, or one of the field book.

    Raises
    ------
    UsageError
        When both were named, or the book has none.
    """
    if folder is not None:
        if outing is not None or book_folder is not None:
            raise UsageError("give a folder, or --outing with --book, not both")
        return OutingGiven(folder, folder)
    from haltere.fieldbook import frames_in

    with opened(book_folder) as book:
        row = outing_of(book, outing)
        # an unloaded outing is whole in the book; one in place may have grown since
        frames = () if row.in_place else frames_in(book, row.id)
        return OutingGiven(
            row.originals, row.folder, row.name, book.folder, book.derived / str(row.id), frames
        )
