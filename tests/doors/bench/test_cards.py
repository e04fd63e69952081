"""Unloading on the bench: which folders may be named, what is copied, and what is called safe."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from haltere.doors.bench import volumes, worker
from haltere.doors.bench.app import make_app
from haltere.doors.bench.guard import Guard
from haltere.fieldbook import Job, end_job, job_numbered, open_book, take_job
from haltere.fieldbook.book import FILE
from tests.doors.bench.conftest import HERE, PORT, TOKEN
from tests.fieldbook.conftest import disks
from tests.fieldbook.kept import make_card

__all__ = ["disks"]


@pytest.fixture
def card(disks: Path) -> Path:
    """A small card on a disk of its own."""
    return make_card(disks / "card", 8, big_bytes=9000)


@pytest.fixture
def page(disks: Path, card: Path) -> Iterator[TestClient]:
    """The bench's own page on an empty book; cards and copies may lie on the made-up disks."""
    app = make_app(disks / "one" / "book", places=(disks,))
    with TestClient(
        Guard(app, PORT, TOKEN), base_url=HERE, raise_server_exceptions=False
    ) as client:  # type: ignore[arg-type]
        client.headers.update({"authorization": f"Bearer {TOKEN}"})
        yield client


def work(folder: Path) -> Job:
    """Do the next job as the worker does."""
    with open_book(folder) as book:
        job = take_job(book)
    assert job is not None
    told = worker.Told(folder, job)
    try:
        worker.do(folder, job, told)
    finally:
        told.end()
    with open_book(folder) as book:
        end_job(book, job.id, "done")
        return job_numbered(book, job.id)


def look(page: TestClient, card: Path) -> Any:
    answer = page.post("/api/cards/look", json={"source": str(card)})
    assert answer.status_code == 200, answer.text
    return answer.json()


def unload(page: TestClient, disks: Path, card: Path, second: str) -> Any:
    asked = {"source": str(card), "second": second and str(disks / second), "name": "pond"}
    answer = page.post("/api/cards/unload", json=asked)
    assert answer.status_code == 200, answer.text
    work(disks / "one" / "book")
    return page.get("/api/cards").json()["visits"][0]


def test_a_card_is_copied_twice_and_only_then_called_safe(
    page: TestClient, disks: Path, card: Path
) -> None:
    before = look(page, card)
    assert (before["known"], before["verdict"]) == (0, None)
    once = unload(page, disks, card, "")
    assert once["verdict"]["code"] == look(page, card)["verdict"]["code"] == "one-copy"
    visit = unload(page, disks, card, "two/copies")
    assert visit["verdict"]["code"] == look(page, card)["verdict"]["code"] == "safe-to-format"
    assert sum(day["first"] for day in visit["days"]) == before["files"]
    assert sum(day["second"] for day in visit["days"]) == before["files"]
    held = {path.name for path in (disks / "two" / "copies").rglob("*") if path.is_file()}
    assert {path.name for path in card.rglob("*") if path.is_file()} <= held


def test_a_picture_taken_afterwards_takes_the_word_back(
    page: TestClient, disks: Path, card: Path
) -> None:
    unload(page, disks, card, "two/copies")
    (card / "DCIM" / "later.JPG").write_bytes(b"\xff\xd8\xff later")
    seen = look(page, card)
    assert seen["verdict"] is None
    assert seen["files"] - seen["known"] == 1


def test_another_card_in_the_same_door_is_not_called_safe(
    page: TestClient, disks: Path, card: Path
) -> None:
    unload(page, disks, card, "two/copies")
    for path in card.rglob("*"):
        if path.is_file():
            os.utime(path, (1.7e9, 1.7e9))
    assert look(page, card)["verdict"] is None


def test_a_copy_that_changes_takes_the_word_back_when_all_is_read_again(
    page: TestClient, disks: Path, card: Path
) -> None:
    unload(page, disks, card, "two/copies")
    broken = next(path for path in (disks / "two" / "copies").rglob("*.JPG"))
    broken.write_bytes(b"something else")
    assert page.post("/api/verify").status_code == 200
    job = work(disks / "one" / "book")
    assert "is not what it was" in job.step
    assert look(page, card)["verdict"]["code"] != "safe-to-format"


