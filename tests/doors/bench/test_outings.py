"""The season, an evening, a run, and the person's word on it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from haltere.fieldbook import decisions_in, open_book
from tests.doors.bench.conftest import MadeBook


def get(page: TestClient, path: str) -> Any:
    answer = page.get(path)
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_the_season_tells_each_outing_with_what_waits(page: TestClient, worked: MadeBook) -> None:
    (outing,) = get(page, "/api/outings")["outings"]
    assert (outing["day"], outing["frames"], outing["open"]) == ("2031-06-14", 10, 2)
    assert [run["kind"] for run in outing["runs"]] == ["burst", "sweep", "single"]
    assert outing["runs"][0]["begins"].startswith("2031-06-14T18:04:12")


def test_an_evening_tells_each_run_in_words_and_marks(page: TestClient, worked: MadeBook) -> None:
    burst, sweep, single = get(page, f"/api/outings/{worked.outing}")["runs"]
    assert burst["head"] == "A keeper"
    assert burst["eye"]["x_px"] == 160.0
    assert sweep["ladder"]["unit"] == "mm"
    assert sweep["ladder"]["holes"] == [{"near": 0.1, "far": 0.4}]
    assert sweep["picture"]
    assert (single["head"], single["eye"], single["open"]) == ("", None, True)


def test_a_run_tells_frames_in_time_with_their_places(page: TestClient, worked: MadeBook) -> None:
    said = get(page, f"/api/outings/{worked.outing}/runs/run-01")
    assert [one["name"] for one in said["frames"]] == [f.name for f in worked.frames[:4]]
    assert said["frames"][1]["place"] == "0.16 mm in front of the eye"
    assert "too dark" in said["frames"][3]["faults"]
    assert (said["before"], said["after"]) == (None, "run-02")


def test_the_origin_of_each_place_is_told(page: TestClient, worked: MadeBook) -> None:
    grid = get(page, f"/api/outings/{worked.outing}/runs/run-02/origin")
    assert len(grid["index"]) == grid["columns"] * grid["rows"]
    assert set(grid["index"]) == {-1, 0, 1, 2, 3, 4}
    assert grid["crop_px"] == [10, 10, 70, 50]


def decide(page: TestClient, worked: MadeBook, names: list[str], verdict: str) -> Any:
    said = {"frames": names, "verdict": verdict}
    return page.post(f"/api/outings/{worked.outing}/decisions", json=said)


def stored(worked: MadeBook) -> dict[str, str]:
    with open_book(worked.folder) as book:
        return dict(decisions_in(book, worked.outing))


def test_a_word_is_stored_beside_what_haltere_says_and_taken_back(
    page: TestClient, worked: MadeBook
) -> None:
    first, second = worked.frames[0].name, worked.frames[1].name
    assert decide(page, worked, [first], "keep").json() == {"what": "keep 1 frame"}
    assert decide(page, worked, [first, second], "drop").status_code == 200
    assert stored(worked) == {first: "drop", second: "drop"}
    assert page.post("/api/undo").json() == {"what": "drop 2 frames"}
    assert stored(worked) == {first: "keep"}
    said = get(page, f"/api/outings/{worked.outing}/runs/run-01")
    assert said["frames"][0]["verdict"] == "keep"
    assert said["keepers"]["frames"][0]["keeper"] is True


def test_nothing_to_take_back_is_said(page: TestClient) -> None:
    answer = page.post("/api/undo")
    assert (answer.status_code, answer.json()["error"]) == (404, "There is nothing to take back.")


@pytest.mark.parametrize(
    ("names", "verdict", "status"),
    [(["nobody.JPG"], "keep", 404), ([], "keep", 422), (["M_0001.JPG"], "perhaps", 422)],
)
def test_a_word_on_nothing_is_refused_in_a_sentence(
    page: TestClient, worked: MadeBook, names: list[str], verdict: str, status: int
) -> None:
    answer = decide(page, worked, names, verdict)
    assert answer.status_code == status
    assert answer.json()["error"]
    assert stored(worked) == {}


@pytest.mark.parametrize(
    "path",
    ["/api/outings/99", "/api/outings/1/runs/run-77", "/api/outings/1/runs/run-01/origin"],
)
def test_what_is_not_there_is_said(page: TestClient, path: str) -> None:
    answer = page.get(path)
    assert answer.status_code == 404
    assert len(answer.json()["error"]) > 10


def test_an_empty_book_tells_an_empty_season(tmp_path: Path) -> None:
    from haltere.doors.bench import telling

    with open_book(tmp_path) as book:
        assert telling.season(book).outings == ()


def test_what_cannot_be_done_as_things_stand_is_no_defect(
    page: TestClient, worked: MadeBook
) -> None:
    far = [[-2.0, -2.0], [62264.0, 31457.0], [-2.0, 31457.0]]
    answer = page.post(
        f"/api/outings/{worked.outing}/runs/run-02/patches/sharpest", json={"around": far}
    )
    assert (answer.status_code, "no frame saw" in answer.json()["error"]) == (409, True)
