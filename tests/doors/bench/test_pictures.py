"""Pictures are shown as they are, and nothing else of this computer is."""

from __future__ import annotations

import io
import os
import sqlite3
import string
from pathlib import Path
from urllib.parse import quote

import numpy as np
import pytest
from httpx2 import InvalidURL
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from PIL import Image
from starlette.testclient import TestClient

from haltere.doors.bench.app import make_app
from haltere.doors.bench.guard import Guard
from haltere.doors.bench.pyramid import Room, crop, pyramid, tile
from haltere.fieldbook.book import FILE
from tests.doors.bench.conftest import HERE, PORT, TOKEN, MadeBook, fill_raw


def shown(content: bytes) -> np.ndarray:  # type: ignore[type-arg]
    with Image.open(io.BytesIO(content)) as picture:
        return np.asarray(picture.convert("RGB")).astype(int)


def test_a_tile_shows_the_frame_s_own_pixels(page: TestClient, worked: MadeBook) -> None:
    answer = page.get("/api/frames/1/tiles/0/0/0")
    assert answer.headers["content-type"] == "image/jpeg"
    assert "immutable" in answer.headers["cache-control"]
    with Image.open(worked.frames[0].path) as picture:
        own = np.asarray(picture.convert("RGB")).astype(int)
    assert shown(answer.content).shape == own.shape
    assert np.abs(shown(answer.content) - own).mean() < 2.0


def test_a_crop_has_the_eye_in_its_middle_also_at_the_edge(page: TestClient) -> None:
    middle = shown(page.get("/api/frames/1/crop?x=160&y=120&side=64").content)
    corner = shown(page.get("/api/frames/1/crop?x=0&y=0&side=64").content)
    whole = shown(page.get("/api/frames/1/tiles/0/0/0").content)
    assert np.abs(middle - whole[88:152, 128:192]).mean() < 3.0
    assert np.abs(corner[32:, 32:] - whole[:32, :32]).mean() < 3.0
    assert np.abs(corner[:30, :30] - 128).max() < 12


def test_a_look_is_no_larger_than_asked(page: TestClient) -> None:
    assert max(shown(page.get("/api/frames/1/look?longest=160").content).shape) == 160
    assert page.get("/api/frames/1/look?longest=161").status_code == 422


@pytest.mark.parametrize("which", ["merged", "origin", "depth", "confidence"])
def test_each_layer_of_a_merge_is_shown(page: TestClient, worked: MadeBook, which: str) -> None:
    where = f"/api/outings/{worked.outing}/runs/run-02/layers/{which}"
    assert shown(page.get(f"{where}/tiles/0/0/0").content).shape == (40, 60, 3)
    assert shown(page.get(f"{where}/look").content).shape == (40, 60, 3)
    assert page.get(f"{where}/tiles/0/1/0").status_code == 404


def test_a_picture_that_was_changed_is_not_shown_as_the_merge(
    page: TestClient, worked: MadeBook
) -> None:
    made = worked.folder / "derived" / str(worked.outing) / "run-02" / "merged.jpg"
    made.write_bytes(made.read_bytes() + b"x")
    where = f"/api/outings/{worked.outing}/runs/run-02/layers/merged/tiles/0/0/0"
    answer = page.get(where)
    assert (answer.status_code, "merge it again" in answer.json()["error"]) == (404, True)


def test_a_frame_that_leads_elsewhere_by_a_link_is_not_shown(
    page: TestClient, worked: MadeBook, tmp_path: Path
) -> None:
    secret = tmp_path / "elsewhere" / "letter.jpg"
    secret.parent.mkdir()
    secret.write_bytes(worked.frames[0].path.read_bytes())
    link = worked.folder / "link.jpg"
    try:
        link.symlink_to(secret)
    except OSError:
        pytest.skip("this system makes no links")
    rows = sqlite3.connect(worked.folder / FILE)
    for place in (link, secret):
        rows.execute("UPDATE frame SET path = ? WHERE id = 1", (str(place),))
        rows.commit()
        for part in ("look", "crop?x=9&y=9", "tiles/0/0/0"):
            answer = page.get(f"/api/frames/1/{part}")
            assert answer.status_code == 404
            assert "outside" in answer.json()["error"]
    rows.close()


SECRET = b"the photographer's diary"
PIECES = st.sampled_from(
    ["..", "%2e%2e", "/", "%2f", "\\", "%5c", "api", "frames", "assets", "1", "run-02", "layers",
     "secret.txt", "fieldbook.sqlite", "%00", "tiles", "..;", "file:", "~", "index.html", "-1"]
)  # fmt: skip
ODD = st.text(string.printable, max_size=8).map(lambda text: quote(text, safe="/.%"))


