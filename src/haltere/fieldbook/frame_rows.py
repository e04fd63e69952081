"""Frames as rows of the book, and rows taken up as frames."""

from __future__ import annotations

import sqlite3
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from haltere.frames.frame import FileKind, Frame, Shooting

FRAME_COLUMNS = (
    "outing_id", "name", "path", "kind", "bytes", "mtime_ns", "raw_name", "raw_path", "taken",
    "camera", "number", "width_px", "height_px", "orientation", "focal_mm", "f_number",
    "exposure_s", "iso", "flash_fired", "pixel_pitch_mm",
)  # fmt: skip


def row_of_frame(outing_id: int, frame: Frame, size: int, moment: int) -> tuple[Any, ...]:
    """Give a frame's values in the order of `FRAME_COLUMNS`.

    Parameters
    ----------
    outing_id : int
        Its outing.
    frame : Frame
        As it was found.
    size, moment : int
        Bytes and time of change in ns, as `catalogue.identity` gives them.

    Returns
    -------
    tuple
        One row.
    """
    shot = frame.shooting
    return (
        outing_id,
        frame.name,
        str(frame.path.resolve()),
        frame.kind,
        size,
        moment,
        frame.raw_name,
        None if frame.raw_path is None else str(frame.raw_path.resolve()),
        None if shot.time is None else shot.time.isoformat(),
        shot.serial,
        shot.number,
        frame.width_px,
        frame.height_px,
        frame.orientation,
        shot.focal_mm,
        shot.f_number,
        shot.exposure_s,
        shot.iso,
        None if shot.flash_fired is None else int(shot.flash_fired),
        shot.pixel_pitch_mm,
    )


def frame_of_row(row: sqlite3.Row) -> Frame:
    """Take up a frame.

    Parameters
    ----------
    row : sqlite3.Row
        All of its columns, and ``shift_s`` of its camera's clock in seconds or None.

    Returns
    -------
    Frame
        With its time by the clock put right.
    """
    kind: FileKind = row["kind"]
    shooting = Shooting(
        time=put_right(row["taken"], row["shift_s"] or 0.0),
        exposure_s=row["exposure_s"],
        f_number=row["f_number"],
        iso=row["iso"],
        focal_mm=row["focal_mm"],
        flash_fired=None if row["flash_fired"] is None else bool(row["flash_fired"]),
        pixel_pitch_mm=row["pixel_pitch_mm"],
        serial=row["camera"],
        number=row["number"],
    )
    return Frame(
        path=Path(row["path"]),
        name=row["name"],
        kind=kind,
        width_px=row["width_px"],
        height_px=row["height_px"],
        orientation=row["orientation"],
        shooting=shooting,
        raw_path=None if row["raw_path"] is None else Path(row["raw_path"]),
        raw_name=row["raw_name"],
    )


def put_right(taken: str | None, shift_s: float) -> datetime | None:
    """Give a time by the clock put right.

    Parameters
    ----------
    taken : str or None
        By the camera's clock, ISO 8601; None where the file does not say.
    shift_s : float
        What to add, in seconds.

    Returns
    -------
    datetime or None
        None where the file does not say.
    """
    return None if taken is None else datetime.fromisoformat(taken) + timedelta(seconds=shift_s)
