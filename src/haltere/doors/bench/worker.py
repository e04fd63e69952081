"""The worker: takes jobs from the field book's queue and does them, one at a time.

Run as `python -m haltere.doors.bench.worker BOOK`; ends when its standard input closes.
"""

from __future__ import annotations

import signal
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from haltere.errors import HaltereError, UsageError
from haltere.fieldbook import (
    Job,
    answers_in,
    beat,
    end_job,
    frames_in,
    newest_kit,
    open_book,
    outing_numbered,
    renew,
    run_named,
    take_job,
)
from haltere.fieldbook.job_queue import LIMITS
from haltere.freed_memory import keep_freed_memory
from haltere.progress import Progress

if TYPE_CHECKING:
    from haltere.keepers.verdict import Keepers
    from haltere.merge.merged import Merge
    from haltere.sweeps.coverage import Coverage

IDLE_S = 0.3
"""How often an idle worker looks at the queue: a person who clicked does not notice it."""

SAID_S = 0.25
"""How often progress is written down at most: oftener than the page follows would be lost."""


LEAVING = threading.Event()
"""Set when the server has gone: what is at work is given back to the next worker."""


class Stopped(Exception):
    """Raised when somebody asked a job to stop; no error, so nobody may take it for one."""


class Told:
    """Writes a job's progress down, now and then, and raises once it was asked to stop.

    A thread of its own says that the job lives while a long step says nothing.

    Parameters
    ----------
    folder : Path
        The book's folder.
    job : Job
        The job.
    """

    def __init__(self, folder: Path, job: Job) -> None:
        self._folder, self._job = folder, job
        self._at = ("starting", 0, 0)
        self._next = 0.0
        self._ended = threading.Event()
        self._go_on = True
        self._lock = threading.Lock()
        self._thread = threading.Thread(target=self._beating, daemon=True)
        self._thread.start()

    def __call__(self, step: str, done: int, total: int, /) -> None:
        """Take note of progress.

        Raises
        ------
        Stopped
            Once the job was asked to stop, or the server has gone.
        """
        self._at = (step, done, total)
        if time.monotonic() >= self._next:
            self._next = time.monotonic() + SAID_S
            self._write()
        if LEAVING.is_set() or not self._go_on:
            raise Stopped

    def end(self) -> None:
        """Write down what was said last, and say no more."""
        self._ended.set()
        self._thread.join()
        self._write()

    def _beating(self) -> None:
        while not self._ended.wait(LIMITS.beat_s):
            self._write()

    def _write(self) -> None:
        with self._lock, open_book(self._folder) as book:
            if not beat(book, self._job.id, *self._at):
                self._go_on = False


def do(folder: Path, job: Job, progress: Progress) -> None:
    """Do one job.

    Parameters
    ----------
    folder : Path
        The book's folder.
    job : Job
        What was asked for.
    progress : Progress
        Told of each step.

    Raises
    ------
    HaltereError
        When it can't be done.
    """
    doing: dict[str, Callable[[Path, Job, Progress], None]] = {
        "demo": _demo,
        "evening": _evening,
        "judge": _one_run,
        "cover": _one_run,
        "merge": _one_run,
        "patch": _patch,
        "depth": _depth,
        "export": _export,
        "unload": _unload,
        "verify": _verify,
        "finish": _finish,
    }
    if job.kind not in doing:
        raise UsageError(f"{job.kind}: is no work that this haltere knows")
    doing[job.kind](folder, job, progress)


def _demo(folder: Path, job: Job, progress: Progress) -> None:
    from haltere.evening import Told as Said
    from haltere.evening import walk
    from haltere.frames import Decoder
    from haltere.scene import make_card

    card = make_card(folder / "demo", seed=1, progress=progress)
    kit = card.outfit.as_kit("demo")
    with Decoder() as decoder:
        walk(
            [card.frames_folder], folder / "derived" / "demo", decoder, Said(kit=kit), progress,
            name="A made-up outing", place=folder,
        )  # fmt: skip


def _export(folder: Path, job: Job, progress: Progress) -> None:
    from haltere.doors.bench.exports import make_export

    make_export(folder, job, progress)


def _finish(folder: Path, job: Job, progress: Progress) -> None:
    from haltere.doors.bench.finishing import make_delivery

    make_delivery(folder, merge_folder(folder, job), job, progress)


def _evening(folder: Path, job: Job, progress: Progress) -> None:
    from haltere.evening import Told as Said
    from haltere.evening import walk
    from haltere.frames import Decoder

    with open_book(folder) as book:
        row = outing_numbered(book, job.outing_id or 0)
        frames = () if row.in_place else frames_in(book, row.id)
        said = Said(kit=newest_kit(book))
    with Decoder() as decoder:
        walk(
            [row.originals], folder / "derived" / str(row.id), decoder, said, progress,
            name=row.name, folder=row.folder, place=folder, frames=frames,
        )  # fmt: skip


