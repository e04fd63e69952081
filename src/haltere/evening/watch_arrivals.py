"""Which files of a folder have arrived whole, told from one listing after the other."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from haltere.evening.watch_numbers import NUMBERS

Mark = tuple[int, int]
"""Size in bytes and moment of the last change in nanoseconds, as the folder tells them."""

Lister = Callable[[Path], Mapping[Path, Mark]]

_UNFINISHED = {
    ".part", ".partial", ".tmp", ".temp", ".filepart", ".crdownload", ".download", ".!ut",
}  # fmt: skip
"""Programs that copy give a file such a name until it is whole, then its own."""

_NOT_OURS = {"$recycle.bin", "system volume information", "@eadir", "thumbs.db", "desktop.ini"}

_JPEG = {".jpg", ".jpeg", ".jpe"}


def list_folder(folder: Path) -> dict[Path, Mark]:
    """List the files in a folder and in the folders in it, hidden ones left out.

    Follows no links to folders: they may lead round in a circle.

    Parameters
    ----------
    folder : Path
        The folder.

    Returns
    -------
    dict of Path to tuple of int
        Size and last change of each file.

    Raises
    ------
    OSError
        When the folder itself can't be listed; one inside it that can't is passed over.
    """
    found: dict[Path, Mark] = {}
    _list_into(found, folder)
    return found


def _list_into(found: dict[Path, Mark], folder: Path) -> None:
    with os.scandir(folder) as entries:
        for entry in entries:
            if entry.name.startswith((".", "~")) or entry.name.lower() in _NOT_OURS:
                continue
            try:
                if entry.is_dir(follow_symlinks=False):
                    _list_into(found, Path(entry.path))
                elif entry.is_file():
                    about = entry.stat()
                    found[Path(entry.path)] = (about.st_size, about.st_mtime_ns)
            except OSError:  # gone between listing and looking: it was renamed or taken away
                continue


def has_end(path: Path) -> bool | None:
    """Answer whether the end of a picture file is there.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    bool or None
        True or False for a JPEG, which ends with a mark (ITU-T T.81, 1992, table B.1: FF D9);
        None for a file of another kind, which has no such mark.
    """
    try:
        with path.open("rb") as stream:
            head = stream.read(2)
            if head != b"\xff\xd8" and path.suffix.lower() not in _JPEG:
                return None
            size = stream.seek(0, os.SEEK_END)
            stream.seek(max(0, size - NUMBERS.tail_bytes))
            # in the picture's own data no FF is followed by D9
            return head == b"\xff\xd8" and b"\xff\xd9" in stream.read()
    except OSError:  # another program holds it, or it has just gone: not whole yet
        return False


@dataclass(frozen=True, slots=True)
class Look:
    """What one look at the folder has shown.

    Attributes
    ----------
    whole : tuple of Path
        Files that are whole now and were not before, by name.
    changed : bool
        Whether a file is new or has changed since the look before.
    waiting : bool
        Whether a file is not yet whole and still may become so.
    stuck : tuple of Path
        Files that have not changed for long and lack their end, each told once.
    away : bool
        Whether the folder can't be listed.
    """

    whole: tuple[Path, ...] = ()
    changed: bool = False
    waiting: bool = False
    stuck: tuple[Path, ...] = ()
    away: bool = False


@dataclass(slots=True)
class _Growing:
    mark: Mark
    since_s: float
    stuck: bool = False


@dataclass(slots=True)
class Arrivals:
    """The files of a folder as they come in; holds names and sizes only.

    A file is whole when it rests from one look to the next and its end is there. A whole file is
    told once, whatever is done to it later; one that is renamed is not told again.

    Attributes
    ----------
    folder : Path
        The folder that is followed.
    lister : callable
        Lists it.
    ended : callable
        Looks for a file's end.
    """

    folder: Path
    lister: Lister = list_folder
    ended: Callable[[Path], bool | None] = has_end
    _known: dict[Path, Mark] = field(default_factory=dict)
    _growing: dict[Path, _Growing] = field(default_factory=dict)

    def pass_over(self) -> int:
        """Leave alone what is there already, and count it.

        Raises
        ------
        OSError
            When the folder can't be listed.
        """
        there = {p: mark for p, mark in self.lister(self.folder).items() if not _passing(p)}
        self._known.update(there)
        return len(there)

    def look(self, now_s: float) -> Look:
        """Look at the folder once.

        Parameters
        ----------
        now_s : float
            Seconds that only grow.
        """
        try:
            listed = self.lister(self.folder)
        except OSError:
            return Look(away=True)
        gone = {mark for path, mark in self._known.items() if path not in listed}
        changed = waiting = False
        whole, stuck = [], []
        for path in sorted(listed):
            mark = listed[path]
            if path in self._known or _passing(path):
                continue
            if mark in gone and mark[0]:
                self._known[path] = mark  # the same file under another name
                continue
            growing = self._growing.get(path)
            if growing is None or growing.mark != mark:
                self._growing[path] = _Growing(mark, now_s)
                changed = waiting = True
                continue
            rested_s = now_s - growing.since_s
            end = self.ended(path) if mark[0] and not growing.stuck else False
            if end or (end is None and rested_s >= NUMBERS.rest_s):
                whole.append(path)
                self._known[path] = mark
                del self._growing[path]
            elif rested_s < NUMBERS.patience_s:
                waiting = True
            elif not growing.stuck:
                growing.stuck = True
                stuck.append(path)
        for path in [p for p in self._growing if p not in listed]:
            del self._growing[path]
        return Look(tuple(whole), changed, waiting, tuple(stuck))


def _passing(path: Path) -> bool:
    return path.suffix.lower() in _UNFINISHED
