"""Where the sidecar of a frame lies.

Names follow the trade: M_0001.xmp stands for the exposure M_0001, its raw file and its JPEG alike,
because a verdict is on the exposure and nearly every program looks there first (common practice,
no source). Where two exposures of one folder share that name (M_0001.JPG and M_0001.TIF that are
not one picture), each has its whole name in front, M_0001.JPG.xmp, so that neither speaks for the
other. A sidecar that is there already under either name is used and not doubled.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from haltere.fieldbook.book import Book
from haltere.fieldbook.catalogue import OutingRow
from haltere.fieldbook.naming import fit, same_place
from haltere.frames.frame import Frame, Skipped

SIDECARS = "sidecars"
SUFFIX = ".xmp"


@dataclass(frozen=True, slots=True)
class Lying:
    """Where one frame's sidecar lies, or would.

    Attributes
    ----------
    path : Path
        The file that is written.
    begun_from : Path or None
        One that may not be written and that it begins from as long as it is not there itself.
    ignored : tuple of Skipped
        Sidecars that can't speak for it or would be a second one; they are left alone.
    """

    path: Path
    begun_from: Path | None = None
    ignored: tuple[Skipped, ...] = ()

    @property
    def read_from(self) -> Path | None:
        """The file that speaks now; None when there is none."""
        if os.path.lexists(self.path):
            return self.path
        return self.begun_from


class Folders:
    """What lies in folders, each listed once; names are found whatever their case."""

    def __init__(self) -> None:
        self._names: dict[Path, dict[str, str]] = {}

    def find(self, folder: Path, name: str) -> Path | None:
        """Find a file in a folder.

        Parameters
        ----------
        folder : Path
            Where.
        name : str
            Its name, upper or lower case.

        Returns
        -------
        Path or None
            None when it is not there.
        """
        if folder not in self._names:
            try:
                names = sorted(path.name for path in folder.iterdir())
            except OSError:
                names = []
            self._names[folder] = {same_place(one): one for one in reversed(names)}
        found = self._names[folder].get(same_place(name))
        return None if found is None else folder / found


def sidecars_lie(
    book: Book,
    outing: OutingRow,
    frames: Sequence[Frame],
    *,
    beside: bool,
    remembered: Mapping[str, Iterable[Path]],
) -> dict[str, Lying]:
    """Tell where the sidecar of each frame lies.

    Parameters
    ----------
    book : Book
        Open book.
    outing : OutingRow
        The outing.
    frames : sequence of Frame
        All of its frames.
    beside : bool
        Whether sidecars may be written beside originals that lie where the photographer put
        them; those of an unloaded outing lie beside the copies anyhow.
    remembered : mapping
        Frame to sidecars that were used before.

    Returns
    -------
    dict
        Frame's name to its place.
    """
    folders = Folders()
    shared = shared_stems(frames)
    own = _in_the_book(book, outing, frames)
    # a sidecar that came from the card is an original itself
    fixed = set[Path]() if outing.in_place else originals_among(book)
    lying = {}
    for frame in frames:
        there = sidecars_beside(frame, shared, folders)
        used = set(remembered.get(frame.name, ()))
        there.sort(key=lambda path: path not in used)
        first = there[0] if there else None
        twofold = _stem(frame.path) in shared
        ignored = [
            Skipped(str(path), "is a second sidecar of the same frame; only the first is used")
            for path in there[1:]
        ]
        if twofold and (both := folders.find(frame.path.parent, frame.path.stem + SUFFIX)):
            why = f"may speak for {frame.name} or another picture of that name; it is not read"
            ignored.append(Skipped(str(both), why))
        if (outing.in_place and not beside) or first in fixed:
            lying[frame.name] = Lying(own[frame.name], first, tuple(ignored))
        else:
            new = _plain(frame.path, whole=twofold)
            lying[frame.name] = Lying(first or new, None, tuple(ignored))
    return lying


def shared_stems(frames: Sequence[Frame]) -> set[tuple[str, str]]:
    """Give folder and name, without suffix, that more than one frame has.

    Parameters
    ----------
    frames : sequence of Frame
        All frames of an outing.

    Returns
    -------
    set of (str, str)
        Folder and name.
    """
    count = Counter(
        stem
        for frame in frames
        for stem in {_stem(path) for path in (frame.path, frame.raw_path) if path is not None}
    )
    return {stem for stem, owners in count.items() if owners > 1}


def sidecars_beside(frame: Frame, shared: set[tuple[str, str]], folders: Folders) -> list[Path]:
    """List the sidecars that lie beside a frame's files and speak for it alone.

    Parameters
    ----------
    frame : Frame
        The frame.
    shared : set of (str, str)
        From `shared_stems`.
    folders : Folders
        What lies where.

    Returns
    -------
    list of Path
        The plain name first.
    """
    found: dict[Path, None] = {}
    files = [path for path in (frame.path, frame.raw_path) if path is not None]
    for whole in (False, True):
        for path in files:
            if not whole and _stem(path) in shared:
                continue
            name = _plain(path, whole=whole)
            there = folders.find(name.parent, name.name)
            if there is not None:
                found[there] = None
    return list(found)


def originals_among(book: Book) -> set[Path]:
    """List the sidecars that came from a card and are originals themselves.

    Parameters
    ----------
    book : Book
        Open book.

    Returns
    -------
    set of Path
        Where their copies lie.
    """
    rows = book.connection.execute(
        "SELECT p.root, c.path FROM copy c JOIN place p ON p.id = c.place_id "
        "WHERE c.path LIKE '%.xmp'"
    )
    return {(book.folder / row[0]).resolve() / row[1] for row in rows}


def _plain(path: Path, *, whole: bool) -> Path:
    return path.with_name((path.name if whole else path.stem) + SUFFIX)


def _stem(path: Path) -> tuple[str, str]:
    return str(path.parent), same_place(path.stem)


def _in_the_book(book: Book, outing: OutingRow, frames: Sequence[Frame]) -> dict[str, Path]:
    """Give each frame a place of its own in the book's folder, in the outing's order of folders."""
    called = f"{outing.id} {outing.name}".replace("/", "-").encode()[:120].decode(errors="ignore")
    root = book.folder.resolve() / SIDECARS / fit(called.strip())
    parts = {frame.name: _below(frame.name) for frame in frames}
    plain = {name: path.with_name(path.stem + SUFFIX) for name, path in parts.items()}
    whole = {name: path.with_name(path.name + SUFFIX) for name, path in parts.items()}
    count = Counter(same_place(path.as_posix()) for path in plain.values())
    return {
        name: root / (path if count[same_place(path.as_posix())] == 1 else whole[name])
        for name, path in plain.items()
    }


def _below(name: str) -> PurePosixPath:
    """Keep a frame's path below a folder, wherever it was given from."""
    path = PurePosixPath(name.replace("\\", "/"))
    parts = [fit(part) for part in path.parts if part not in ("/", "..", ".")]
    return PurePosixPath(*(parts or ["frame"]))
