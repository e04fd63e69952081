"""The ladder of a sweep over time: every frame's plane in its turn, near at the top."""

from __future__ import annotations

import math
from dataclasses import dataclass

from haltere.show import words
from haltere.show.colours import Ink
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
from haltere.sweeps.coverage import Coverage, EyePlace, Gap, Plane

SIGNS: tuple[tuple[ShapeKind, Ink], ...] = (
    ("disc", "pass1"),
    ("diamond", "pass2"),
    ("square", "pass3"),
    ("up", "pass4"),
)
"""Shape and colour of each pass, in turn; shape alone is enough to tell them apart."""

AXIS, HEAD, FOOT, PAD = 56.0, 46.0, 40.0, 8.0
PER_DOF = 20.0
LOWEST, HIGHEST = 260.0, 560.0
"""Height of one depth of field, and the limits of the whole ladder: legible, yet on one screen."""


@dataclass(frozen=True, slots=True)
class _Field:
    """Where a frame's turn and a depth fall on the drawing."""

    left: float
    right: float
    height: float
    nearest: float
    farthest: float
    pitch: float
    unit: float

    def y(self, dof: float) -> float:
        return HEAD + (dof - self.nearest) / (self.farthest - self.nearest) * self.height


def sign_of_pass(number: int) -> tuple[ShapeKind, Ink]:
    """Give shape and colour of a pass.

    Parameters
    ----------
    number : int
        Its number, from 0.
    """
    return SIGNS[number % len(SIGNS)]


def time_ladder(coverage: Coverage, width: float) -> Drawing:
    """Draw the planes of one sweep in the order of time along depth.

    Parameters
    ----------
    coverage : Coverage
        The sweep as solved.
    width : float
        Width in units, 300 and more.
    """
    groups = _groups(coverage)
    field = _field(coverage, width, groups)
    marks: list[Mark] = _axis(field, coverage.depth_of_field_mm is not None)
    for gap in coverage.gaps:
        marks += _hatched(gap, field)
    if coverage.eye is not None:
        marks += _eye(coverage.eye, field)
    chosen = set(coverage.choice.frames) if coverage.choice is not None else None
    x = field.left + PAD
    lost: list[float] = []
    for number, (title, planes) in enumerate(groups):
        if number:
            marks.append(Line(x, HEAD - 6, x, HEAD + field.height, "line", 1.0, dashed=True))
            x += field.pitch
        sign = sign_of_pass(number)
        marks += _title(sign, title, len(planes), x, len(planes) * field.pitch)
        for plane in planes:
            middle = x + field.pitch / 2
            if plane.position_dof is None:
                lost.append(middle)
            else:
                needed = chosen is None or plane.frame in chosen
                marks += _plane(plane, plane.position_dof, sign, middle, field, needed)
            if plane.frame == coverage.reference and plane.position_dof is not None:
                marks.append(_reference(plane.position_dof, middle, field))
            x += field.pitch
    drawn = [m for m in marks if isinstance(m, Box | Shape) and _stands_in_way(m)]
    if coverage.eye is not None:
        named = _eye_named(coverage.eye, field, drawn)
        marks += named
        drawn += [m for m in named if isinstance(m, Box)]
    for number, gap in enumerate(coverage.gaps, 1):
        marks += _said(number, gap, field, drawn)
    bottom = HEAD + field.height
    marks.append(Line(field.left, bottom, field.right, bottom, "line", 0.8))
    for at in lost:
        marks.append(Shape("cross", at, bottom + 9, min(3.5, field.pitch / 2), "warn"))
    if lost:
        marks.append(Text(field.left - 9, bottom + 13, "no place", 11, "soft", "end"))
    marks.append(Text(field.left, bottom + 32, "first frame", 12, "soft"))
    marks.append(Text(field.right, bottom + 32, "last frame", 12, "soft", "end"))
    return Drawing(width, bottom + FOOT, tuple(marks), _alt(coverage))


def _groups(coverage: Coverage) -> list[tuple[str, list[Plane]]]:
    planes = {plane.frame: plane for plane in coverage.planes}
    ways = {"away": "away", "toward": "toward you", "unknown": ""}
    groups = [
        (ways[one.direction], [planes[name] for name in one.frames if name in planes])
        for one in coverage.passes
    ]
    taken = {name for one in coverage.passes for name in one.frames}
    rest = [plane for plane in coverage.planes if plane.frame not in taken]
    if rest:
        groups.append(("", rest))
    return groups


