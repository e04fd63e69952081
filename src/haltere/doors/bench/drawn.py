"""Drawings of sheet and pages as the bench's page draws them: marks in one flat shape."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from haltere.show.drawing import Box, Drawing, Line, Loop, Mark, Shape, Strokes, Text
from haltere.show.svg import corners


@dataclass(frozen=True, slots=True)
class MarkSaid:
    """One mark; what a kind does not need stays as it is here.

    Attributes
    ----------
    kind : {"path", "box", "disc", "text"}
        A path of straight strokes, an upright rectangle, a circle, words.
    d : str
        Of a path.
    x, y, wide, high : float
        Upper left corner and size; middle and (twice) radius; start, middle or end of a baseline
        and size of the letters.
    words : str
        Of a text.
    anchor : str
        Where (x, y) lies on its words.
    bold, dashed : bool
        How it is drawn.
    fill, stroke : str
        Inks by name; empty for none.
    width : float
        Of the stroke.
    """

    kind: Literal["path", "box", "disc", "text"]
    d: str = ""
    x: float = 0.0
    y: float = 0.0
    wide: float = 0.0
    high: float = 0.0
    words: str = ""
    anchor: Literal["start", "middle", "end"] = "start"
    bold: bool = False
    dashed: bool = False
    fill: str = ""
    stroke: str = ""
    width: float = 0.0


@dataclass(frozen=True, slots=True)
class DrawingSaid:
    """Marks on a field of `width` x `height`, and in words what they show."""

    width: float
    height: float
    marks: tuple[MarkSaid, ...]
    alt: str


def drawn(drawing: Drawing) -> DrawingSaid:
    """Flatten a drawing.

    Parameters
    ----------
    drawing : Drawing
        From the room that draws.
    """
    marks = tuple(_mark(one) for one in drawing.marks)
    return DrawingSaid(_r(drawing.width), _r(drawing.height), marks, drawing.alt)


def _mark(mark: Mark) -> MarkSaid:
    if isinstance(mark, Line):
        path = f"M{_r(mark.x0)} {_r(mark.y0)}L{_r(mark.x1)} {_r(mark.y1)}"
        return MarkSaid("path", path, stroke=mark.ink, width=mark.width, dashed=mark.dashed)
    if isinstance(mark, Strokes):
        path = "".join(f"M{_r(x0)} {_r(y0)}L{_r(x1)} {_r(y1)}" for x0, y0, x1, y1 in mark.ends)
        return MarkSaid("path", path, stroke=mark.ink, width=mark.width)
    if isinstance(mark, Box):
        return MarkSaid(
            "box", x=_r(mark.x0), y=_r(mark.y0), wide=_r(mark.x1 - mark.x0),
            high=_r(mark.y1 - mark.y0), fill=mark.fill or "", stroke=mark.outline or "",
            width=mark.width, dashed=mark.dashed,
        )  # fmt: skip
    if isinstance(mark, Loop):
        return MarkSaid(
            "disc", x=_r(mark.x), y=_r(mark.y), wide=_r(2 * mark.radius), stroke=mark.ink,
            width=mark.width, dashed=mark.dashed,
        )  # fmt: skip
    if isinstance(mark, Text):
        return MarkSaid(
            "text", x=_r(mark.x), y=_r(mark.y), high=mark.size, words=mark.words,
            anchor=mark.anchor, bold=mark.bold, fill=mark.ink,
        )  # fmt: skip
    return _sign(mark)


def _sign(mark: Shape) -> MarkSaid:
    if mark.kind in ("disc", "ring"):
        ring = mark.kind == "ring"
        return MarkSaid(
            "disc", x=_r(mark.x), y=_r(mark.y), wide=_r(2 * mark.radius),
            fill="paper" if ring else mark.ink, stroke=mark.ink if ring else "",
            width=1.5 if ring else 0.0,
        )  # fmt: skip
    if mark.kind == "cross":
        x, y, r = mark.x, mark.y, mark.radius
        path = f"M{_r(x - r)} {_r(y - r)}L{_r(x + r)} {_r(y + r)}"
        path += f"M{_r(x + r)} {_r(y - r)}L{_r(x - r)} {_r(y + r)}"
        return MarkSaid("path", path, stroke=mark.ink, width=2.0)
    path = "M" + "L".join(f"{_r(x)} {_r(y)}" for x, y in corners(mark)) + "Z"
    return MarkSaid("path", path, fill=mark.ink)


def _r(value: float) -> float:
    return round(value, 1)
