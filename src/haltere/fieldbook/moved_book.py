"""A book that was moved or copied elsewhere finds its originals and its merges again."""

from __future__ import annotations

import json
import os
from pathlib import Path, PurePath

from haltere.fieldbook.book import DERIVED, FILE, ORIGINALS, Book, Rows
from haltere.fieldbook.catalogue import identity

# what a book writes down of a frame as whole paths
_PATHS = ("path", "raw_path")


def follow(book: Book) -> int:
    """Point the records of a book's own files to where the book lies now.

    Its own are the outings that were unloaded into it, the pictures that lie in its folder though
    nobody unloaded them (the made-up outing), and what was worked out into its folder. A moved
    book follows its files, and a copy of a book speaks of its own; what lies elsewhere stays as it
    is written down.

    Parameters
    ----------
    book : Book
        Just opened.

    Returns
    -------
    int
        Outings and answers that were moved along.
    """
    moved = {**_unloaded(book), **_in_place(book)}
    steps = _steps(book)
    if not moved and not steps:
        return 0
    with book.writing() as write:
        for (number, old), new in moved.items():
            write.execute("UPDATE outing SET folder = ? WHERE id = ?", (new, number))
            for column in _PATHS:
                _begin_anew(write, "frame", column, old, new, number)
            for table in ("finishing", "measured"):
                _begin_anew(write, table, "picture", old, new)
        for step, made in steps.items():
            write.execute("UPDATE step SET made = ? WHERE id = ?", (json.dumps(made.now), step))
            for old, new in made.folders.items():
                for table, column in _MADE:
                    write.execute(f"UPDATE {table} SET {column} = ? WHERE {column} = ?", (new, old))
    return len(moved) + len(steps)


_MADE = (("repair", "folder"), ("finishing", "picture"), ("measured", "picture"))


def _begin_anew(
    write: Rows, table: str, column: str, old: str, new: str, outing: int | None = None
) -> None:
    """Let paths of one outing, or of all, begin with another folder."""
    begins = old + os.sep
    write.execute(
        f"UPDATE {table} SET {column} = ? || substr({column}, ?) WHERE substr({column}, 1, ?) = ?"
        + ("" if outing is None else " AND outing_id = ?"),
        (new, len(begins), len(begins), begins, *(() if outing is None else (outing,))),
    )


def _unloaded(book: Book) -> dict[tuple[int, str], str]:
    """Find outings that were unloaded and lie in this book's own originals."""
    originals = (book.folder / ORIGINALS).resolve()
    rows = book.connection.execute("SELECT id, folder FROM outing WHERE in_place = 0").fetchall()
    return {
        (int(number), folder): str(originals / Path(folder).name)
        for number, folder in rows
        if Path(folder).parent != originals and (originals / Path(folder).name).is_dir()
    }


def _in_place(book: Book) -> dict[tuple[int, str], str]:
    """Find outings whose pictures lay in the book by themselves, and lie in it now."""
    home = book.folder.resolve()
    rows = book.connection.execute("SELECT id, folder FROM outing WHERE in_place = 1").fetchall()
    found: dict[tuple[int, str], str] = {}
    for number, folder in rows:
        old = Path(folder)
        here = None if old.is_relative_to(home) else lying_here(old, home)
        if here is None or (old.is_dir() and not _in_a_book(old)):
            continue
        if _same_pictures(book, int(number), folder, here):
            found[int(number), folder] = str(here)
    return found


def _in_a_book(folder: Path) -> bool:
    return any((above / FILE).is_file() for above in folder.parents)


def lying_here(gone: PurePath, home: Path) -> Path | None:
    """Find a file or folder of this book that is called as one that is gone.

    Parameters
    ----------
    gone : PurePath
        Where it was.
    home : Path
        The book's folder.

    Returns
    -------
    Path or None
        Alike in as many names of the path as can be, in two at least; None when there is none.
    """
    parts = gone.parts[1:]
    for first in range(len(parts) - 1):
        here = home.resolve().joinpath(*parts[first:])
        if here.exists():
            return here
    return None


def _same_pictures(book: Book, outing: int, folder: str, here: Path) -> bool:
    """Answer whether most pictures of an outing lie in a folder; some may be lost or torn."""
    rows = book.connection.execute(
        "SELECT path, bytes FROM frame WHERE outing_id = ?", (outing,)
    ).fetchall()
    begins = folder + os.sep
    alike = sum(
        1
        for path, size in rows
        if path.startswith(begins) and identity(here / path[len(begins) :])[0] == size
    )
    return 2 * alike > len(rows)


class _Made:
    """Files of one answer, where they lie now; old and new folders of them."""

    def __init__(self) -> None:
        self.now: dict[str, list[int]] = {}
        self.folders: dict[str, str] = {}


def _steps(book: Book) -> dict[int, _Made]:
    """Find answers whose files are written down elsewhere and lie in this book."""
    home = (book.folder / DERIVED).resolve()
    inside = json.dumps(str(home) + os.sep)[1:-1]
    rows = book.connection.execute(
        "SELECT id, made FROM step WHERE made <> '{}' AND instr(made, ?) = 0", (inside,)
    ).fetchall()
    found = {}
    for number, text in rows:
        made = _moved(json.loads(text), home)
        if made is not None:
            found[int(number)] = made
    return found


def _moved(noted: dict[str, list[int]], home: Path) -> _Made | None:
    """Say where an answer's files lie now; None when they are not this book's."""
    answer = _Made()
    strange = False
    for name, about in noted.items():
        old = Path(name)
        at = [place for place, part in enumerate(old.parts) if part == DERIVED]
        if not at:
            return None
        new = home.joinpath(*old.parts[at[-1] + 1 :])
        # what lay in a book's own folder is this book's, also where the move lost it
        if not new.is_file() and not Path(*old.parts[: at[-1]], FILE).is_file():
            return None
        strange = strange or not _in_a_book(old)
        answer.now[str(new)] = about
        answer.folders[str(old.parent)] = str(new.parent)
    seen = {name: list(identity(Path(name))) for name in answer.now}
    if all(seen[name][0] == about[0] for name, about in answer.now.items()):
        # moving from disk to disk may cost a file its exact time; that all of them kept their
        # length tells that they are the same
        answer.now = seen
    elif strange and all(list(identity(Path(name))) == about for name, about in noted.items()):
        return None  # it lies elsewhere, whole, and this book has another of the same name
    return answer
