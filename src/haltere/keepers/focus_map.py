"""Where the plane of focus of one frame cuts what it shows."""

from __future__ import annotations

import numpy as np

from haltere.focus.depths import believed
from haltere.keepers.verdict import FocusMap
from haltere.keepers.views import Views

CELLS = 64
"""Cells along the longer side: fine enough to see a leg, few enough to be kept with the result."""


def focus_map(views: Views, k: int, dof: float, name: str) -> FocusMap | None:
    """Draw up where the plane of a frame lies against the surfaces it shows.

    Parameters
    ----------
    views : Views
        Tied burst.
    k : int
        The frame.
    dof : float
        Relative depth of field.
    name : str
        Its name.

    Returns
    -------
    FocusMap or None
        None when no place could be told.
    """
    peaks, points = views.tied.peaks, views.tied.stack.points_px
    told = np.flatnonzero(believed(peaks).ravel())
    if told.size == 0:
        return None
    frame = views.shots.frames[k]
    depth = peaks.depth.ravel()[told]
    offset = (views.planes(points[told])[k] - depth) / dof
    at = views.in_frame(k, points[told], depth)
    cell = max(frame.width_px, frame.height_px) / CELLS
    cols, rows = round(frame.width_px / cell), round(frame.height_px / cell)
    x, y = np.floor((at + 0.5).T / cell).astype(int)
    inside = (x >= 0) & (y >= 0) & (x < cols) & (y < rows)
    held: dict[tuple[int, int], list[float]] = {}
    for column, row, value in zip(x[inside], y[inside], offset[inside], strict=True):
        held.setdefault((int(row), int(column)), []).append(float(value))
    grid = tuple(
        tuple(
            round(float(np.median(held[row, column])), 2) if (row, column) in held else None
            for column in range(cols)
        )
        for row in range(rows)
    )
    return FocusMap(name, cell, grid)
