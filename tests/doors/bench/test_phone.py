"""A phone is let in once by a code, over TLS, and changes nothing."""

from __future__ import annotations

import hashlib
import re
import ssl
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import httpx2
import numpy as np
import pytest
from numpy.typing import NDArray
from starlette.testclient import TestClient

from haltere.doors.bench.app import make_app
from haltere.doors.bench.guard import Guard, PhoneGuard
from haltere.doors.bench.pairing import LIMITS, Pairing, address_in_network
from haltere.doors.bench.phone import for_terminal
from haltere.errors import UsageError
from haltere.fieldbook import decisions_in, jobs, open_book
from tests.doors.bench.conftest import HERE, PORT, TOKEN, MadeBook

THERE = "https://192.168.7.2:4712"


@dataclass
class Both:
    """The bench as its own computer sees it, and as a phone does."""

    own: TestClient
    phone: TestClient
    pairing: Pairing
    now: list[float]
    joined: list[str]

    def code(self) -> str:
        """Give the code that is shown now."""
        link = self.pairing.link
        assert link is not None
        return link.partition("?t=")[2]

    def join(self) -> None:
        """Let the phone in."""
        self.pairing.invite()
        assert self.phone.get("/enter", params={"t": self.code()}).status_code == 200


@pytest.fixture
def both(worked: MadeBook) -> Iterator[Both]:
    now, joined = [1000.0], []
    pairing = Pairing(
        "192.168.7.2", 4712, "AB:CD", lambda: joined.append("one"), clock=lambda: now[0]
    )
    app = make_app(worked.folder, pairing)
    own = TestClient(
        Guard(app, PORT, TOKEN), base_url=HERE, headers={"authorization": f"Bearer {TOKEN}"}
    )
    phone = TestClient(PhoneGuard(app, pairing), base_url=THERE)  # type: ignore[arg-type]
    with own:  # one of them begins and ends what both show
        phone.portal = own.portal
        yield Both(own, phone, pairing, now, joined)


def test_a_code_lets_one_phone_in_and_no_second(both: Both, worked: MadeBook) -> None:
    both.pairing.invite()
    code = both.code()
    answer = both.phone.get("/enter", params={"t": code})
    assert {"HttpOnly", "SameSite=Strict", "Secure"} <= set(
        answer.headers["set-cookie"].split("; ")
    )
    assert both.phone.get("/api/outings").status_code == 200
    assert both.joined == ["one"]
    other = TestClient(both.phone.app, base_url=THERE)
    refused = other.get("/enter", params={"t": code})
    assert (refused.status_code, "show a new one" in refused.json()["error"]) == (401, True)
    assert other.get("/api/outings").status_code == 401
    assert both.pairing.link is None


def test_a_code_is_too_old_after_a_while(both: Both) -> None:
    both.pairing.invite()
    code = both.code()
    both.now[0] += LIMITS.valid_s
    assert both.phone.get("/enter", params={"t": code}).status_code == 401
    assert both.own.get("/api/phone").json()["left_s"] == 0


def test_whoever_guesses_makes_the_code_worthless(both: Both) -> None:
    both.pairing.invite()
    code = both.code()
    for _ in range(LIMITS.tries):
        assert both.phone.get("/enter", params={"t": "guess"}).status_code == 401
    assert both.phone.get("/enter", params={"t": code}).status_code == 401


def test_a_new_code_takes_the_place_of_the_one_before(both: Both) -> None:
    both.pairing.invite()
    old = both.code()
    said = both.own.post("/api/phone/invite").json()
    assert (said["open"], said["left_s"]) == (True, round(LIMITS.valid_s))
    assert both.phone.get("/enter", params={"t": old}).status_code == 401
    assert both.phone.get("/enter", params={"t": both.code()}).status_code == 200


def test_everything_that_writes_is_refused_to_a_phone(both: Both, worked: MadeBook) -> None:
    both.join()
    writing = [
        (method, re.sub("{.*?}", "1", path))
        for path, methods in both.own.get("/api/openapi.json").json()["paths"].items()
        for method in methods
        if method not in ("get", "head")
    ]
    assert len(writing) >= 5
    for method, path in [*writing, ("post", "/"), ("delete", "/api/outings"), ("put", "/nowhere")]:
        answer = both.phone.request(method, path, json={}, headers={"origin": THERE})
        assert (answer.status_code, method, path) == (403, method, path)
        assert "only looks" in answer.json()["error"]
    with open_book(worked.folder) as book:
        assert jobs(book) == ()
        assert set(decisions_in(book, worked.outing).values()) <= {"undecided"}


def test_a_phone_sees_no_code_that_would_let_another_in(both: Both) -> None:
    both.join()
    both.pairing.invite()
    assert both.phone.get("/api/phone/code").status_code == 403
    said = both.phone.get("/api/phone").json()
    assert (said["only_looks"], said["open"], said["fingerprint"]) == (True, False, "")
    assert both.own.get("/api/phone/code").status_code == 200


def test_the_key_of_the_computer_opens_nothing_from_the_network(both: Both) -> None:
    assert both.phone.get("/enter", params={"t": TOKEN}).status_code == 401
    bearer = {"authorization": f"Bearer {TOKEN}"}
    assert both.phone.get("/api/outings", headers=bearer).status_code == 401
    empty = {"authorization": "Bearer "}
    assert both.phone.get("/api/outings", headers=empty).status_code == 401


