"""The frames of a merge, found where they lie now."""

from __future__ import annotations

from pathlib import Path

from haltere.fieldbook.book import DERIVED
from haltere.fieldbook.moved_book import lying_here
from haltere.frames import Frame, find_frames
from haltere.merge.views import View


def files_of(view: View, folder: Path) -> tuple[Path, ...]:
    """Name the files of a merged frame, also after their book was moved.

    Parameters
    ----------
    view : View
        The frame.
    folder : Path
        Where the merge lies.

    Returns
    -------
    tuple of Path
        Where they lay when they were merged, or below the same book where they lie now; they may
        be gone from both.
    """
    home = next((one.parent for one in folder.resolve().parents if one.name == DERIVED), None)
    noted = [Path(one) for one in (view.path, view.raw_path) if one is not None]
    return tuple(
        path if home is None or path.is_file() else (lying_here(path, home) or path)
        for path in noted
    )


def frame_of(view: View, folder: Path) -> Frame | None:
    """Describe a merged frame from its files.

    Parameters
    ----------
    view : View
        The frame.
    folder : Path
        Where the merge lies.

    Returns
    -------
    Frame or None
        None when a file is gone or can't be read.
    """
    files = files_of(view, folder)
    if not all(path.is_file() for path in files):
        return None
    found = find_frames(files).frames
    return found[0] if found else None
