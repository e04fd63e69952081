"""Long work that was asked for: one queue, taken from by workers, followed by whoever looks."""

from __future__ import annotations

import json
import sqlite3
import time
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from haltere.errors import UsageError
from haltere.fieldbook.book import Book, now

JobState = Literal["queued", "running", "done", "failed", "cancelled"]


@dataclass(frozen=True, slots=True)
class JobLimits:
    """Numbers of the queue, each with its reason.

    Attributes
    ----------
    silent_s : float
        A worker that says nothing for so long is taken for dead and its job is begun again; it
        speaks every `beat_s`, so five of those in a row must be missed.
    beat_s : float
        How often a worker says that it lives.
    tries : int
        How often a job is begun at most: a job that brings its worker down twice would do so for
        ever.
    remembered : int
        Jobs that are listed; older ones that ended are history.
    """

    silent_s: float = 10.0
    beat_s: float = 2.0
    tries: int = 2
    remembered: int = 20


LIMITS = JobLimits()


@dataclass(frozen=True, slots=True)
class Job:
    """One piece of long work.

    Attributes
    ----------
    id : int
        Its number.
    kind : str
        What is done: "merge", "judge", "demo".
    outing_id : int or None
        Of which outing.
    subject : str
        To which run.
    params : dict
        What else was said when it was asked for.
    state : {"queued", "running", "done", "failed", "cancelled"}
        How it stands.
    step : str
        What it is at, in words.
    done, total : int
        Parts of that step.
    error : str
        Why it failed, in the photographer's words.
    asked : str
        When it was asked for, UTC.
    """

    id: int
    kind: str
    outing_id: int | None
    subject: str
    params: dict[str, Any]
    state: JobState
    step: str
    done: int
    total: int
    error: str
    asked: str


def ask(
    book: Book,
    kind: str,
    outing_id: int | None = None,
    subject: str = "",
    params: Mapping[str, Any] | None = None,
) -> Job:
    """Put a job at the end of the queue; the same one that waits or runs already is given instead.

    Parameters
    ----------
    book : Book
        Open book.
    kind : str
        What is to be done.
    outing_id : int, optional
        Of which outing.
    subject : str, optional
        To which run.
    params : mapping, optional
        What else is to be known, as JSON can say it.

    Returns
    -------
    Job
        As it stands.
    """
    said = json.dumps(dict(params or {}), sort_keys=True)
    with book.writing() as rows:
        same = rows.execute(
            "SELECT id FROM job WHERE kind = ? AND outing_id IS ? AND subject = ? AND params = ? "
            "AND state IN ('queued', 'running') AND cancel = 0",
            (kind, outing_id, subject, said),
        ).fetchone()
        if same is None:
            number = rows.execute(
                "INSERT INTO job (kind, outing_id, subject, params, asked) VALUES (?, ?, ?, ?, ?)",
                (kind, outing_id, subject, said, now()),
            ).lastrowid
        else:
            number = same[0]
    assert number is not None
    return job_numbered(book, int(number))


def job_numbered(book: Book, number: int) -> Job:
    """Give one job.

    Parameters
    ----------
    book : Book
        Open book.
    number : int
        Its number.

    Returns
    -------
    Job
        As it stands.

    Raises
    ------
    UsageError
        When there is none.
    """
    row = book.connection.execute("SELECT * FROM job WHERE id = ?", (number,)).fetchone()
    if row is None:
        raise UsageError(f"job {number}: is not in this field book; load the page anew")
    return _job(row)


def jobs(book: Book) -> tuple[Job, ...]:
    """List the jobs that wait or run, and the last ones that ended, newest first.

    Parameters
    ----------
    book : Book
        Open book.

    Returns
    -------
    tuple of Job
        As they stand.
    """
    rows = book.connection.execute(
        "SELECT * FROM job ORDER BY state IN ('queued', 'running') DESC, id DESC LIMIT ?",
        (LIMITS.remembered,),
    )
    return tuple(_job(row) for row in rows)


