"""Marks over the best frame: the eye, the proposed crop, and where the plane of focus cuts it."""

from __future__ import annotations

from itertools import pairwise
from statistics import median

from haltere.keepers.verdict import Crop, Eye, FocusMap, JudgedFrame
from haltere.show.colours import Ink
from haltere.show.drawing import Box, Drawing, Loop, Mark, Shape, ShapeKind, Strokes

SHARP_DOF = 0.5
"""Half a depth of field to each side counts as sharp, as on the rail."""

CELL = 8.0
"""Units a hatched cell should measure on a look: smaller ones drown the picture."""

BLOCK = 3
"""Cells a side that share one arrow."""

Rows = list[list[float | None]]
Ends = tuple[float, float, float, float]

# every mark is drawn twice, ground under ink: so it shows on light and on dark fur, without colour
_TWICE: tuple[tuple[Ink, float], ...] = (("paper", 1.7), ("ink", 0.0))


def framed(
    frame: JudgedFrame,
    eye: Eye | None,
    size_px: tuple[int, int],
    width: float,
    eye_radius_px: float | None = None,
) -> Drawing:
    """Draw the eye and the proposed crop, to be laid over a frame.

    Parameters
    ----------
    frame : JudgedFrame
        The frame.
    eye : Eye or None
        The eye judged at: a proposed one is ringed in dashes, a given one in full.
    size_px : tuple of int
        Width and height of the frame, full-size pixels.
    width : float
        Width in units.
    eye_radius_px : float or None, optional
        Radius of the eye.
    """
    scale = width / max(1, size_px[0])
    marks: list[Mark] = []
    if frame.crop is not None:
        x0, y0, x1, y1 = (edge * scale for edge in frame.crop.box_px)
        for ink, more in _TWICE:
            marks.append(Box(x0, y0, x1, y1, outline=ink, width=1.6 + 1.5 * more))
    proposed = eye is not None and eye.source == "proposed"
    radius = max(9.0, scale * (eye_radius_px or 0.0))
    for number, at in enumerate((frame.eye_px, frame.other_eye_px)):
        if at is None:
            continue
        x, y = (at[0] + 0.5) * scale, (at[1] + 0.5) * scale
        ring = radius if number == 0 else max(5.0, 0.6 * radius)
        marks.append(Loop(x, y, ring, "paper", 4.2 if number == 0 else 3.2))
        marks.append(Loop(x, y, ring, "ink", 1.8 if number == 0 else 1.2, proposed))
    return Drawing(width, size_px[1] * scale, tuple(marks), framed_words(frame, eye))


def framed_words(frame: JudgedFrame, eye: Eye | None) -> str:
    """Say what is marked on a frame.

    Parameters
    ----------
    frame : JudgedFrame
        The frame.
    eye : Eye or None
        The eye judged at.
    """
    parts = []
    if frame.eye_px is not None:
        given = eye is not None and eye.source == "given"
        parts.append("the eye you gave ringed" if given else "the proposed eye ringed in dashes")
    if frame.other_eye_px is not None:
        parts.append("a small ring about its other eye")
    if frame.crop is not None:
        parts.append("the box is a crop")
    return ", ".join([f"All of {frame.frame}", *parts])


def crop_words(crop: Crop) -> str:
    """Say what the proposed crop carries, as a sentence.

    Parameters
    ----------
    crop : Crop
        The crop.
    """
    return f"The crop {crop.text}."


def cut_by_plane(found: FocusMap, size_px: tuple[int, int], width: float) -> Drawing:
    """Draw where the plane of focus cuts what a frame shows, to be laid over it.

    Hatched and outlined is what is sharp; arrows point to where the plane lies against the rest,
    as on the rail: left in front of it, right behind it.

    Parameters
    ----------
    found : FocusMap
        The map.
    size_px : tuple of int
        Width and height of the frame, full-size pixels.
    width : float
        Width in units.
    """
    scale = width / max(1, size_px[0])
    factor = max(1, round(CELL / max(found.cell_px * scale, 1e-6)))
    rows = coarser(found.offset_dof, factor)
    cell = found.cell_px * scale * factor
    height = size_px[1] * scale
    sharp = [[at is not None and abs(at) <= SHARP_DOF for at in row] for row in rows]
    hatch, edges = hatched(sharp, cell), outline(sharp, cell)
    marks: list[Mark] = []
    for strokes, wide in ((hatch, 0.8), (edges, 1.6)):
        for ink, more in _TWICE:
            if strokes:
                inside = tuple(_inside(ends, width, height) for ends in strokes)
                marks.append(Strokes(inside, ink, wide + more))
    marks += _arrows(rows, cell, width, height)
    known = [at for row in rows for at in row if at is not None]
    share = sum(abs(at) <= SHARP_DOF for at in known) / len(known) if known else 0.0
    alt = (
        f"Where the plane of focus cuts {found.frame}: {100 * share:.0f} % of what shows "
        "detail is sharp."
        if known
        else f"Nothing in {found.frame} tells where the plane of focus cuts it."
    )
    return Drawing(width, height, tuple(marks), alt)


