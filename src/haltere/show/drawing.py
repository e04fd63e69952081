"""A drawing as a list of plain marks, so that page and picture show the same."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from haltere.show.colours import Ink

Anchor = Literal["start", "middle", "end"]
ShapeKind = Literal["disc", "ring", "cross", "down", "up", "diamond", "square", "left", "right"]


@dataclass(frozen=True, slots=True)
class Line:
    """A straight stroke, in drawing units."""

    x0: float
    y0: float
    x1: float
    y1: float
    ink: Ink
    width: float = 1.0
    dashed: bool = False


@dataclass(frozen=True, slots=True)
class Box:
    """An upright rectangle, filled, outlined or both."""

    x0: float
    y0: float
    x1: float
    y1: float
    fill: Ink | None = None
    outline: Ink | None = None
    width: float = 1.0
    dashed: bool = False


@dataclass(frozen=True, slots=True)
class Shape:
    """A small sign around (x, y) within `radius`; shapes carry meaning, colour only helps."""

    kind: ShapeKind
    x: float
    y: float
    radius: float
    ink: Ink


@dataclass(frozen=True, slots=True)
class Text:
    """Words; (x, y) is the start, middle or end of their baseline."""

    x: float
    y: float
    words: str
    size: float
    ink: Ink = "ink"
    anchor: Anchor = "start"
    bold: bool = False
    href: str | None = None


@dataclass(frozen=True, slots=True)
class Loop:
    """A circle that leaves open what it stands on."""

    x: float
    y: float
    radius: float
    ink: Ink
    width: float = 1.5
    dashed: bool = False


@dataclass(frozen=True, slots=True)
class Strokes:
    """Many straight strokes (x0, y0, x1, y1) of one ink, for hatching and outlines."""

    ends: tuple[tuple[float, float, float, float], ...]
    ink: Ink
    width: float = 1.0


Mark = Line | Box | Shape | Text | Loop | Strokes


@dataclass(frozen=True, slots=True)
class Drawing:
    """Marks on a field of `width` x `height`, and in words what they show."""

    width: float
    height: float
    marks: tuple[Mark, ...]
    alt: str


def hatching(
    x0: float, y0: float, x1: float, y1: float, ink: Ink, *, step: float = 7.0
) -> list[Mark]:
    """Slanted lines that fill a rectangle; drawn as lines so that every printer shows them.

    Parameters
    ----------
    x0 : float
        Left edge.
    y0 : float
        Top edge.
    x1 : float
        Right edge.
    y1 : float
        Bottom edge.
    ink : Ink
        Colour of the lines.
    step : float, optional
        Distance between lines.
    """
    marks: list[Mark] = []
    height = y1 - y0
    start = x0 - height
    while start < x1:
        left, right = max(start, x0), min(start + height, x1)
        if right > left:
            marks.append(Line(left, y1 - (left - start), right, y1 - (right - start), ink, 1.0))
        start += step
    return marks


def text_width(words: str, size: float) -> float:
    """Room that words take, roughly and rather too much, for laying out labels.

    Parameters
    ----------
    words : str
        What is written.
    size : float
        Height of the letters.
    """
    return len(words) * size * 0.54


def wrap(words: str, width: float, room: Callable[[str], float]) -> list[str]:
    """Break words into lines no wider than `width`; a longer word has a line of its own.

    Parameters
    ----------
    words : str
        What is written.
    width : float
        Width.
    room : callable
        Width of a line.
    """
    lines: list[str] = []
    for word in words.split():
        if lines and room(f"{lines[-1]} {word}") <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines
