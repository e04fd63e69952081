"""Finds the frames of an outing: folders and files in, frames in order of exposure out."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path, PurePath

from haltere.errors import FrameError, UsageError
from haltere.frames.content import head_of
from haltere.frames.decoder import Decoder
from haltere.frames.frame import FileKind, Frame, Skipped
from haltere.frames.shooting import orientation_in, read_tags, shooting_in
from haltere.frames.upright import upright_size
from haltere.progress import Progress, silent


@dataclass(frozen=True, slots=True)
class Found:
    """What was found.

    Attributes
    ----------
    frames : tuple of Frame
        Sorted by moment of exposure, image number, name (2 before 10); frames without a time
        come last.
    skipped : tuple of Skipped
        Everything that was left out, each with its reason, by name.
    """

    frames: tuple[Frame, ...]
    skipped: tuple[Skipped, ...]


def find_frames(given: Sequence[Path], *, progress: Progress = silent) -> Found:
    """Answer which frames a folder, a card or a list of files holds.

    A folder stands for the files directly in it that are not hidden; a folder that is a card
    (named DCIM, or holding one) is searched whole. Types are told by content. A raw file and a
    JPEG of the same name and moment are one frame. Holds headers only, no pixels.

    Parameters
    ----------
    given : sequence of Path
        Folders and files. Frames of a single folder are named relative to it, files as given,
        frames of one of several folders by that folder as given and their place in it.
    progress : Progress, optional
        Told how many files were looked at.

    Returns
    -------
    Found
        Frames and skipped files.

    Raises
    ------
    UsageError
        When nothing was given, or nothing of it exists.
    """
    paths = [Path(path) for path in given]
    if not paths:
        raise UsageError("no folder and no file was given; name the folder with your pictures")
    if not any(path.exists() for path in paths):
        raise UsageError(f"{paths[0]}: there is no such file or folder; check the spelling")
    files = list(_files(paths))
    frames: list[Frame] = []
    skipped: list[Skipped] = []
    with Decoder(workers=1) as decoder:  # starts a process only when a raw file wants one
        for done, (path, name) in enumerate(files):
            progress("reading headers", done, len(files))
            try:
                name.encode()  # results are text, and so must be their frames' names
                frames.append(_frame(path, name, decoder))
            except UnicodeEncodeError:
                plain = name.encode(errors="backslashreplace").decode()
                skipped.append(Skipped(plain, "its name is no valid text; rename a copy of it"))
            except FrameError as error:
                skipped.append(Skipped(name, str(error)))
    progress("reading headers", len(files), len(files))
    frames = _paired(frames)
    aware = all(f.shooting.time is not None and f.shooting.time.tzinfo for f in frames)
    frames.sort(key=lambda frame: _moment_key(frame, aware))
    return Found(tuple(frames), tuple(sorted(skipped, key=lambda s: natural(s.file))))


def natural(name: str) -> list[tuple[int, int, str]]:
    """Give a sorting key that puts 2 before 10.

    Parameters
    ----------
    name : str
        File name.

    Returns
    -------
    list of tuple
        Comparable with other keys of this function.
    """
    parts = re.findall(r"[0-9]+|[^0-9]+", name.casefold())
    return [(0, int(p), "") if p[0] in "0123456789" else (1, 0, p) for p in parts]


def _files(given: Sequence[Path]) -> Iterator[tuple[Path, str]]:
    """Name every file once, in the order given."""
    seen = set[Path]()
    for path in given:
        if path.is_dir():
            inside = sorted(_inside(path), key=lambda p: natural(p.as_posix()))
            pairs = [
                (p, (p.relative_to(path) if len(given) == 1 else p).as_posix()) for p in inside
            ]
        else:
            pairs = [(path, path.as_posix())]
        for file, name in pairs:
            if (real := file.resolve()) not in seen:
                seen.add(real)
                yield file, name


def _inside(folder: Path) -> Iterator[Path]:
    card = folder.name.upper() == "DCIM" or (folder / "DCIM").is_dir()
    if not card:
        yield from (p for p in _listed(folder) if not p.is_dir())
        return
    for base, folders, files in os.walk(folder):
        folders[:] = [name for name in folders if not _hidden(name)]
        yield from (Path(base, name) for name in files if not _hidden(name))


def _listed(folder: Path) -> list[Path]:
    try:
        return [path for path in folder.iterdir() if not _hidden(path.name)]
    except PermissionError:
        raise UsageError(f"{folder}: may not be read; give yourself permission") from None
    except OSError as error:
        raise UsageError(f"{folder}: can't be listed ({error.strerror}); check the disk") from None


def _hidden(name: str) -> bool:
    return name.startswith(".") or name in ("Thumbs.db", "desktop.ini")


def _frame(path: Path, name: str, decoder: Decoder) -> Frame:
    if not path.exists():
        raise FrameError("is not there; check the spelling or the card")
    if not path.is_file():
        raise FrameError("is not a file")
    head = head_of(path)
    kind: FileKind
    if head.kind == "maybe raw":
        width, height, orientation = decoder.probe_raw(path, name)
        kind = "raw"
        tags = read_tags(path)
    else:
        width, height, kind = head.width_px, head.height_px, head.kind
        tags = read_tags(path)
        orientation = orientation_in(tags)
    shooting = shooting_in(tags, (width, height))
    upright = upright_size(width, height, orientation)
    return Frame(path, name, kind, *upright, orientation, shooting)


def _paired(frames: Sequence[Frame]) -> list[Frame]:
    """Make one frame of a raw file and a JPEG that are the same exposure."""
    raws: dict[tuple[str, str], list[Frame]] = {}
    jpegs: dict[tuple[str, str], list[Frame]] = {}
    for frame in frames:
        if frame.kind in ("raw", "jpeg"):
            book = raws if frame.kind == "raw" else jpegs
            book.setdefault(_stem(frame), []).append(frame)
    partner: dict[Path, Frame] = {}
    for stem, raw in raws.items():
        jpeg = jpegs.get(stem, [])
        if len(raw) == 1 and len(jpeg) == 1 and _same_moment(raw[0], jpeg[0]):
            partner[jpeg[0].path] = raw[0]
    taken = {raw.path for raw in partner.values()}
    return [_with_partner(frame, partner) for frame in frames if frame.path not in taken]


def _with_partner(frame: Frame, partner: dict[Path, Frame]) -> Frame:
    raw = partner.get(frame.path)
    return frame if raw is None else replace(frame, raw_path=raw.path, raw_name=raw.name)


def _stem(frame: Frame) -> tuple[str, str]:
    name = PurePath(frame.name)
    return name.parent.as_posix(), name.stem.casefold()


def _same_moment(a: Frame, b: Frame) -> bool:
    """Equal to the second: one of the two files may lack sub-seconds or the zone."""
    one, other = a.shooting.time, b.shooting.time
    if one is None or other is None:
        return True
    return one.replace(tzinfo=None, microsecond=0) == other.replace(tzinfo=None, microsecond=0)


def _moment_key(
    frame: Frame, aware: bool
) -> tuple[bool, datetime, int, list[tuple[int, int, str]]]:
    """Order by absolute time when every frame knows its zone, else by the camera's clock."""
    moment = frame.shooting.time
    number = frame.shooting.number or 0
    if moment is None:
        return True, datetime.min, number, natural(frame.name)
    moment = moment.astimezone(UTC) if aware else moment
    return False, moment.replace(tzinfo=None), number, natural(frame.name)
