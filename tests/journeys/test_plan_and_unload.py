"""On the bench, in a real browser: a plan changed by keys and printed, a card unloaded."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from haltere.fieldbook import jobs, kept_plans, open_book, outings, visits
from haltere.plan import as_dict, make_plan
from tests.doors.bench.conftest import card, card_made
from tests.journeys.browser import axe_serious, browsing, come_to, missing, serving

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

__all__ = ["card", "card_made"]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for all journeys."""
    with browsing() as started:
        yield started


@contextmanager
def coming(browser: Browser, address: str, **more: Any) -> Iterator[tuple[Page, str]]:
    """Come to a bench; what the browser wrote down as an error fails the test at its end."""
    troubles: list[str] = []
    page, base = come_to(browser, address, troubles, **more)
    yield page, base
    page.context.close()
    assert troubles == []


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Path]]:
    """A bench on an empty book, for journeys that share it."""
    book = tmp_path_factory.mktemp("planned")
    with serving(book) as address:
        yield address, book


@pytest.fixture
def walk(browser: Browser, bench: tuple[str, Path]) -> Iterator[Callable[..., tuple[Page, str]]]:
    """Begin a journey there."""
    with coming(browser, bench[0]) as (page, base):

        def begin(place: str) -> tuple[Page, str]:
            page.goto(f"{base}/#/{place}")
            return page, base

        yield begin


def words_of(pdf: Path) -> str:
    """Give the words of a PDF as any reader shows them."""
    reader = shutil.which("pdftotext")
    if reader is None:
        missing("there is no pdftotext here", "apt-get install poppler-utils")
    assert reader is not None
    done = subprocess.run([reader, "-layout", str(pdf), "-"], capture_output=True, check=True)
    return done.stdout.decode("utf-8")


def test_a_plan_is_changed_by_keys_kept_and_its_card_printed(
    walk: Callable[..., tuple[Page, str]], bench: tuple[str, Path], tmp_path: Path
) -> None:
    page, _base = walk("plan?magnification=1&depth_mm=2")
    ring = page.get_by_role("slider", name="Aperture ring")
    ring.wait_for()
    page.keyboard.press("a")
    assert ring.evaluate("knob => knob === document.activeElement")
    for key in ("End", "ArrowDown", "ArrowDown", "PageDown"):  # f/22, 20, 18, then a whole stop
        page.keyboard.press(key)
    page.locator("[data-handle=aperture][aria-valuetext='f 13']").wait_for()
    page.keyboard.press("d")
    for _ in range(5):
        page.keyboard.press("ArrowRight")
    page.locator("[data-handle=depth][aria-valuetext='2.5 mm']").wait_for()

    page.keyboard.press("k")
    page.keyboard.type("robber flies")
    page.keyboard.press("Enter")
    page.get_by_text("Kept in the field book: robber flies").wait_for()
    with open_book(bench[1]) as book:
        (kept,) = kept_plans(book)
    assert (kept.name, kept.said["f_number"], kept.said["depth_mm"]) == (
        "robber flies", "13", "2.5",
    )  # fmt: skip
    assert kept.answer["f_number_marked"] == 13
    from haltere.doors.bench.plans import MADE_UP
    from haltere.plan import put_together

    said = {name: value for name, value in kept.said.items() if name != "kit"}
    assert kept.answer == as_dict(make_plan(*put_together(MADE_UP, said)))

    url = page.url
    page.reload()
    page.locator("[data-handle=aperture][aria-valuetext='f 13']").wait_for()
    assert page.url == url

    page.get_by_role("button", name="Forget robber flies").click()
    page.get_by_text("robber flies is off the list").wait_for()
    with open_book(bench[1]) as book:
        assert kept_plans(book) == ()
    page.get_by_role("button", name="Keep it again").click()
    page.get_by_text("Kept again: robber flies").wait_for()
    with open_book(bench[1]) as book:
        assert kept_plans(book) == (kept,)

    with page.expect_download() as taken:
        page.get_by_role("link", name="Card as PDF").click()
    taken.value.save_as(tmp_path / "card.pdf")
    said_on_card = words_of(tmp_path / "card.pdf")
    assert "animal 2.5 mm deep" in said_on_card
    assert "The animal first." in said_on_card
    page.emulate_media(media="print")
    page.pdf(path=tmp_path / "plan.pdf", prefer_css_page_size=True, print_background=True)
    printed = words_of(tmp_path / "plan.pdf")
    for words in ("animal 2.5 mm deep", "f/13", "One shot", "Sweep", "Mind", "The animal first."):
        assert words in printed


