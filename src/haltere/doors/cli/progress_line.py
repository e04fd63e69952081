"""How far a long step is, on one line of the terminal that is drawn over and over."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import TextIO

REDRAW_S = 0.1
"""Redrawn at most this often: faster than the eye reads only costs time."""

TIME_LEFT_AFTER_S = 2.0
"""Time left is said of steps longer than this; shorter ones are over before it is read."""


class ProgressLine:
    """One line on stderr; silent where stderr is no terminal, or when asked to be.

    Parameters
    ----------
    stream : file
        Where to draw.
    quiet : bool
        Draw nothing.
    clock : callable
        Seconds that only grow.
    """

    def __init__(
        self,
        stream: TextIO | None = None,
        *,
        quiet: bool = False,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._stream = stream or sys.stderr
        self._clock = clock
        self._drawing = not quiet and self._stream.isatty()
        self._step = ""
        self._began_s = 0.0
        self._began_at = 0
        self._drawn_s = float("-inf")
        self._width = 0

    def __enter__(self) -> ProgressLine:
        """Begin."""
        return self

    def __exit__(self, *_: object) -> None:
        """Leave a clean line behind, whatever happened."""
        self.clear()

    def __call__(self, step: str, done: int, total: int, /) -> None:
        """Take note that `done` of `total` parts of `step` are finished."""
        if not self._drawing:
            return
        now = self._clock()
        if step != self._step:
            self._step, self._began_s, self._began_at = step, now, done
            self._drawn_s = float("-inf")
        if now - self._drawn_s < REDRAW_S and done < total:
            return
        self._drawn_s = now
        self._draw(self._text(step, done, total, now))

    def clear(self) -> None:
        """Wipe the line."""
        if self._width:
            self._stream.write("\r" + " " * self._width + "\r")
            self._stream.flush()
            self._width = 0

    def _text(self, step: str, done: int, total: int, now: float) -> str:
        text = f"{step}: {done} of {total}"
        spent, finished = now - self._began_s, done - self._began_at
        if finished > 0 and done < total:
            left = spent / finished * (total - done)
            if spent + left > TIME_LEFT_AFTER_S:
                text += f", {_said(left)} left"
        return text

    def _draw(self, text: str) -> None:
        try:
            import shutil

            room = shutil.get_terminal_size().columns - 1
        except (OSError, ValueError):
            room = 79
        text = text[: max(room, 20)]
        self._stream.write("\r" + text.ljust(self._width))
        self._stream.flush()
        self._width = len(text)


def _said(seconds: float) -> str:
    if seconds < 60:
        return f"{max(1, round(seconds))} s"
    return f"{int(seconds) // 60} min {int(seconds) % 60:02d} s"
