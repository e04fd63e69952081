"""A book that was moved or copied elsewhere finds its originals again."""

from __future__ import annotations

import os
from pathlib import Path

from haltere.fieldbook.book import ORIGINALS, Book

# what a book writes down of a frame as whole paths
_PATHS = ("path", "raw_path")


def follow(book: Book) -> int:
    """Point the records of unloaded outings to where the book lies now.

    Only outings whose folder lies in this book's own originals are touched: a moved book follows
    its files, and a copy of a book speaks of its own.

    Parameters
    ----------
    book : Book
        Just opened.

    Returns
    -------
    int
        Outings that were moved along.
    """
    originals = (book.folder / ORIGINALS).resolve()
    rows = book.connection.execute("SELECT id, folder FROM outing WHERE in_place = 0").fetchall()
    moved = [
        (int(number), folder, str(originals / Path(folder).name))
        for number, folder in rows
        if Path(folder).parent != originals and (originals / Path(folder).name).is_dir()
    ]
    if not moved:
        return 0
    with book.writing() as write:
        for number, old, new in moved:
            write.execute("UPDATE outing SET folder = ? WHERE id = ?", (new, number))
            begins = old + os.sep
            for column in _PATHS:
                write.execute(
                    f"UPDATE frame SET {column} = ? || substr({column}, ?) "
                    f"WHERE outing_id = ? AND substr({column}, 1, ?) = ?",
                    (new, len(begins), number, len(begins), begins),
                )
    return len(moved)
