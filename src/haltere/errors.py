"""Errors a photographer can act on: what happened, to which file, and the cure."""

from __future__ import annotations


class HaltereError(Exception):
    """Raised when haltere can not do what was asked; the message is shown as it stands."""

    exit_code = 1


class FrameError(HaltereError, OSError):
    """Raised when one picture file can not be read; the rest of the folder goes on."""


class NothingToDoError(HaltereError):
    """Raised when a folder or list holds no frame that can be worked on."""


class SweepError(HaltereError):
    """Raised when a run can not be solved or merged as a sweep."""


class WriteError(HaltereError, OSError):
    """Raised when a result can not be written (no permission, disk full)."""


class UsageError(HaltereError, ValueError):
    """Raised when the call itself is wrong (an option, a kit file, a point outside the picture)."""

    exit_code = 2


class BookError(HaltereError):
    """Raised when a field book can not be opened, written or trusted."""
