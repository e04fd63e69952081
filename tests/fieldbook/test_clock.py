"""Clocks that were wrong."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from haltere.doors.cli.clock import seconds_of, shift_words
from haltere.errors import UsageError
from haltere.fieldbook import Book
from haltere.fieldbook.clock import clock_shifts, clocks, set_clock
from haltere.fieldbook.unload import unload
from tests.fieldbook.kept import tree


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("1:00:00", 3600.0), ("-0:00:05", -5.0), ("+12:30:15", 45015.0), ("140000:00:00", 5.04e8)],
)
def test_a_shift_is_read(text: str, seconds: float) -> None:
    assert seconds_of(text) == seconds


@pytest.mark.parametrize("text", ["", "1", "1:60:00", "1:00:99", "nan", "1:0:0", "--1:00:00"])
def test_what_is_no_shift_is_refused(text: str) -> None:
    with pytest.raises(UsageError, match="--shift"):
        seconds_of(text)


def test_a_shift_is_said_as_it_is_given() -> None:
    assert shift_words(seconds_of("-13:00:07")).startswith("-13:00:07 ")


@pytest.mark.parametrize("shift_s", [math.nan, math.inf, 1e12])
def test_a_shift_of_a_lifetime_is_refused(book: Book, shift_s: float) -> None:
    with pytest.raises(UsageError):
        set_clock(book, "1", shift_s)


def test_a_shift_is_kept_and_undone_by_another(book: Book) -> None:
    assert set_clock(book, "0012345", 90.0) == 0.0
    assert set_clock(book, "0012345", 0.0) == 90.0
    assert clock_shifts(book) == {"0012345": 0.0}
    assert [one.serial for one in clocks(book)] == ["0012345"]


def test_no_file_is_touched(book: Book, card: Path) -> None:
    unload(book, card)
    before = tree(book.originals)
    set_clock(book, "0012345", 86400.0)
    assert tree(book.originals) == before
    assert unload(book, card).copied == 0
