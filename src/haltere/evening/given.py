"""The frames that were given, or a plain word when there are none."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from haltere.errors import NothingToDoError
from haltere.frames import Found, find_frames
from haltere.progress import Progress, silent


def frames_given(
    given: Sequence[Path], progress: Progress = silent, found: Found | None = None
) -> Found:
    """Find the frames in what was given.

    Parameters
    ----------
    given : sequence of Path
        A folder, or files.
    progress : Progress
        Told how many files were looked at.
    found : Found, optional
        What was found in it already.

    Returns
    -------
    Found
        At least one frame, and what was skipped.

    Raises
    ------
    NothingToDoError
        When no picture is among them that can be read.
    UsageError
        When nothing of it exists.
    """
    found = found or find_frames(given, progress=progress)
    if found.frames:
        return found
    place = given[0] if len(given) == 1 else f"{given[0]} and {len(given) - 1} more"
    said = f"{place}: there is no picture here that can be read"
    if found.skipped:
        first = found.skipped[0]
        said += f" ({len(found.skipped)} left out, the first: {first.file}, {first.why})"
    raise NothingToDoError(f"{said}; give the folder that holds the camera's own files.")


def folder_of(given: Sequence[Path]) -> Path:
    """Name the folder that holds what was given.

    Parameters
    ----------
    given : sequence of Path
        A folder, or files.

    Returns
    -------
    Path
        The folder itself, or the first file's.
    """
    first = given[0].resolve()
    return first if first.is_dir() else first.parent
