"""On the bench, in a real browser: what is done there is what the field book holds."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from haltere.fieldbook import (
    answers_in,
    decisions_in,
    jobs,
    keep_frames,
    keep_runs,
    open_book,
    place_outing,
)
from haltere.frames import find_frames
from haltere.runs.run import Run
from tests.doors.bench.conftest import MadeBook, card, card_made, fill
from tests.journeys.browser import axe_serious, browsing, come_to, serving

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

__all__ = ["card", "card_made"]


@dataclass
class Bench:
    """A page, the book behind it, and its address without the key."""

    page: Page
    book: MadeBook
    base: str

    def at(self, place: str) -> None:
        """Go to a place of the bench."""
        self.page.goto(f"{self.base}/#/{place}")

    def stored(self) -> dict[str, str]:
        """Give what the book holds of the person's words."""
        with open_book(self.book.folder) as book:
            return dict(decisions_in(book, self.book.outing))


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for all journeys."""
    with browsing() as started:
        yield started


@contextmanager
def opened(browser: Browser, place: Path, card: Path) -> Iterator[Callable[..., Bench]]:
    """Open a bench; what the browser wrote down as an error fails the test at its end."""
    troubles: list[str] = []
    made = fill(place / "book", card)

    with serving(made.folder) as address:

        def begin(**more: Any) -> Bench:
            page, base = come_to(browser, address, troubles, **more)
            return Bench(page, made, base)

        yield begin
        for context in browser.contexts:
            context.close()
    assert troubles == []


@pytest.fixture
def walk(browser: Browser, tmp_path: Path, card: Path) -> Iterator[Callable[..., Bench]]:
    """Begin a journey on a book of its own."""
    with opened(browser, tmp_path, card) as begin:
        yield begin


@pytest.fixture(scope="module")
def reader(
    browser: Browser, tmp_path_factory: pytest.TempPathFactory, card_made: Path
) -> Iterator[Callable[..., Bench]]:
    """Begin a journey that only looks, on a book that all of those share."""
    with opened(browser, tmp_path_factory.mktemp("read"), card_made) as begin:
        yield begin


def test_a_burst_is_decided_by_keyboard_alone(walk: Callable[..., Bench]) -> None:
    bench = walk()
    page, names = bench.page, [frame.name for frame in bench.book.frames]
    page.get_by_role("heading", name="Outings").wait_for()
    bench.at("1")
    page.get_by_text("burst of 4 frames").wait_for()
    page.keyboard.press("Enter")
    page.get_by_text("4 frames without your word").wait_for()
    page.keyboard.press("k")  # the best, which is chosen at the start
    page.keyboard.press("m")  # the next in rank
    page.keyboard.press("r")  # all others
    page.get_by_text("Every frame has your word").wait_for()
    page.get_by_text("Written down: drop 2 frames").wait_for()
    wanted = {names[0]: "keep", names[1]: "maybe", names[2]: "drop", names[3]: "drop"}
    assert bench.stored() == wanted

    page.keyboard.press("u")
    page.get_by_text("Taken back: drop 2 frames").wait_for()
    assert bench.stored() == {names[0]: "keep", names[1]: "maybe"}
    page.get_by_text("2 frames without your word").wait_for()


def test_the_axis_is_walked_from_near_to_far(reader: Callable[..., Bench]) -> None:
    bench = reader()
    page = bench.page
    bench.at("1/run-01/f1")
    chosen = page.locator("button[aria-current=true]")
    chosen.wait_for()
    # offsets of the stand-in: +0.02, -0.16, +0.38, -0.52 mm
    walked = [chosen.get_attribute("data-frame")]
    for key in ("ArrowRight", "ArrowRight", "ArrowLeft", "ArrowLeft", "ArrowLeft", "ArrowLeft"):
        page.keyboard.press(key)
        walked.append(chosen.get_attribute("data-frame"))
    assert [name and name[5] for name in walked] == ["1", "3", "3", "1", "2", "4", "4"]


def test_the_address_keeps_the_place_over_a_reload(reader: Callable[..., Bench]) -> None:
    bench = reader()
    page = bench.page
    bench.at("1/run-01")
    page.locator("button[aria-current=true]").wait_for()
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("p")
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Back to the axis").wait_for()
    before = page.url
    page.reload()
    page.get_by_role("button", name="Back to the axis").wait_for()
    assert page.url == before
    page.keyboard.press("Escape")
    page.get_by_role("button", name="Unpin").wait_for()
    assert page.locator("button[aria-current=true]").get_attribute("data-frame") == "M_0002.JPG"


def test_an_eye_point_that_is_moved_is_judged_and_hung_again(walk: Callable[..., Bench]) -> None:
    bench = walk()
    page = bench.page
    bench.at("1/run-01/f1/whole")
    canvas = page.get_by_role("img", name="M_0001.JPG, whole")
    canvas.wait_for()
    page.keyboard.press("e")
    page.get_by_text("Click on the eye that counts").wait_for()
    page.wait_for_timeout(700)  # the picture glides to the eye; a click before it lands elsewhere
    canvas.click(position={"x": 5, "y": 5})
    page.get_by_text("That is beside the picture").wait_for()
    page.keyboard.press("h")
    page.wait_for_timeout(700)
    size = canvas.bounding_box()
    assert size is not None
    canvas.click(position={"x": 0.45 * size["width"], "y": 0.5 * size["height"]})
    page.get_by_text("judged again at this eye").wait_for()
    page.get_by_text("Judging run-01: done").wait_for(timeout=60_000)
    with open_book(bench.book.folder) as book:
        answered = answers_in(book, bench.book.outing)["keepers", "run-01"]
    x_px, y_px = answered.params["eye"]
    assert answered.params["eye_frame"] == "M_0001.JPG"
    assert 0 <= x_px < 320
    assert 0 <= y_px < 240

    page.keyboard.press("Shift+E")
    page.get_by_text("judged again where the eye was before").wait_for()
    page.get_by_text("You said where the eye is").wait_for(state="hidden")
    page.get_by_text("without your word").wait_for()
    with open_book(bench.book.folder) as book:
        moved, back = reversed(jobs(book))
        assert (moved.state, back.params["back"]) == ("done", moved.id)


def test_a_whole_frame_is_laid_open_at_the_eye_pixel_by_pixel(
    reader: Callable[..., Bench],
) -> None:
    bench = reader()
    page = bench.page
    bench.at("1/run-01/f1/whole")
    page.reload()
    shown = page.locator("div[data-scale]:has([aria-label='M_0001.JPG, whole'])")
    page.locator("div[data-scale='1.000']").wait_for()
    box = shown.bounding_box()
    assert box is not None
    # the eye of the stand-in, in the middle of what is seen
    assert float(shown.get_attribute("data-x") or 0) == pytest.approx(box["width"] / 2 - 160, abs=3)
    page.keyboard.press("h")
    page.locator("div[data-scale='1.000']").wait_for(state="hidden")
    page.wait_for_timeout(700)  # it glides to the whole
    assert float(shown.get_attribute("data-y") or 0) == pytest.approx(0, abs=1)


def test_the_eye_is_pointed_out_by_keyboard_alone(walk: Callable[..., Bench]) -> None:
    bench = walk()
    page = bench.page
    bench.at("1/run-01/f1/whole")
    page.get_by_role("img", name="M_0001.JPG, whole").wait_for()
    button = page.get_by_role("button", name="The eye is elsewhere")
    button.focus()
    page.keyboard.press("Enter")
    mark = page.get_by_role("status").filter(has_text="The mark is at")
    mark.wait_for()
    page.wait_for_timeout(700)  # the picture glides to the eye

    def place() -> tuple[int, int]:
        x_px, y_px = mark.inner_text().rpartition(" at ")[2].split(", ")
        return int(x_px), int(y_px)

    steps = []
    for key in ("ArrowRight", "ArrowUp", "Shift+ArrowLeft"):
        before = place()
        page.keyboard.press(key)
        page.get_by_text(f"The mark is at {before[0]}, {before[1]}").wait_for(state="hidden")
        steps.append(tuple(now - was for now, was in zip(place(), before, strict=True)))
    right, up, little = steps
    assert right[0] > 2
    assert right[1] == 0
    assert up == (0, -right[0])
    assert little == (-1, 0)
    there = place()
    page.keyboard.press("Enter")
    page.get_by_text("judged again at this eye").wait_for()
    with open_book(bench.book.folder) as book:
        (job,) = jobs(book)
    assert job.params["eye"] == ["M_0001.JPG", *there]

    page.keyboard.press("e")
    mark.wait_for()
    page.keyboard.press("Escape")
    page.get_by_text("The mark is at").wait_for(state="hidden")
    assert button.get_attribute("aria-pressed") == "false"


def test_pinned_frames_zoom_and_move_together_each_about_its_own_eye(
    reader: Callable[..., Bench],
) -> None:
    bench = reader()
    page = bench.page
    bench.at("1/run-01/f1/together?pins=1.2.4")
    shown = page.locator("figure div[data-scale]")
    shown.nth(2).wait_for()
    page.wait_for_timeout(700)  # they glide to their eyes

    def lie() -> list[tuple[float, float, float]]:
        found = [shown.nth(i) for i in range(3)]
        return [
            tuple(float(one.get_attribute(f"data-{what}") or 0) for what in ("scale", "x", "y"))
            for one in found
        ]  # type: ignore[misc]

    before = lie()
    # the eyes of the stand-in lie a pixel apart from frame to frame
    assert before[0][1] - before[1][1] == pytest.approx(-before[0][0], abs=2.5)
    box = shown.nth(1).bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.wheel(0, -240)
    page.wait_for_timeout(900)
    nearer = lie()
    assert nearer[1][0] == pytest.approx(1.2 * before[1][0], rel=0.02), "a notch of the wheel"
    assert [one[0] for one in nearer] == pytest.approx([nearer[1][0]] * 3, rel=0.02)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] / 2 + 40, box["y"] + box["height"] / 2 + 25, steps=4)
    page.mouse.up()
    page.wait_for_timeout(900)
    moved = [after[1] - now[1] for after, now in zip(lie(), nearer, strict=True)]
    assert moved[1] > 20
    assert moved == pytest.approx([moved[1]] * 3, abs=3)
    page.keyboard.press("-")
    page.wait_for_timeout(600)
    assert [one[0] < 0.9 * now[0] for one, now in zip(lie(), nearer, strict=True)] == [True] * 3


def test_a_gap_is_read_on_ladder_and_subject_alike(reader: Callable[..., Bench]) -> None:
    bench = reader()
    page = bench.page
    bench.at("1/run-02")
    page.get_by_role("group", name="5 planes over time, 1 gaps").wait_for()
    words = "nothing sharp from 0.10 to 0.40 mm"
    assert page.get_by_role("listitem").filter(has_text=words).count() == 1
    assert page.get_by_role("img", name=words).count() == 1
    page.keyboard.press("ArrowRight")
    page.get_by_text("M_0005.JPG: plane at").wait_for()
    page.get_by_text("Bright: where the merged picture takes M_0005.JPG").wait_for()


def test_a_frame_left_out_outlives_a_reload_and_is_taken_in_again_by_undo(
    reader: Callable[..., Bench],
) -> None:
    bench = reader()
    page = bench.page
    bench.at("1/run-02/f6")
    button = page.get_by_role("button", name="Leave M_0006.JPG out")
    button.wait_for()
    page.keyboard.press("x")
    page.get_by_role("button", name="without 1 frame").wait_for()
    page.reload()
    page.get_by_role("button", name="without 1 frame").wait_for()
    assert button.get_attribute("aria-pressed") == "true"
    page.keyboard.press("u")
    page.get_by_text("Taken back: M_0006.JPG left out in run-02").wait_for()
    assert button.get_attribute("aria-pressed") == "false"


def test_the_merged_picture_is_laid_open_with_its_places(reader: Callable[..., Bench]) -> None:
    bench = reader()
    page = bench.page
    bench.at("1/run-02")
    page.get_by_role("button", name="Open the picture").wait_for()
    with page.expect_response(lambda one: "/layers/merged/tiles/" in one.url) as tile:
        page.keyboard.press("Enter")
    assert tile.value.status == 200
    with page.expect_response(lambda one: "/layers/depth/tiles/" in one.url) as shade:
        page.keyboard.press("2")
    assert shade.value.status == 200
    page.keyboard.press("ArrowRight")
    assert page.get_by_role("button", name="nothing sharp from").get_attribute("aria-pressed")


def test_the_help_tells_the_keys_of_the_view(reader: Callable[..., Bench]) -> None:
    bench = reader()
    bench.at("1/run-01")
    bench.page.locator("button[aria-current=true]").wait_for()
    bench.page.keyboard.press("?")
    dialog = bench.page.get_by_role("dialog")
    dialog.get_by_text("keep, and on to the next without a word").wait_for()
    bench.page.keyboard.press("k")  # keys rest while the help is read
    bench.page.keyboard.press("Escape")
    dialog.wait_for(state="hidden")
    assert bench.stored() == {}


def test_a_page_says_so_when_its_bench_was_closed(
    browser: Browser, tmp_path: Path, card: Path
) -> None:
    made = fill(tmp_path / "book", card)
    with serving(made.folder) as address:
        page, _base = come_to(browser, address, [])
        page.get_by_role("heading", name="Outings").wait_for()
        assert page.get_by_role("alert").count() == 0
    page.get_by_role("alert").filter(has_text="The bench does not answer").wait_for()
    page.context.close()


def test_pictures_that_are_gone_are_told_and_their_verdict_still_stands(
    browser: Browser, tmp_path: Path, card: Path
) -> None:
    mine = Path(shutil.copytree(card, tmp_path / "card"))
    made = fill(tmp_path / "book", mine)
    mine.rename(tmp_path / "in a drawer")
    with serving(made.folder) as address:
        page, base = come_to(browser, address, [])
        page.goto(f"{base}/#/1")
        page.get_by_text("Pictures of this outing are not where the book noted them").wait_for()
        page.goto(f"{base}/#/1/run-01")
        page.get_by_text("The pictures are not where the book noted them").wait_for()
        page.get_by_text("4 frames without your word").wait_for()
        page.keyboard.press("Enter")
        told = page.get_by_role("alert").filter(has_text="is no longer where it was")
        told.wait_for()
        page.goto(f"{base}/#/1/run-02")
        page.get_by_text("can't be shown: it is broken, or not where the book noted it").wait_for()
        page.context.close()


PLACES = {
    "": "Everywhere",
    "1": "Evening",
    "1/run-01": "Burst",
    "1/run-01/f1/whole": "Closer",
    "1/run-01/f1/together?pins=1.2.4": "Closer",
    "1/run-02": "Sweep",
    "1/run-02/picture": "Picture",
    "plan": "Plan",
    "unload": "Unload",
    "sightings": "Sightings",
    "season": "Everywhere",
    "hand": "Everywhere",
}
"""Every view, and the table of keys that its help has to show."""


def test_every_view_has_its_keys_on_the_question_mark(reader: Callable[..., Bench]) -> None:
    bench = reader()
    page = bench.page
    dialog = page.get_by_role("dialog")
    for place, table in PLACES.items():
        bench.at(place)
        page.get_by_role("heading", level=1).wait_for()
        page.locator("body").click(position={"x": 5, "y": 5})
        page.keyboard.press("?")
        dialog.get_by_role("heading", name=table, exact=True).wait_for()
        page.keyboard.press("Escape")
        dialog.wait_for(state="hidden")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious_in_any_view(reader: Callable[..., Bench], scheme: str) -> None:
    bench = reader(color_scheme=scheme)
    page = bench.page
    found = []
    for place in PLACES:
        bench.at(place)
        page.reload()
        page.get_by_role("heading", level=1).wait_for()
        found += [(place, one) for one in axe_serious(page)]
    assert found == []


@pytest.fixture(scope="module")
def pushed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small sweep through a made-up animal, drawn once."""
    from haltere.scene.sets import render_sweep

    out = tmp_path_factory.mktemp("pushed")
    render_sweep(5, out, frames=10, width_px=400, height_px=300, views=8)
    return out


