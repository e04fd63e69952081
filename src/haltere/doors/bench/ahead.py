"""Opens whole pictures behind what is looked at already."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from concurrent.futures import CancelledError
from contextlib import suppress

from haltere.errors import HaltereError
from haltere.frames.frame import Frame

MOST = 4
"""Pictures that wait to be opened: as many as are laid side by side. Older wishes are forgotten,
since whoever walks on does not zoom into what lies behind."""


class Ahead:
    """Opens frames one after the other, the last wish first.

    Lives as long as the server; its thread starts with the first wish and ends with `close`. What
    can't be opened is told to whoever asks for the picture itself.

    Parameters
    ----------
    open_one : callable
        Opens a frame and keeps it.
    """

    def __init__(self, open_one: Callable[[Frame], object]) -> None:
        self._open_one = open_one
        self._wanted: deque[Frame] = deque(maxlen=MOST)
        self._some = threading.Condition()
        self._thread: threading.Thread | None = None
        self._closed = False

    def want(self, frame: Frame) -> None:
        """Have a frame opened soon.

        Parameters
        ----------
        frame : Frame
            The frame.
        """
        with self._some:
            if self._closed:
                return
            if frame in self._wanted:
                self._wanted.remove(frame)
            self._wanted.append(frame)
            if self._thread is None:
                self._thread = threading.Thread(
                    target=self._open_all, name="haltere-ahead", daemon=True
                )
                self._thread.start()
            self._some.notify()

    def close(self) -> None:
        """Open nothing more."""
        with self._some:
            self._closed = True
            self._wanted.clear()
            self._some.notify()

    def _open_all(self) -> None:
        while True:
            with self._some:
                self._some.wait_for(lambda: self._wanted or self._closed)
                if self._closed:
                    return
                frame = self._wanted.pop()
            with suppress(HaltereError, CancelledError, OSError, MemoryError):
                self._open_one(frame)
