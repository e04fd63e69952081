"""Sightings in a real browser: what is typed there is what the book holds and what leaves."""

from __future__ import annotations

import io
import json
import re
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from haltere.fieldbook import open_book
from haltere.fieldbook.sightings import SightingRow, sighting_numbered, sightings, versions_of
from tests.doors.bench.conftest import MadeBook, card, card_made
from tests.journeys.browser import axe_serious, browsing, walking
from tests.journeys.season_book import SEEN, a_season

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

__all__ = ["card", "card_made"]

Begin = Callable[..., tuple["Page", str]]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for all journeys."""
    with browsing() as started:
        yield started


@pytest.fixture
def made(tmp_path: Path, card: Path) -> MadeBook:
    """A book of its own."""
    return a_season(tmp_path / "book", card)


@pytest.fixture
def walk(browser: Browser, made: MadeBook) -> Iterator[Begin]:
    """Begin a journey."""
    with walking(browser, made.folder) as begin:
        yield begin


def stored(made: MadeBook) -> list[SightingRow]:
    with open_book(made.folder) as book:
        return sorted(sightings(book), key=lambda row: row.id)


def write_one(page: Page) -> None:
    """Type a sighting from a run on: a synonym chosen by keys, the place by hand."""
    page.get_by_role("link", name="Write a sighting").click()
    page.get_by_role("combobox", name="What, as you would say it").fill("inv cam")
    page.get_by_role("option", name="Inventa campestris now Inventa pratensis").wait_for()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    page.get_by_label("likely").check()
    page.get_by_label("How many").fill("2")
    page.get_by_label("Stage").fill("adult")
    page.get_by_label("What it did").fill("sunning itself")
    page.get_by_label("Plant it sat on").fill("thistle")
    page.get_by_label("by hand").check()
    page.get_by_label("Latitude, south negative").fill("38.71562")
    page.get_by_label("Longitude, west negative").fill("-9.23471")
    page.get_by_label("Within, metres").fill("25")
    page.get_by_label("The place in words").fill("hollow lane")
    page.get_by_label("Country, two letters").fill("pt")
    page.get_by_label("Time zone").fill("+01:00")


def test_a_sighting_is_typed_and_stands_in_the_book(walk: Begin, made: MadeBook) -> None:
    page, base = walk()
    page.goto(f"{base}/#/1/run-02")
    write_one(page)
    page.get_by_role("button", name="Write it down").click()
    page.get_by_text("Written down as sighting 7.").wait_for()
    row = stored(made)[-1]
    assert row.said.name == "Inventa campestris"
    assert row.said.named is not None
    assert row.said.named.accepted == "Inventa pratensis"
    assert (row.said.certainty, row.said.count, row.said.life_stage) == ("likely", 2, "adult")
    assert (row.said.behaviour, row.said.plant) == ("sunning itself", "thistle")
    assert (row.said.observer, row.said.determined_by) == ("Ana", "Ana")
    assert row.said.when == "2031-06-14T18:09:12+01:00"  # the first picture of the run
    assert row.said.where is not None
    assert (row.said.where.latitude_deg, row.said.where.longitude_deg) == (38.71562, -9.23471)
    assert (row.said.where.uncertainty_m, row.said.country) == (25.0, "PT")
    assert [(one.kind, one.name) for one in row.said.evidence] == [("run", "run-02")]

    page.get_by_role("button", name="Change it").click()
    page.get_by_label("What it did").fill("asleep")
    page.get_by_role("button", name="Write the change down").click()
    page.get_by_text("Sighting 7 is now version 2.").wait_for()
    page.get_by_role("button", name="Withdraw …").click()
    page.get_by_label("why").fill("a mix-up")
    page.get_by_role("button", name="Withdraw it").click()
    page.get_by_text("Withdrawn: a mix-up.").wait_for()
    page.get_by_role("button", name="Let it stand again").click()
    page.get_by_role("button", name="Change it").wait_for()
    with open_book(made.folder) as book:
        behaviours = [(one.said.behaviour, one.withdrawn) for one in versions_of(book, 7)]
        assert sighting_numbered(book, 7).said.where == row.said.where
    assert behaviours == [
        ("sunning itself", None), ("asleep", None), ("asleep", "a mix-up"), ("asleep", None)
    ]  # fmt: skip


def test_what_can_t_be_written_is_said_in_the_page_s_words(
    browser: Browser, made: MadeBook
) -> None:
    with walking(browser, made.folder, may_refuse=True) as begin:
        page, base = begin()
        page.goto(f"{base}/#/sightings/new")
        page.get_by_role("combobox", name="What").fill("a bee")
        page.get_by_role("button", name="Write it down").click()
        alert = page.get_by_role("alert")
        alert.wait_for()
        assert "“When”" in alert.inner_text()
        assert "--" not in alert.inner_text()
    assert len(stored(made)) == len(SEEN)


def test_an_address_without_a_sighting_says_so(walk: Begin) -> None:
    page, base = walk()
    page.goto(f"{base}/#/sightings/seven")
    page.get_by_text("No sighting has the address seven").wait_for()


def test_a_track_from_the_page_gives_the_place(walk: Begin, made: MadeBook, tmp_path: Path) -> None:
    from tests.records.meadow import gpx

    track = gpx(tmp_path / "walk.gpx", [(0, 38.70, -9.10), (600, 38.76, -9.16)], dop=1.0)
    page, base = walk()
    page.goto(f"{base}/#/sightings/new?of=1.run-02")
    page.get_by_role("combobox", name="What").fill("a bee")
    page.get_by_label("your track, by the time").check()
    page.get_by_label("GPX file").set_input_files(track)
    page.get_by_label("Time zone").fill("+01:00")
    page.get_by_role("button", name="Write it down").click()
    page.get_by_text("Written down as sighting 7.").wait_for()
    where = stored(made)[-1].said.where
    assert where is not None
    assert where.source == "track"
    assert where.latitude_deg == pytest.approx(38.73, abs=1e-4)  # half way in time
    assert where.how.startswith("walk.gpx") or "walk.gpx" in where.how


def test_a_sensitive_animal_leaves_without_its_exact_place(walk: Begin, made: MadeBook) -> None:
    page, base = walk()
    page.goto(f"{base}/#/sightings/new?of=1.run-02")
    page.get_by_role("combobox", name="What").fill("Ficta arvensis")
    page.get_by_text("Ficta arvensis: kept vague (few are left)").wait_for()
    page.get_by_label("by hand").check()
    page.get_by_label("Latitude, south negative").fill("38.71562")
    page.get_by_label("Longitude, west negative").fill("-9.23471")
    page.get_by_label("The place in words").fill("hollow lane by the mill")
    page.get_by_role("button", name="Write it down").click()
    page.get_by_text("Written down as sighting 7.").wait_for()

    page.get_by_role("link", name="Hand on").click()
    page.get_by_text("a place that is told draws feet").wait_for()
    page.get_by_role("form").get_by_label("Outing").select_option("all")
    page.get_by_label("table (CSV)").check()
    page.get_by_label("points of a map (GeoJSON)").check()
    page.get_by_label("exact, but never what is kept vague").check()
    page.get_by_label("CC BY, with your name").check()
    page.get_by_role("button", name="Make the files").click()
    left = page.get_by_role("region", name="What left")
    left.wait_for(timeout=60_000)
    assert "4 with the exact place, 3 with a place on a grid" in left.inner_text()
    fetched: dict[str, bytes] = {}
    for kind in ("zip", "csv", "geojson"):
        with page.expect_download() as begun:
            left.get_by_role("link", name=f"sightings.{kind}").click()
        fetched[kind] = Path(begun.value.path()).read_bytes()
    archive = zipfile.ZipFile(io.BytesIO(fetched["zip"]))
    inside = {name: archive.read(name) for name in archive.namelist()}
    assert {"meta.xml", "eml.xml", "occurrence.txt", "multimedia.txt"} <= set(inside)
    for name, data in (*inside.items(), ("csv", fetched["csv"]), ("json", fetched["geojson"])):
        for secret in (b"38.71562", b"38.7156", b"9.23471", b"9.2347", b"by the mill"):
            assert secret not in data, name
    occurrence = inside["occurrence.txt"].decode().splitlines()
    heads = occurrence[0].split("\t")
    rows = [dict(zip(heads, line.split("\t"), strict=True)) for line in occurrence[1:]]
    mine = next(row for row in rows if row["occurrenceID"] == stored(made)[-1].occurrence)
    assert (mine["decimalLatitude"], mine["decimalLongitude"]) == ("38.75", "-9.25")
    assert mine["eventDate"] == "2031-06-14"
    open_one = next(row for row in rows if row["verbatimIdentification"] == "Inventa campestris")
    assert open_one["decimalLatitude"] == "38.733942"  # nobody asked to keep this one vague
    assert len(json.loads(fetched["geojson"])["features"]) == len(rows) == 7


def test_what_is_kept_vague_is_said_on_the_page(walk: Begin, made: MadeBook) -> None:
    page, base = walk()
    page.goto(f"{base}/#/sightings/vague")
    page.get_by_label("A species, genus or family").fill("Inventa pratensis")
    page.get_by_role("button", name="Keep it vague").click()
    page.get_by_text("Inventa pratensis, grid 0.1 degrees").wait_for()
    vague = page.get_by_role("img", name="its place is kept vague")
    assert vague.count() == 5  # the synonym too; the hoverfly is no such animal
    page.get_by_role("button", name=re.compile("Take it off.*Ficta arvensis")).click()
    page.get_by_text("Ficta arvensis, grid").wait_for(state="hidden")
    assert vague.count() == 3


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious(walk: Begin, scheme: str) -> None:
    page, base = walk(color_scheme=scheme)
    found: list[Any] = []
    for place in ("", "/1", "/new?of=1.run-02", "/export", "/vague"):
        page.goto(f"{base}/#/sightings{place}")
        page.reload()
        page.get_by_role("heading", level=1).wait_for()
        page.get_by_text(re.compile(r"^\d sightings?")).first.wait_for()
        found += [(place, one) for one in axe_serious(page)]
    assert found == []
