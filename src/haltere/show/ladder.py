"""The depth ladder of a sweep: planes as rungs, gaps hatched, near at the top."""

from __future__ import annotations

import math
from dataclasses import dataclass

from haltere.show import words
from haltere.show.drawing import (
    Box,
    Drawing,
    Line,
    Mark,
    Shape,
    ShapeKind,
    Text,
    hatching,
    text_width,
)
from haltere.sweeps.coverage import Coverage, Gap, Plane

UNITS_PER_DOF = 17.0
LOWEST, HIGHEST = 240.0, 620.0
"""Height of one depth of field, and the limits of the whole ladder: legible, yet on one screen."""

AXIS = 52.0
HEAD = 52.0


@dataclass(frozen=True, slots=True)
class _Scale:
    """Depth in depths of field to units down the ladder, and the mm of one depth of field."""

    nearest: float
    farthest: float
    height: float
    mm: float | None

    def y(self, dof: float) -> float:
        return HEAD + (dof - self.nearest) / (self.farthest - self.nearest) * self.height


def ladder(coverage: Coverage, width: float) -> Drawing:
    """Draw the ladder of one sweep.

    Parameters
    ----------
    coverage : Coverage
        The sweep as solved.
    width : float
        Width in units, 300 and more.
    """
    scale = _scale(coverage)
    left, right = AXIS, width - 6
    marks: list[Mark] = _axis(scale, left, right)
    columns = _columns(coverage)
    room = (right - left) / max(1, len(columns))
    planes = {plane.frame: plane for plane in coverage.planes}
    for number, (sign, title, names) in enumerate(columns):
        x0, x1 = left + number * room + 5, left + (number + 1) * room - 5
        marks += _head(sign, title, len(names), x0, x1)
        shown = [planes[name] for name in names if name in planes]
        marks += _rungs(shown, coverage, scale, x0, x1)
    for gap in coverage.gaps:
        marks += _gap(gap, scale, left, right)
    bottom = HEAD + scale.height
    marks.append(Shape("down", left + 9, bottom + 13, 4.5, "soft"))
    marks.append(Text(left + 20, bottom + 17, "away from the camera", 12, "soft"))
    return Drawing(width, bottom + 24, tuple(marks), _alt(coverage, scale))


def _scale(coverage: Coverage) -> _Scale:
    at = [p.position_dof for p in coverage.planes if p.position_dof is not None]
    ends = [value for gap in coverage.gaps for value in (gap.from_dof, gap.to_dof)]
    nearest = min([p - 0.5 for p in at] + ends, default=-0.5)
    farthest = max([p + 0.5 for p in at] + ends, default=0.5)
    pad = 0.03 * (farthest - nearest)
    span = farthest - nearest + 2 * pad
    height = min(HIGHEST, max(LOWEST, span * UNITS_PER_DOF))
    return _Scale(nearest - pad, farthest + pad, height, coverage.depth_of_field_mm)


def _axis(scale: _Scale, left: float, right: float) -> list[Mark]:
    unit = scale.mm or 1.0
    low, high = scale.nearest * unit, scale.farthest * unit
    step = nice_step((high - low) / max(3, scale.height / 56))
    digits = max(0, -math.floor(math.log10(step)))
    marks: list[Mark] = [
        Line(left, HEAD, left, HEAD + scale.height, "ink", 1.2),
        Text(left - 8, HEAD - 8, "mm" if scale.mm else "d.o.f.", 11, "soft", "end"),
    ]
    value = math.ceil(low / step) * step
    while value <= high:
        y = scale.y(value / unit)
        label = f"{value:.{digits}f}".replace("-", "\u2212")
        if float(f"{value:.{digits}f}") == 0:
            label = "0"
        marks.append(Line(left - 5, y, left, y, "ink"))
        marks.append(Line(left, y, right, y, "line", 0.6))
        marks.append(Text(left - 9, y + 4, label, 12, "soft", "end"))
        value += step
    return marks


def nice_step(rough: float) -> float:
    """Choose the step of 1, 2 or 5 times a power of ten next above `rough`.

    Parameters
    ----------
    rough : float
        A step of about the wanted size, above 0.
    """
    if not rough > 0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(rough))
    return next(power * m for m in (1, 2, 5, 10) if power * m >= rough * 0.999)


