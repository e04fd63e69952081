"""How wrong each camera's clock is, told once by the photographer."""

from __future__ import annotations

import math
from dataclasses import dataclass

from haltere.errors import UsageError
from haltere.fieldbook.book import Book

_LONGEST_S = 60 * 366 * 86400.0
"""Sixty years: a clock that went back to the first date it knows is no further off."""


@dataclass(frozen=True, slots=True)
class CameraClock:
    """One camera's clock.

    Attributes
    ----------
    serial : str
        Serial number of the body.
    shift_s : float
        What is added to its times.
    frames : int
        Frames of it in the book.
    """

    serial: str
    shift_s: float
    frames: int


def set_clock(book: Book, serial: str, shift_s: float) -> float:
    """Write down what to add to a camera's times; no file is touched.

    Parameters
    ----------
    book : Book
        Open book.
    serial : str
        Serial number of the body.
    shift_s : float
        Seconds; 0 trusts the clock again.

    Returns
    -------
    float
        What it was before, so that it can be set back.

    Raises
    ------
    UsageError
        When the number or the serial number makes no sense.
    """
    if not math.isfinite(shift_s) or abs(shift_s) > _LONGEST_S:
        raise UsageError("--shift is more than sixty years; give H:MM:SS")
    if not serial.strip() or len(serial) > 64 or not serial.isprintable():
        raise UsageError("--camera needs the serial number as the camera writes it")
    before = clock_shifts(book).get(serial, 0.0)
    with book.writing() as rows:
        rows.execute(
            "INSERT INTO camera (serial, model, shift_s) VALUES (?, '', ?) "
            "ON CONFLICT (serial) DO UPDATE SET shift_s = excluded.shift_s",
            (serial, float(shift_s)),
        )
    return before


def clock_shifts(book: Book) -> dict[str, float]:
    """Give what to add to each camera's times.

    Parameters
    ----------
    book : Book
        Open book.

    Returns
    -------
    dict
        Seconds by serial number; a camera that is not in it is trusted.
    """
    rows = book.connection.execute("SELECT serial, shift_s FROM camera")
    return {row[0]: float(row[1]) for row in rows}


def clocks(book: Book) -> tuple[CameraClock, ...]:
    """List the cameras that the book knows.

    Parameters
    ----------
    book : Book
        Open book.

    Returns
    -------
    tuple of CameraClock
        By serial number.
    """
    rows = book.connection.execute(
        "SELECT serial, shift_s, (SELECT count(*) FROM frame WHERE camera = serial) "
        "FROM camera ORDER BY serial"
    )
    return tuple(CameraClock(row[0], float(row[1]), int(row[2])) for row in rows)
