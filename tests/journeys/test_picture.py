"""On a merged picture, in a real browser: what is patched there is what the file shows."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
import tifffile

from haltere.fieldbook import Repair, jobs, open_book, repairs_of
from haltere.merge.patch import polygon_mask
from haltere.merge.repairing import MADE
from haltere.merge.views import read_views
from tests.doors.bench.conftest import MadeBook, MergedBook, fill_merged, fill_raw
from tests.journeys.browser import axe_serious, browsing, come_to, serving

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for all journeys."""
    with browsing() as started:
        yield started


@pytest.fixture
def merged(tmp_path: Path) -> MergedBook:
    """A small sweep that was really merged, in a book of its own."""
    return fill_merged(tmp_path)


@contextmanager
def come(browser: Browser, merged: MergedBook | MadeBook, place: str) -> Iterator[Page]:
    """Open a place of the bench; an error of the page fails the test."""
    troubles: list[str] = []
    with serving(merged.folder) as address:
        page, base = come_to(browser, address, troubles)
        page.set_default_timeout(30_000)
        page.goto(f"{base}/#/{place}")
        yield page
        page.context.close()
    assert troubles == []


def stored(merged: MergedBook) -> tuple[Repair, ...]:
    """Give the patches that the book holds."""
    with open_book(merged.folder) as book:
        return repairs_of(book, merged.merge, read_views(merged.merge)[1])


def pixels(path: Path) -> np.ndarray:  # type: ignore[type-arg]
    return tifffile.imread(path).astype(int)


def until(page: Page, true: Callable[[], bool]) -> None:
    """Wait for what the page does not show."""
    for _ in range(100):
        if true():
            return
        page.wait_for_timeout(100)
    raise AssertionError("it never came")


def test_a_patch_by_keyboard_is_stored_written_taken_back_and_gone_from_the_file(
    browser: Browser, merged: MergedBook
) -> None:
    with come(browser, merged, "1/run-01/picture") as page:
        page.get_by_role("img", name="The merged picture of run-01").wait_for()
        page.keyboard.press("p")
        ladder = page.get_by_role("slider", name="Frame under the patch")
        ladder.wait_for()
        for _ in range(7):
            page.keyboard.press("ArrowUp")  # to the nearest plane of all
        said = ladder.get_attribute("aria-valuetext") or ""
        frame = said.partition(",")[0]
        with page.expect_response(lambda one: "/look?" in one.url and "/patches/" in one.url):
            page.keyboard.press("Enter")
        page.get_by_text("Written down: this place comes from").wait_for()
        (patch,) = stored(merged)
        assert patch.frame == frame == "f000.png.tif"
        assert patch.polygon_px is not None
        assert not (merged.merge / MADE).exists()

        page.get_by_role("button", name="Write the picture").click()
        page.get_by_text("Writing the patched picture of run-01: done").wait_for()
        before = pixels(merged.merge / "picture.tif")
        after = pixels(merged.merge / MADE / "picture.tif")
        inside = polygon_mask(list(patch.polygon_px), before.shape[1::-1]) > 127
        changed = np.abs(after - before).max(2)
        assert changed[inside].mean() > 1000, "that frame is out of focus there"
        assert changed[:, :4].max() == 0, "far from the patch nothing changes"

        page.keyboard.press("z")
        page.get_by_text("Taken back: the patch from").wait_for()
        assert stored(merged) == ()
        page.get_by_role("button", name="Remove the written picture").click()
        until(page, lambda: not (merged.merge / MADE).exists())
        page.keyboard.press("y")
        page.get_by_text("Put again: the patch from").wait_for()
        assert stored(merged) == (patch,)
    np.testing.assert_array_equal(pixels(merged.merge / "picture.tif"), before)
    with open_book(merged.folder) as book:
        assert [job.kind for job in jobs(book)] == ["patch", "patch"]


