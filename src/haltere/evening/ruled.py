"""A line on a picture measured, written into the field book, and read from it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import msgspec

from haltere.errors import UsageError
from haltere.evening.capture import Told
from haltere.evening.scale_known import axis_of, depths_of, scale_of
from haltere.fieldbook import Book
from haltere.fieldbook.measured import MeasuredLine, keep_line, lines_of
from haltere.finish.limits import SCALE
from haltere.finish.measuring import Measured, measure_line
from haltere.finish.scale import Point, Scale, scale_of_object
from haltere.finish.source import Source
from haltere.kit import Capture


@dataclass(frozen=True, slots=True)
class Line:
    """A line with corners, and what its scale comes from.

    Attributes
    ----------
    points_px : tuple of (float, float)
        Its corners, pixels of the picture.
    click_px : float
        How well they were pointed at, one sigma.
    flat : bool
        Leave depth out.
    known_mm, known_error_mm, along_px : float or tuple or None
        Something of known length in the picture, one sigma of it, and its two ends.
    """

    points_px: tuple[Point, ...]
    click_px: float = SCALE.click_px
    flat: bool = False
    known_mm: float | None = None
    known_error_mm: float = 0.0
    along_px: tuple[Point, Point] | None = None


@dataclass(frozen=True, slots=True)
class Ruled:
    """What a line measures, and the scale behind it."""

    measured: Measured
    scale: Scale


@dataclass(frozen=True, slots=True)
class KeptLine:
    """A measured line of the field book.

    Attributes
    ----------
    number : int
        Its number.
    name : str
        What it measures, in the person's words; may be empty.
    line : Line
        As it was drawn.
    measured : Measured
        What came of it then.
    scale : Scale
        The scale behind it then.
    written : str
        When, UTC.
    """

    number: int
    name: str
    line: Line
    measured: Measured
    scale: Scale
    written: str


def rule(source: Source, told: Told, line: Line, taken: Capture | None = None) -> Ruled:
    """Measure a line on a picture, in depth where the picture knows it.

    Parameters
    ----------
    source : Source
        The picture.
    told : Told
        What the photographer said of kit and magnification.
    line : Line
        The line.
    taken : Capture, optional
        How it was taken, where the field book knows; else it is put together anew.

    Returns
    -------
    Ruled
        With the scale behind it.

    Raises
    ------
    UsageError
        When the line leaves the picture, makes no sense, or nothing tells the scale.
    """
    scale = scale_of(source, told, taken)
    if line.known_mm is not None and line.along_px is not None:
        pupil = None if scale is None else scale.pupil_mm
        scale = scale_of_object(
            *line.along_px, line.known_mm, line.known_error_mm, line.click_px, pupil
        )
    if scale is None:
        raise UsageError(
            "how large a pixel is on the animal is not known; give --magnification and --kit, or "
            "--known and --along"
        )
    wide, high = source.frame.width_px, source.frame.height_px
    for x, y in line.points_px:
        if not (-0.5 <= x <= wide - 0.5 and -0.5 <= y <= high - 0.5):
            raise UsageError(
                f"the corner {x:g},{y:g} lies outside the picture of {wide} x {high} px"
            )
    depths = None if line.flat else depths_of(source)
    found = measure_line(line.points_px, scale, axis_of(source), depths, line.click_px)
    return Ruled(found, scale)


def subject_of(source: Source) -> Path:
    """Name what a picture's lines are kept under: the merge, or the file.

    Parameters
    ----------
    source : Source
        The picture.
    """
    return source.folder or source.frame.path


def keep(book: Book, source: Source, name: str, line: Line, ruled: Ruled) -> KeptLine:
    """Write a measured line into the field book.

    Parameters
    ----------
    book : Book
        Open book.
    source : Source
        The picture.
    name : str
        What it measures; may be empty.
    line : Line
        As it was drawn.
    ruled : Ruled
        What came of it.

    Returns
    -------
    KeptLine
        With its number.

    Raises
    ------
    UsageError
        When the name is none.
    """
    said: dict[str, Any] = {"line": asdict(line), **asdict(ruled)}
    row = keep_line(book, subject_of(source), name, said)
    return KeptLine(row.id, row.name, line, ruled.measured, ruled.scale, row.done)


def kept(book: Book, source: Source) -> tuple[KeptLine, ...]:
    """List the measured lines of a picture that stand, oldest first.

    Parameters
    ----------
    book : Book
        Open book.
    source : Source
        The picture.

    Returns
    -------
    tuple of KeptLine
        Without those that another version of haltere wrote in another way.
    """
    found = []
    for row in lines_of(book, subject_of(source)):
        try:
            found.append(_read(row))
        except msgspec.ValidationError:
            continue
    return tuple(found)


def _read(row: MeasuredLine) -> KeptLine:
    line = msgspec.convert(row.said.get("line"), Line)
    measured = msgspec.convert(row.said.get("measured"), Measured)
    scale = msgspec.convert(row.said.get("scale"), Scale)
    return KeptLine(row.id, row.name, line, measured, scale, row.done)
