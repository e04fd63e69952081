"""Patches of a merged picture from the page: stored, shown, written, taken back."""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from PIL import Image
from starlette.testclient import TestClient

from haltere.doors.bench import worker
from haltere.doors.bench.app import make_app
from haltere.doors.bench.guard import Guard
from haltere.fieldbook import end_job, open_book, repairs_of, take_job
from haltere.merge.repairing import MADE
from haltere.merge.views import read_views
from haltere.progress import silent
from tests.doors.bench.conftest import HERE, PORT, TOKEN, MergedBook, fill_merged

AROUND = [[100.0, 30.0], [140.0, 30.0], [140.0, 90.0], [100.0, 90.0]]
SAID = ";".join(f"{x},{y}" for x, y in AROUND)


@dataclass
class Worked:
    """A page on a book with one small sweep that was really merged."""

    page: TestClient
    book: Path
    merge: Path
    numbers: dict[str, int]

    def at(self, what: str = "") -> str:
        return f"/api/outings/1/runs/run-01/patches{what}"

    def stored(self) -> list[str]:
        with open_book(self.book) as book:
            return [one.frame for one in repairs_of(book, self.merge, read_views(self.merge)[1])]

    def write(self) -> None:
        assert self.page.post(self.at("/write")).json()["state"] == "queued"
        with open_book(self.book) as book:
            job = take_job(book)
        assert job is not None
        worker.do(self.book, job, silent)
        with open_book(self.book) as book:
            end_job(book, job.id, "done", "")


@contextmanager
def page_on(made: MergedBook) -> Iterator[Worked]:
    """Open a page on a merged sweep."""
    with TestClient(
        Guard(make_app(made.folder), PORT, TOKEN),  # type: ignore[arg-type]
        base_url=HERE,
        raise_server_exceptions=False,
    ) as page:
        assert page.get("/enter", params={"t": TOKEN}).status_code == 200
        page.headers.update({"origin": HERE, "sec-fetch-site": "same-origin"})
        yield Worked(page, made.folder, made.merge, made.numbers)


@pytest.fixture
def sweep(tmp_path: Path) -> Iterator[Worked]:
    """Open a page on a small sweep that was really merged."""
    with page_on(fill_merged(tmp_path)) as worked:
        yield worked


def put(sweep: Worked, frame: str) -> Any:
    return sweep.page.post(
        sweep.at(), json={"around": AROUND, "frame": sweep.numbers[frame]}
    ).json()


def shown(content: bytes) -> Any:
    with Image.open(io.BytesIO(content)) as picture:
        return np.asarray(picture.convert("RGB")).astype(int)


def test_a_patch_is_stored_and_the_file_written_when_it_is_asked_for(sweep: Worked) -> None:
    told = put(sweep, "f001.png.tif")
    assert (len(told["standing"]), told["current"]) == (1, False)
    assert sweep.stored() == ["f001.png.tif"]
    assert not (sweep.merge / MADE).exists()
    sweep.write()
    before = tifffile.imread(sweep.merge / "picture.tif").astype(int)
    after = tifffile.imread(sweep.merge / MADE / "picture.tif").astype(int)
    assert np.abs(after - before)[45:75, 110:130].mean() > 1000
    told = sweep.page.get(sweep.at()).json()
    assert (told["written"], told["current"]) == (1, True)
    tile = f"/api/outings/1/runs/run-01/layers/{told['layer']['which']}/tiles/0/0/0"
    seen = shown(sweep.page.get(tile).content)
    place = (slice(45, 75), slice(110, 130))
    away = [np.abs(seen[place] - one[place] / 257).mean() for one in (after, before)]
    assert away[0] < 0.25 * away[1], "the page shows the patched one"


def test_a_patch_is_taken_back_and_put_again(sweep: Worked) -> None:
    put(sweep, "f001.png.tif")
    put(sweep, "f002.png.tif")
    assert sweep.page.post(sweep.at("/undo")).json()["again"]
    assert sweep.stored() == ["f001.png.tif"]
    assert len(sweep.page.post(sweep.at("/redo")).json()["standing"]) == 2
    assert sweep.stored() == ["f001.png.tif", "f002.png.tif"]
    for _ in range(2):
        sweep.page.post(sweep.at("/undo"))
    refused = sweep.page.post(sweep.at("/undo"))
    assert refused.status_code == 404
    assert refused.json()["error"] == "There is no patch to take back."


