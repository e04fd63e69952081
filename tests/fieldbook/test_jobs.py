"""Long work stands in one queue: taken once, followed, stopped, begun again when a worker falls."""

from __future__ import annotations

from pathlib import Path

import pytest

from haltere.errors import UsageError
from haltere.fieldbook import (
    Book,
    ask,
    beat,
    cancel_job,
    end_job,
    job_numbered,
    jobs,
    open_book,
    take_job,
)
from haltere.fieldbook.job_queue import LIMITS


@pytest.fixture
def moment(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """A clock that stands until the test turns it."""
    now = [1_900_000_000.0]
    monkeypatch.setattr("haltere.fieldbook.job_queue.time.time", lambda: now[0])
    return now


def test_the_oldest_job_is_taken_first_and_by_one_worker_only(tmp_path: Path) -> None:
    with open_book(tmp_path) as book, open_book(tmp_path) as other:
        first, second = ask(book, "demo"), ask(book, "merge", None, "run-02", {"without": ["a"]})
        taken = [take_job(book), take_job(other), take_job(book)]
        assert [job and job.id for job in taken] == [first.id, second.id, None]
        assert taken[1] is not None
        assert taken[1].params == {"without": ["a"]}
        assert taken[1].state == "running"


def test_the_same_work_is_not_asked_for_twice(book: Book) -> None:
    first = ask(book, "merge", None, "run-02")
    assert ask(book, "merge", None, "run-02").id == first.id
    assert ask(book, "merge", None, "run-03").id != first.id
    end_job(book, first.id, "done")
    assert ask(book, "merge", None, "run-02").id != first.id


def test_progress_is_told_and_so_is_the_wish_to_stop(book: Book) -> None:
    job = ask(book, "merge")
    take_job(book)
    assert beat(book, job.id, "blending", 3, 10)
    assert (job_numbered(book, job.id).step, job_numbered(book, job.id).done) == ("blending", 3)
    assert cancel_job(book, job.id).state == "running"
    assert not beat(book, job.id, "blending", 4, 10)
    end_job(book, job.id, "cancelled")
    assert job_numbered(book, job.id).state == "cancelled"


def test_a_job_that_waits_is_struck_out_at_once(book: Book) -> None:
    job = ask(book, "merge")
    assert cancel_job(book, job.id).state == "cancelled"
    assert take_job(book) is None


def test_a_job_whose_worker_fell_silent_is_begun_again(book: Book, moment: list[float]) -> None:
    job = ask(book, "merge")
    take_job(book)
    moment[0] += LIMITS.silent_s - 1
    assert take_job(book) is None
    moment[0] += 2
    again = take_job(book)
    assert again is not None
    assert again.id == job.id


def test_a_job_that_fells_each_worker_is_given_up_in_words(book: Book, moment: list[float]) -> None:
    job = ask(book, "merge")
    for _ in range(LIMITS.tries):
        assert take_job(book) is not None
        moment[0] += LIMITS.silent_s + 1
    assert take_job(book) is None
    told = job_numbered(book, job.id)
    assert (told.state, "close" in told.error) == ("failed", True)


def test_a_job_given_back_is_not_counted_as_tried(book: Book, moment: list[float]) -> None:
    job = ask(book, "merge")
    for _ in range(LIMITS.tries + 2):
        assert take_job(book) is not None
        end_job(book, job.id, "queued")
    assert job_numbered(book, job.id).state == "queued"


def test_what_waits_is_listed_before_what_ended(book: Book) -> None:
    waiting = ask(book, "demo")
    for number in range(LIMITS.remembered + 3):
        end_job(book, ask(book, "merge", None, f"run-{number}").id, "done")
    listed = jobs(book)
    assert len(listed) == LIMITS.remembered
    assert listed[0].id == waiting.id


@pytest.mark.parametrize("what", [job_numbered, cancel_job])
def test_a_job_that_is_not_there_is_refused(book: Book, what: object) -> None:
    with pytest.raises(UsageError, match="job 5"):
        what(book, 5)  # type: ignore[operator]
