"""How long steps tell the world how far they are, without knowing who listens."""

from __future__ import annotations

from typing import Protocol


class Progress(Protocol):
    """Called as ``progress(step, done, total)``; it may raise to cancel the step."""

    def __call__(self, step: str, done: int, total: int, /) -> None:
        """Take note that `done` of `total` parts of `step` are finished."""


def silent(step: str, done: int, total: int, /) -> None:
    """Listen to nothing.

    Parameters
    ----------
    step : str
        Name of the step.
    done, total : int
        Parts finished and parts in all.
    """
