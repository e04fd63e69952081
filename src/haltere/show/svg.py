"""Drawings as SVG inside the page."""

from __future__ import annotations

from html import escape

from haltere.show.drawing import Box, Drawing, Line, Loop, Mark, Shape, Strokes, Text


def svg(drawing: Drawing, css_class: str = "") -> str:
    """Write a drawing as an inline SVG element whose colours follow the page's theme.

    Parameters
    ----------
    drawing : Drawing
        What to draw.
    css_class : str
        Class of the element.
    """
    size = f'viewBox="0 0 {_n(drawing.width)} {_n(drawing.height)}"'
    open_ = f'<svg class="{css_class}" {size} role="img" aria-label="{escape(drawing.alt)}">'
    return open_ + "".join(_mark(mark) for mark in drawing.marks) + "</svg>"


def _mark(mark: Mark) -> str:
    if isinstance(mark, Line):
        dash = ' stroke-dasharray="4 3"' if mark.dashed else ""
        return (
            f'<line x1="{_n(mark.x0)}" y1="{_n(mark.y0)}" x2="{_n(mark.x1)}" y2="{_n(mark.y1)}" '
            f'stroke="var(--{mark.ink})" stroke-width="{_n(mark.width)}"{dash}/>'
        )
    if isinstance(mark, Box):
        fill = f"var(--{mark.fill})" if mark.fill else "none"
        stroke = ""
        if mark.outline:
            dash = ' stroke-dasharray="4 3"' if mark.dashed else ""
            stroke = f' stroke="var(--{mark.outline})" stroke-width="{_n(mark.width)}"{dash}'
        return (
            f'<rect x="{_n(mark.x0)}" y="{_n(mark.y0)}" width="{_n(mark.x1 - mark.x0)}" '
            f'height="{_n(mark.y1 - mark.y0)}" fill="{fill}"{stroke}/>'
        )
    if isinstance(mark, Shape):
        return _shape(mark)
    if isinstance(mark, Loop):
        dash = ' stroke-dasharray="5 3"' if mark.dashed else ""
        return (
            f'<circle cx="{_n(mark.x)}" cy="{_n(mark.y)}" r="{_n(mark.radius)}" fill="none" '
            f'stroke="var(--{mark.ink})" stroke-width="{_n(mark.width)}"{dash}/>'
        )
    if isinstance(mark, Strokes):
        path = "".join(f"M{_n(x0)} {_n(y0)}L{_n(x1)} {_n(y1)}" for x0, y0, x1, y1 in mark.ends)
        stroke = f'stroke="var(--{mark.ink})" stroke-width="{_n(mark.width)}"'
        return f'<path d="{path}" fill="none" {stroke}/>'
    return _text(mark)


def _shape(mark: Shape) -> str:
    colour, x, y, r = f"var(--{mark.ink})", mark.x, mark.y, mark.radius
    if mark.kind == "disc":
        return f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(r)}" fill="{colour}"/>'
    if mark.kind == "ring":
        return (
            f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(r)}" fill="var(--paper)" '
            f'stroke="{colour}" stroke-width="1.5"/>'
        )
    if mark.kind == "cross":
        left, right, top, bottom = _n(x - r), _n(x + r), _n(y - r), _n(y + r)
        path = f"M{left} {top}L{right} {bottom}M{right} {top}L{left} {bottom}"
        return f'<path d="{path}" stroke="{colour}" stroke-width="2" fill="none"/>'
    points = " ".join(f"{_n(px)},{_n(py)}" for px, py in corners(mark))
    return f'<polygon points="{points}" fill="{colour}"/>'


def corners(mark: Shape) -> list[tuple[float, float]]:
    """Corners of the signs that are polygons.

    Parameters
    ----------
    mark : Shape
        The sign.
    """
    x, y, r = mark.x, mark.y, mark.radius
    return {
        "down": [(x - r, y - r * 0.8), (x + r, y - r * 0.8), (x, y + r)],
        "up": [(x - r, y + r * 0.8), (x + r, y + r * 0.8), (x, y - r)],
        "left": [(x + r * 0.8, y - r), (x + r * 0.8, y + r), (x - r, y)],
        "right": [(x - r * 0.8, y - r), (x - r * 0.8, y + r), (x + r, y)],
        "square": [
            (x - r * 0.8, y - r * 0.8),
            (x + r * 0.8, y - r * 0.8),
            (x + r * 0.8, y + r * 0.8),
            (x - r * 0.8, y + r * 0.8),
        ],
        "diamond": [(x - r, y), (x, y - r), (x + r, y), (x, y + r)],
    }[mark.kind]


def _text(mark: Text) -> str:
    weight = ' font-weight="600"' if mark.bold else ""
    anchor = "" if mark.anchor == "start" else f' text-anchor="{mark.anchor}"'
    text = (
        f'<text x="{_n(mark.x)}" y="{_n(mark.y)}" font-size="{_n(mark.size)}" '
        f'fill="var(--{mark.ink})"{anchor}{weight}>{escape(mark.words)}</text>'
    )
    return f'<a href="{escape(mark.href)}">{text}</a>' if mark.href else text


def _n(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")
