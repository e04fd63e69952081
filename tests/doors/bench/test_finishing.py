"""Crop, scale and lengths of a merged picture, as the bench's page asks for them."""

from __future__ import annotations

import pytest
from starlette.testclient import TestClient

from haltere.fieldbook import ask, open_book
from tests.doors.bench.conftest import MadeBook

HERE = "/api/outings/1/runs/run-01/finish"


def test_a_run_that_is_not_merged_has_nothing_to_crop(page: TestClient) -> None:
    for answer in (
        page.get(HERE), page.get(f"{HERE}/carries"), page.post(f"{HERE}/undo"),
        page.post(HERE, json={"crop": "1:1"}), page.post(f"{HERE}/deliver", json={}),
        page.post(f"{HERE}/measure", json={"points_px": [[0, 0], [9, 9]]}),
        page.post(f"{HERE}/lines", json={"points_px": [[0, 0], [9, 9]], "name": "body"}),
        page.post(f"{HERE}/lines/undo"),
    ):  # fmt: skip
        assert answer.status_code == 404
        assert "merge it again" in answer.json()["error"]


@pytest.mark.parametrize(
    "body",
    [
        {"points_px": [[0, 0]]},
        {"points_px": [[0, 0], [1e9, 0]]},
        {"points_px": [[0, 0], [5, 5]], "click_px": 0},
        {"points_px": [[0, 0], [5, 5]], "known_mm": -1},
    ],
)
def test_absurd_lines_are_refused(page: TestClient, body: dict[str, object]) -> None:
    assert page.post(f"{HERE}/measure", json=body).status_code == 422
    assert page.post(f"{HERE}/lines", json=body).status_code == 422


def test_a_delivery_is_given_only_to_the_picture_that_it_was_made_of(
    page: TestClient, worked: MadeBook
) -> None:
    with open_book(worked.folder) as book:
        job = ask(book, "finish", worked.outing, "run-02").id
    for path in (f"{HERE}/delivered/{job}", f"{HERE}/delivered/{job}/file"):
        answer = page.get(path)
        assert answer.status_code == 404
        assert "not made of that picture" in answer.json()["error"]
    theirs = "/api/outings/1/runs/run-02/finish"
    assert "no longer there" in page.get(f"{theirs}/delivered/{job}").json()["error"]
    assert page.get(f"{theirs}/delivered/999").status_code == 404
