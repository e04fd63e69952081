"""Cropping and measuring a merged picture in a real browser, against truth and the stored rows."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from PIL import Image

from haltere.doors.bench import worker
from haltere.evening.finishing import one_source
from haltere.evening.ruled import kept
from haltere.evening.settled import settings_of
from haltere.fieldbook import (
    answers_in,
    ask,
    end_job,
    keep_frames,
    keep_kit,
    keep_runs,
    open_book,
    place_outing,
    take_job,
)
from haltere.finish.settings import Settings
from haltere.frames import find_frames
from haltere.merge.merged import Merge
from haltere.runs.run import Run
from haltere.scene.kits import pick_outfit
from haltere.scene.sets import render_sweep
from haltere.scene.truth import Truth
from tests.journeys.browser import axe_serious, browsing, walking

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

Begin = Callable[..., tuple["Page", str]]
SEED, WIDE, HIGH = 5, 640, 480


@dataclass
class Merged:
    """A book with one small merged sweep, and what is true of it."""

    book: Path
    folder: Path
    merge: Merge
    truth: Truth

    @property
    def size(self) -> tuple[int, int]:
        x0, y0, x1, y1 = self.merge.crop_px
        return x1 - x0, y1 - y0

    def settings(self) -> Settings:
        with open_book(self.book) as book:
            return settings_of(book, one_source(self.folder))

    def eyes(self) -> list[tuple[float, float]]:
        """Where both eyes lie in the picture."""
        seen = next(one for one in self.truth.frames if one.file == self.merge.reference)
        x0, y0 = self.merge.crop_px[:2]
        return [(float(x) - x0, float(y) - y0) for x, y in seen.eyes_px]


@pytest.fixture(scope="module")
def merged(tmp_path_factory: pytest.TempPathFactory) -> Merged:
    """Draw a small sweep whose owner knows his kit, and merge it as the bench does."""
    place = tmp_path_factory.mktemp("merged")
    outfit = pick_outfit(SEED, width_px=WIDE, height_px=HIGH)
    truth = render_sweep(
        SEED, place / "pushed", frames=10, width_px=WIDE, height_px=HIGH, views=8, outfit=outfit
    )
    frames = [one for one in find_frames([place / "pushed"]).frames if one.kind == "jpeg"]
    with open_book(place / "book") as book:
        keep_kit(book, outfit.as_kit("mine"))
        outing = place_outing(book, place / "pushed", "pushed", in_place=True)
        keep_frames(book, outing, frames)
        names = tuple(frame.name for frame in frames)
        keep_runs(book, outing, (Run("run-01", "sweep", names, (), ""),))
        ask(book, "merge", outing, "run-01")
        job = take_job(book)
        assert job is not None
    worker.do(place / "book", job, lambda *_: None)
    with open_book(place / "book") as book:
        end_job(book, job.id, "done")
        merge = answers_in(book, outing)["merge", "run-01"].as_a(Merge)
    assert merge is not None
    return Merged(place / "book", place / "book" / "derived" / "1" / "run-01", merge, truth)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for all journeys."""
    with browsing() as started:
        yield started


@pytest.fixture(scope="module")
def walk(browser: Browser, merged: Merged) -> Iterator[Begin]:
    """Begin a journey."""
    with walking(browser, merged.book) as begin:
        yield begin


@dataclass
class Seen:
    """The picture on the page: from its pixels to those of the screen."""

    page: Page
    size: tuple[int, int]

    def at(self, x: float, y: float) -> tuple[float, float]:
        box = self.page.get_by_role("img", name="The merged picture").bounding_box()
        assert box is not None
        scale = min(box["width"] / self.size[0], box["height"] / self.size[1])
        left = box["x"] + (box["width"] - scale * self.size[0]) / 2
        top = box["y"] + (box["height"] - scale * self.size[1]) / 2
        return left + scale * x, top + scale * y


def opened(walk: Begin, merged: Merged, tool: str) -> Seen:
    page, base = walk()
    with page.expect_response(lambda one: "/layers/merged/tiles/" in one.url):
        page.goto(f"{base}/#/1/run-01/picture?as={tool}")
    page.get_by_role("complementary", name=re.compile("Cropping|Measuring")).wait_for()
    page.wait_for_timeout(900)  # the picture glides into place; a press before it lands elsewhere
    return Seen(page, merged.size)


