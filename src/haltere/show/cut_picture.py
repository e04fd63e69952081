"""Depth along a line as a chart: what is known as a line, what is not as a gap."""

from __future__ import annotations

import io

import numpy as np

from haltere.merge.relief import Cut
from haltere.show.colours import DAY
from haltere.show.drawing import Box, Line, Mark, Strokes, Text, hatching
from haltere.show.paint import Canvas

WIDE, HIGH = 1000.0, 420.0
LEFT, TOP, RIGHT, BOTTOM = 84.0, 64.0, 24.0, 64.0
SURE = 0.5


def draw_cut(cut: Cut, unit: str, mm_per_px: float | None, *, ordered: bool = True) -> bytes:
    """Draw the depth along a line, the camera above.

    Parameters
    ----------
    cut : Cut
        Points along the line.
    unit : {"mm", "dof"}
        Of the depth.
    mm_per_px : float or None
        Size of a pixel on the animal; None leaves the distance in pixels.
    ordered : bool
        Whether depth grows away from the camera; else near and far may be swapped.

    Returns
    -------
    bytes
        A PNG file.
    """
    canvas = Canvas(WIDE, HIGH, DAY, 2)
    for mark in _marks(cut, unit, mm_per_px, ordered=ordered):
        canvas.mark(mark)
    buffer = io.BytesIO()
    canvas.image.save(buffer, "PNG", compress_level=6)
    return buffer.getvalue()


def _marks(cut: Cut, unit: str, mm_per_px: float | None, *, ordered: bool) -> list[Mark]:
    known = np.isfinite(cut.depth)
    name = "mm" if unit == "mm" else "depths of field"
    distance = cut.distance_px * (mm_per_px or 1.0)
    along = "mm" if mm_per_px is not None else "px"
    if known.any():
        low, high = float(cut.depth[known].min()), float(cut.depth[known].max())
    else:
        low, high = 0.0, 1.0
    room = max(0.08 * (high - low), 1e-3)
    low, high = low - room, high + room
    x0, x1, y0, y1 = LEFT, WIDE - RIGHT, TOP, HIGH - BOTTOM

    def x_of(at: float) -> float:
        return x0 + (x1 - x0) * at / max(float(distance[-1]), 1e-9)

    def y_of(depth: float) -> float:  # near above, as the camera looks down
        return y0 + (y1 - y0) * (depth - low) / (high - low)

    share = 100 * float(known.mean())
    camera = "the camera above" if ordered else "the camera above or below"
    head = f"Depth along the line, known over {share:.0f} % of it"
    marks: list[Mark] = [
        Text(LEFT, 30, head, 17, "ink"),
        Text(LEFT, 50, f"depth in {name}, {camera}", 13, "soft"),
        Box(x0, y0, x1, y1, outline="line"),
    ]
    for begin, end in _stretches(~known):
        a, b = x_of(float(distance[begin])), x_of(float(distance[end]))
        if b - a > 1:
            marks += hatching(a, y0, b, y1, "line", step=8.0)
    for depth in _ticks(low, high):
        y = y_of(depth)
        marks.append(Line(x0, y, x1, y, "line", 0.7))
        marks.append(Text(x0 - 8, y + 4, f"{depth:g}", 13, "soft", "end"))
    for at in _ticks(0.0, float(distance[-1])):
        x = x_of(at)
        marks.append(Line(x, y1, x, y1 + 5, "line"))
        marks.append(Text(x, y1 + 21, f"{at:g}", 13, "soft", "middle"))
    marks.append(Text(x1, y1 + 42, f"along the line, {along}", 13, "soft", "end"))
    sure: list[tuple[float, float, float, float]] = []
    vague: list[tuple[float, float, float, float]] = []
    for k in range(len(distance) - 1):
        if known[k] and known[k + 1]:
            ends = (
                x_of(float(distance[k])), y_of(float(cut.depth[k])),
                x_of(float(distance[k + 1])), y_of(float(cut.depth[k + 1])),
            )  # fmt: skip
            (sure if cut.confidence[k] >= SURE else vague).append(ends)
    if vague:
        marks.append(Strokes(tuple(vague), "soft", 1.2))
    if sure:
        marks.append(Strokes(tuple(sure), "accent", 2.6))
    legend = "thick: confidence of half and more; thin: less; hatched: no depth known"
    marks.append(Text(LEFT, y1 + 42, legend, 13, "soft"))
    return marks


def _stretches(flags: np.ndarray) -> list[tuple[int, int]]:
    """First and last index of each run of true flags, widened to its neighbours."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(int)))
    last = len(flags) - 1
    return [(max(int(a) - 1, 0), min(int(b), last)) for a, b in edges.reshape(-1, 2)]


def _ticks(low: float, high: float) -> list[float]:
    """Round numbers between two ends, about five of them."""
    raw = (high - low) / 5
    if raw <= 0:
        return []
    unit = 10.0 ** np.floor(np.log10(raw))
    step = float(next(s * unit for s in (1, 2, 5, 10) if s * unit >= raw))
    first = int(np.ceil(low / step))
    return [round(k * step, 10) for k in range(first, int(np.floor(high / step)) + 1)]
