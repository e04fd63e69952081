"""Outings and frames by their number in the book, for doors that hand out addresses."""

from __future__ import annotations

from haltere.errors import UsageError
from haltere.fieldbook.book import Book
from haltere.fieldbook.catalogue import OutingRow, outing_of_row
from haltere.fieldbook.frame_rows import frame_of_row
from haltere.frames.frame import Frame


def outing_numbered(book: Book, number: int) -> OutingRow:
    """Give the outing of a number.

    Parameters
    ----------
    book : Book
        Open book.
    number : int
        Its number in the book.

    Returns
    -------
    OutingRow
        The one.

    Raises
    ------
    UsageError
        When there is none of that number.
    """
    row = book.connection.execute(
        "SELECT o.*, (SELECT count(*) FROM frame f WHERE f.outing_id = o.id) AS frames "
        "FROM outing o WHERE o.id = ?",
        (number,),
    ).fetchone()
    if row is not None:
        return outing_of_row(row)
    raise UsageError(f"outing {number}: is not in this field book; go back to the list of outings")


def frame_numbered(book: Book, number: int) -> tuple[OutingRow, Frame]:
    """Give the frame of a number, and its outing.

    Parameters
    ----------
    book : Book
        Open book.
    number : int
        Its number in the book, as `frame_numbers` gives it.

    Returns
    -------
    outing : OutingRow
        The outing that it belongs to.
    frame : Frame
        As it was found.

    Raises
    ------
    UsageError
        When there is none of that number.
    """
    row = book.connection.execute(
        "SELECT f.*, c.shift_s FROM frame f LEFT JOIN camera c ON c.serial = f.camera "
        "WHERE f.id = ?",
        (number,),
    ).fetchone()
    if row is None:
        raise UsageError(f"frame {number}: is not in this field book; load the page anew")
    return outing_numbered(book, int(row["outing_id"])), frame_of_row(row)