def test_unloading_that_was_stopped_goes_on(page: TestClient, disks: Path, card: Path) -> None:
    folder = disks / "one" / "book"
    page.post("/api/cards/unload", json={"source": str(card), "second": str(disks / "two" / "c")})
    with open_book(folder) as book:
        job = take_job(book)
    assert job is not None

    calls = iter(range(100))

    def stop(step: str, done: int, total: int, /) -> None:
        if next(calls) == 4:  # in the middle of the files
            raise worker.Stopped

    with pytest.raises(worker.Stopped):
        worker.do(folder, job, stop)
    with open_book(folder) as book:
        end_job(book, job.id, "queued")
    half = page.get("/api/cards").json()["visits"][0]
    assert half["ended"] is None
    assert half["verdict"]["code"] == "keep"
    work(folder)
    assert look(page, card)["verdict"]["code"] == "safe-to-format"


@pytest.mark.parametrize(
    "typed",
    [
        "", " ", "card", "./card", "\0", "/", "/etc", "/etc/../etc", "/proc/self", "/dev", "~",
        "//etc", "~/.ssh", "~nobody-here/x", "\\\\server\\share", "x" * 3000,
    ],
)  # fmt: skip
@pytest.mark.parametrize("path", ["/api/cards/look", "/api/cards/unload"])
def test_a_folder_that_no_card_can_be_in_is_refused(
    page: TestClient, path: str, typed: str
) -> None:
    answer = page.post(path, json={"source": typed})
    assert answer.status_code in (404, 422)
    assert len(answer.json()["error"]) > 20


def test_a_link_out_of_the_allowed_places_is_followed_and_refused(
    page: TestClient, disks: Path
) -> None:
    (disks / "door").symlink_to("/etc")
    assert page.post("/api/cards/look", json={"source": str(disks / "door")}).status_code == 404


@pytest.mark.parametrize("second", ["/etc/copies", "../up", "card/copies", "one/book/second"])
def test_a_second_copy_goes_nowhere_else(
    page: TestClient, disks: Path, card: Path, second: str
) -> None:
    typed = second if second.startswith(("/", "..")) else str(disks / second)
    answer = page.post("/api/cards/unload", json={"source": str(card), "second": typed})
    assert answer.status_code == 404
    assert "--second" not in answer.json()["error"]
    assert not (disks / "one" / "book" / "originals").exists()


def test_the_book_itself_is_no_card(page: TestClient, disks: Path) -> None:
    page.get("/api/cards")
    assert (disks / "one" / "book" / FILE).exists()
    answer = page.post("/api/cards/look", json={"source": str(disks / "one" / "book")})
    assert answer.status_code == 404


def test_a_home_is_no_card_but_a_folder_in_it_may_be(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(volumes, "_home", lambda: tmp_path)
    monkeypatch.setattr(volumes, "_mounted", list)
    assert volumes.allowed(str(tmp_path / "pictures" / "may"), (), "the card")
    for odd in (tmp_path, tmp_path / ".keys", tmp_path / "a" / ".b" / "c", tmp_path.parent):
        with pytest.raises(volumes.UsageError):
            volumes.allowed(str(odd), (), "the card")


@pytest.mark.skipif(os.name == "nt", reason="reads the list of mounts that Linux keeps")
def test_cards_are_found_in_the_list_of_mounts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lines = [
        "/dev/sdb1 /media/me/MY\\040CARD vfat rw 0 0",
        "/dev/sdc1 /run/media/me/STICK exfat rw 0 0",
        "/dev/sdd1 /mnt/disk ext4 rw 0 0",
        "tool /mnt/deep/inside/of/it none ro 0 0",
        "/dev/sda1 / ext4 rw 0 0",
        "proc /proc proc rw 0 0",
        "",
    ]
    real = Path.read_text

    def read(path: Path, *words: Any, **more: Any) -> str:
        return "\n".join(lines) if str(path) == "/proc/self/mounts" else real(path, *words, **more)

    monkeypatch.setattr(Path, "read_text", read)
    monkeypatch.setattr(volumes.sys, "platform", "linux")
    found = [str(one) for one in volumes._mounted()]
    assert found == ["/media/me/MY CARD", "/run/media/me/STICK", "/mnt/disk"]


def test_a_camera_card_is_named_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(volumes, "_mounted", list)
    (tmp_path / "a stick").mkdir()
    (tmp_path / "card" / "DCIM").mkdir(parents=True)
    found = volumes.volumes((tmp_path,))
    assert [(one.name, one.camera) for one in found] == [("card", True), ("a stick", False)]