def coarser(rows: tuple[tuple[float | None, ...], ...], factor: int) -> Rows:
    """Join cells into larger ones: the middle of what is known, where a quarter is known.

    Parameters
    ----------
    rows : tuple of tuples of float or None
        The cells, row by row.
    factor : int
        Cells a side that become one.
    """
    joined: Rows = []
    for top in range(0, len(rows), factor):
        band = rows[top : top + factor]
        wide = max((len(row) for row in band), default=0)
        line: list[float | None] = []
        for left in range(0, wide, factor):
            all_ = [at for row in band for at in row[left : left + factor]]
            known = [at for at in all_ if at is not None]
            line.append(median(known) if 4 * len(known) >= len(all_) and known else None)
        joined.append(line)
    return joined


def hatched(sharp: list[list[bool]], cell: float) -> list[Ends]:
    """Slanted strokes through every sharp cell; those that touch are joined into one.

    Parameters
    ----------
    sharp : list of list of bool
        Rows of cells.
    cell : float
        Side of a cell on the drawing.
    """
    strokes: list[Ends] = []
    height = len(sharp)
    wide = max((len(row) for row in sharp), default=0)

    def is_sharp(x: int, y: int) -> bool:
        return 0 <= y < height and 0 <= x < len(sharp[y]) and sharp[y][x]

    for diagonal in range(height + wide - 1):
        run = 0
        for x in range(max(0, diagonal - height + 1), min(wide, diagonal + 1) + 1):
            y = diagonal - x
            if is_sharp(x, y):
                run += 1
            elif run:
                start = x - run
                strokes.append(
                    (start * cell, (diagonal - start + 1) * cell, x * cell, (y + 1) * cell)
                )
                run = 0
    return strokes


def outline(sharp: list[list[bool]], cell: float) -> list[Ends]:
    """Edges between sharp cells and others; those in a row are joined into one.

    Parameters
    ----------
    sharp : list of list of bool
        Rows of cells.
    cell : float
        Side of a cell on the drawing.
    """
    height = len(sharp)
    wide = max((len(row) for row in sharp), default=0)
    grid = [[*row, *[False] * (wide - len(row))] for row in sharp]
    empty = [False] * wide
    strokes: list[Ends] = []
    for y, (above, below) in enumerate(pairwise([empty, *grid, empty])):
        for start, end in _runs([a != b for a, b in zip(above, below, strict=True)]):
            strokes.append((start * cell, y * cell, end * cell, y * cell))
    columns = [[row[x] for row in grid] for x in range(wide)]
    for x, (left, right) in enumerate(pairwise([[False] * height, *columns, [False] * height])):
        for start, end in _runs([a != b for a, b in zip(left, right, strict=True)]):
            strokes.append((x * cell, start * cell, x * cell, end * cell))
    return strokes


def _runs(flags: list[bool]) -> list[tuple[int, int]]:
    """Give first place and place behind the last of each stretch that holds."""
    found: list[tuple[int, int]] = []
    start: int | None = None
    for at, flag in enumerate([*flags, False]):
        if flag and start is None:
            start = at
        elif not flag and start is not None:
            found.append((start, at))
            start = None
    return found


def _arrows(rows: Rows, cell: float, width: float, height: float) -> list[Mark]:
    marks: list[Mark] = []
    blocks = coarser(tuple(tuple(row) for row in rows), BLOCK)
    for number, row in enumerate(blocks):
        for place, at in enumerate(row):
            x, y = (place + 0.5) * BLOCK * cell, (number + 0.5) * BLOCK * cell
            if at is None or abs(at) <= SHARP_DOF or x > width - 4 or y > height - 4:
                continue
            kind: ShapeKind = "right" if at > 0 else "left"
            # farther from the plane, smaller: the eye is led to where it is nearly sharp
            radius = 3.6 if abs(at) < 2 else 2.8 if abs(at) < 5 else 2.0
            marks.append(Shape(kind, x, y, radius + 1.4, "paper"))
            marks.append(Shape(kind, x, y, radius, "ink"))
    return marks


def _inside(ends: Ends, width: float, height: float) -> Ends:
    """Shorten a stroke that the last, broken cell lets stick out."""
    x0, y0, x1, y1 = ends
    if x0 != x1 and y0 != y1:  # a hatch line rises to the right
        cut = max(0.0, y0 - height)
        x0, y0 = x0 + cut, y0 - cut
        cut = max(0.0, x1 - width)
        x1, y1 = x1 - cut, y1 + cut
    return min(x0, width), min(y0, height), min(x1, width), min(y1, height)