def _unload(folder: Path, job: Job, progress: Progress) -> None:
    import contextlib

    from haltere.fieldbook import catalogue_frames, outing_named
    from haltere.fieldbook.unload import unload

    second = job.params.get("second") or None
    with open_book(folder) as book:
        said = unload(
            book, Path(job.subject), name=job.params.get("name", ""),
            second=None if second is None else Path(second), progress=progress,
        )  # fmt: skip
        for one in said.outings:  # what fails here fails again, in words, where frames are used
            with contextlib.suppress(HaltereError):
                catalogue_frames(book, outing_named(book, str(one.id)), progress)
    progress(said.verdict.text, 1, 1)


def _verify(folder: Path, job: Job, progress: Progress) -> None:
    from haltere.fieldbook.verify import verify
    from haltere.show.words import verified

    with open_book(folder) as book:
        said = verify(book, progress=progress)
    progress(verified(said), 1, 1)


def _one_run(folder: Path, job: Job, progress: Progress) -> None:
    import msgspec

    from haltere.doors.bench.shelf import capture_before
    from haltere.evening import Told as Said
    from haltere.evening import at_work, capture_of, file_merge
    from haltere.frames import Decoder, make_folder

    with open_book(folder) as book:
        row = outing_numbered(book, job.outing_id or 0)
        run = run_named(book, row.id, job.subject)
        known = {frame.name: frame for frame in frames_in(book, row.id)}
        without = set(job.params.get("without", ()))
        frames = tuple(known[name] for name in run.frames if name not in without)
        before = answers_in(book, row.id, run.id)
        said = Said(kit=newest_kit(book))
    # as the run was worked before, or a page would show answers of two different kits
    capture = capture_before(before) or capture_of(frames, said)
    with (
        Decoder() as decoder,
        at_work(frames, row.folder, row.name, decoder, folder, known=True) as work,
    ):
        found: dict[str, Keepers | Coverage | Merge] = {}
        if job.kind == "judge":
            frame, x_px, y_px = job.params.get("eye") or (None, None, None)
            eye = None if x_px is None or y_px is None else (float(x_px), float(y_px))
            found["keepers"] = work.judge(
                frames, capture, subject=run.id, eye=eye, eye_frame=frame, progress=progress
            )
        elif job.kind == "cover":
            found["gaps"] = work.cover(frames, capture, subject=run.id, progress=progress)
        else:
            out = folder / "derived" / str(row.id) / run.id
            if without:
                out = out.with_name(f"{run.id}-fewer")
            make_folder(out)
            merged = work.merge(frames, capture, out, subject=run.id, progress=progress)
            file_merge(merged, out, ())
            found["merge"] = merged
        texts = {verb: msgspec.json.encode(one).decode() for verb, one in found.items()}
        if without and ("gaps", run.id) in before:
            texts["gaps"] = before["gaps", run.id].text  # the ladder goes on to show all frames
        for verb, text in texts.items():  # an answer known from before must be what is shown
            renew(work.book, row.id, verb, run.id, text)


def _patch(folder: Path, job: Job, progress: Progress) -> None:
    from haltere.evening import repair
    from haltere.frames import Decoder

    with Decoder() as decoder:
        repair(merge_folder(folder, job), decoder, book_folder=folder, progress=progress)


def _depth(folder: Path, job: Job, progress: Progress) -> None:
    from haltere.evening.in_depth import show_in_depth

    show_in_depth(merge_folder(folder, job), progress)


def merge_folder(folder: Path, job: Job) -> Path:
    """Find where the merge of a job's sweep lies.

    Parameters
    ----------
    folder : Path
        The book's folder.
    job : Job
        The job.

    Raises
    ------
    UsageError
        When it is not merged, or its files are gone.
    """
    from haltere.doors.bench.shelf import merge_in

    with open_book(folder) as book:
        return merge_in(book, outing_numbered(book, job.outing_id or 0).id, job.subject)[1].parent


def work_through(folder: Path) -> None:
    """Do jobs until nobody is left to do them for; one in the middle is given back.

    Parameters
    ----------
    folder : Path
        The book's folder.
    """
    while not LEAVING.is_set():
        with open_book(folder) as book:
            job = take_job(book)
        if job is None:
            LEAVING.wait(IDLE_S)
            continue
        told = Told(folder, job)
        state, error = "done", ""
        try:
            do(folder, job, told)
        except Stopped:
            state = "queued" if LEAVING.is_set() else "cancelled"
        except HaltereError as known:
            state, error = "failed", str(known)
        except MemoryError:
            state, error = "failed", "There is not enough free memory; close other programs."
        except Exception as unknown:
            from haltere.doors.cli.defect import defect_sentence

            state, error = "failed", defect_sentence(unknown)
        finally:
            told.end()
        with open_book(folder) as book:
            end_job(book, job.id, state, error)  # type: ignore[arg-type]


def main() -> None:
    """Work on the book that the first word names."""
    keep_freed_memory()
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the server, which closes the pipe

    def leave() -> None:
        sys.stdin.buffer.read()
        LEAVING.set()

    threading.Thread(target=leave, daemon=True).start()
    work_through(Path(sys.argv[1]))


if __name__ == "__main__":
    main()
