"""What the bench says of the hand is reckoned beside the page, and kept by the book's state."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from haltere.doors.bench import hand_kept
from haltere.doors.bench.hand_kept import HandKept
from haltere.errors import BookError
from haltere.fieldbook import open_book, place_outing
from haltere.fieldbook.supports import set_support
from haltere.hand import HandReport


@pytest.fixture
def book(tmp_path: Path) -> Path:
    with open_book(tmp_path) as opened:
        place_outing(opened, tmp_path / "lane", "lane", day="2031-06-20", in_place=True)
    return tmp_path


@pytest.fixture
def slow(monkeypatch: pytest.MonkeyPatch) -> Iterator[threading.Event]:
    """Reckoning that lasts until the event is set; nobody waits for it."""
    free, plain = threading.Event(), hand_kept.gather
    monkeypatch.setattr(hand_kept, "WAIT_S", 0.0)

    def gathered(*given: Any) -> Any:
        free.wait(30)
        return plain(*given)

    monkeypatch.setattr(hand_kept, "gather", gathered)
    yield free
    free.set()


def settled(kept: HandKept) -> HandReport:
    """Ask until the report is of the book as it stands."""
    for _ in range(200):
        report, current = kept.report()
        if current:
            assert report is not None
            return report
        if kept._at_work is not None:
            kept._at_work.join(30)
    raise AssertionError("never current")


def say(book: Path, word: str) -> None:
    with open_book(book) as opened:
        set_support(opened, 1, "", word)


def test_nobody_waits_for_the_first_report(book: Path, slow: threading.Event) -> None:
    kept = HandKept(book)
    assert kept.report() == (None, False)
    slow.set()
    assert settled(kept).bursts == 0


def test_the_last_report_stands_while_a_newer_one_is_reckoned(
    book: Path, slow: threading.Event
) -> None:
    slow.set()
    kept = HandKept(book)
    first = settled(kept)
    slow.clear()
    say(book, "a stick")
    assert kept.report() == (first, False)
    slow.set()
    settled(kept)


def test_a_bench_that_is_opened_again_has_the_report_at_once(
    book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    report = settled(HandKept(book))
    monkeypatch.delattr(hand_kept, "gather")
    assert HandKept(book).report() == (report, True)


def test_a_kept_report_that_was_torn_is_reckoned_again(book: Path) -> None:
    settled(HandKept(book))
    (book / "derived" / hand_kept.FILE).write_bytes(b'{"mark": "x", "repo')
    settled(HandKept(book))


def test_what_went_wrong_is_told_to_who_asks(book: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise BookError("the book is broken")

    monkeypatch.setattr(hand_kept, "gather", broken)
    kept = HandKept(book)
    with pytest.raises(BookError, match="broken"):
        settled(kept)


def test_a_closing_bench_leaves_a_reckoning_half_done(book: Path, slow: threading.Event) -> None:
    kept = HandKept(book)
    kept.report()
    kept.close()
    slow.set()
    at_work = kept._at_work
    if at_work is not None:
        at_work.join(30)
    assert not (book / "derived" / hand_kept.FILE).exists()