def test_shade_and_diffuser_are_set_on_the_drawing_by_keys_and_by_hand(
    walk: Callable[..., tuple[Page, str]],
) -> None:
    page, _base = walk("plan?magnification=1&depth_mm=2")
    shade = page.get_by_role("slider", name="Shade on the animal, in stops")
    shade.wait_for()
    daylight = page.locator("[data-key=ambient_stops] b")
    before = daylight.inner_text()
    page.keyboard.press("h")
    for key in ("ArrowUp", "ArrowUp"):
        page.keyboard.press(key)
    page.locator("[data-handle=shade][aria-valuetext='shaded by 2 stops']").wait_for()
    page.wait_for_url("**/#/plan?*shading_stops=2*")
    daylight.filter(has_not_text=before).wait_for()
    page.keyboard.press("w")
    for key in ("PageUp", "ArrowRight"):  # 40 mm to each side, then 60, then 65
        page.keyboard.press(key)
    page.locator("[data-handle=diffuser][aria-valuetext='130 mm wide']").wait_for()
    page.wait_for_url("**/#/plan?*diffuser_radius_mm=65*")

    box = shade.bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x, y - 200, steps=6)  # up to the sun
    page.mouse.up()
    page.locator("[data-handle=shade][aria-valuetext='not shaded']").wait_for()
    page.wait_for_function("() => !location.hash.includes('shading_stops')")


def test_a_handle_is_dragged_and_all_numbers_follow(
    walk: Callable[..., tuple[Page, str]],
) -> None:
    page, _base = walk("plan?magnification=1&depth_mm=2")
    knob = page.get_by_role("slider", name="Distance of the lens, as magnification")
    knob.wait_for()
    room = page.locator("[data-key=working_distance_mm] b")
    before = room.inner_text()
    box = knob.bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 30, y, steps=6)  # toward the animal
    page.mouse.up()
    page.wait_for_url("**/#/plan?*magnification=1.*")
    assert float(knob.get_attribute("aria-valuenow") or 0) > 1.05
    page.locator("[data-key=working_distance_mm] b").filter(has_not_text=before).wait_for()


def test_every_number_opens_its_explanation(walk: Callable[..., tuple[Page, str]]) -> None:
    page, _base = walk("plan?magnification=1.5&light=sun")
    page.locator("[data-key]").first.wait_for()
    keys = page.locator("[data-key]").evaluate_all("all => all.map(one => one.dataset.key)")
    assert len(keys) > 35
    for key in ("depth_of_field_mm.geometric", "flash.power_step", "settings.single.frame_chance"):
        with page.expect_response(lambda one: "/api/plan/why" in one.url) as asked:
            page.locator(f"[data-key='{key}']").click()
        assert asked.value.ok
        page.get_by_role("complementary").get_by_text("Source:").wait_for()
        page.get_by_role("complementary").get_by_text(asked.value.json()["title"]).wait_for()


def test_the_cautions_stand_beside_the_drawing(walk: Callable[..., tuple[Page, str]]) -> None:
    page, _base = walk("plan?light=sun&magnification=2&working_distance_mm=25")
    for code in ("sun-and-eyes", "very-close"):
        page.locator(f"li[data-code={code}]").wait_for()


def laid_out(tmp_path: Path, card: Path) -> Path:
    """Put a card into a folder in which the bench may look."""
    places = tmp_path / "plugged in"
    shutil.copytree(card, places / "MOTH" / "DCIM" / "100MEADW")
    (places / "STICK").mkdir()
    return places


