"""Sightings, exports, season and hand, as the bench's page asks for them."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest
from starlette.testclient import TestClient

from haltere.doors.bench.exports import make_export
from haltere.doors.bench.sightings_said import SightingSaid
from haltere.doors.cli.sighting_saying import row_said
from haltere.errors import UsageError
from haltere.fieldbook import end_job, job_numbered, open_book
from haltere.fieldbook.sightings import sighting_numbered
from haltere.progress import silent
from tests.doors.bench.conftest import MadeBook

BEE: dict[str, Any] = {
    "name": "a bee", "observer": "Ana", "when": "2031-06-14T18:04", "time_zone": "+01:00",
    "place": {"how": "hand", "latitude_deg": 38.7, "longitude_deg": -9.1, "within_m": 20},
}  # fmt: skip


def written(page: TestClient, **more: Any) -> dict[str, Any]:
    answer = page.post("/api/sightings", json={**BEE, **more})
    assert answer.status_code == 200, answer.text
    (row,) = answer.json()["sightings"]
    return dict(row)


def test_a_sighting_has_the_keys_of_the_command_line(page: TestClient, worked: MadeBook) -> None:
    row = written(page, evidence=[{"kind": "merge", "outing": 1, "name": "run-02"}])
    with open_book(worked.folder) as book:
        plain = row_said(sighting_numbered(book, row["id"]))
    own = {field.name for field in dataclasses.fields(SightingSaid)} - set(plain)
    assert own == {"kept_vague", "pictured"}
    assert {key: row[key] for key in plain if key != "evidence"} == {
        key: value for key, value in plain.items() if key != "evidence"
    }
    (shown,) = row["pictured"]
    assert (shown["run"], shown["frame"]) == ("run-02", None)
    assert shown["rev"]


def test_a_place_may_be_taken_away_again(page: TestClient) -> None:
    row = written(page)
    assert row["where"]["latitude_deg"] == 38.7
    answer = page.post(f"/api/sightings/{row['id']}", json={"place": {"how": "none"}})
    assert answer.json()["sightings"][0]["where"] is None
    assert answer.json()["sightings"][0]["name"] == "a bee"


def test_one_animal_of_one_visit_is_one_record(page: TestClient) -> None:
    evidence = [{"kind": "frame", "outing": 1, "name": "M_0002.JPG"}]
    first = written(page, evidence=evidence)
    again = page.post(
        "/api/sightings",
        json={**BEE, "evidence": [{"kind": "run", "outing": 1, "name": "run-01"}]},
    )
    assert again.status_code == 404
    assert f"sighting {first['id']}" in again.json()["error"]
    assert written(page, evidence=evidence, another=True)["id"] == first["id"] + 1


@pytest.mark.parametrize(
    ("more", "word"),
    [
        ({"name": " "}, "“What”"),
        ({"when": "yesterday"}, "“When”"),
        ({"time_zone": "Mars"}, "“Time zone”"),
        ({"count": 0}, "“How many”"),
        ({"country": "PRT"}, "“Country”"),
        ({"place": {"how": "track", "track": "<gpx/>"}}, "track"),
        ({"place": {"how": "hand", "latitude_deg": 1}}, "two numbers"),
        ({"evidence": [{"kind": "frame", "outing": 1, "name": "../../etc"}]}, "no frame"),
    ],
)
def test_a_refusal_names_the_field_of_the_page(
    page: TestClient, more: dict[str, Any], word: str
) -> None:
    answer = page.post("/api/sightings", json={**BEE, **more})
    assert answer.status_code == 404
    assert word in answer.json()["error"]
    assert "--" not in answer.json()["error"].partition("haltere ")[0]  # which is to be typed


def test_a_track_s_file_name_can_t_lead_elsewhere(page: TestClient) -> None:
    track = (
        '<gpx version="1.1"><trk><trkseg><trkpt lat="38.7" lon="-9.1">'
        "<time>2031-06-14T17:04:00Z</time></trkpt></trkseg></trk></gpx>"
    )
    row = written(page, place={"how": "track", "track": track, "track_name": "../../a/b\\c.gpx"})
    assert row["where"]["source"] == "track"
    assert "/" not in row["where"]["how"]


def test_an_export_is_fetched_by_number_and_by_no_other_name(
    page: TestClient, worked: MadeBook
) -> None:
    written(page)
    asked = page.post("/api/exports", json={"licence": "cc0", "formats": ["csv"], "places": "grid"})
    number = asked.json()["id"]
    with open_book(worked.folder) as book:
        job = job_numbered(book, number)
    make_export(worked.folder, job, silent)
    told = page.get(f"/api/exports/{number}").json()
    assert (told["records"], told["vague"], told["files"]) == (1, 1, ["sightings.csv"])
    answer = page.get(f"/api/exports/{number}/sightings.csv")
    assert answer.headers["content-disposition"].startswith("attachment")
    assert "38.75" in answer.text
    assert page.get(f"/api/exports/{number}/export.json").status_code == 422
    assert page.get(f"/api/exports/{number}/sightings.zip").status_code == 404
    assert page.get("/api/exports/9").status_code == 404


def test_an_export_without_a_maker_is_refused_at_once(page: TestClient) -> None:
    answer = page.post("/api/exports", json={"licence": "cc0", "formats": ["csv"]})
    assert answer.status_code == 404
    assert "“Made by”" in answer.json()["error"]


def test_an_export_that_fails_names_no_option(page: TestClient, worked: MadeBook) -> None:
    written(page)
    asked = page.post(
        "/api/exports", json={"licence": "cc0", "formats": ["csv"], "since": "tomorrow"}
    )
    with open_book(worked.folder) as book:
        job = job_numbered(book, asked.json()["id"])
    with pytest.raises(UsageError) as failed:
        make_export(worked.folder, job, silent)
    with open_book(worked.folder) as book:
        end_job(book, job.id, "failed", str(failed.value))
    (told,) = page.get("/api/jobs").json()["jobs"]
    assert told["error"].startswith("“From” tomorrow")


def test_the_season_tells_no_place_unless_asked(page: TestClient) -> None:
    written(page)
    told = page.get("/api/season", params={"day": "2032-06-12"}).json()
    assert told["season"]["spots"] == []
    assert told["map"] == []
    assert [one["name"] for one in told["season"]["coming"]] == ["a bee"]
    assert told["years"] == [2031]
    asked = page.get("/api/season", params={"places": "exact"}).json()
    assert asked["season"]["spots"][0]["latitude_deg"] == 38.7
    assert page.get("/api/season", params={"day": "soon"}).status_code == 404


def test_a_hand_without_bursts_is_told_as_such(page: TestClient) -> None:
    told = page.get("/api/hand").json()
    while not told["current"]:
        told = page.get("/api/hand").json()
    assert told["report"]["moves"] is None
    assert told["rates"] == []
    said = page.post("/api/support", json={"outing": 1, "word": "a stick", "run": "run-01"})
    assert "a stick under the hand" in said.json()["what"]
    assert page.get("/api/hand").json()["supports"][0]["word"] == "a stick"
    assert page.post("/api/support", json={"outing": 1, "word": "", "run": "x"}).status_code == 404
