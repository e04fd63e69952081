"""What was worked out, from what, by which version: recorded with the step, recalled by its key."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from haltere.fieldbook.book import Book, now
from haltere.fieldbook.catalogue import frame_ids, identity
from haltere.frames.frame import Frame

if TYPE_CHECKING:
    import sqlite3

    from haltere.keepers.verdict import Keepers
    from haltere.merge.merged import Merge
    from haltere.runs.split import Splitting
    from haltere.sweeps.coverage import Coverage

Result = TypeVar("Result")


@dataclass(frozen=True, slots=True)
class StepRow:
    """One recorded step.

    Attributes
    ----------
    verb : str
        What was done: "keepers", "gaps", "merge".
    subject : str
        To what: a run's id.
    version : str
        Of haltere.
    params : dict
        Every number that the answer depends on.
    ended : str
        When, UTC.
    """

    verb: str
    subject: str
    version: str
    params: dict[str, Any]
    ended: str


@lru_cache(maxsize=1)
def code_version() -> str:
    """Name this very haltere: its number, and a mark that changes with any file of its code.

    Returns
    -------
    str
        As "0.1.0+1a2b3c4d".
    """
    try:
        number = version("haltere")
    except PackageNotFoundError:
        number = "0"
    root = Path(__file__).parents[1]
    mark = hashlib.sha256()
    for path in sorted(root.rglob("*.py")):
        about = path.stat()
        name = path.relative_to(root).as_posix()
        mark.update(f"{name} {about.st_size} {about.st_mtime_ns}\n".encode())
    return f"{number}+{mark.hexdigest()[:8]}"


def step_key(verb: str, frames: Sequence[Frame], params: Mapping[str, Any]) -> str:
    """Give the key under which the same step on the same files is found again.

    Parameters
    ----------
    verb : str
        What is done.
    frames : sequence of Frame
        What it is done to; a changed file makes another key.
    params : mapping
        Every number that the answer depends on.

    Returns
    -------
    str
        SHA-256, hexadecimal.
    """
    files = [
        (
            frame.name,
            str(frame.path),
            identity(frame.path),
            _raw_identity(frame),
            str(frame.shooting.time),  # a clock that was put right changes the runs
        )
        for frame in frames
    ]
    said = json.dumps([verb, code_version(), files, dict(params)], sort_keys=True, default=str)
    return hashlib.sha256(said.encode()).hexdigest()


def recall(book: Book, key: str, kind: type[Result]) -> Result | None:
    """Give the answer of a step that was done before.

    Parameters
    ----------
    book : Book
        Open book.
    key : str
        From `step_key`.
    kind : type
        Dataclass of the answer.

    Returns
    -------
    object or None
        As it was recorded; None when it wasn't, when it reads as something else, or when a file
        that it made is gone or another.
    """
    import msgspec

    row = book.connection.execute("SELECT answer, made FROM step WHERE key = ?", (key,)).fetchone()
    if row is None:
        return None
    made = json.loads(row[1])
    if any(list(identity(Path(name))) != about for name, about in made.items()):
        forget(book, key)
        return None
    try:
        return msgspec.json.decode(row[0].encode(), type=kind)
    except msgspec.ValidationError:
        return None


def record(
    book: Book,
    outing_id: int,
    verb: str,
    subject: str,
    key: str,
    params: Mapping[str, Any],
    result: Keepers | Coverage | Merge | Splitting,
    made: Sequence[Path] = (),
) -> None:
    """Write down a step and what came of it, in one transaction.

    Parameters
    ----------
    book : Book
        Open book.
    outing_id : int
        The outing; its frames are written down.
    verb, subject : str
        What was done, to which run.
    key : str
        From `step_key`; a step that is there already is left as it is.
    params : mapping
        Every number that the answer depends on.
    result : Keepers or Coverage or Merge or Splitting
        The answer; its details get rows of their own, those of a splitting by `keep_runs`.
    made : sequence of Path, optional
        Derived files; the step is forgotten once one of them is gone or another.
    """
    import msgspec

    ids = frame_ids(book, outing_id)
    with book.writing() as rows:
        cursor = rows.execute(
            "INSERT INTO step (outing_id, verb, subject, key, version, params, answer, made, "
            "ended, stands) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, "
            "(SELECT coalesce(max(stands), 0) + 1 FROM step)) ON CONFLICT (key) DO NOTHING",
            (
                outing_id,
                verb,
                subject,
                key,
                code_version(),
                json.dumps(dict(params), sort_keys=True, default=str),
                msgspec.json.encode(result).decode(),
                json.dumps({str(path): identity(path) for path in made}),
                now(),
            ),
        )
        if cursor.rowcount == 1:
            assert cursor.lastrowid is not None
            _details(rows, cursor.lastrowid, ids, result)


def forget(book: Book, key: str) -> None:
    """Strike out a step whose derived files are gone, so that it is done again.

    Parameters
    ----------
    book : Book
        Open book.
    key : str
        From `step_key`.
    """
    with book.writing() as rows:
        rows.execute("DELETE FROM step WHERE key = ?", (key,))


def steps_of(book: Book, outing_id: int) -> tuple[StepRow, ...]:
    """List what was done for an outing, oldest first.

    Parameters
    ----------
    book : Book
        Open book.
    outing_id : int
        The outing.

    Returns
    -------
    tuple of StepRow
        With every number that went in.
    """
    rows = book.connection.execute(
        "SELECT verb, subject, version, params, ended FROM step WHERE outing_id = ? ORDER BY id",
        (outing_id,),
    )
    return tuple(StepRow(row[0], row[1], row[2], json.loads(row[3]), row[4]) for row in rows)


def _raw_identity(frame: Frame) -> tuple[int, int] | None:
    return None if frame.raw_path is None else identity(frame.raw_path)


def _details(
    rows: sqlite3.Connection,
    step: int,
    ids: Mapping[str, int],
    result: Keepers | Coverage | Merge | Splitting,
) -> None:
    from haltere.keepers.verdict import Keepers
    from haltere.merge.merged import Merge
    from haltere.sweeps.coverage import Coverage

    if isinstance(result, Keepers):
        _keepers(rows, step, ids, result)
    elif isinstance(result, Merge):
        _merge(rows, step, ids, result)
    elif isinstance(result, Coverage):
        _coverage(rows, step, ids, result)


def _keepers(rows: sqlite3.Connection, step: int, ids: Mapping[str, int], result: Keepers) -> None:
    eye = result.eye
    if eye is not None and eye.frame in ids:
        rows.execute(
            "INSERT INTO eye (step_id, frame_id, x_px, y_px, source) VALUES (?, ?, ?, ?, ?)",
            (step, ids[eye.frame], eye.x_px, eye.y_px, eye.source),
        )
    rows.executemany(
        "INSERT INTO measure (step_id, frame_id, rank, sharpness, offset_mm, offset_dof, "
        "uncertainty_dof, keeper, faults) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [
            (
                step,
                ids[one.frame],
                one.rank,
                one.sharpness,
                one.eye_offset_mm,
                one.eye_offset_dof,
                one.uncertainty_dof,
                int(one.keeper),
                _faults(one.faults),
            )
            for one in result.frames
            if one.frame in ids
        ],
    )


def _coverage(
    rows: sqlite3.Connection, step: int, ids: Mapping[str, int], result: Coverage
) -> None:
    rows.executemany(
        "INSERT INTO plane (step_id, frame_id, position_mm, position_dof, uncertainty_mm, "
        "uncertainty_dof, usable, faults) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        [
            (
                step,
                ids[one.frame],
                one.position_mm,
                one.position_dof,
                one.uncertainty_mm,
                one.uncertainty_dof,
                int(one.usable),
                _faults(one.faults),
            )
            for one in result.planes
            if one.frame in ids
        ],
    )
    rows.executemany(
        "INSERT INTO gap (step_id, number, kind, from_mm, to_mm, from_dof, to_dof, box_px) "
        "VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        [
            (
                step, number, one.kind, one.from_mm, one.to_mm, one.from_dof, one.to_dof,
                json.dumps(one.box_px),
            )
            for number, one in enumerate(result.gaps)
        ],
    )  # fmt: skip


def _merge(rows: sqlite3.Connection, step: int, ids: Mapping[str, int], result: Merge) -> None:
    rows.execute(
        "INSERT INTO merge (step_id, picture, reference_id, crop_px) VALUES (?, ?, ?, ?)",
        (step, result.picture, ids.get(result.reference), json.dumps(result.crop_px)),
    )
    rows.executemany(
        "INSERT INTO merge_frame (step_id, position, frame_id) VALUES (?, ?, ?)",
        [
            (step, position, ids[name])
            for position, name in enumerate(result.frames_used)
            if name in ids
        ],
    )


def _faults(faults: Sequence[Any]) -> str:
    return json.dumps([[one.kind, one.confidence, one.detail] for one in faults])
