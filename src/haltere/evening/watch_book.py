"""Writes what a watcher says into a field book, so that a page can show it at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, replace
from pathlib import Path

from haltere.evening.capture import Told, capture_of
from haltere.evening.watch_said import RunSaid
from haltere.fieldbook import (
    Book,
    frames_in,
    keep_frames,
    keep_kit,
    keep_runs,
    open_book,
    place_outing,
    record,
    renew,
    runs_in,
    step_key,
)
from haltere.frames import Frame, find_frames
from haltere.runs.run import Run


def keep_said(place: Path, folder: Path, said: RunSaid, told: Told) -> str:
    """Write down a run and what was said of it; the watched folder is an outing of the book.

    A run that went on takes the place of what was written of it before.

    Parameters
    ----------
    place : Path
        The book's folder.
    folder : Path
        The watched folder; frames stay there.
    said : RunSaid
        What was said.
    told : Told
        What the photographer said of the kit.

    Returns
    -------
    str
        The run's id in the book; "" when its frames are gone again.

    Raises
    ------
    HaltereError
        When the book can't be written.
    """
    import msgspec

    worked = said.worked
    frames = _frames(folder, worked.run.frames)
    if len(frames) < len(worked.run.frames):
        return ""
    time = frames[0].shooting.time
    with open_book(place) as book:
        day = "" if time is None else time.date().isoformat()
        outing = place_outing(book, folder, folder.resolve().name, day=day, in_place=True)
        keep_frames(book, outing, frames)
        if told.kit is not None:
            keep_kit(book, told.kit)
        run = _placed(book, outing, worked.run)
        if worked.keepers is None and worked.gaps is None:
            return run
        params: dict[str, object] = {"capture": asdict(capture_of(frames, told))}
        for verb, answer in (("keepers", worked.keepers), ("gaps", worked.gaps)):
            if answer is not None:
                key = step_key(verb, frames, {**params, "run": run, "by": "watch"})
                record(book, outing, verb, run, key, params, answer)
                renew(book, outing, verb, run, msgspec.json.encode(answer).decode())
        return run


def _frames(folder: Path, names: Sequence[str]) -> tuple[Frame, ...]:
    there = [path for name in names if (path := folder / name).is_file()]
    if not there:
        return ()
    by_path = {frame.path.resolve(): frame for frame in find_frames(there).frames}
    found = [(name, by_path.get((folder / name).resolve())) for name in names]
    return tuple(replace(frame, name=name) for name, frame in found if frame is not None)


def _placed(book: Book, outing: int, new: Run) -> str:
    """Put a run among those of the outing, in order of time, under an id that is free."""
    own = set(new.frames)
    others = [run for run in runs_in(book, outing) if not own & set(run.frames)]
    taken = {run.id for run in others}
    name, number = new.id, len(others)
    while name in taken:
        number += 1
        name = f"run-{number:02d}"
    order = {frame.name: place for place, frame in enumerate(frames_in(book, outing))}
    runs = [*others, replace(new, id=name)]
    keep_runs(book, outing, sorted(runs, key=lambda run: order[run.frames[0]]))
    return name
