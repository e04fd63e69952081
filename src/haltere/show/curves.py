"""The curves of a plan: how fine each f-number is, and how fast blur grows off the focus."""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from haltere.errors import UsageError
from haltere.show.colours import DAY, NIGHT, Ink
from haltere.show.drawing import Box, Drawing, Line, Mark, Shape, Text, text_width
from haltere.show.filing import file_away
from haltere.show.svg import svg

if TYPE_CHECKING:
    from haltere.plan.plan import Plan

WIDTH, HEIGHT = 760.0, 800.0
_LEFT, _RIGHT = 64.0, 744.0
_UPPER = (142.0, 440.0)
_LOWER = (552.0, 740.0)
_FULL_STOPS = (1.0, 1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0, 32.0, 45.0, 64.0)
_ROUND = tuple(k * 10.0**power for power in range(-5, 7) for k in (1, 2, 5))
_MINUS = "\u2212"

Dashes = tuple[float, ...]
Point = tuple[float, float]

SOLID: Dashes = ()
LONG: Dashes = (11.0, 5.0)
DOTS: Dashes = (2.5, 4.0)
MIXED: Dashes = (11.0, 4.0, 2.5, 4.0)


@dataclass(frozen=True, slots=True)
class _Curve:
    """A line of the upper panel: its points as (f-number, um), and its words."""

    words: str
    points: tuple[Point, ...]
    dashes: Dashes
    width: float


@dataclass(frozen=True, slots=True)
class _Panel:
    """Numbers to units on the drawing."""

    x: Callable[[float], float]
    y: Callable[[float], float]
    top: float
    bottom: float


def draw_plan(plan: Plan, path: Path) -> Path:
    """Draw how fine each f-number is for this animal, and how blur grows off the focus.

    Parameters
    ----------
    plan : Plan
        The answer.
    path : Path
        File to write; its suffix chooses SVG or PNG.

    Returns
    -------
    Path
        The same path.

    Raises
    ------
    UsageError
        When the suffix is another one.
    WriteError
        When the file can't be written.
    """
    suffix = path.suffix.lower()
    if suffix not in (".svg", ".png"):
        raise UsageError(f"{path}: curves are drawn as .svg or .png; name the file so")
    drawing = curves(plan)
    content = svg_file(drawing).encode() if suffix == ".svg" else _png(drawing)
    return file_away(path, content)


def curves(plan: Plan) -> Drawing:
    """Lay out both panels.

    Parameters
    ----------
    plan : Plan
        The answer.

    Returns
    -------
    Drawing
        Lines told apart by dashes and words on them, not by colour.
    """
    start = plan.given
    name = _fitting(start.kit.name, 18, _RIGHT - 16)
    said = f"{start.lens.magnification:.3g}:1, an animal {start.wishes.depth_mm:g} mm deep"
    marks: list[Mark] = [Text(16, 30, name, 18, "ink", bold=True), Text(16, 50, said, 14, "soft")]
    marks += _details(plan)
    marks += _blur(plan)
    return Drawing(WIDTH, HEIGHT, tuple(marks), _alt(plan))


def dashed(points: Sequence[Point], dashes: Dashes, ink: Ink, width: float) -> list[Mark]:
    """Draw a bent line whose dashes go on around its corners.

    Parameters
    ----------
    points : sequence of (float, float)
        Corners, in drawing units.
    dashes : tuple of float
        Lengths of strokes and spaces in turn; none for a whole line.
    ink : Ink
        Colour.
    width : float
        Of the stroke.

    Returns
    -------
    list of Mark
        Short straight lines.
    """
    if not dashes:
        return [Line(*a, *b, ink, width) for a, b in pairwise(points)]
    marks: list[Mark] = []
    turn, left = 0, dashes[0]
    for (x0, y0), (x1, y1) in pairwise(points):
        long = math.hypot(x1 - x0, y1 - y0)
        at = 0.0
        while at < long:
            to = min(at + left, long)
            if turn % 2 == 0:
                ends = [v + (w - v) * s / long for s in (at, to) for v, w in ((x0, x1), (y0, y1))]
                marks.append(Line(ends[0], ends[1], ends[2], ends[3], ink, width))
            left -= to - at
            at = to
            if left <= 1e-9:
                turn = (turn + 1) % len(dashes)
                left = dashes[turn]
    return marks


