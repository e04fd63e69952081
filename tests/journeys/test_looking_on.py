"""Shown round, and looking on with a phone: two ways of coming to the bench for the first time."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import pytest

from haltere.fieldbook import answers_in, jobs, open_book, outings
from tests.doors.bench.conftest import card, card_made, fill
from tests.journeys.browser import axe_serious, browsing, serving
from tests.journeys.test_bench import PLACES, Bench, reader

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

__all__ = ["card", "card_made", "reader"]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for all journeys."""
    with browsing() as started:
        yield started


def framed(page: Page) -> str:
    """Tell what the round points at: the words of the thing in its frame."""
    box = page.locator("body > div .frame, .frame").bounding_box()
    assert box is not None
    return str(
        page.evaluate(
            "([x, y]) => { const one = document.elementFromPoint(x, y);"
            " return (one.closest('li, section, .axis, [role=img]') ?? one).textContent"
            " + (one.closest('[aria-label]')?.getAttribute('aria-label') ?? ''); }",
            [box["x"] + box["width"] / 2, box["y"] + min(box["height"], 300) / 2],
        )
    )


def test_who_is_new_is_shown_round_at_the_real_things(reader: Callable[..., Bench]) -> None:
    bench = reader()
    page = bench.page
    page.get_by_role("button", name="Show me round").click()
    for number, (title, place, thing) in enumerate(
        (
            ("An outing is a strip", "", "meadow"),
            ("The evening, run after run", "1?at=run-01", "burst of 4 frames"),
            ("A burst hangs", "1/run-01", "M_0001.JPG"),
            ("A sweep is a ladder", "1/run-02", "depth, mm"),
            ("The picture", "1/run-02/picture", "The merged picture"),
        ),
        1,
    ):
        page.get_by_text(f"Step {number} of 5").wait_for()
        page.get_by_role("complementary", name=re.compile(title)).wait_for()
        assert page.url.partition("#/")[2].startswith(place)
        page.locator(".frame").wait_for()
        assert thing in framed(page)
        if number == 3:
            page.reload()  # where one was is remembered
            page.get_by_text("Step 3 of 5").wait_for()
            page.locator(".frame").wait_for()
        page.keyboard.press("Enter")
    page.get_by_text("Step 5 of 5").wait_for(state="detached")
    page.reload()
    page.get_by_role("heading", level=1).wait_for()
    assert page.get_by_text(re.compile(r"Step . of 5")).count() == 0


def test_the_round_follows_who_walks_alone_and_ends_on_escape(
    reader: Callable[..., Bench],
) -> None:
    bench = reader()
    page = bench.page
    page.get_by_role("button", name="Show me round").click()
    page.get_by_text("Step 1 of 5").wait_for()
    page.get_by_role("link", name="14 June 2031 meadow").click()
    page.get_by_text("Step 2 of 5").wait_for()
    bench.at("1/run-02")
    page.get_by_text("Step 4 of 5").wait_for()
    page.keyboard.press("Escape")
    page.get_by_text("Step 4 of 5").wait_for(state="detached")
    assert page.url.endswith("#/1/run-02")


def test_a_phone_joins_by_the_code_follows_and_is_offered_nothing_that_writes(
    browser: Browser, card: Path, tmp_path: Path
) -> None:
    made = fill(tmp_path / "book", card)
    with serving(made.folder, "--lan", "127.0.0.1") as address:
        own = browser.new_context().new_page()
        own.goto(address)
        own.get_by_role("button", name="Phone").click()
        dialog = own.get_by_role("dialog", name="Look on with a phone")
        dialog.get_by_role("img", name="Code to scan").wait_for()
        dialog.get_by_text("No phone has joined yet").wait_for()
        link = read_code(dialog.get_by_role("img").screenshot())
        assert link.startswith("https://127.0.0.1:")

        phone = browser.new_context(
            viewport={"width": 390, "height": 844}, is_mobile=True, ignore_https_errors=True
        ).new_page()
        phone.goto(link)
        phone.get_by_text("This phone looks on").wait_for()
        dialog.get_by_text("One phone has joined").wait_for()
        dialog.get_by_text("The code was used").wait_for()

        base = link.partition("/enter")[0]
        phone.goto(f"{base}/#/1/run-02")
        phone.get_by_role("listitem").filter(has_text="nothing sharp from 0.10").wait_for()
        for name in ("Merge", "Undo", "Leave"):
            assert phone.get_by_role("button", name=re.compile(name)).count() == 0
        wide = phone.evaluate("document.documentElement.scrollWidth")
        assert wide <= 390

        phone.goto(f"{base}/#/1")
        phone.get_by_text("2 runs without your word").wait_for()
        own.keyboard.press("Escape")
        own.goto(address.partition("/enter")[0] + "/#/1/run-01")
        own.get_by_text("4 frames without your word").wait_for()
        own.keyboard.press("k")
        own.keyboard.press("r")
        phone.get_by_text("1 run without your word").wait_for()  # nobody touched it
        for page in (own, phone):
            page.context.close()


