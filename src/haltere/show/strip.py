"""The time strip: the runs of an outing in order, with the waits between them."""

from __future__ import annotations

from haltere.show import words
from haltere.show.colours import Ink
from haltere.show.drawing import Drawing, Line, Mark, Shape, Text
from haltere.show.outing import Outing, WorkedRun

CELL = 92.0
ROW = 104.0
WAIT_S = 90.0
"""Waits longer than this are written between two runs."""


def strip(outing: Outing, width: float, *, links: bool = True) -> Drawing:
    """Draw the strip, as many rows as it takes.

    Parameters
    ----------
    outing : Outing
        The outing.
    width : float
        Width in units.
    links : bool
        Whether a run's name leads to its part of the page.
    """
    per_row = max(1, int(width // CELL))
    rows = max(1, -(-len(outing.runs) // per_row))
    per_row = -(-len(outing.runs) // rows) or 1
    cell = min(width / per_row, 150.0)
    marks: list[Mark] = []
    for number, worked in enumerate(outing.runs):
        row, column = divmod(number, per_row)
        x, y = column * cell, row * ROW
        last_in_row = column == per_row - 1 or number == len(outing.runs) - 1
        marks.append(Line(x, y + 52, x + cell - (10 if last_in_row else 0), y + 52, "line", 1.2))
        marks += _glyph(worked, outing, x, y + 52, cell)
        title = worked.run.id.replace("run-", "")
        href = f"#{worked.run.id}" if links else None
        marks.append(Text(x, y + 14, title, 15, "ink", bold=True, href=href))
        time = words.clock(outing.frames.get(worked.run.frames[0]))
        marks.append(Text(x + 24, y + 14, time, 12, "soft"))
        marks.append(Text(x, y + 78, worked.run.kind, 12, "soft"))
        marks.append(Text(x, y + 93, *_outcome(worked)))
        wait = _wait_s(outing, number)
        if wait is not None and wait > WAIT_S and not last_in_row:
            marks.append(Text(x + cell - 8, y + 46, f"+{words.lasting(wait)}", 11, "soft", "end"))
    alt = "Runs in order of time: " + "; ".join(
        f"{w.run.id} {words.run_title(w.run, outing)}, {words.outcome(w)}" for w in outing.runs
    )
    return Drawing(width, rows * ROW, tuple(marks), alt + ".")


def _outcome(worked: WorkedRun) -> tuple[str, float, Ink]:
    said = words.outcome(worked)
    if worked.failed is not None and worked.keepers is None and worked.gaps is None:
        said = "failed"
    good = (worked.keepers is not None and worked.keepers.verdict.code == "keeper") or (
        worked.gaps is not None and worked.gaps.complete is True
    )
    return said, 12, "accent" if good else "warn"


def _glyph(worked: WorkedRun, outing: Outing, x: float, y: float, cell: float) -> list[Mark]:
    """Draw a burst as a tuft of strokes, a sweep slanted the way it went, a single as a dot."""
    run = worked.run
    if run.kind == "single":
        return [Shape("disc", x + 5, y, 4, "ink")]
    shown = min(len(run.frames), 24)
    wide = min(cell * 0.42, 4 + 2.6 * shown)
    step = wide / max(1, shown - 1)
    marks: list[Mark] = []
    for number in range(shown):
        at = x + 1 + number * step
        if run.kind == "burst":
            marks.append(Line(at, y - 12, at, y + 12, "ink", 1.1))
        else:
            height = -12 + 24 * _depth_along(worked, number / max(1, shown - 1))
            marks.append(Line(at, y + height - 5, at, y + height + 5, "accent", 1.3))
    return marks


def _depth_along(worked: WorkedRun, part: float) -> float:
    """Say how deep the plane was after `part` of a sweep: 0 near, 1 far, from its passes."""
    passes = (
        worked.gaps.passes
        if worked.gaps is not None and worked.gaps.passes
        else (worked.run.passes)
    )
    total = sum(len(one.frames) for one in passes)
    if not total:
        return part
    at = part * total
    for one in passes:
        if at <= len(one.frames):
            along = at / max(1, len(one.frames))
            return 1 - along if one.direction == "toward" else along
        at -= len(one.frames)
    return 1.0


def _wait_s(outing: Outing, number: int) -> float | None:
    if number + 1 >= len(outing.runs):
        return None
    end = words.moment(outing.frames.get(outing.runs[number].run.frames[-1]))
    start = words.moment(outing.frames.get(outing.runs[number + 1].run.frames[0]))
    return None if end is None or start is None else (start - end).total_seconds()
