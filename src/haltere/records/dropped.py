"""Moves dropped frames out of an outing into a folder of their own, and back.

A frame moves with its raw file and its sidecars, under names that belong together there too.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from haltere.errors import FrameError, HaltereError, UsageError
from haltere.fieldbook.book import Book
from haltere.fieldbook.card_root import card_root, lies_on
from haltere.fieldbook.catalogue import OutingRow, frame_ids, frames_in, outings
from haltere.fieldbook.decisions import decisions_in
from haltere.fieldbook.locking import only_one
from haltere.fieldbook.naming import numbered
from haltere.fieldbook.originals import places
from haltere.frames.frame import Frame, Skipped
from haltere.frames.writing import make_folder
from haltere.progress import Progress, silent
from haltere.records.carrying import hash_file, holds
from haltere.records.moving import (
    Moved,
    MovingFile,
    MovingFrame,
    finish,
    move,
    moving_rows,
    settled,
)
from haltere.records.places import Folders, shared_stems, sidecars_beside


def move_away(book: Book, outing: OutingRow, to: Path, *, progress: Progress = silent) -> Moved:
    """Move the frames of an outing that were decided 'drop' into a folder; none is erased.

    Holds the names of the outing's files.

    Parameters
    ----------
    book : Book
        Open book in a folder.
    outing : OutingRow
        An outing that was unloaded.
    to : Path
        The folder; the outing gets one of its own in it.
    progress : Progress, optional
        Told how many frames were moved.

    Returns
    -------
    Moved
        What was moved, and what not.

    Raises
    ------
    UsageError
        When the outing lies where the photographer put it, or the folder holds originals.
    BookError
        When another haltere is at work on this book, or it can't be written.
    """
    _refuse_in_place(outing)
    root = to.resolve()
    _refuse_folder(book, root)
    with only_one(book.folder):
        begun = finish(book, outing, progress)["leaving"]
        groups, already, skipped = _dropped(book, outing, root)
        if groups:
            make_folder(root)
        moved = move(book, outing, groups, "leaving", progress)
    return Moved(
        begun.frames + moved.frames,
        begun.files + moved.files,
        already - len(begun.frames),
        (*begun.skipped, *skipped, *moved.skipped),
    )


def bring_back(book: Book, outing: OutingRow, *, progress: Progress = silent) -> Moved:
    """Move every frame of an outing that was moved away back to where it was.

    Parameters
    ----------
    book : Book
        Open book in a folder.
    outing : OutingRow
        The outing.
    progress : Progress, optional
        Told how many frames were moved.

    Returns
    -------
    Moved
        What was moved back; a file whose name was taken meanwhile gets a number.

    Raises
    ------
    UsageError
        When the outing lies where the photographer put it.
    BookError
        When another haltere is at work on this book, or it can't be written.
    """
    _refuse_in_place(outing)
    with only_one(book.folder):
        begun = finish(book, outing, progress)["returning"]
        groups, skipped = _moved(book, outing)
        moved = move(book, outing, groups, "returning", progress)
    return Moved(
        begun.frames + moved.frames,
        begun.files + moved.files,
        0,
        (*begun.skipped, *skipped, *moved.skipped),
    )


def _refuse_in_place(outing: OutingRow) -> None:
    if outing.in_place:
        raise UsageError(
            f"{outing.folder}: its originals lie where you put them, and haltere never moves "
            f"those; haltere book --outing {outing.id} lists what you dropped, to move it yourself"
        )


def _refuse_folder(book: Book, root: Path) -> None:
    own = [place.root.resolve() for place in places(book) if place.role == "second"]
    own += [book.originals.resolve(), book.derived.resolve()]
    own += [one.folder.resolve() for one in outings(book)]
    if any(root == one or one in root.parents for one in own):
        raise UsageError(f"--to {root}: holds originals; name a folder of its own")
    if root == book.folder.resolve() or book.folder.resolve() in root.parents:
        raise UsageError(f"--to {root}: belongs to the field book; name a folder elsewhere")
    for (source,) in book.connection.execute("SELECT DISTINCT source FROM visit"):
        if lies_on(root, card_root(Path(source))):
            raise UsageError(
                f"--to {root}: lies on the card or folder {source}, and nothing is written there; "
                "name a folder elsewhere"
            )
    if root.exists() and not root.is_dir():
        raise UsageError(f"--to {root}: is a file; name a folder")


def _dropped(
    book: Book, outing: OutingRow, root: Path
) -> tuple[list[MovingFrame], int, list[Skipped]]:
    """Choose what moves, and the names it gets."""
    frames = frames_in(book, outing.id)
    ids = frame_ids(book, outing.id)
    decided = decisions_in(book, outing.id)
    shared, folders = shared_stems(frames), Folders()
    originals = book.originals.resolve()
    bag = root / outing.folder.resolve().relative_to(originals).parts[0]
    groups: list[MovingFrame] = []
    skipped: list[Skipped] = []
    already = 0
    taken = set[Path]()
    for frame in frames:
        if decided.get(frame.name) != "drop":
            continue
        if not frame.path.is_relative_to(originals):
            already += 1
            continue
        try:
            files = _files_of(book, frame, shared, folders, root)
            below = [one.home.relative_to(outing.originals.resolve()).as_posix() for one in files]
            aways = _free(bag, below, files, taken)
        except HaltereError as error:
            skipped.append(Skipped(frame.name, str(error)))
            continue
        groups.append(
            MovingFrame(
                frame.name,
                ids[frame.name],
                tuple(replace(one, away=away) for one, away in zip(files, aways, strict=True)),
            )
        )
    return groups, already, skipped


def _files_of(
    book: Book, frame: Frame, shared: set[tuple[str, str]], folders: Folders, root: Path
) -> list[MovingFile]:
    """List a frame's files at home: picture, raw file, sidecars."""
    originals = book.originals.resolve()
    pictures = [path for path in (frame.path, frame.raw_path) if path is not None]
    files: list[MovingFile] = []
    for path in (*pictures, *sidecars_beside(frame, shared, folders)):
        row = book.connection.execute(
            "SELECT c.id, o.sha256, c.state FROM copy c JOIN original o ON o.id = c.original_id "
            "JOIN place p ON p.id = c.place_id WHERE p.root = 'originals' AND c.path = ?",
            (path.relative_to(originals).as_posix(),),
        ).fetchone()
        if row is not None and row[2] == "good":
            files.append(MovingFile(0, int(row[0]), path, path, root, row[1]))
        elif row is not None or path in pictures:
            raise FrameError(
                f"{path.name}: is not known to be a good copy; haltere verify tells more"
            )
        else:
            files.append(MovingFile(0, None, path, path, root, hash_file(path)))
    return files


