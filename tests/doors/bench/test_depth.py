"""A merged picture in depth on the page: made as long work, kept, known to be out of date."""

from __future__ import annotations

import io
from collections.abc import Iterator
from itertools import pairwise
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
from haltere.evening import repair
from haltere.fieldbook import end_job, open_book, take_job
from haltere.frames import Decoder
from haltere.progress import silent
from tests.doors.bench.conftest import HERE, PORT, TOKEN, MergedBook, fill_merged

WHERE = "/api/outings/1/runs/run-01/depth"
RIGHT = ((100.0, 30.0), (140.0, 30.0), (140.0, 90.0), (100.0, 90.0))


@pytest.fixture
def merged(tmp_path: Path) -> MergedBook:
    """A small sweep that was really merged."""
    return fill_merged(tmp_path)


@pytest.fixture
def page(merged: MergedBook) -> Iterator[TestClient]:
    """Open the page on it."""
    with TestClient(
        Guard(make_app(merged.folder), PORT, TOKEN),  # type: ignore[arg-type]
        base_url=HERE,
        raise_server_exceptions=False,
    ) as client:
        assert client.get("/enter", params={"t": TOKEN}).status_code == 200
        client.headers.update({"origin": HERE, "sec-fetch-site": "same-origin"})
        yield client


def made(page: TestClient, merged: MergedBook) -> dict[str, Any]:
    assert page.post(WHERE).json()["state"] == "queued"
    with open_book(merged.folder) as book:
        job = take_job(book)
    assert job is not None
    worker.do(merged.folder, job, silent)
    with open_book(merged.folder) as book:
        end_job(book, job.id, "done", "")
    told: dict[str, Any] = page.get(WHERE).json()
    return told


def shown(content: bytes) -> Any:
    with Image.open(io.BytesIO(content)) as picture:
        return np.asarray(picture.convert("RGB")).astype(int)


def test_nothing_is_there_before_it_is_asked_for(page: TestClient) -> None:
    told = page.get(WHERE).json()
    assert (told["rev"], told["sides"]) == (None, 0)
    answer = page.get(f"{WHERE}/sides/3")
    assert answer.status_code == 404
    assert "no such view" in answer.json()["error"]


def test_the_middle_view_is_the_picture_and_the_outer_ones_lie_apart(
    page: TestClient, merged: MergedBook
) -> None:
    told = made(page, merged)
    assert told["current"] and told["sides"] % 2 == 1
    views = [shown(page.get(f"{WHERE}/sides/{k}").content) for k in range(told["sides"])]
    picture = tifffile.imread(merged.merge / "picture.tif") / 257
    middle = views[told["sides"] // 2]
    assert middle.shape[1::-1] == tuple(told["size_px"])
    own = np.abs(middle - picture).mean()
    assert own < 3.0, "but for what a JPEG loses"
    assert min(np.abs(views[k] - picture).mean() for k in (0, -1)) > 2 * own
    steps = [np.abs(a - b).mean() for a, b in pairwise(views)]
    assert max(steps) < np.abs(views[0] - views[-1]).mean(), "one movement, no jumps"


def test_pair_relief_and_glasses_are_shown(page: TestClient, merged: MergedBook) -> None:
    made(page, merged)
    pair = page.get(f"{WHERE}/pair")
    assert pair.headers["content-type"] == "image/jpeg"
    assert shown(pair.content).shape[1] == 2 * shown(page.get(f"{WHERE}/red-cyan").content).shape[1]
    assert page.get(f"{WHERE}/relief").headers["content-type"] == "image/png"
    assert page.get(f"{WHERE}/in-depth.json").status_code == 422


def test_patches_that_were_written_since_make_it_out_of_date(
    page: TestClient, merged: MergedBook
) -> None:
    made(page, merged)
    with Decoder(1) as decoder:
        repair(
            merged.merge, decoder, polygon_px=RIGHT, frame="f001.png.tif",
            book_folder=merged.folder,
        )  # fmt: skip
    assert not page.get(WHERE).json()["current"]
    assert made(page, merged)["current"]