def test_a_card_is_unloaded_through_the_page(browser: Browser, card: Path, tmp_path: Path) -> None:
    places, folder = laid_out(tmp_path, card), tmp_path / "book"
    names = sorted(path.name for path in (places / "MOTH").rglob("*") if path.is_file())
    with serving(folder, "--places", str(places)) as address:
        with coming(browser, address) as (page, base):
            page.goto(base + "/#/unload")
            page.get_by_role("button", name="MOTH").click()
            page.get_by_text("nothing on it was unloaded into this book").wait_for()
            page.keyboard.press("2")
            page.keyboard.type(str(places / "STICK" / "copies"))
            page.keyboard.press("Tab")
            page.keyboard.type("pond")
            page.keyboard.press("Enter")
            # both lie on the one disk of this computer: never called safe
            said = page.locator(".verdict[data-code=one-copy]")
            said.filter(has_text=f"all {len(names)} files read back the same").wait_for()
            assert page.get_by_text("Safe to format").count() == 0
            page.get_by_role("link", name="2031-06-14 pond").first.wait_for()
            page.reload()
            page.locator(".verdict[data-code=one-copy]").wait_for()

            later = places / "MOTH" / "DCIM" / "100MEADW" / "M_9999.JPG"
            shutil.copy(places / "MOTH" / "DCIM" / "100MEADW" / names[0], later)
            later.write_bytes(later.read_bytes() + b"x")
            page.keyboard.press("r")
            page.get_by_text("it was not unloaded as it is now").wait_for()

            page.keyboard.press("v")
            page.get_by_text("All is well").wait_for()
        with open_book(folder) as book:
            (visit,) = visits(book)
            rows = outings(book)
            states = {job.kind: job.state for job in jobs(book)}
    assert states == {"unload": "done", "verify": "done"}
    assert visit.name == "pond"
    assert {row.name for row in rows} == {"pond"}
    assert sum(row.frames for row in rows) == 10  # what is no picture is kept, and is no frame
    second = places / "STICK" / "copies"
    for home in (folder / "originals", second):
        assert {path.name for path in home.rglob("data/**/*") if path.is_file()} == set(names)
    for path in second.rglob("data/**/*.JPG"):
        assert path.read_bytes() == (places / "MOTH" / "DCIM" / "100MEADW" / path.name).read_bytes()


def test_an_unloading_is_stopped_goes_on_and_outlives_the_bench(
    browser: Browser, card: Path, tmp_path: Path
) -> None:
    places, folder = laid_out(tmp_path, card), tmp_path / "book"
    for number in range(1200):  # each waits for the disk: enough to be closed in the middle
        (places / "MOTH" / "DCIM" / f"film {number}.BIN").write_bytes(f"{number:6}".encode() * 4000)
    source = places / "MOTH"
    with (
        serving(folder, "--places", str(places)) as address,
        coming(browser, address) as (page, base),
    ):
        page.goto(f"{base}/#/unload?card={source}")
        going = page.get_by_role("status").filter(has_text="MB copied and read back")
        page.get_by_role("button", name="Unload", exact=False).last.click()
        going.wait_for()
        page.keyboard.press("x")
        page.get_by_text("Stopped as you asked").wait_for()
        with open_book(folder) as book:
            assert [job.state for job in jobs(book)] == ["cancelled"]
        page.get_by_role("button", name="Go on unloading").wait_for()
        page.keyboard.press("b")
        going.wait_for()
    with open_book(folder) as book:
        assert visits(book)[0].ended is None
    with (
        serving(folder, "--places", str(places)) as address,
        coming(browser, address) as (page, base),
    ):
        page.goto(f"{base}/#/unload?card={source}")
        page.locator(".verdict[data-code=one-copy]").wait_for(timeout=90_000)
    with open_book(folder) as book:
        assert [job.state for job in jobs(book)] == ["done", "cancelled"]
        assert len(visits(book)) == 1
    count = sum(1 for path in source.rglob("*") if path.is_file())
    assert (
        sum(
            1
            for path in (folder / "originals").rglob("*")
            if "data" in path.parts and path.is_file()
        )
        == count
    )


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious_in_planning_and_unloading(
    browser: Browser, card: Path, tmp_path: Path, scheme: str
) -> None:
    places = laid_out(tmp_path, card)
    found: list[Any] = []

    def look(page: Page, where: str) -> None:
        page.wait_for_timeout(300)
        found.extend((where, one) for one in axe_serious(page))

    with (
        serving(tmp_path / "book", "--places", str(places)) as address,
        coming(browser, address, color_scheme=scheme) as (page, base),
    ):
        page.goto(base + "/#/unload")
        page.get_by_role("button", name="MOTH").wait_for()
        look(page, "nothing chosen")
        page.get_by_role("button", name="MOTH").click()
        page.get_by_text("nothing on it was unloaded").wait_for()
        look(page, "looked at")
        page.keyboard.press("b")
        page.locator(".verdict[data-code=one-copy]").wait_for()
        look(page, "unloaded")
        page.goto(base + "/#/plan?light=sun&magnification=1.2")
        page.locator("[data-key=frames]").click()
        page.get_by_text("Matters most").wait_for()
        page.locator("summary").first.click()
        page.locator("summary").last.click()
        look(page, "plan")
    assert found == []