def test_a_merge_is_begun_stopped_begun_again_and_outlives_the_bench(
    browser: Browser, pushed: Path, tmp_path: Path
) -> None:
    frames = [one for one in find_frames([pushed]).frames if one.kind == "jpeg"]
    with open_book(tmp_path) as book:
        outing = place_outing(book, pushed, "pushed", in_place=True)
        keep_frames(book, outing, frames)
        names = tuple(frame.name for frame in frames)
        keep_runs(book, outing, (Run("run-01", "sweep", names, (), ""),))

    def come(address: str) -> Page:
        page = browser.new_context().new_page()
        page.set_default_timeout(120_000)
        page.goto(address)
        base = address.partition("/enter")[0]
        page.wait_for_url(base + "/")
        page.goto(base + "/#/1/run-01")
        return page

    with serving(tmp_path) as address:
        page = come(address)
        page.get_by_role("button", name="Merge").click()
        page.get_by_role("button", name="Stop").click()
        page.get_by_text("Merging run-01: cancelled").wait_for()
        with open_book(tmp_path) as book:
            assert [job.state for job in jobs(book)] == ["cancelled"]
            assert ("merge", "run-01") not in answers_in(book, outing)
        page.get_by_role("button", name="Merge").click()
        page.get_by_role("list", name="Work under way").wait_for()

    with serving(tmp_path) as address:  # the bench was closed in the middle
        page = come(address)
        page.get_by_role("button", name="Open the picture").click()
        page.get_by_role("img", name="The merged picture of run-01").wait_for()
        with open_book(tmp_path) as book:
            assert [job.state for job in jobs(book)] == ["done", "cancelled"]
            merged = answers_in(book, outing)["merge", "run-01"]
    assert merged.whole
    assert all(path.is_relative_to(tmp_path.resolve()) for path in merged.made)
