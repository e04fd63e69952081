"""Which field book remembers a merged picture, told by a line beside it."""

from __future__ import annotations

from pathlib import Path

from haltere.errors import BookError
from haltere.fieldbook import Book, open_book
from haltere.frames import write_bytes

FILE = "book.txt"


def note_book(folder: Path, book: Book) -> None:
    """Lay a line beside a merged picture that names its book.

    Parameters
    ----------
    folder : Path
        Where the picture lies.
    book : Book
        The book; one in memory is not named.
    """
    if book.folder != Path():
        write_bytes(folder / FILE, f"{book.folder.resolve()}\n".encode())


def book_of(folder: Path, told: Path | None = None) -> Book:
    """Open the book that remembers a merged picture.

    Parameters
    ----------
    folder : Path
        Where the picture lies.
    told : Path, optional
        Folder of the book, where the person names it.

    Returns
    -------
    Book
        Open; one in the picture's own folder where no other is named or there any more.

    Raises
    ------
    BookError
        When it can't be opened or written.
    """
    place = told
    if place is None:
        try:
            place = Path((folder / FILE).read_text("utf-8").strip())
        except OSError:
            place = folder
        if not place.is_dir():
            place = folder
    book = open_book(place)
    if book.read_only:
        book.close()
        msg = f"{place}: this field book may not be written; name another with --book"
        raise BookError(msg)
    return book