def _field(coverage: Coverage, width: float, groups: list[tuple[str, list[Plane]]]) -> _Field:
    at = [p.position_dof for p in coverage.planes if p.position_dof is not None]
    ends = [value for gap in coverage.gaps for value in (gap.from_dof, gap.to_dof)]
    nearest = min([p - 0.5 for p in at] + ends, default=-0.5)
    farthest = max([p + 0.5 for p in at] + ends, default=0.5)
    pad = 0.02 * (farthest - nearest)
    span = farthest - nearest + 2 * pad
    height = min(HIGHEST, max(LOWEST, span * PER_DOF))
    left, right = AXIS, width - 4
    turns = sum(len(planes) for _, planes in groups) + max(0, len(groups) - 1)
    pitch = min(26.0, (right - left - 2 * PAD) / max(1, turns))
    unit = coverage.depth_of_field_mm or 1.0
    return _Field(left, right, height, nearest - pad, farthest + pad, pitch, unit)


def _axis(field: _Field, in_mm: bool) -> list[Mark]:
    low, high = field.nearest * field.unit, field.farthest * field.unit
    step = nice_step((high - low) / max(3, field.height / 56))
    digits = max(0, -math.floor(math.log10(step) + 1e-9))
    marks: list[Mark] = [
        Line(field.left, HEAD, field.left, HEAD + field.height, "ink", 1.2),
        Text(field.left - 9, HEAD - 26, "mm" if in_mm else "depths", 11, "soft", "end"),
    ]
    if not in_mm:
        marks.append(Text(field.left - 9, HEAD - 13, "of field", 11, "soft", "end"))
    else:
        marks.append(Text(field.left - 9, HEAD - 13, "deep", 11, "soft", "end"))
    value = math.ceil(low / step) * step
    while value <= high:
        y = field.y(value / field.unit)
        written = f"{value:.{digits}f}".replace("-", "\u2212")
        if float(f"{value:.{digits}f}") == 0:
            written = "0"
        marks.append(Line(field.left - 5, y, field.left, y, "ink"))
        marks.append(Line(field.left, y, field.right, y, "line", 0.6))
        marks.append(Text(field.left - 9, y + 4, written, 12, "soft", "end"))
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


def _title(sign: tuple[ShapeKind, Ink], way: str, count: int, x: float, room: float) -> list[Mark]:
    kind, ink = sign
    marks: list[Mark] = [Shape(kind, x + 6, 14, 5.5, ink)]
    said = words.counted(count, "frame")
    if room > text_width(way, 13) + 18:
        marks.append(Text(x + 17, 18, way, 13, "ink", bold=True))
    elif room > 60:
        marks.append(Text(x + 17, 18, way.partition(" ")[0], 12, "ink", bold=True))
    short = said if room > text_width(said, 11) else str(count)
    marks.append(Text(x, 34, short, 11, "soft"))
    return marks


def _plane(
    plane: Plane, at: float, sign: tuple[ShapeKind, Ink], x: float, field: _Field, needed: bool
) -> list[Mark]:
    """One frame: its depth of field as a bar, its plane as the sign of its pass."""
    half = max(1.2, 0.36 * field.pitch)
    top, bottom, y = field.y(at - 0.5), field.y(at + 0.5), field.y(at)
    kind, ink = sign
    size = min(5.0, max(2.2, 0.42 * field.pitch))
    if not plane.usable:
        return [
            Box(x - half, top, x + half, bottom, outline="warn", width=1.0, dashed=True),
            Shape("cross", x, y, size, "warn"),
        ]
    if needed:
        bar = Box(x - half, top, x + half, bottom, fill="wash", outline=ink, width=0.8)
        return [bar, Shape(kind, x, y, size, ink)]
    stem = Line(x, top, x, bottom, ink, 1.0)
    return [stem, Shape(kind, x, y, 0.75 * size, ink)]


def _reference(at: float, x: float, field: _Field) -> Mark:
    y = min(field.y(at + 0.5), HEAD + field.height)
    return Text(x, y + 13, "0", 12, "ink", "middle", bold=True)


