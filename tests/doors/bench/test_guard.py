"""Nobody but the page that was given the key gets anything."""

from __future__ import annotations

import pytest
from starlette.testclient import TestClient

from tests.doors.bench.conftest import HERE, PORT, TOKEN, MadeBook

EVERYWHERE = ("/", "/api/outings", "/api/openapi.json", "/assets/x.js", "/icon.svg", "/nowhere")


@pytest.mark.parametrize("path", EVERYWHERE)
def test_without_the_key_every_address_is_locked(stranger: TestClient, path: str) -> None:
    answer = stranger.get(path)
    assert answer.status_code == 401
    assert "open the link" in answer.json()["error"]


@pytest.mark.parametrize("shown", ["", "wrong", TOKEN[:-1], TOKEN + "x", "é"])
def test_a_wrong_key_opens_nothing(stranger: TestClient, shown: str) -> None:
    assert stranger.get("/enter", params={"t": shown}).status_code == 401
    assert stranger.get("/api/outings").status_code == 401


def test_the_key_gives_a_strict_cookie_and_leaves_the_address(stranger: TestClient) -> None:
    answer = stranger.get("/enter", params={"t": TOKEN})
    cookie = answer.headers["set-cookie"]
    assert f"haltere_{PORT}=" in cookie
    assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= set(cookie.split("; "))
    assert TOKEN not in cookie
    assert "url=/" in answer.text
    assert stranger.get("/api/outings").status_code == 200


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1", f"127.0.0.1:{PORT + 1}", f"evil.example:{PORT}", ""]
)
def test_a_name_that_was_bent_to_this_computer_is_refused(page: TestClient, host: str) -> None:
    assert page.get("/api/outings", headers={"host": host}).status_code == 421


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
@pytest.mark.parametrize("path", ["/api/outings", "/assets/x.js"])
def test_pages_of_other_sites_and_ports_read_nothing(
    page: TestClient, site: str, path: str
) -> None:
    headers = {"sec-fetch-site": site, "sec-fetch-mode": "no-cors"}
    assert page.get(path, headers=headers).status_code == 403


def test_a_link_on_another_page_may_lead_to_the_bench_but_not_into_its_answers(
    page: TestClient,
) -> None:
    walked = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate"}
    assert page.get("/", headers=walked).status_code != 403
    assert page.get("/api/outings", headers=walked).status_code == 403


@pytest.mark.parametrize(
    "origin", ["null", "http://evil.example", f"http://127.0.0.1:{PORT + 1}", HERE + "/", "absent"]
)
def test_nothing_is_written_for_another_origin(
    page: TestClient, worked: MadeBook, origin: str
) -> None:
    said = {"frames": [worked.frames[0].name], "verdict": "drop"}
    headers = {"origin": origin}
    if origin == "absent":
        del page.headers["origin"]
        headers = {}
    answer = page.post(f"/api/outings/{worked.outing}/decisions", json=said, headers=headers)
    assert answer.status_code == 403
    shown = page.get(f"/api/outings/{worked.outing}/runs/run-01").json()
    assert {frame["verdict"] for frame in shown["frames"]} == {"undecided"}


def test_a_program_may_show_the_key_instead_of_a_cookie(stranger: TestClient) -> None:
    assert stranger.post("/api/undo").status_code == 401
    bearer = {"authorization": f"Bearer {TOKEN}"}
    assert stranger.get("/api/outings", headers=bearer).status_code == 200
    assert stranger.post("/api/undo", headers=bearer).status_code == 404  # nothing to take back


@pytest.mark.parametrize("path", EVERYWHERE)
def test_each_answer_forbids_scripts_from_elsewhere(page: TestClient, path: str) -> None:
    policy = page.get(path).headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert page.get(path).headers["x-content-type-options"] == "nosniff"


def test_a_request_too_large_is_refused(page: TestClient, worked: MadeBook) -> None:
    said = {"frames": ["x" * 500] * 5000, "verdict": "drop"}
    answer = page.post(f"/api/outings/{worked.outing}/decisions", json=said)
    assert answer.status_code == 413
    assert answer.json()["error"]
