"""Moves of a burst's eye, and the way back from each."""

from __future__ import annotations

from haltere.fieldbook import Book, Job, answers_in, jobs_done


def moves(book: Book, outing_id: int, run_id: str) -> list[Job]:
    """List the moves of a burst's eye that were not taken back, oldest first.

    Parameters
    ----------
    book : Book
        Open book.
    outing_id : int
        The outing.
    run_id : str
        The burst.
    """
    standing: list[Job] = []
    for job in jobs_done(book, "judge", outing_id, run_id):
        if job.params.get("back"):
            standing = [one for one in standing if one.id != job.params["back"]]
        elif "before" in job.params:
            standing.append(job)
    return standing


def eye_now(book: Book, outing_id: int, run_id: str) -> list[object] | None:
    """Tell at which eye a burst was judged last: frame, x and y; None where haltere proposed it.

    Parameters
    ----------
    book : Book
        Open book.
    outing_id : int
        The outing.
    run_id : str
        The burst.
    """
    answered = answers_in(book, outing_id, run_id).get(("keepers", run_id))
    eye = None if answered is None else answered.params.get("eye")
    if answered is None or not isinstance(eye, list):
        return None
    return [answered.params.get("eye_frame"), *eye]
