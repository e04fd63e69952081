"""Sightings put into the shapes that the page shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields

from haltere.doors.bench.page_words import on_page
from haltere.doors.bench.shelf import file_of, revision
from haltere.doors.bench.sightings_said import Pictured, SightingSaid, SightingsSaid
from haltere.fieldbook import Book, Standing, answers_in, frame_ids, frames_in, runs_in
from haltere.fieldbook.checklists import checklists
from haltere.fieldbook.sensitive import Sensitive, sensitive_things
from haltere.fieldbook.sightings import Evidence, Sighting, SightingRow, sightings
from haltere.frames.frame import Frame
from haltere.keepers.verdict import Keepers
from haltere.merge.merged import Merge
from haltere.records import cautions, observers_of
from haltere.records.vague import kept_vague
from haltere.runs.run import Run


class _Pictures:
    """Finds what shows each piece of evidence; reads each outing once."""

    def __init__(self, book: Book) -> None:
        self._book = book
        self._frames: dict[int, dict[str, Frame]] = {}
        self._ids: dict[int, dict[str, int]] = {}
        self._runs: dict[int, dict[str, Run]] = {}
        self._answers: dict[tuple[int, str], dict[tuple[str, str], Standing]] = {}

    def _learn(self, outing: int) -> None:
        if outing not in self._frames:
            self._frames[outing] = {one.name: one for one in frames_in(self._book, outing)}
            self._ids[outing] = dict(frame_ids(self._book, outing))
            self._runs[outing] = {run.id: run for run in runs_in(self._book, outing)}

    def show(self, one: Evidence) -> Pictured:
        self._learn(one.outing)
        runs = self._runs[one.outing]
        if one.kind == "frame":
            run = next((run.id for run in runs.values() if one.name in run.frames), "")
            return self._seen(one, one.name, run)
        found = runs.get(one.name)
        if found is None:
            return Pictured(one.kind, one.outing, one.name, None, "", "")
        answers = self._answers.setdefault(
            (one.outing, one.name), dict(answers_in(self._book, one.outing, one.name))
        )
        if one.kind == "merge":
            answered = answers.get(("merge", one.name))
            merge = None if answered is None else answered.as_a(Merge)
            path = None if merge is None else file_of(answered, merge.picture_jpeg)
            if path is not None:
                return Pictured(one.kind, one.outing, one.name, None, revision(path), one.name)
        best = None
        judged = answers.get(("keepers", one.name))
        if judged is not None and (keepers := judged.as_a(Keepers)) is not None:
            best = None if keepers.best is None else keepers.best.frame
        return self._seen(one, best or found.frames[len(found.frames) // 2], one.name)

    def _seen(self, one: Evidence, name: str, run: str) -> Pictured:
        frame = self._frames[one.outing].get(name)
        if frame is None:
            return Pictured(one.kind, one.outing, one.name, None, "", run)
        number = self._ids[one.outing][name]
        return Pictured(one.kind, one.outing, one.name, number, revision(frame.path), run)


def told(book: Book, rows: Sequence[SightingRow]) -> SightingsSaid:
    """Tell some sightings, and what is needed to write the next one.

    Parameters
    ----------
    book : Book
        Open book.
    rows : sequence of SightingRow
        Those to tell.
    """
    things = sensitive_things(book)
    pictures = _Pictures(book)
    return SightingsSaid(
        tuple(_said(row, things, pictures) for row in rows),
        checklists(book),
        things,
        observers_of(sightings(book)),
        on_page(cautions.SIGHTING),
        cautions.EXPORT,
    )


def _said(row: SightingRow, things: Sequence[Sensitive], pictures: _Pictures) -> SightingSaid:
    plain = {field.name: getattr(row.said, field.name) for field in fields(Sighting)}
    return SightingSaid(
        id=row.id,
        occurrence_id=row.occurrence,
        version=row.version,
        written=row.written,
        withdrawn=row.withdrawn,
        kept_vague=vague_words(row.said, things),
        pictured=tuple(pictures.show(one) for one in row.said.evidence),
        **plain,
    )


def vague_words(said: Sighting, things: Sequence[Sensitive]) -> str | None:
    """Say why a sighting's exact place never leaves; None when it may.

    Parameters
    ----------
    said : Sighting
        The sighting.
    things : sequence of Sensitive
        Species and places of the book.
    """
    thing = kept_vague(said, things)
    if thing is not None:
        what = thing.name or f"This place and {thing.radius_m:g} m around it"
        why = f" ({thing.why})" if thing.why else ""
        return f"{what}: kept vague{why}, on a grid of {thing.grid_deg:g} degrees in every export"
    return "Kept vague, as you asked for this animal" if said.sensitive else None