def svg_file(drawing: Drawing) -> str:
    """Write a drawing as an SVG file of its own, for light and dark screens.

    Parameters
    ----------
    drawing : Drawing
        What to draw.

    Returns
    -------
    str
        The document.
    """
    inks = [
        ";".join(f"--{ink}:{colour}" for ink, colour in theme.items()) for theme in (DAY, NIGHT)
    ]
    style = (
        f"<style>svg{{{inks[0]}}}@media (prefers-color-scheme:dark){{svg{{{inks[1]}}}}}"
        'text{font-family:"Avenir Next","Segoe UI","Helvetica Neue",Helvetica,Arial,sans-serif}'
        "</style>"
    )
    size = f'width="{drawing.width:g}" height="{drawing.height:g}"'
    opened, rest = svg(drawing, "curves").split(">", 1)
    opened = opened.replace("<svg ", f'<svg xmlns="http://www.w3.org/2000/svg" {size} ', 1)
    paper = '<rect width="100%" height="100%" fill="var(--paper)"/>'
    return f"{opened}>{style}{paper}{rest}\n"


def _png(drawing: Drawing) -> bytes:
    from PIL import Image

    from haltere.show.paint import Canvas

    canvas = Canvas(drawing.width, drawing.height, DAY, zoom=4)
    canvas.put(drawing, 0, 0)
    size = (canvas.image.width // 2, canvas.image.height // 2)
    file = io.BytesIO()
    canvas.image.resize(size, Image.Resampling.LANCZOS).save(file, "PNG")
    return file.getvalue()


def _hair_um(lp_mm: float) -> float:
    return 1000.0 / (2.0 * lp_mm)


def _detail_curves(plan: Plan) -> list[_Curve]:
    points = plan.aperture.curve
    swept = [_hair_um(point.sweep_lp_mm) for point in points]
    f_numbers = [point.f_number for point in points]
    ends = [_hair_um(point.ends_lp_mm) for point in points]
    middle = [_hair_um(point.middle_lp_mm) for point in points]
    return [
        _Curve("near and far end, one shot", tuple(zip(f_numbers, ends, strict=True)), SOLID, 2.6),
        _Curve("sweep, anywhere", tuple(zip(f_numbers, swept, strict=True)), LONG, 2.2),
        _Curve("plane of focus", tuple(zip(f_numbers, middle, strict=True)), DOTS, 2.2),
    ]


def _details(plan: Plan) -> list[Mark]:
    """Draw the upper panel: finest detail on the animal over the f-number."""
    drawn = _detail_curves(plan)
    f_numbers = [f for f, _ in drawn[0].points]
    fine = [um for curve in drawn for _, um in curve.points]
    first, last = f_numbers[0] / 1.06, f_numbers[-1] * 1.06
    low, high = min(fine) / 1.35, max(fine) * 1.12
    top, bottom = _UPPER
    panel = _Panel(
        lambda f: _LEFT + math.log(f / first) / math.log(last / first) * (_RIGHT - _LEFT),
        lambda um: bottom - math.log(um / low) / math.log(high / low) * (bottom - top),
        top,
        bottom,
    )
    marks: list[Mark] = [
        Text(16, top - 58, "Finest detail on the animal, µm (lower is finer)", 13, "ink", bold=True)
    ]
    for um in _ROUND:
        if low <= um <= high:
            marks.append(Line(_LEFT, panel.y(um), _RIGHT, panel.y(um), "line", 0.6))
            marks.append(Text(_LEFT - 8, panel.y(um) + 4, f"{um:g}", 13, "soft", "end"))
    for stop in _FULL_STOPS:
        if first <= stop <= last:
            x = panel.x(stop)
            marks.append(Line(x, bottom, x, bottom + 5, "ink"))
            marks.append(Text(x, bottom + 20, f"{stop:g}", 13, "soft", "middle"))
    marks.append(Text(_RIGHT, bottom + 40, "f-number, as marked on the lens", 13, "soft", "end"))
    marks.append(Line(_LEFT, bottom, _RIGHT, bottom, "ink", 1.2))
    marks += _recommended(plan, panel)
    for curve in drawn:
        at = [(panel.x(f), panel.y(um)) for f, um in curve.points]
        marks += dashed(at, curve.dashes, "ink", curve.width)
    used = (plan.aperture.sweep_f_number, plan.aperture.best_f_number)
    return marks + _labels(drawn, panel, [panel.x(f_number) for f_number in used])


def _recommended(plan: Plan, panel: _Panel) -> list[Mark]:
    """Mark the two f-numbers to use; each has its words in a row of its own."""
    chosen = plan.aperture
    places = [
        (chosen.sweep_f_number, f"sweep f/{chosen.sweep_f_number:g}"),
        (chosen.best_f_number, f"one shot f/{chosen.best_f_number:g}"),
    ]
    if chosen.sweep_f_number == chosen.best_f_number:
        places = [(chosen.best_f_number, f"one shot and sweep f/{chosen.best_f_number:g}")]
    marks: list[Mark] = []
    for row, (f_number, said) in enumerate(places):
        x, y = panel.x(f_number), panel.top - 8 - 20 * row
        marks.append(Line(x, y + 4, x, panel.bottom, "accent", 1.4))
        wide = text_width(said, 14) / 2 + 4
        centre = min(max(x, _LEFT + wide), _RIGHT - wide)
        marks.append(Box(centre - wide, y - 14, centre + wide, y + 4, "paper"))
        marks.append(Text(centre, y, said, 14, "accent", "middle", bold=True))
    return marks


def _labels(drawn: list[_Curve], panel: _Panel, upright: Sequence[float]) -> list[Mark]:
    """Put words beside each curve, where they are farthest from everything else."""
    places = [[(panel.x(f), panel.y(um)) for f, um in curve.points] for curve in drawn]
    busy = [point for place in places for point in _close_points(place)]
    busy += [point for x in upright for point in _close_points([(x, panel.top), (x, panel.bottom)])]
    marks: list[Mark] = []
    for curve, place in zip(drawn, places, strict=True):
        wide = text_width(curve.words, 13)
        spots = [
            (x + dx, y + dy)
            for x, y in _close_points(place)
            for dx in (8.0, -8.0 - wide, -wide / 2)
            for dy in (-8.0, 4.0, 17.0)
            if _LEFT + 4 <= x + dx <= _RIGHT - wide and panel.top + 16 <= y + dy <= panel.bottom - 6
        ]
        if not spots:
            continue
        left, base = spots[int(np.argmax(_clear(np.array(spots), wide, busy)))]
        marks.append(Box(left - 2, base - 12, left + wide, base + 4, "paper"))
        marks.append(Text(left, base, curve.words, 13, "ink"))
        busy += [(left + wide * k / 12, base - 4) for k in range(13)]
    return marks


def _close_points(place: Sequence[Point]) -> list[Point]:
    """Give points of a bent line, none farther than a few units from the next."""
    found = [place[0]]
    for (x0, y0), (x1, y1) in pairwise(place):
        count = max(1, math.ceil(math.hypot(x1 - x0, y1 - y0) / 6))
        found += [
            (x0 + (x1 - x0) * k / count, y0 + (y1 - y0) * k / count) for k in range(1, count + 1)
        ]
    return found


def _clear(spots: NDArray[np.float64], wide: float, busy: Sequence[Point]) -> NDArray[np.float64]:
    """Tell the room between words and what is drawn, up to where more room says nothing."""
    x, y = np.array(busy).T
    left, base = spots[:, :1], spots[:, 1:]
    beside = np.maximum(np.maximum(left - x, x - left - wide), 0.0)
    above = np.maximum(np.maximum(base - 11.0 - y, y - base - 3.0), 0.0)
    room = np.hypot(beside, above)
    return np.asarray(np.minimum(room.min(axis=1), 5.0) - 0.02 * (room < 16.0).sum(axis=1))


def _blur(plan: Plan) -> list[Mark]:
    """Draw the lower panel: the blur on the sensor over the distance from the plane of focus."""
    at = plan.chosen
    points = at.sharpness.blur
    coc_um = 1000.0 * plan.given.coc_mm
    nearest, farthest = points[-1].defocus_mm, points[0].defocus_mm
    most = max(*(point.blur_um for point in points), coc_um) * 1.08
    top, bottom = _LOWER
    panel = _Panel(
        lambda mm: _LEFT + (nearest - mm) / (nearest - farthest) * (_RIGHT - _LEFT),
        lambda um: bottom - um / most * (bottom - top),
        top,
        bottom,
    )
    title = f"Blur on the sensor at f/{at.f_number:g}, µm"
    marks: list[Mark] = [Text(16, top - 26, title, 13, "ink", bold=True)]
    step = _step(most / 4)
    for number in range(int(most / step) + 1):
        y = panel.y(number * step)
        marks.append(Line(_LEFT, y, _RIGHT, y, "line", 0.6))
        marks.append(Text(_LEFT - 8, y + 4, f"{number * step:g}", 13, "soft", "end"))
    side = _step((nearest - farthest) / 8)
    for number in range(math.ceil(-nearest / side - 1e-9), math.floor(-farthest / side + 1e-9) + 1):
        x = panel.x(-number * side)
        said = f"{abs(number * side):.3g}"
        marks.append(Line(x, bottom, x, bottom + 5, "ink"))
        marks.append(Text(x, bottom + 20, said, 13, "soft", "middle"))
    marks.append(Text(_LEFT, bottom + 42, "nearer", 13, "soft"))
    middle = panel.x(0.0)
    marks.append(Text(middle, bottom + 42, "mm from the plane of focus", 13, "soft", "middle"))
    marks.append(Text(_RIGHT, bottom + 42, "farther", 13, "soft", "end"))
    marks.append(
        Shape("left", _LEFT - 10, bottom + 38, 4.5, "soft"),
    )
    marks.append(Shape("right", _RIGHT - text_width("farther", 13) - 6, bottom + 38, 4.5, "soft"))
    marks.append(Line(_LEFT, bottom, _RIGHT, bottom, "ink", 1.2))
    marks += _depth_band(plan, panel, coc_um)
    line = [(panel.x(point.defocus_mm), panel.y(point.blur_um)) for point in points]
    return marks + dashed(line, SOLID, "ink", 2.4)


def _depth_band(plan: Plan, panel: _Panel, coc_um: float) -> list[Mark]:
    """Mark the circle of confusion as a dotted line, and the depth of field that it allows."""
    sharp = plan.chosen.sharpness
    y = panel.y(coc_um)
    marks = dashed([(_LEFT, y), (_RIGHT, y)], DOTS, "ink", 1.4)
    marks.append(Text(_RIGHT, y - 6, f"circle of confusion {coc_um:.3g} µm", 13, "ink", "end"))
    far = sharp.geometric_mm / 2
    x0, x1 = panel.x(far), panel.x(-far)
    if x0 > _LEFT and x1 < _RIGHT:
        said = f"depth of field {sharp.geometric_mm:.2g} mm, by rays alone"
        marks += [
            Line(x, panel.top + 2, x, panel.bottom, "accent", 1.2, dashed=True) for x in (x0, x1)
        ]
        marks.append(Text((x0 + x1) / 2, panel.top - 6, said, 13, "accent", "middle", bold=True))
    return marks


def _step(rough: float) -> float:
    """Give the round step next above."""
    return next(step for step in _ROUND if step >= rough)


def _fitting(words: str, size: float, width: float) -> str:
    """Cut words that have no room, and show that they were cut."""
    if text_width(words, size) <= width:
        return words
    return words[: max(1, int(width / (size * 0.54)) - 1)].rstrip() + "…"


def _alt(plan: Plan) -> str:
    chosen, m = plan.aperture, plan.given.lens.magnification
    return (
        f"Curves at {m:.3g}:1 for an animal {plan.given.wishes.depth_mm:g} mm deep. One shot at "
        f"f/{chosen.best_f_number:g} shows hairs of {chosen.detail_um:.2g} µm at both ends and "
        f"{chosen.middle_detail_um:.2g} µm in the middle; a sweep at f/{chosen.sweep_f_number:g} "
        f"shows {chosen.sweep_detail_um:.2g} µm all over. At f/{plan.chosen.f_number:g} the depth "
        f"of field is {plan.chosen.sharpness.geometric_mm:.2g} mm."
    )