def test_the_written_picture_goes_when_no_patch_stands_any_more(sweep: Worked) -> None:
    put(sweep, "f001.png.tif")
    sweep.write()
    told = sweep.page.post(sweep.at("/undo")).json()
    assert (told["written"], told["current"], told["layer"]) == (0, False, None)
    sweep.write()
    assert not (sweep.merge / MADE).exists()


def test_a_book_that_was_moved_shows_its_merge_and_goes_on_patching(tmp_path: Path) -> None:
    made = fill_merged(tmp_path, "book/demo/frames")
    with page_on(made) as sweep:
        put(sweep, "f001.png.tif")
    moved = tmp_path / "another disk" / "my book"
    moved.parent.mkdir()
    made.folder.rename(moved)
    merge = moved / made.merge.relative_to(made.folder)
    with page_on(MergedBook(moved, merge, made.numbers)) as sweep:
        layers = sweep.page.get("/api/outings/1/runs/run-01").json()["layers"]
        assert {one["which"] for one in layers} >= {"merged", "depth", "origin", "confidence"}
        tile = sweep.page.get("/api/outings/1/runs/run-01/layers/merged/tiles/0/0/0")
        assert tile.status_code == 200
        assert sweep.stored() == ["f001.png.tif"]
        put(sweep, "f002.png.tif")
        sweep.write()
        assert (merge / MADE / "picture.tif").is_file()


def test_a_preview_and_the_patch_itself_look_alike(sweep: Worked) -> None:
    number = sweep.numbers["f001.png.tif"]
    box = sweep.page.post(sweep.at("/under"), json={"around": AROUND}).json()["box_px"]
    preview = sweep.page.get(sweep.at(f"/preview?around={SAID}&frame={number}"))
    assert preview.headers["content-type"] == "image/jpeg"
    assert shown(preview.content).shape == (box[3] - box[1], box[2] - box[0], 3)
    patch = put(sweep, "f001.png.tif")["standing"][0]
    assert patch["box_px"] == box
    look = sweep.page.get(sweep.at(f"/{patch['number']}/look"))
    np.testing.assert_array_equal(shown(look.content), shown(preview.content))


def test_a_preview_shows_the_patches_that_stand_by_then(sweep: Worked) -> None:
    address = sweep.at(f"/preview?around={SAID}&frame={sweep.numbers['f005.png.tif']}")
    before = shown(sweep.page.get(address).content)
    wide = [[60.0, 10.0], [150.0, 10.0], [150.0, 110.0], [60.0, 110.0]]
    sweep.page.post(sweep.at(), json={"around": wide, "frame": sweep.numbers["f001.png.tif"]})
    after = shown(sweep.page.get(address).content)
    assert np.abs(after - before).mean() > 2.0


def test_the_sharpest_frame_is_named_by_its_number(sweep: Worked) -> None:
    told = sweep.page.post(sweep.at("/sharpest"), json={"around": AROUND}).json()
    assert told["frame"] == sweep.numbers["f005.png.tif"]


def test_one_pixel_says_where_it_is_from(sweep: Worked) -> None:
    told = sweep.page.get(sweep.at("/place?x=120&y=60")).json()
    assert (told["frame"], told["patched"], told["unit"]) == ("f005.png.tif", False, "mm")
    assert sweep.page.get(sweep.at("/place?x=9000&y=60")).status_code == 404
    assert sweep.page.get(sweep.at("/place?x=nan&y=60")).status_code == 422


@pytest.mark.parametrize(
    "around", ["", "1,2;3,4", "1,2;3,4;5", "nan,1;2,3;4,5", "1,2;3,4;5,6;", "../../etc"]
)
def test_what_is_no_outline_is_refused(sweep: Worked, around: str) -> None:
    answer = sweep.page.get(sweep.at("/preview"), params={"around": around, "frame": 1})
    assert answer.status_code == 422


def test_a_frame_that_was_not_merged_is_refused(sweep: Worked) -> None:
    answer = sweep.page.post(sweep.at(), json={"around": AROUND, "frame": 999})
    assert answer.status_code == 404
    assert "not merged" in answer.json()["error"]
    assert sweep.stored() == []


def test_frames_outside_the_outing_s_folder_are_not_shown(sweep: Worked, tmp_path: Path) -> None:
    path = tmp_path / "shot" / "f001.png.tif"
    elsewhere = tmp_path / "elsewhere.tif"
    path.rename(elsewhere)
    path.symlink_to(elsewhere)
    answer = sweep.page.post(sweep.at("/under"), json={"around": AROUND})
    assert answer.status_code == 404
    assert "outside" in answer.json()["error"]
