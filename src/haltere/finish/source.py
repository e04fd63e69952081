"""A picture to finish or deliver: a frame, a file, or a merge with all that is known of it."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from haltere.errors import FrameError, UsageError
from haltere.finish.caption import Made
from haltere.frames import Decoder, find_frames
from haltere.frames.frame import Frame

RESULT, REPAIRED, FINISHED = "result.json", "repaired", "finish.json"
_PICTURES = {".tif", ".tiff", ".jpg", ".jpeg"}


@dataclass(frozen=True, slots=True)
class Source:
    """What is known of a picture before its pixels are read.

    Attributes
    ----------
    frame : Frame
        The file.
    made : Made
        How it came about, as far as files beside it say.
    merged : bool
        Whether it is a merge.
    stem : str
        What a name may be made from.
    folder : Path or None
        Folder of the merge, with its maps; None for a lone file.
    """

    frame: Frame
    made: Made
    merged: bool
    stem: str
    folder: Path | None

    @property
    def taken(self) -> datetime | None:
        """When it was taken."""
        return self.frame.shooting.time


def sources_of(given: Path) -> tuple[Source, ...]:
    """Find the pictures that a file or folder holds.

    Parameters
    ----------
    given : Path
        A picture, the folder of a merge or of a finished picture, or a folder of pictures.

    Returns
    -------
    tuple of Source
        One or more, in order of exposure.

    Raises
    ------
    UsageError
        When there is no picture in it.
    """
    if given.is_dir():
        if (given / FINISHED).is_file():
            return (_finished(given),)
        if (given / RESULT).is_file() and (given / "picture.tif").is_file():
            return (_merged(given),)
        found = find_frames([given])
        if not found.frames:
            raise UsageError(f"{given}: holds no picture; give pictures, or the folder of a merge")
        return tuple(_lone(frame) for frame in found.frames)
    if given.name in ("picture.tif", "picture.jpg"):
        folder = given.parent.parent if given.parent.name == REPAIRED else given.parent
        if (folder / RESULT).is_file():
            merge = _merged(folder)
            return (_with_file(merge, given),)
    return (_lone(_frame(given)),)


def _frame(path: Path) -> Frame:
    found = find_frames([path])
    if not found.frames:
        why = found.skipped[0].why if found.skipped else "is no picture"
        cure = "" if ";" in why else "; give a JPEG, TIFF or raw file"
        raise FrameError(f"{path}: {why}{cure}")
    return found.frames[0]


def _lone(frame: Frame) -> Source:
    return Source(frame, Made(), False, frame.path.stem, None)


def _with_file(source: Source, path: Path) -> Source:
    return Source(_frame(path), source.made, source.merged, source.stem, source.folder)


def _merged(folder: Path) -> Source:
    said = _read(folder / RESULT)
    used = said.get("frames_used")
    if not isinstance(used, list) or not used:
        raise UsageError(f"{folder / RESULT}: does not say what was merged; merge it again")
    repaired = folder / REPAIRED / "picture.tif"
    path = repaired if repaired.is_file() else folder / "picture.tif"
    made = Made(len(used), repaired=repaired.is_file())
    return Source(_frame(path), made, True, folder.name, folder)


def _finished(folder: Path) -> Source:
    said = _read(folder / FINISHED)
    made = said.get("made")
    picture = said.get("picture")
    if not isinstance(made, dict) or not isinstance(picture, str):
        raise UsageError(f"{folder / FINISHED}: does not say what was finished; finish it again")
    known = Made(
        int(made.get("frames", 1)), made.get("restored_at"), int(made.get("healed", 0)),
        bool(made.get("repaired")),
    )  # fmt: skip
    return Source(_frame(folder / picture), known, known.frames > 1, folder.name, folder)


def _read(path: Path) -> dict[str, object]:
    try:
        said = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError) as error:
        raise UsageError(f"{path}: can't be read; merge or finish the picture again") from error
    return said if isinstance(said, dict) else {}


def read_linear(source: Source, decoder: Decoder) -> tuple[NDArray[np.float32], bytes | None]:
    """Read a picture's pixels as linear light, with its profile.

    Parameters
    ----------
    source : Source
        The picture.
    decoder : Decoder
        Decodes it in a process of its own.

    Returns
    -------
    linear : ndarray of float32, shape (H, W, 3)
        Linear light in the primaries of the profile, 1 = white.
    icc : bytes or None
        Profile; None for sRGB.

    Raises
    ------
    FrameError
        When it can't be decoded.
    """
    from haltere.frames import to_linear

    pixels = decoder.rgb(source.frame)
    light = to_linear(pixels.array, pixels.icc, pixels.linear)
    if light.ndim == 2:
        light = np.repeat(light[..., None], 3, axis=2)
    return light, pixels.icc