def _columns(coverage: Coverage) -> list[tuple[ShapeKind, str, tuple[str, ...]]]:
    """One column a pass, and one for planes that belong to none."""
    signs: dict[str, ShapeKind] = {"away": "down", "toward": "up", "unknown": "diamond"}
    columns: list[tuple[ShapeKind, str, tuple[str, ...]]] = [
        (signs[one.direction], f"pass {number}", one.frames)
        for number, one in enumerate(coverage.passes, 1)
    ]
    taken = {name for one in coverage.passes for name in one.frames}
    rest = tuple(plane.frame for plane in coverage.planes if plane.frame not in taken)
    if rest:
        columns.append(("diamond", "no pass" if columns else "planes", rest))
    return columns


def _head(sign: ShapeKind, title: str, count: int, x0: float, x1: float) -> list[Mark]:
    middle = (x0 + x1) / 2
    marks: list[Mark] = [Shape(sign, x0 + 6, 16, 5, "accent")]
    if x1 - x0 > 62:
        marks.append(Text(x0 + 17, 20, title, 13, "ink", bold=True))
        marks.append(Text(x0 + 17, 35, words.counted(count, "frame"), 11, "soft"))
    else:
        marks.append(Text(x0 + 15, 20, title.removeprefix("pass "), 12, "ink", bold=True))
        marks.append(Text(middle, 35, str(count), 11, "soft", "middle"))
    return marks


def _rungs(
    shown: list[Plane], coverage: Coverage, scale: _Scale, x0: float, x1: float
) -> list[Mark]:
    """Bars one depth of field high in two lanes, each with its plane as a line."""
    placed = sorted(
        ((p.position_dof, p) for p in shown if p.position_dof is not None), key=lambda a: a[0]
    )
    half = (x1 - x0) / 2
    bars: list[Mark] = []
    lines: list[Mark] = []
    for number, (at, plane) in enumerate(placed):
        left = x0 + (number % 2) * half
        right = left + half - 2
        top, bottom = scale.y(at - 0.5), scale.y(at + 0.5)
        y = scale.y(at)
        if plane.usable:
            bars.append(Box(left, top, right, bottom, fill="wash"))
            lines.append(Line(left, y, right, y, "accent", 1.6))
        else:
            bars.append(Box(left, top, right, bottom, outline="warn", dashed=True))
            lines.append(Shape("cross", (left + right) / 2, y, 4, "warn"))
        if plane.frame == coverage.reference:
            lines.append(Shape("disc", (left + right) / 2, y, 3.5, "accent"))
    return bars + lines


def _gap(gap: Gap, scale: _Scale, left: float, right: float) -> list[Mark]:
    top, bottom = scale.y(gap.from_dof), scale.y(gap.to_dof)
    marks: list[Mark] = [Box(left, top, right, bottom, fill="warnwash", outline="warn", width=1.2)]
    marks += hatching(left, top, right, bottom, "warn")
    label = words.gap(gap).split(", at the")[0]
    wide = text_width(label, 12) + 10
    middle = (top + bottom) / 2
    if bottom - top < 20:  # too thin to write in: the label stands just below the hatching
        middle = bottom + 12
    x0 = (left + right) / 2 - wide / 2
    marks.append(Box(x0, middle - 9, x0 + wide, middle + 9, fill="paper"))
    marks.append(Text((left + right) / 2, middle + 4, label, 12, "warn", "middle", bold=True))
    return marks


def _alt(coverage: Coverage, scale: _Scale) -> str:
    placed = sum(p.position_dof is not None for p in coverage.planes)
    unit = scale.mm or 1.0
    name = "mm" if scale.mm else "depths of field"
    span = f"{scale.nearest * unit:.1f} to {scale.farthest * unit:.1f} {name}"
    said = f"Depth ladder: {words.counted(placed, 'plane')} from {span}"
    said += f" in {words.counted(len(coverage.passes), 'pass', 'passes')}; "
    holes = [words.gap(gap) for gap in coverage.gaps]
    return said + (words.listed(holes) if holes else "no gap") + "."
