"""Long work: asked for from the page, done by the worker, followed, stopped, begun again."""

from __future__ import annotations

import json
import shutil
import threading
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from starlette.testclient import TestClient

from haltere.doors.bench import worker
from haltere.doors.bench.app import make_app
from haltere.errors import SweepError, UsageError
from haltere.fieldbook import answers_in, ask, end_job, job_numbered, jobs, open_book, take_job
from haltere.keepers.verdict import Eye
from haltere.progress import silent
from haltere.scene import pick_outfit
from tests.doors.bench.conftest import HERE, MadeBook
from tests.standins import StandInEngine, made_keepers


def asked(page: TestClient, worked: MadeBook, run: str, **said: Any) -> Any:
    return page.post(f"/api/outings/{worked.outing}/runs/{run}/work", json=said)


def take(worked: MadeBook) -> Any:
    with open_book(worked.folder) as book:
        job = take_job(book)
    assert job is not None
    return job


def test_a_merge_asked_for_on_the_page_is_done_and_shown(
    page: TestClient, worked: MadeBook, engine: StandInEngine
) -> None:
    left = worked.frames[5].name
    answer = asked(page, worked, "run-02", kind="merge", without=[left])
    assert (answer.status_code, answer.json()["state"]) == (200, "queued")
    worker.do(worked.folder, take(worked), silent)
    said = page.get(f"/api/outings/{worked.outing}/runs/run-02").json()
    assert left not in said["merge"]["frames_used"]
    assert len(said["merge"]["frames_used"]) == 4
    assert {layer["which"] for layer in said["layers"]} == {
        "merged", "origin", "depth", "confidence",
    }  # fmt: skip


def test_an_eye_that_was_moved_judges_the_burst_there(
    page: TestClient, worked: MadeBook, engine: StandInEngine
) -> None:
    name = worked.frames[2].name
    eye = {"frame": name, "x_px": 100.0, "y_px": 50.0}
    assert asked(page, worked, "run-01", kind="judge", eye=eye).status_code == 200
    worker.do(worked.folder, take(worked), silent)
    (told,) = [what for verb, what in engine.asked if verb == "judge_burst"]
    assert (told["eye"], told["eye_frame"]) == ((100.0, 50.0), name)


def test_an_eye_moved_back_to_where_it_was_is_the_newest_answer_again(
    worked: MadeBook, engine: StandInEngine, monkeypatch: pytest.MonkeyPatch
) -> None:
    def judged(frames: Any, decoder: Any, capture: Any, *, eye: Any, **more: Any) -> Any:
        return replace(made_keepers(frames), eye=Eye(frames[0].name, *eye, "given"))

    monkeypatch.setattr("haltere.evening.work.judge_burst", judged)
    name = worked.frames[0].name
    for x_px in (100.0, 30.0, 100.0):
        with open_book(worked.folder) as book:
            ask(book, "judge", worked.outing, "run-01", {"eye": [name, x_px, 50.0]})
        job = take(worked)
        worker.do(worked.folder, job, silent)
        with open_book(worked.folder) as book:
            end_job(book, job.id, "done")
            newest = answers_in(book, worked.outing)["keepers", "run-01"]
            assert book.connection.execute("PRAGMA foreign_key_check").fetchall() == []
        assert newest.params["eye"] == [x_px, 50.0]


def test_moves_of_the_eye_are_taken_back_one_by_one(
    page: TestClient, worked: MadeBook, engine: StandInEngine, monkeypatch: pytest.MonkeyPatch
) -> None:
    def judged(frames: Any, decoder: Any, capture: Any, *, eye: Any = None, **more: Any) -> Any:
        made = made_keepers(frames)
        return made if eye is None else replace(made, eye=Eye(frames[0].name, *eye, "given"))

    monkeypatch.setattr("haltere.evening.work.judge_burst", judged)
    name = worked.frames[0].name

    def done() -> tuple[Any, int]:
        job = take(worked)
        worker.do(worked.folder, job, silent)
        with open_book(worked.folder) as book:
            end_job(book, job.id, "done")
            eye = answers_in(book, worked.outing)["keepers", "run-01"].params["eye"]
        said = page.get(f"/api/outings/{worked.outing}/runs/run-01").json()
        return eye, said["eye_moves"]

    back = f"/api/outings/{worked.outing}/runs/run-01/eye/back"
    assert page.post(back).status_code == 404
    for number, x_px in enumerate((100.0, 30.0), 1):
        eye = {"frame": name, "x_px": x_px, "y_px": 50.0}
        asked(page, worked, "run-01", kind="judge", eye=eye)
        assert done() == ([x_px, 50.0], number)
    page.post(back)
    assert done() == ([100.0, 50.0], 1)
    page.post(back)
    assert done() == (None, 0)
    assert page.post(back).status_code == 404


def test_a_merge_of_fewer_frames_leaves_the_ladder_whole(
    page: TestClient, worked: MadeBook, engine: StandInEngine
) -> None:
    asked(page, worked, "run-02", kind="merge", without=[worked.frames[5].name])
    worker.do(worked.folder, take(worked), silent)
    said = page.get(f"/api/outings/{worked.outing}/runs/run-02").json()
    assert len(said["gaps"]["planes"]) == 5
    with open_book(worked.folder) as book:
        assert book.connection.execute("PRAGMA foreign_key_check").fetchall() == []


