"""How deep the eye lies: the nearest part of its face, from the focus curves on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.focus.curves import Peaks
from haltere.keepers.numbers import NUMBERS

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Face:
    """Depth of an eye.

    Attributes
    ----------
    x_px, y_px : float
        The point spoken of, centred reference pixels.
    depth, sigma : float
        Its relative depth and one standard deviation, of the curves alone.
    spread : float
        How much of the face's depths scatters about its shape, relative.
    places : int
        Number of places on the eye that were believed.
    """

    x_px: float
    y_px: float
    depth: float
    sigma: float
    spread: float
    places: int


def face_at(
    peaks: Peaks, points_px: Floats, x_px: float, y_px: float, radius_px: float, *, apex: bool
) -> Face | None:
    """Fit a dome through the depths on an eye.

    Parameters
    ----------
    peaks : Peaks
        Where each place is sharpest.
    points_px : ndarray of float64, shape (R * C, 2)
        Centred reference pixels of the places.
    x_px, y_px, radius_px : float
        The eye.
    apex : bool
        True: speak of the dome's nearest point; False: of the given point.

    Returns
    -------
    Face or None
        None when too few places can be believed.
    """
    dx, dy = (points_px[:, 0] - x_px) / radius_px, (points_px[:, 1] - y_px) / radius_px
    out = np.hypot(dx, dy)
    share = NUMBERS.eye_share
    strong = peaks.amplitude.ravel() > NUMBERS.strong * peaks.noise.ravel()
    good = (out < share) & (peaks.fit.ravel() > NUMBERS.fit) & strong
    if int(good.sum()) < 6:
        good = (out < share) & (peaks.fit.ravel() > 0.7 * NUMBERS.fit)
    if int(good.sum()) < 6:
        return None
    z = peaks.depth.ravel()[good]
    x, y = dx[good], dy[good]
    sigma = np.maximum(peaks.sigma.ravel()[good], 1e-9)
    basis = np.column_stack([np.ones_like(x), x, y, x * x + y * y])
    base = 1.0 / (sigma**2 + float(np.median(sigma)) ** 2)
    # hairs and feelers before the eye, and what lies behind its rim, leave the dome
    weight = base * (np.abs(z - np.median(z)) < 4 * _scatter(z - np.median(z)) + 1e-9)
    spread = 0.0
    terms = np.zeros(4)
    for _ in range(8):
        lifted = basis.T @ (basis * weight[:, None])
        lifted += np.diag([0.0, 1e-3, 1e-3, 1e-3]) * np.trace(lifted)
        terms = np.linalg.solve(lifted, basis.T @ (weight * z))
        rest = z - basis @ terms
        spread = max(_scatter(rest), 1e-9)
        weight = base / (1 + (rest / (2 * spread)) ** 2) ** 2
    if apex:
        gx, gy = np.meshgrid(np.linspace(-0.6, 0.6, 25), np.linspace(-0.6, 0.6, 25))
        grid = np.column_stack([np.ones(gx.size), gx.ravel(), gy.ravel()])
        grid = np.column_stack([grid, grid[:, 1] ** 2 + grid[:, 2] ** 2])
        grid = grid[np.hypot(grid[:, 1], grid[:, 2]) < 0.6]
        depths = grid @ terms
        near = depths <= np.quantile(depths, NUMBERS.nearest)
        px, py = float(np.median(grid[near, 1])), float(np.median(grid[near, 2]))
        depth = float(np.mean(depths[near]))
    else:
        px = py = 0.0
        depth = float(terms[0])
    error = float(np.hypot(np.median(sigma), spread)) / np.sqrt(max(good.sum() / 9.0, 1.0))
    return Face(
        x_px + px * radius_px, y_px + py * radius_px, depth, error, spread, int(good.sum())
    )  # fmt: skip


def _scatter(values: Floats) -> float:
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))
