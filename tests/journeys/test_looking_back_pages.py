"""Season and hand in a real browser: the numbers there are the book's."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from haltere.fieldbook import open_book, outings
from haltere.fieldbook.sightings import sightings
from haltere.fieldbook.supports import supports
from haltere.hand import gather, report_on
from haltere.records.season import season_of
from haltere.show.hand_page import rows_of
from tests.doors.bench.conftest import MadeBook, card, card_made
from tests.journeys.browser import axe_serious, browsing, walking
from tests.journeys.season_book import a_season

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

__all__ = ["card", "card_made"]

Begin = Callable[..., tuple["Page", str]]
DAY = "2031-06-12"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for all journeys."""
    with browsing() as started:
        yield started


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory, card_made: Path) -> MadeBook:
    """A book that all journeys share."""
    return a_season(tmp_path_factory.mktemp("season") / "book", card_made)


@pytest.fixture(scope="module")
def walk(browser: Browser, made: MadeBook) -> Iterator[Begin]:
    """Begin a journey."""
    with walking(browser, made.folder) as begin:
        yield begin


def test_the_season_shows_what_the_book_holds(walk: Begin, made: MadeBook) -> None:
    with open_book(made.folder) as book:
        out = [dt.date.fromisoformat(one.day) for one in outings(book) if one.day and one.frames]
        known = season_of(sightings(book), dt.date.fromisoformat(DAY), days_out=out)
    page, base = walk()
    page.goto(f"{base}/#/season")
    page.get_by_role("textbox", name="week from").fill(DAY)
    page.get_by_role("heading", name="in the week from 12 June 2031").wait_for()
    coming = page.get_by_role("listitem").filter(has_text="2 of 2 years")
    assert [one.inner_text().splitlines()[0] for one in coming.all()] == [
        f"{one.name}, {one.vernacular}" for one in known.coming if one.years_seen == 2
    ]
    assert "on thistle" in coming.first.inner_text()
    rows = page.get_by_role("table").locator("tbody tr").all()
    assert len(rows) == len(known.species) == 3
    for row, one in zip(rows, known.species, strict=True):
        cells = row.get_by_role("cell").all_inner_texts()
        assert cells[0].startswith(one.name)
        assert (int(cells[4]), int(cells[5])) == (one.sightings, one.animals)
        assert str(dt.date.fromisoformat(one.first).day) in cells[2]
        assert str(dt.date.fromisoformat(one.last).day) in cells[3]
    page.get_by_role("combobox", name="year").select_option("2030")
    page.get_by_role("heading", name="Season 2030", exact=True).wait_for()
    page.get_by_text("4 sightings of 3 species").wait_for()


def test_no_place_is_drawn_before_it_is_asked_for(walk: Begin) -> None:
    page, base = walk()
    page.goto(f"{base}/#/season")
    page.get_by_text("No place stands on this page").wait_for()
    drawn = page.get_by_role("img", name="places of 6 sightings")
    assert drawn.count() == 0
    with page.expect_response(lambda one: "places=exact" in one.url) as answered:
        page.get_by_label("exact, but not what is kept vague").check()
    drawn.wait_for()
    spots = answered.value.json()["season"]["spots"]
    assert sum(one["grid_deg"] is not None for one in spots) == 1  # both of the vague species
    assert "38.723942" not in answered.value.text()  # where one of them was
    page.get_by_text("a place that is told draws feet").wait_for()


def test_the_hand_shows_the_stored_numbers(walk: Begin, made: MadeBook) -> None:
    with open_book(made.folder) as book:
        report = report_on(*gather(book))
    page, base = walk()
    page.goto(f"{base}/#/hand")
    page.get_by_role("heading", name="How it moves").wait_for()
    table = page.get_by_role("table").first.locator("tbody tr").all()
    said = [
        (row.get_by_role("rowheader").inner_text(), *row.get_by_role("cell").all_inner_texts())
        for row in table
    ]
    assert said == [tuple(one) for one in rows_of(report)]
    for sentence in report.advice:
        assert page.get_by_text(sentence).count() == 1
    assert report.scored is not None
    page.get_by_text(f"{report.scored.bursts} bursts, each predicted").wait_for()
    page.get_by_text(f"Mean squared miss {report.scored.brier:.3f}").wait_for()
    page.get_by_text("The same as a table").click()
    group = report.groups[0]
    line = page.get_by_role("row", name=group.name).inner_text()
    assert f"{group.hits} of {group.bursts}" in line
    assert f"{100 * group.plan_rate:.0f} %" in line

    with open_book(made.folder) as book:
        title = next(row.title for row in outings(book))
    page.get_by_role("combobox", name="Outing").select_option(label=title)
    page.get_by_role("textbox", name="Rested on").fill("a knee")
    page.get_by_role("button", name="Write it down").click()
    page.get_by_text("Written down: a knee under the hand").wait_for()
    with open_book(made.folder) as book:
        assert list(supports(book).values()) == ["a knee"]


def test_an_empty_book_says_what_will_be_here(browser: Browser, tmp_path: Path) -> None:
    open_book(tmp_path / "empty").close()
    with walking(browser, tmp_path / "empty") as begin:
        page, base = begin()
        for place, words in (
            ("sightings", "No sighting yet."),
            ("season", "the season is drawn from what you write down"),
            ("hand", "from 0 bursts and 0 sweeps"),
        ):
            page.goto(f"{base}/#/{place}")
            page.get_by_text(words).wait_for()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious(walk: Begin, scheme: str) -> None:
    page, base = walk(color_scheme=scheme)
    found = []
    for place in ("season", "hand"):
        page.goto(f"{base}/#/{place}")
        page.reload()
        page.get_by_role("heading", level=2).first.wait_for()
        found += [(place, one) for one in axe_serious(page)]
    assert found == []