@pytest.mark.parametrize(
    ("run", "said"),
    [
        ("run-01", {"kind": "merge"}),
        ("run-02", {"kind": "judge"}),
        ("run-01", {"kind": "judge", "eye": {"frame": "nobody.JPG", "x_px": 1, "y_px": 1}}),
        ("run-01", {"kind": "judge", "eye": {"frame": "M_0001.JPG", "x_px": 5000, "y_px": 1}}),
        ("run-02", {"kind": "merge", "without": ["M_0001.JPG"]}),
        ("run-02", {"kind": "merge", "without": [f"M_000{n}.JPG" for n in range(5, 9)]}),
        ("run-77", {"kind": "merge"}),
    ],
)
def test_work_that_makes_no_sense_is_refused_before_it_is_queued(
    page: TestClient, worked: MadeBook, run: str, said: dict[str, Any]
) -> None:
    answer = asked(page, worked, run, **said)
    assert answer.status_code == 404
    assert len(answer.json()["error"]) > 10
    with open_book(worked.folder) as book:
        assert jobs(book) == ()


def test_the_queue_is_followed_as_events(page: TestClient, worked: MadeBook) -> None:
    with open_book(worked.folder) as book:
        ask(book, "merge", worked.outing, "run-02")
    threading.Timer(1.0, page.app._app.state.closing.set).start()  # type: ignore[attr-defined]
    with page.stream("GET", "/api/jobs/follow") as stream:
        assert stream.headers["content-type"].startswith("text/event-stream")
        line = next(line for line in stream.iter_lines() if line.startswith("data:"))
    (job,) = json.loads(line.removeprefix("data:"))["jobs"]
    assert (job["kind"], job["run"], job["state"]) == ("merge", "run-02", "queued")


def finish(worked: MadeBook) -> Any:
    """Let the worker go on until the queue is empty, then tell the last job."""
    with open_book(worked.folder) as book:
        number = jobs(book)[0].id

    def idle(folder: Any) -> Any:
        job = take_job(folder)
        if job is None:
            worker.LEAVING.set()
        return job

    real = worker.take_job
    worker.take_job = idle
    try:
        worker.work_through(worked.folder)
    finally:
        worker.take_job = real
        worker.LEAVING.clear()
    with open_book(worked.folder) as book:
        return job_numbered(book, number)


def test_what_goes_wrong_is_told_in_the_rooms_own_words(
    worked: MadeBook, engine: StandInEngine
) -> None:
    engine.fail["solve_sweep"] = SweepError("The frames of this run do not overlap.")
    with open_book(worked.folder) as book:
        ask(book, "cover", worked.outing, "run-02")
    job = finish(worked)
    assert (job.state, job.error) == ("failed", "The frames of this run do not overlap.")


def test_a_defect_ends_the_job_and_not_the_worker(worked: MadeBook, engine: StandInEngine) -> None:
    engine.fail["solve_sweep"] = ZeroDivisionError("oh")
    with open_book(worked.folder) as book:
        ask(book, "cover", worked.outing, "run-02")
    job = finish(worked)
    assert (job.state, "report it" in job.error) == ("failed", True)


def test_a_job_that_was_asked_to_stop_ends_at_its_next_step(
    worked: MadeBook, engine: StandInEngine, monkeypatch: pytest.MonkeyPatch
) -> None:
    steps: list[int] = []

    def solving(frames: Any, decoder: Any, capture: Any, *, progress: Any, **more: Any) -> None:
        with open_book(worked.folder) as book:
            from haltere.fieldbook import cancel_job

            cancel_job(book, jobs(book)[0].id)
        for number in range(1000):
            steps.append(number)
            monkeypatch.setattr(worker, "SAID_S", 0.0)
            progress("solving", number, 1000)

    monkeypatch.setattr("haltere.evening.work.solve_sweep", solving)
    with open_book(worked.folder) as book:
        ask(book, "cover", worked.outing, "run-02")
    job = finish(worked)
    assert job.state == "cancelled"
    assert len(steps) <= 2


def test_the_demo_fills_an_empty_book_only(
    page: TestClient, worked: MadeBook, tmp_path: Path
) -> None:
    answer = page.post("/api/demo")
    assert (answer.status_code, "outings of yours" in answer.json()["error"]) == (404, True)


def test_work_that_nobody_knows_is_refused(worked: MadeBook) -> None:
    with open_book(worked.folder) as book:
        job = ask(book, "merge")
    with pytest.raises(UsageError, match="knows"):
        worker.do(worked.folder, replace(job, kind="paint"), silent)


def test_the_demo_makes_up_an_outing_in_an_empty_book(
    card: Path, engine: StandInEngine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "empty"

    def made(out: Path, *, seed: int, progress: Any) -> Any:
        shutil.copytree(card, out / "frames")
        return SimpleNamespace(
            frames_folder=out / "frames", outfit=pick_outfit(seed, width_px=320, height_px=240)
        )

    monkeypatch.setattr("haltere.scene.make_card", made)
    with TestClient(make_app(folder), base_url=HERE) as page:
        assert page.post("/api/demo").json()["state"] == "queued"
        with open_book(folder) as book:
            job = take_job(book)
        assert job is not None
        worker.do(folder, job, silent)
        (outing,) = page.get("/api/outings").json()["outings"]
        assert (outing["name"], outing["frames"], len(outing["runs"])) == (
            "A made-up outing",
            10,
            3,
        )
        assert page.get("/api/frames/1/look").status_code == 200
    assert {path.name for path in folder.iterdir()} >= {"demo", "derived", "fieldbook.sqlite"}
