"""A book with three summers of sightings and nine judged bursts, all invented."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from haltere.fieldbook import Book, keep_frames, keep_runs, open_book, place_outing, record
from haltere.fieldbook.checklists import keep_checklist, look_up
from haltere.fieldbook.sensitive import keep_sensitive
from haltere.fieldbook.sightings import Evidence, Sighting, Where, keep_sighting
from haltere.frames import find_frames
from haltere.frames.frame import Frame
from haltere.keepers.verdict import JudgedFrame, Keepers, Verdict
from haltere.records import read_checklist
from haltere.runs.run import Run
from tests.doors.bench.conftest import MadeBook, fill
from tests.hand.made import wandering
from tests.records.meadow import CHECKLIST, LATITUDE, LONGITUDE

BURSTS = 3
"""Of each of three outings."""

SEEN = (
    ("2029-06-12T10:20:00+01:00", "Inventa pratensis", "thistle"),
    ("2029-07-30T16:05:00+01:00", "Ficta arvensis", ""),
    ("2030-05-21", "Inventa campestris", "clover"),
    ("2030-06-15T11:40:00+01:00", "Inventa pratensis", "thistle"),
    ("2030-06-16T12:10:00+01:00", "Ficta arvensis", "oak"),
    ("2030-08-02T09:00:00+01:00", "a hoverfly, yellow", ""),
)


def a_season(folder: Path, card: Path) -> MadeBook:
    """Fill a book: an outing to look at, a list of names, sightings, bursts of one hand."""
    made = fill(folder, card)
    names = folder.parent / "names.tsv"
    names.write_text(CHECKLIST, encoding="utf-8")
    with open_book(folder) as book:
        sha256, taxa = read_checklist(names)
        keep_checklist(book, "names", names.name, sha256, taxa)
        keep_sensitive(book, 0.1, name="Ficta arvensis", why="few are left")
        for number, (when, name, plant) in enumerate(SEEN):
            _see(book, number, when, name, plant)
        _hand(book, folder.parent, made.frames)
    return made


def _see(book: Book, number: int, when: str, name: str, plant: str) -> None:
    at = Where(
        LATITUDE + 0.01 * number, LONGITUDE - 0.013 * number, 12.0, "WGS84", "hand", "by hand"
    )
    said = Sighting(name, "certain", "Ana", "Ana", when, look_up(book, name), plant=plant, where=at)
    if number == 0:
        said = replace(said, evidence=(Evidence("run", 1, "run-01"),), life_stage="adult")
    keep_sighting(book, said)


def _hand(book: Book, place: Path, frames: tuple[Frame, ...]) -> None:
    """Adopt the same pictures as three more outings, so that the hand can be predicted."""
    draw = np.random.default_rng(3)
    kit = {"capture": {"magnification": 1.4, "pixel_pitch_mm": 0.0033}}
    for number in range(3):
        lane = place / f"lane-{number}"
        lane.mkdir()
        for frame in frames[:4]:
            (lane / frame.name).write_bytes(frame.path.read_bytes())
        outing = place_outing(book, lane, lane.name, day=f"2031-06-{20 + number}", in_place=True)
        found = find_frames([lane]).frames
        keep_frames(book, outing, found)
        names = tuple(frame.name for frame in found)
        runs = [Run(f"run-{n:02}", "burst", names, (), "") for n in range(1, BURSTS + 1)]
        keep_runs(book, outing, runs)
        for run in runs:
            at = wandering(np.arange(4) * 0.2, 0.3, 0.5, draw).tolist()
            judged = tuple(
                JudgedFrame(name, rank, None, 1.0, mm, mm / 0.2, 0.1, (), abs(mm) < 0.1)
                for rank, (name, mm) in enumerate(zip(names, at, strict=True), 1)
            )
            result = Keepers(None, judged, Verdict("keeper", ""))
            record(book, outing, "keepers", run.id, f"{outing} {run.id}", kit, result)
