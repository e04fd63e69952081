"""Where results land on disk: whole or not at all, in a folder made for them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from haltere.errors import UsageError
from haltere.frames import Frame, make_folder, write_bytes


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


def refuse_picture(path: Path, frames: Sequence[Frame], endings: Sequence[str], kinds: str) -> None:
    """Refuse a file for `--picture` before any work is done.

    Parameters
    ----------
    path : Path
        File to write.
    frames : sequence of Frame
        The frames, which are never written over.
    endings : sequence of str
        How its name may end; '.htm' is taken and not named.
    kinds : str
        What may be written: 'a PNG or an HTML page'.

    Raises
    ------
    UsageError
        When the file's name ends in something else, or it is one of the frames.
    """
    if path.suffix.lower() not in endings:
        usual = [ending for ending in endings if ending != ".htm"]
        named = f"{', '.join(usual[:-1])} or {usual[-1]}"
        raise UsageError(
            f"--picture {path.name}: the picture is {kinds}; let its name end in {named}"
        )
    own = {one.resolve() for f in frames for one in (f.path, f.raw_path) if one is not None}
    if path.resolve() in own:
        raise UsageError(f"--picture {path.name}: is one of the frames; give another name")