@pytest.mark.parametrize("host", ["evil.example:4712", f"127.0.0.1:{PORT}", "192.168.7.2"])
def test_another_name_for_the_phone_s_address_is_refused(both: Both, host: str) -> None:
    both.join()
    assert both.phone.get("/api/outings", headers={"host": host}).status_code == 421


def test_pages_of_other_sites_read_nothing_by_way_of_the_phone(both: Both) -> None:
    both.join()
    strange = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "cors"}
    assert both.phone.get("/api/outings", headers=strange).status_code == 403
    strange = {"origin": "https://evil.example"}
    assert both.phone.post("/api/undo", headers=strange).status_code == 403


def test_a_phone_is_not_answered_in_the_open(both: Both) -> None:
    both.join()
    plain = TestClient(both.phone.app, base_url=THERE.replace("https", "http"))
    assert plain.get("/enter", params={"t": "x"}).status_code == 403


def test_without_the_wish_no_phone_may_join(page: TestClient) -> None:
    assert page.get("/api/phone").json()["open"] is False
    for answer in (page.post("/api/phone/invite"), page.get("/api/phone/code")):
        assert (answer.status_code, "--lan" in answer.json()["error"]) == (404, True)


def test_the_code_on_the_page_is_a_picture_alone(both: Both) -> None:
    both.pairing.invite()
    drawn = both.own.get("/api/phone/code")
    assert drawn.headers["content-type"].startswith("image/svg+xml")
    assert b"<script" not in drawn.content
    assert b"style=" not in drawn.content


def test_the_code_in_the_window_says_the_link(both: Both) -> None:
    # OpenCV's reader gives up on about one code in a hundred, whatever its size: three are asked
    links = [both.pairing.invite() for _ in range(3)]
    read = [cv2.QRCodeDetector().detectAndDecode(seen_in_window(link))[0] for link in links]
    assert all(said in ("", link) for said, link in zip(read, links, strict=True))
    assert any(read)


def seen_in_window(link: str) -> NDArray[np.uint8]:
    """The code's dots as a terminal shows them, black on white."""
    rows = [re.sub("\x1b\\[[0-9;]*m", "", line) for line in for_terminal(link).split("\n")]
    above = {"\u2580", "\u2588"}
    below = {"\u2584", "\u2588"}
    dots = [[sign in side for sign in row] for row in rows for side in (above, below)]
    picture = np.where(np.array(dots), 0, 255).astype(np.uint8)
    picture = np.pad(picture, 4, constant_values=255)
    return np.asarray(
        cv2.resize(picture, None, fx=6, fy=6, interpolation=cv2.INTER_NEAREST), np.uint8
    )


@pytest.mark.parametrize(
    ("wish", "said"),
    [
        ("8.8.8.8", "whole internet"),
        ("kitchen", "is no address"),
        ("fe80::1", "is no address"),
        ("0.0.0.0", "is no address"),
        ("224.0.0.1", "is no address"),
    ],
)
def test_an_address_that_is_not_of_an_own_network_is_refused(wish: str, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        address_in_network(wish)


def opened(book: Path, *more: str) -> tuple[subprocess.Popen[str], str]:
    """Start the bench for phones on this computer's own loop; gives what it says."""
    words = [sys.executable, "-m", "haltere", "open", "--book", str(book), "--no-browser", "--lan"]
    process = subprocess.Popen(
        [*words, *more], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        encoding="utf-8",
    )  # fmt: skip
    assert process.stdout is not None
    said = ""
    for line in process.stdout:
        said += line
        if "Ctrl-C" in line:
            break
    return process, said


def test_a_phone_speaks_tls_with_the_certificate_that_was_shown(worked: MadeBook) -> None:
    process, said = opened(worked.folder, "127.0.0.1")
    try:
        link = re.search(r"https://(\S+):(\d+)/enter\S+", said)
        shown = re.search(r"^  ([0-9A-F:]{95})$", said, re.MULTILINE)
        assert link is not None
        assert shown is not None
        base = link[0].partition("/enter")[0]
        pem = ssl.get_server_certificate((link[1], int(link[2])))
        own = hashlib.sha256(ssl.PEM_cert_to_DER_cert(pem)).hexdigest()
        assert shown[1].replace(":", "").lower() == own
        trusting = ssl.create_default_context(cadata=pem)  # and checks that it is for this address
        with httpx2.Client(verify=trusting, base_url=base) as phone:
            assert phone.get(link[0]).status_code == 200
            assert b"meadow" in phone.get("/api/outings").content
            assert phone.post("/api/undo", headers={"origin": base}).status_code == 403
        with httpx2.Client(verify=trusting) as stranger:
            assert stranger.get(link[0]).status_code == 401
        with pytest.raises(httpx2.HTTPError):
            httpx2.get(link[0].replace("https", "http"))
    finally:
        process.terminate()
        process.communicate(timeout=20)


def test_what_cannot_be_made_secret_is_not_opened(
    worked: MadeBook, monkeypatch: pytest.MonkeyPatch
) -> None:
    from haltere.doors.bench.serve import serve

    monkeypatch.setitem(sys.modules, "cryptography", None)
    said: list[str] = []
    with pytest.raises(UsageError, match="without it a phone is not let in"):
        serve(worked.folder, 0, said.append, False, "127.0.0.1")
    assert said == []
