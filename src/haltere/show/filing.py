"""Where results land on disk: whole or not at all, in a folder made for them."""

from __future__ import annotations

from pathlib import Path

from haltere.frames import make_folder, write_bytes


def file_away(path: Path, content: bytes) -> Path:
    """Write `content` to `path`, making its folder when it is missing.

    Parameters
    ----------
    path : Path
        File to write.
    content : bytes
        All of it.

    Returns
    -------
    Path
        The same path.

    Raises
    ------
    WriteError
        When it can't be written.
    """
    make_folder(path.parent)
    write_bytes(path, content)
    return path
