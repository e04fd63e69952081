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
    place, value = (y * cols + x)[inside], offset[inside]
    order = np.lexsort((value, place))
    place, value = place[order], value[order]
    cells, first, count = np.unique(place, return_index=True, return_counts=True)
    # the median of each cell's sorted values
    middle = 0.5 * (value[first + (count - 1) // 2] + value[first + count // 2])
    held = dict(zip(cells.tolist(), middle.tolist(), strict=True))
    grid = tuple(
        tuple(
            round(held[cell_at], 2) if (cell_at := row * cols + column) in held else None
            for column in range(cols)
        )
        for row in range(rows)
    )
    return FocusMap(name, cell, grid)