@settings(max_examples=80, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(PIECES | ODD, min_size=1, max_size=9))
def test_no_address_leads_out_of_the_book(
    page: TestClient, worked: MadeBook, parts: list[str]
) -> None:
    (worked.folder / "secret.txt").write_bytes(SECRET)
    (worked.folder.parent / "secret.txt").write_bytes(SECRET)
    try:
        answer = page.get("/" + "/".join(parts))
    except InvalidURL:  # no browser would send it either
        assume(False)
    assert SECRET not in answer.content
    assert not answer.content.startswith(b"SQLite format 3")
    assert answer.status_code in (200, 400, 404, 405, 421, 422) or answer.url.path == "/"


@settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    frame=st.integers(-(2**60), 2**60) | st.integers(1, 12), level=st.integers(-3, 25),
    column=st.integers(-2, 5000), row=st.integers(-2, 5000),
)  # fmt: skip
def test_any_tile_is_a_picture_or_a_sentence(
    page: TestClient, frame: int, level: int, column: int, row: int
) -> None:
    answer = page.get(f"/api/frames/{frame}/tiles/{level}/{column}/{row}")
    if answer.status_code == 200:
        assert answer.headers["content-type"] == "image/jpeg"
    else:
        assert answer.status_code in (404, 422)
        assert answer.json()["error"]


@given(st.integers(1, 1500), st.integers(1, 1200))
@settings(max_examples=25, deadline=None)
def test_tiles_of_every_level_cover_the_picture_once(width: int, height: int) -> None:
    levels = pyramid(np.zeros((height, width, 3), np.uint8))
    assert max(levels[-1].shape[:2]) <= 512
    for number, level in enumerate(levels):
        high, wide = level.shape[:2]
        assert tile(levels, number, (wide - 1) // 512, (high - 1) // 512) is not None
        assert tile(levels, number, (wide - 1) // 512 + 1, 0) is None
        if number:
            above = levels[number - 1].shape
            assert (high, wide) == ((above[0] + 1) // 2, (above[1] + 1) // 2)


def test_a_crop_far_outside_is_grey() -> None:
    assert (crop(np.zeros((20, 30, 3), np.uint8), (900.0, -900.0), 64) == 128).all()


def test_what_is_kept_stays_within_its_room() -> None:
    made: list[int] = []

    def make(number: int) -> bytes:
        made.append(number)
        return bytes(40)

    room: Room[bytes] = Room(100, len)
    for number in (1, 2, 1, 3, 1, 2):
        room.get(number, lambda number=number: make(number))  # type: ignore[misc]
    assert made == [1, 2, 3, 2]  # 2 was the least lately used when 3 came


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes in folders")
def test_something_that_is_no_file_is_not_read(page: TestClient, worked: MadeBook) -> None:
    pipe = worked.folder / "pipe.jpg"
    os.mkfifo(pipe)
    rows = sqlite3.connect(worked.folder / FILE)
    rows.execute("UPDATE frame SET path = ? WHERE id = 1", (str(pipe),))
    rows.commit()
    rows.close()
    assert page.get("/api/frames/1/look").status_code == 404


def test_a_raw_frame_shows_the_picture_inside_it_and_developed_its_own(tmp_path: Path) -> None:
    made = fill_raw(tmp_path)
    with TestClient(
        Guard(make_app(made.folder), PORT, TOKEN),  # type: ignore[arg-type]
        base_url=HERE,
    ) as page:
        page.get("/enter", params={"t": TOKEN})
        said = page.get(f"/api/outings/{made.outing}/runs/run-01").json()["frames"]
        assert [frame["raw"] for frame in said] == [True, True, True]
        number = said[0]["id"]
        inside = shown(page.get(f"/api/frames/{number}/preview/0/0/0").content)
        own = shown(page.get(f"/api/frames/{number}/tiles/0/0/0").content)
        edge = page.get(f"/api/frames/{number}/preview/0/1/0")
    assert inside.shape == own.shape == (480, 512, 3)
    assert shown(edge.content).shape == (480, 128, 3), "enlarged to the frame's own size"
    assert np.abs(inside - (60, 90, 190)).max() < 8
    assert own[240, 480].mean() > own[240, 20].mean() + 100, "the ramp of the sensor"


def test_a_frame_that_is_no_raw_file_is_its_own_preview(page: TestClient) -> None:
    inside = shown(page.get("/api/frames/1/preview/0/0/0").content)
    assert inside.shape == shown(page.get("/api/frames/1/tiles/0/0/0").content).shape