def _moved(book: Book, outing: OutingRow) -> tuple[list[MovingFrame], list[Skipped]]:
    """Choose what comes back: what was moved, and sidecars as they are now."""
    frames = frames_in(book, outing.id)
    ids = frame_ids(book, outing.id)
    shared, folders = shared_stems(frames), Folders()
    groups: list[MovingFrame] = []
    skipped: list[Skipped] = []
    taken = set[Path]()
    for frame in frames:
        rows = moving_rows(book, "m.frame_id = ? AND m.state = 'away'", ids[frame.name])
        files = [one for group in rows for one in group.files]
        pictures = [one for one in files if one.copy is not None]
        if not pictures:
            continue
        gone = [one.away for one in pictures if not one.away.exists()]
        if gone and frame.path not in {one.away for one in pictures}:
            settled(book, files)  # its card was unloaded again: it is at home already
            continue
        if gone:
            why = f"{gone[0]} is gone; put it back there, or unload its card again"
            skipped.append(Skipped(frame.name, why))
            continue
        known = {one.away: one for one in files}
        folder = pictures[0].home.parent
        try:
            for path in sidecars_beside(frame, shared, folders):
                home = folder / _name_at_home(path, pictures)
                one = known.get(path, MovingFile(0, None, home, path, files[0].root, ""))
                if one.copy is None:
                    pictures.append(replace(one, sha256=hash_file(path)))
            names = [one.home.name for one in pictures]
            homes = _free(folder, names, pictures, taken, same=True)
        except HaltereError as error:
            skipped.append(Skipped(frame.name, str(error)))
            continue
        back = tuple(replace(one, home=home) for one, home in zip(pictures, homes, strict=True))
        groups.append(MovingFrame(frame.name, ids[frame.name], back))
    return groups, skipped


def _name_at_home(path: Path, pictures: Sequence[MovingFile]) -> str:
    """Name a sidecar after its picture at home, which may have another number."""
    for one in pictures:
        for away, home in ((one.away.name, one.home.name), (one.away.stem, one.home.stem)):
            if path.name.startswith(away):
                return home + path.name[len(away) :]
    return path.name


def _free(
    folder: Path,
    names: Sequence[str],
    files: Sequence[MovingFile],
    taken: set[Path],
    *,
    same: bool = False,
) -> list[Path]:
    """Find names that nothing has, or the same file; those of one frame get the same number."""
    number = 0
    while True:
        number += 1
        paths = [folder / numbered(name, number) for name in names]
        if all(
            path not in taken and (not os.path.lexists(path) or (same and holds(path, one.sha256)))
            for path, one in zip(paths, files, strict=True)
        ):
            taken.update(paths)
            return paths