def read_code(picture: bytes) -> str:
    """Read a code as a phone's camera does."""
    import cv2
    import numpy as np

    grey = cv2.imdecode(np.frombuffer(picture, np.uint8), cv2.IMREAD_GRAYSCALE)
    return str(cv2.QRCodeDetector().detectAndDecode(grey)[0])


SMALL = """() => [...document.querySelectorAll("button, a, select, input, summary")]
  .filter((one) => !one.closest("p") && getComputedStyle(one).position !== "absolute")
  .map((one) => [one, (one.closest("label") ?? one).getBoundingClientRect()])
  .filter(([, box]) => box.width > 0 && box.height > 0 && box.height < 40)
  .map(([one, box]) => `${(one.textContent || one.ariaLabel || one.type).trim()}: ${box.height}`)"""
"""What a fingertip has to meet and is less than 40 px high."""


def test_on_a_phone_everything_is_within_a_finger_s_reach_and_the_picture_in_sight(
    reader: Callable[..., Bench],
) -> None:
    bench = reader(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    page = bench.page
    found = []
    for place in PLACES:
        bench.at(place)
        page.get_by_role("heading", level=1).wait_for()
        page.wait_for_load_state("networkidle")
        aside = page.evaluate("() => document.documentElement.scrollWidth - innerWidth")
        found += [(place, f"{aside} px to the side")] if aside > 0 else []
        found += [(place, one) for one in page.evaluate(SMALL)]
        if place == "1/run-02/picture":
            box = page.get_by_role("img", name="The merged picture").bounding_box()
            assert box is not None
            assert box["y"] < 844 / 2, "the rows of tools leave the upper half"
    assert found == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious_in_round_code_and_empty_book(
    browser: Browser, card: Path, tmp_path: Path, scheme: Literal["light", "dark"]
) -> None:
    made = fill(tmp_path / "book", card)
    found = []
    with serving(made.folder, "--lan", "127.0.0.1") as address:
        page = browser.new_context(color_scheme=scheme).new_page()
        page.goto(address)
        page.get_by_role("button", name="Show me round").click()
        page.get_by_text("Step 1 of 5").wait_for()
        found += axe_serious(page)
        page.keyboard.press("Escape")
        page.get_by_role("button", name="Phone").click()
        page.get_by_role("img", name="Code to scan").wait_for()
        found += axe_serious(page)
        page.context.close()
    with serving(tmp_path / "empty") as address:
        page = browser.new_context(color_scheme=scheme).new_page()
        page.goto(address)
        page.get_by_role("button", name="Make up an outing").wait_for()
        found += axe_serious(page)
        page.context.close()
    assert found == []


@pytest.mark.skipif(not os.environ.get("HALTERE_ALL_TESTS"), reason="it draws 119 frames: minutes")
def test_an_empty_book_offers_a_made_up_outing_shows_it_and_unloads_its_card(
    browser: Browser, tmp_path: Path
) -> None:
    folder, places = tmp_path / "book", tmp_path / "plugged in"
    (places / "STICK").mkdir(parents=True)
    with serving(folder, "--places", str(places)) as address:
        page = browser.new_context().new_page()
        page.goto(address)
        page.get_by_role("button", name="Make up an outing").click()
        page.get_by_text("Making it up").wait_for()
        page.get_by_text("Step 1 of 5").wait_for(timeout=1_200_000)
        page.keyboard.press("Enter")
        page.get_by_text("Step 2 of 5").wait_for()
        for number in (3, 4, 5):
            page.keyboard.press("Enter")
            page.get_by_text(f"Step {number} of 5").wait_for()
            page.locator(".frame").wait_for(timeout=60_000)
        page.keyboard.press("Escape")
        with open_book(folder) as book:
            assert [(job.kind, job.state) for job in jobs(book)] == [("demo", "done")]
            (outing,) = outings(book)
            answered = answers_in(book, outing.id)

        dcim = places / "MOTH" / "DCIM" / "100MEADW"
        shutil.copytree(outing.folder, dcim)
        page.goto(address.partition("/enter")[0] + "/#/unload")
        page.get_by_role("button", name="MOTH").click()
        page.get_by_text("nothing on it was unloaded into this book").wait_for()
        page.keyboard.press("2")
        page.keyboard.type(str(places / "STICK" / "copies"))
        page.keyboard.press("Enter")
        page.locator(".verdict[data-code=one-copy]").wait_for(timeout=120_000)
        page.context.close()
    for home in (folder / "originals", places / "STICK" / "copies"):
        kept = {path.name: path for path in home.rglob("data/**/*.JPG")}
        assert len(kept) == outing.frames
        assert all(kept[path.name].read_bytes() == path.read_bytes() for path in dcim.glob("*.JPG"))
    assert {verb for verb, _ in answered} >= {"keepers", "gaps", "merge"}
