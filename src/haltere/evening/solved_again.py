"""Solved sweeps laid beside the field book, so that no later step solves them again."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from pathlib import Path

from haltere.errors import WriteError
from haltere.fieldbook import Book
from haltere.frames import Decoder, Frame, make_folder, write_bytes
from haltere.kit import Capture
from haltere.progress import Progress
from haltere.sweeps.again import solved_bytes, sweep_again
from haltere.sweeps.sweep import Sweep

KEPT = 40
"""Solved sweeps kept, the newest: one of 60 frames takes a megabyte or two, an outing has fewer."""


def keep_solved(book: Book, key: str, sweep: Sweep) -> None:
    """Lay a solved sweep beside the book; a full disk only means that it is solved again.

    Parameters
    ----------
    book : Book
        Open book; one in memory keeps nothing.
    key : str
        Of the step that solved it.
    sweep : Sweep
        Solved.
    """
    if book.folder == Path():
        return
    folder = book.derived / "solved"
    if (folder / f"{key}.npz").exists():
        return
    with contextlib.suppress(WriteError, OSError):
        make_folder(folder)
        write_bytes(folder / f"{key}.npz", solved_bytes(sweep))
        old = sorted(folder.glob("*.npz"), key=lambda p: p.stat().st_mtime_ns, reverse=True)
        for path in old[KEPT:]:
            path.unlink(missing_ok=True)


def solved_before(
    book: Book,
    key: str,
    frames: Sequence[Frame],
    decoder: Decoder,
    capture: Capture,
    progress: Progress,
) -> Sweep | None:
    """Bring back a sweep that was solved before.

    Parameters
    ----------
    book : Book
        Open book.
    key : str
        Of the step that solved it.
    frames : sequence of Frame
        Of the sweep.
    decoder : Decoder
        Open decoder.
    capture : Capture
        How it was taken.
    progress : Progress
        Told of each frame.

    Returns
    -------
    Sweep or None
        None when it has to be solved.
    """
    if book.folder == Path():
        return None
    try:
        data = (book.derived / "solved" / f"{key}.npz").read_bytes()
    except OSError:
        return None
    return sweep_again(data, frames, decoder, capture, progress)
