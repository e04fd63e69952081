"""What the book says of the hand, reckoned beside the page and kept by the state of the book."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from pathlib import Path

from haltere.errors import WriteError
from haltere.fieldbook import open_book
from haltere.fieldbook.answers import state_of_answers
from haltere.fieldbook.book import DERIVED
from haltere.fieldbook.steps import code_version
from haltere.frames.writing import make_folder, write_bytes
from haltere.hand import HandReport, gather, report_on

FILE = "hand.json"
WAIT_S = 0.25
"""How long a page is kept waiting: what few bursts say is there by then."""


class _LeavingError(Exception):
    """The server closes while a report is reckoned."""


@dataclass(frozen=True, slots=True)
class Kept:
    """A report and what it was made of.

    Attributes
    ----------
    mark : str
        State of the book that it was made of.
    report : HandReport
        What is known of the hand.
    """

    mark: str
    report: HandReport


class HandKept:
    """Gives the newest report at once, and reckons another beside it when the book has moved on.

    Lives as long as the server; what it holds survives in the book's folder. Safe between
    threads.

    Parameters
    ----------
    folder : Path
        The book's folder.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lock = threading.Lock()
        self._kept: Kept | None = None
        self._at_work: threading.Thread | None = None
        self._error: Exception | None = None
        self._leaving = threading.Event()

    def close(self) -> None:
        """Let a reckoning end; what it was at is begun again another time."""
        self._leaving.set()

    def report(self) -> tuple[HandReport | None, bool]:
        """Give what is known of the hand.

        Returns
        -------
        report : HandReport or None
            None while the first one is reckoned.
        current : bool
            Whether it is of the book as it stands; False while another one is reckoned.

        Raises
        ------
        HaltereError
            When the book can't be read.
        """
        with open_book(self._folder) as book:
            mark = f"{code_version()} {state_of_answers(book)}"
        with self._lock:
            if self._kept is None:
                self._kept = self._read()
            if self._kept is not None and self._kept.mark == mark:
                return self._kept.report, True
            if self._at_work is None:
                self._at_work = threading.Thread(
                    target=self._reckon, args=(mark,), name="hand", daemon=True
                )
                self._at_work.start()
            at_work = self._at_work
        at_work.join(WAIT_S)
        with self._lock:
            error, self._error = self._error, None
            if error is not None:
                raise error
            kept = self._kept
            return (None, False) if kept is None else (kept.report, kept.mark == mark)

    def _reckon(self, mark: str) -> None:
        def heard(step: str, done: int, total: int) -> None:
            if self._leaving.is_set():
                raise _LeavingError

        kept: Kept | None = None
        error: Exception | None = None
        try:
            with open_book(self._folder) as book:
                seen = gather(book)
            heard("gathered", 1, 1)
            kept = Kept(mark, report_on(*seen, heard))
            self._write(kept)
        except _LeavingError:
            pass
        except Exception as trouble:  # whoever asks next is told
            error = trouble
        with self._lock:
            self._at_work, self._error = None, error
            self._kept = kept or self._kept

    @property
    def _path(self) -> Path:
        return self._folder / DERIVED / FILE

    def _read(self) -> Kept | None:
        import msgspec

        try:
            return msgspec.json.decode(self._path.read_bytes(), type=Kept)
        except (OSError, msgspec.MsgspecError):
            return None

    def _write(self, kept: Kept) -> None:
        import msgspec

        try:
            make_folder(self._path.parent)
            write_bytes(self._path, msgspec.json.encode(kept))
        except WriteError:
            return  # it is reckoned again another time