def jobs_done(book: Book, kind: str, outing_id: int, subject: str) -> tuple[Job, ...]:
    """List the jobs of one kind on one run that were done, oldest first.

    Parameters
    ----------
    book : Book
        Open book.
    kind : str
        What was done.
    outing_id : int
        Of which outing.
    subject : str
        To which run.
    """
    rows = book.connection.execute(
        "SELECT * FROM job WHERE kind = ? AND outing_id = ? AND subject = ? AND state = 'done' "
        "ORDER BY id",
        (kind, outing_id, subject),
    )
    return tuple(_job(row) for row in rows)


def cancel_job(book: Book, number: int) -> Job:
    """Ask a job to stop; one that waits is struck out at once, one that ended stays as it is.

    Parameters
    ----------
    book : Book
        Open book.
    number : int
        Its number.

    Returns
    -------
    Job
        As it stands; a running one ends at its next step.

    Raises
    ------
    UsageError
        When there is none.
    """
    job_numbered(book, number)
    with book.writing() as rows:
        rows.execute(
            "UPDATE job SET cancel = 1, "
            "state = CASE state WHEN 'queued' THEN 'cancelled' ELSE state END "
            "WHERE id = ? AND state IN ('queued', 'running')",
            (number,),
        )
    return job_numbered(book, number)


def take_job(book: Book) -> Job | None:
    """Take the next job from the queue: the oldest that waits, or one whose worker fell silent.

    Parameters
    ----------
    book : Book
        Open book.

    Returns
    -------
    Job or None
        Now running; None when nothing waits.
    """
    moment = time.time()
    lost = moment - LIMITS.silent_s
    with book.writing() as rows:
        rows.execute(
            "UPDATE job SET state = CASE cancel WHEN 1 THEN 'cancelled' ELSE 'failed' END, "
            "error = CASE cancel WHEN 1 THEN '' ELSE 'It was stopped from outside each time it "
            "was begun; start it again when other programs are closed.' END "
            "WHERE state = 'running' AND beat < ? AND (tries >= ? OR cancel = 1)",
            (lost, LIMITS.tries),
        )
        row = rows.execute(
            "SELECT id FROM job WHERE state = 'queued' OR (state = 'running' AND beat < ?) "
            "ORDER BY id LIMIT 1",
            (lost,),
        ).fetchone()
        if row is None:
            return None
        rows.execute(
            "UPDATE job SET state = 'running', tries = tries + 1, beat = ? WHERE id = ?",
            (moment, row[0]),
        )
    return job_numbered(book, int(row[0]))


def beat(book: Book, number: int, step: str, done: int, total: int) -> bool:
    """Say that a job is alive and how far it is.

    Parameters
    ----------
    book : Book
        Open book.
    number : int
        The job's number.
    step : str
        What it is at, in words.
    done, total : int
        Parts of that step.

    Returns
    -------
    bool
        Whether it may go on; False once somebody asked it to stop.
    """
    with book.writing() as rows:
        rows.execute(
            "UPDATE job SET step = ?, done = ?, total = ?, beat = ? WHERE id = ?",
            (step, done, total, time.time(), number),
        )
        asked = rows.execute("SELECT cancel FROM job WHERE id = ?", (number,)).fetchone()
    return not asked[0]


def end_job(book: Book, number: int, state: JobState, error: str = "") -> None:
    """Write down how a job ended.

    Parameters
    ----------
    book : Book
        Open book.
    number : int
        The job's number.
    state : {"done", "failed", "cancelled", "queued"}
        How; "queued" gives it back to whoever comes next, as if it had not been begun.
    error : str, optional
        Why it failed.
    """
    with book.writing() as rows:
        rows.execute(
            "UPDATE job SET error = ?, tries = tries - (? = 'queued'), "
            "state = CASE WHEN ? = 'queued' AND cancel = 1 THEN 'cancelled' ELSE ? END "
            "WHERE id = ?",
            (error, state, state, state, number),
        )


def _job(row: sqlite3.Row) -> Job:
    return Job(
        int(row["id"]),
        row["kind"],
        row["outing_id"],
        row["subject"],
        json.loads(row["params"]),
        row["state"],
        row["step"],
        int(row["done"]),
        int(row["total"]),
        row["error"],
        row["asked"],
    )