def test_a_patch_drawn_with_the_pointer_lies_where_it_was_drawn(
    browser: Browser, merged: MergedBook
) -> None:
    with come(browser, merged, "1/run-01/picture?as=patch") as page:
        picture = page.get_by_role("img", name="The merged picture of run-01")
        page.get_by_role("slider", name="Frame under the patch").wait_for()
        page.keyboard.press("d")
        page.get_by_text("Draw around the place").wait_for()
        box = picture.bounding_box()
        assert box is not None
        size = pixels(merged.merge / "picture.tif").shape[1::-1]
        scale = min(box["width"] / size[0], box["height"] / size[1])
        left = box["x"] + (box["width"] - size[0] * scale) / 2
        top = box["y"] + (box["height"] - size[1] * scale) / 2
        drawn = [(100, 30), (140, 30), (140, 90), (100, 90), (100, 34)]
        at = [(left + x * scale, top + y * scale) for x, y in drawn]
        page.mouse.move(*at[0])
        page.mouse.down()
        for x, y in at[1:]:
            page.mouse.move(x, y, steps=12)
        page.mouse.up()
        page.get_by_role("slider", name="Frame under the patch").wait_for()
        page.keyboard.press("s")
        page.get_by_text("f005.png.tif shows the finest detail here").wait_for()
        page.keyboard.press("Enter")
        page.get_by_text("Written down: this place comes from").wait_for()
    (patch,) = stored(merged)
    assert patch.frame == "f005.png.tif"
    assert patch.polygon_px is not None
    low, high = np.min(patch.polygon_px, axis=0), np.max(patch.polygon_px, axis=0)
    np.testing.assert_allclose([*low, *high], [100, 30, 140, 90], atol=3)


def test_the_picture_sways_when_it_is_made_and_stands_still_when_told(
    browser: Browser, merged: MergedBook
) -> None:
    with come(browser, merged, "1/run-01/picture") as page:
        page.get_by_role("button", name="In depth").click()
        page.get_by_role("button", name="Make views in depth").click()
        seen = page.locator("canvas[data-side]")
        seen.wait_for()

        def sides(count: int) -> set[str | None]:
            found = set()
            for _ in range(count):
                page.wait_for_timeout(120)
                found.add(seen.get_attribute("data-side"))
            return found

        until(page, lambda: len(sides(8)) > 2)
        page.keyboard.press("Space")
        page.wait_for_timeout(200)
        assert len(sides(6)) == 1
        here = int(seen.get_attribute("data-side") or 0)
        page.keyboard.press("ArrowLeft" if here else "ArrowRight")
        assert sides(2) == {str(here - 1 if here else 1)}

        page.emulate_media(reduced_motion="reduce")
        page.reload()
        seen.wait_for()
        page.wait_for_timeout(500)
        assert len(sides(6)) == 1, "who wants no motion gets none unasked"
        page.get_by_role("button", name="Relief").click()
        page.get_by_role("img", name="The relief of the animal").wait_for()


def test_a_raw_frame_is_seen_before_it_is_developed_and_says_so(
    browser: Browser, tmp_path: Path
) -> None:
    made = fill_raw(tmp_path)
    with come(browser, made, "1/run-01/f1/whole") as page:
        order: list[str] = []
        page.on("request", lambda one: order.append(one.url))
        page.reload()
        page.get_by_text("developed from raw").wait_for()
        inside = next(i for i, url in enumerate(order) if "/preview/" in url)
        own = next(i for i, url in enumerate(order) if "/tiles/" in url)
        assert inside < own
        page.keyboard.press("Escape")  # nobody judged it: there is no axis to hang it on
        page.get_by_role("heading", name="Frames, in order of time").wait_for()
        assert page.get_by_text("eye not found").count() == 0


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious_while_patching_and_in_depth(
    browser: Browser, merged: MergedBook, scheme: str
) -> None:
    found = []
    with come(browser, merged, "1/run-01/picture?as=patch") as page:
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        page.get_by_role("slider", name="Frame under the patch").wait_for()
        for key in ("", "Escape", "v"):
            if key:
                page.keyboard.press(key)
                page.wait_for_timeout(300)
            found += [(key, one) for one in axe_serious(page)]
    assert found == []