def test_a_crop_is_stored_and_delivered_in_its_size(walk: Begin, merged: Merged) -> None:
    seen = opened(walk, merged, "crop")
    page, (wide, high) = seen.page, merged.size
    page.get_by_role("button", name="1:1").click()
    square = min(wide, high)
    page.get_by_text(f"{square} × {square} px").wait_for()
    page.get_by_role("button", name="free").click()
    x0 = (wide - square + 1) // 2  # the page rounds halves up
    x1 = x0 + square
    page.mouse.move(*seen.at(x1 - 2, high - 2))  # the last pixels, still on the picture
    page.mouse.down()
    page.mouse.move(*seen.at(x1 - 22, high - 32), steps=5)
    page.mouse.move(*seen.at(x1 - 42, high - 62), steps=5)
    page.mouse.up()
    right = int(page.get_by_role("spinbutton", name="right").input_value())
    bottom = int(page.get_by_role("spinbutton", name="bottom").input_value())
    assert abs(right - (x1 - 40)) <= 2
    assert abs(bottom - (high - 60)) <= 2
    page.keyboard.press("e")  # from the corner to all of it
    page.keyboard.press("e")  # to the left edge
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowRight")
    left = x0 + 11
    assert page.get_by_role("spinbutton", name="left").input_value() == str(left)
    assert merged.settings() == Settings()  # nothing is written before it is said
    page.get_by_role("button", name="Write it down").click()
    page.get_by_text("This crop stands in the book.").wait_for()
    assert merged.settings().crop == f"{left},0,{right - left},{bottom}"
    whole = (merged.folder / "picture.tif").read_bytes()

    page.get_by_text("Make a file of it").first.click()
    page.get_by_role("combobox", name="For").select_option("print")
    page.get_by_role("textbox", name="Made by").fill("Ana")
    page.get_by_role("button", name="Make the file").click()
    link = page.get_by_role("link", name=re.compile(r"\.jpg$"))
    link.wait_for(timeout=90_000)
    page.get_by_text(f"{right - left} × {bottom} px. Merged from").wait_for()
    with page.expect_download() as begun:
        link.click()
    with Image.open(begun.value.path()) as picture:
        assert picture.size == (right - left, bottom)
        assert picture.getexif().get_ifd(0x8825) == {}
    assert (merged.folder / "picture.tif").read_bytes() == whole

    page.get_by_role("button", name="Take back").click()
    page.get_by_text("The whole picture stands.").wait_for()
    assert merged.settings() == Settings()


def test_a_crop_says_what_it_carries_before_it_is_written_down(walk: Begin, merged: Merged) -> None:
    page = opened(walk, merged, "crop").page
    page.get_by_label("longer side wanted, cm").fill("60")
    page.get_by_label("longer side wanted, cm").press("Tab")
    page.get_by_text("A print of 60 cm will look soft from 40 cm").wait_for()
    page.get_by_label("looked at from, cm").fill("400")
    page.get_by_label("looked at from, cm").press("Tab")
    page.get_by_text("will look soft").wait_for(state="hidden")
    page.get_by_role("combobox", name="where").select_option("burnt")
    page.get_by_label("length, mm").fill("900")
    page.get_by_label("length, mm").press("Tab")
    page.get_by_text("choose another length").wait_for()
    page.get_by_label("length, mm").fill("1")
    page.get_by_label("length, mm").press("Tab")
    page.get_by_text("choose another length").wait_for(state="hidden")
    assert merged.settings() == Settings()


def test_a_length_holds_the_truth_within_its_interval(walk: Begin, merged: Merged) -> None:
    seen = opened(walk, merged, "measure")
    page = seen.page
    true_mm = math.dist(*merged.truth.eye_points_mm)
    for x, y in merged.eyes():
        page.mouse.click(*seen.at(x + 0.5, y + 0.5))
        page.wait_for_timeout(400)  # two clicks in a row would be a double click
    said = page.get_by_text(re.compile(r"^\d\.\d+ ± \d\.\d+ mm long"))
    said.wait_for()
    value, wide = (float(one) for one in re.findall(r"\d\.\d+", said.inner_text())[:2])
    assert value - wide <= true_mm <= value + wide
    assert wide < 0.15 * true_mm
    page.get_by_text("Measured in depth, along the animal.").wait_for()

    page.get_by_label("this line is, mm").fill(f"{true_mm:.4f}")
    page.get_by_role("button", name="Take it as the scale").click()
    page.get_by_text("from something of known length").wait_for()
    page.keyboard.press("Backspace")
    page.keyboard.press("a")  # a corner in the middle, moved by keyboard
    page.keyboard.press("ArrowDown")
    said.wait_for()
    page.keyboard.press("a")
    page.get_by_text(re.compile(r"mm long, \d+ ± \d+ degrees")).wait_for()
    assert page.get_by_role("row").count() == 3


def test_a_written_line_is_there_again_and_can_be_taken_back(walk: Begin, merged: Merged) -> None:
    seen = opened(walk, merged, "measure")
    page = seen.page
    for x, y in merged.eyes():
        page.mouse.click(*seen.at(x + 0.5, y + 0.5))
        page.wait_for_timeout(400)  # two clicks in a row would be a double click
    page.get_by_label("what it measures").fill("between the eyes")
    page.get_by_role("button", name="Write it down").click()
    panel = page.get_by_role("complementary", name="Measuring")
    line = panel.get_by_role("listitem").filter(has_text="between the eyes")
    line.wait_for()
    with open_book(merged.book) as book:
        (row,) = kept(book, one_source(merged.folder))
    assert (row.name, len(row.line.points_px)) == ("between the eyes", 2)
    assert row.measured.text in line.inner_text()

    page.reload()
    line.wait_for()
    page.get_by_role("button", name="between the eyes").click()
    panel.get_by_role("status").filter(has_text="mm long").wait_for()
    page.get_by_role("button", name="Take the last one back").click()
    line.wait_for(state="hidden")
    with open_book(merged.book) as book:
        assert kept(book, one_source(merged.folder)) == ()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious(walk: Begin, scheme: str) -> None:
    page, base = walk(color_scheme=scheme)
    found = []
    for tool in ("crop", "measure"):
        page.goto(f"{base}/#/1/run-01/picture?as={tool}")
        page.reload()
        page.get_by_role("complementary", name=re.compile("Cropping|Measuring")).wait_for()
        found += [(tool, one) for one in axe_serious(page)]
    assert found == []