def _hatched(gap: Gap, field: _Field) -> list[Mark]:
    top, bottom = field.y(gap.from_dof), field.y(gap.to_dof)
    box = Box(field.left, top, field.right, bottom, fill="warnwash", outline="warn", width=1.2)
    return [box, *hatching(field.left, top, field.right, bottom, "warn", step=9.0)]


def _eye(eye: EyePlace, field: _Field) -> list[Mark]:
    """Draw the eye's depth as a line through the whole ladder."""
    if not field.nearest <= eye.depth_dof <= field.farthest:
        return []
    y = field.y(eye.depth_dof)
    return [Line(field.left, y, field.right, y, "accent", 1.2, dashed=True)]


def _eye_named(eye: EyePlace, field: _Field, drawn: list[Box | Shape]) -> list[Mark]:
    """Name the line of the eye's depth over the planes, where the fewest are covered."""
    if not field.nearest <= eye.depth_dof <= field.farthest:
        return []
    y, wide = field.y(eye.depth_dof), text_width("eye", 12) + 8
    first, last = field.left + 2, field.right - wide - 2
    spots = [first + k * (last - first) / 24 for k in range(25)]

    def covered(x: float) -> int:
        return sum(_meets(mark, x, y - 16, x + wide, y - 1) for mark in drawn)

    x0 = min(spots, key=lambda x: (covered(x), x))
    return [
        Box(x0, y - 16, x0 + wide, y - 1, fill="paper"),
        Text(x0 + 4, y - 4, "eye", 12, "accent", bold=True),
    ]


def gap_size(gap: Gap) -> str:
    """Say how wide a gap is: '0.42 mm, 2.3 depths of field'.

    Parameters
    ----------
    gap : Gap
        The gap.
    """
    dof = f"{gap.to_dof - gap.from_dof:.1f} depths of field"
    if gap.from_mm is None or gap.to_mm is None:
        return dof
    return f"{gap.to_mm - gap.from_mm:.2f} mm, {dof}"


def _stands_in_way(mark: Box | Shape) -> bool:
    return isinstance(mark, Shape) or mark.fill == "wash" or mark.dashed


def _said(number: int, gap: Gap, field: _Field, drawn: list[Box | Shape]) -> list[Mark]:
    """Write a gap's number and size where the fewest planes are covered."""
    middle = (field.y(gap.from_dof) + field.y(gap.to_dof)) / 2
    label = f"{number}: {gap_size(gap)}"
    size = 12.0
    wide = text_width(label, size) + 8
    if wide > 0.6 * (field.right - field.left):
        label = label.partition(", ")[0].replace("depths of field", "d.o.f.")
        wide = text_width(label, size) + 8

    def covered(x: float) -> int:
        return sum(_meets(mark, x, middle - 10, x + wide, middle + 10) for mark in drawn)

    last = field.right - wide - 4
    first = field.left + 4
    spots = [last - k * (last - first) / 24 for k in range(25)]
    x0 = min(spots, key=lambda x: (covered(x), last - x))
    return [
        Box(x0, middle - 10, x0 + wide, middle + 10, fill="paper", outline="warn", width=0.8),
        Text(x0 + wide / 2, middle + 4, label, size, "warn", "middle", bold=True),
    ]


def _meets(mark: Box | Shape, x0: float, y0: float, x1: float, y1: float) -> bool:
    if isinstance(mark, Shape):
        r = mark.radius
        a0, b0, a1, b1 = mark.x - r, mark.y - r, mark.x + r, mark.y + r
    else:
        a0, b0, a1, b1 = mark.x0, mark.y0, mark.x1, mark.y1
    return a0 < x1 and a1 > x0 and b0 < y1 and b1 > y0


def _alt(coverage: Coverage) -> str:
    placed = sum(p.position_dof is not None for p in coverage.planes)
    said = f"Ladder over time: {words.counted(placed, 'plane')}"
    said += f" in {words.counted(len(coverage.passes), 'pass', 'passes')}; "
    holes = [words.gap(gap) for gap in coverage.gaps]
    said += words.listed(holes) if holes else "no gap"
    return f"{said}; the eye's depth is a dashed line." if coverage.eye is not None else f"{said}."
