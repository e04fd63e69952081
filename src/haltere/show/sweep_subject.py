"""The animal as the reference frame shows it, hatched where nothing is sharp."""

from __future__ import annotations

from haltere.show import words
from haltere.show.best_frame import hatched, outline
from haltere.show.colours import Ink
from haltere.show.drawing import Box, Drawing, Mark, Strokes, Text, hatching, text_width
from haltere.show.ladder_time import gap_size
from haltere.sweeps.coverage import Cells, Gap

Ends = tuple[float, float, float, float]

FINEST = 7.0
"""Smallest square that is still seen as hatched, units; finer places are joined."""


def subject(gaps: tuple[Gap, ...], size_px: tuple[int, int], width: float) -> Drawing:
    """Draw the gaps over the reference frame, each with its number.

    Parameters
    ----------
    gaps : tuple of Gap
        From near to far.
    size_px : tuple of int
        Width and height of the reference frame at full size.
    width : float
        Width in units that the frame is seen at.
    """
    scale = width / size_px[0]
    height = size_px[1] * scale
    marks: list[Mark] = []
    for gap in gaps:
        if gap.cells is not None and gap.cells.runs:
            marks += _places(gap.cells, scale, width, height)
        else:
            marks += _boxed(gap.box_px, scale)
    taken: list[tuple[float, float]] = []
    for number, gap in enumerate(gaps, 1):
        marks += _number(number, gap, scale, width, height, taken)
    said = "; ".join(f"{n}: {words.gap(gap)}" for n, gap in enumerate(gaps, 1))
    alt = f"The reference frame, hatched where nothing is sharp. {said}" if gaps else ""
    return Drawing(width, height, tuple(marks), alt or "The reference frame; no gap.")


def _places(cells: Cells, scale: float, width: float, height: float) -> list[Mark]:
    """Hatch the places themselves; single ones grow to what the eye can see."""
    fine = cells.size_px * scale
    step = max(FINEST, fine)
    grid = [[False] * (int(width / step) + 1) for _ in range(int(height / step) + 1)]
    for row, start, end in cells.runs:
        for column in range(start, end):
            y, x = int((row + 0.5) * fine / step), int((column + 0.5) * fine / step)
            if y < len(grid) and x < len(grid[0]):
                grid[y][x] = True
    marks: list[Mark] = []
    for strokes, wide in ((hatched(grid, step), 1.2), (outline(grid, step), 1.8)):
        inside = tuple(_within(ends, width, height) for ends in strokes)
        # dark under light, so that it shows on anything
        inks: tuple[tuple[Ink, float], ...] = (("paper", 1.6), ("warn", 0.0))
        marks += [Strokes(inside, ink, wide + more) for ink, more in inks if inside]
    return marks


def _within(ends: Ends, width: float, height: float) -> Ends:
    x0, y0, x1, y1 = ends
    return min(x0, width), min(y0, height), min(x1, width), min(y1, height)


def _boxed(box_px: Ends, scale: float) -> list[Mark]:
    x0, y0, x1, y1 = (at * scale for at in box_px)
    return [
        *hatching(x0, y0, x1, y1, "warn", step=9.0),
        Box(x0, y0, x1, y1, outline="paper", width=3.4),
        Box(x0, y0, x1, y1, outline="warn", width=1.8),
    ]


def _number(
    number: int, gap: Gap, scale: float, width: float, height: float,
    taken: list[tuple[float, float]],
) -> list[Mark]:  # fmt: skip
    label = f"{number}: {gap_size(gap).split(', ')[0]}"
    wide = text_width(label, 13) + 8
    x = min(max(gap.box_px[0] * scale, 2.0), width - wide - 2)
    y = min(max(gap.box_px[1] * scale - 24, 2.0), height - 22)
    while any(abs(y - other) < 22 and abs(x - at) < wide for at, other in taken):
        y += 23
    taken.append((x, y))
    return [
        Box(x, y, x + wide, y + 20, fill="paper", outline="warn", width=1.0),
        Text(x + wide / 2, y + 14.5, label, 13, "warn", "middle", bold=True),
    ]
