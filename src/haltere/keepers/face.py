"""How deep the eye lies: the nearest part of its face, from the focus curves on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.focus.curves import Stack
from haltere.keepers.curves import Curves, fit_curves
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
    places : int
        Number of places on the eye that were believed.
    """

    x_px: float
    y_px: float
    depth: float
    sigma: float
    places: int


def face_at(
    stack: Stack,
    taking: NDArray[np.bool_],
    x_px: float,
    y_px: float,
    radius_px: float,
    optics: tuple[float, float, float],
    *,
    apex: bool,
) -> Face | None:
    """Fit a dome through the depths on an eye.

    Parameters
    ----------
    stack : Stack
        Measured detail.
    taking : ndarray of bool, shape (N,)
        Frames that take part.
    x_px, y_px, radius_px : float
        The eye, centred reference pixels.
    optics : tuple of float
        Relative depth of field, circle of confusion and Airy diameter in analysis pixels.
    apex : bool
        True: speak of the dome's nearest point; False: of the given point.

    Returns
    -------
    Face or None
        None when too few places can be believed.
    """
    dx, dy = (stack.points_px[:, 0] - x_px) / radius_px, (stack.points_px[:, 1] - y_px) / radius_px
    on = np.hypot(dx, dy) < NUMBERS.eye_share
    on &= np.isfinite(stack.energy[taking]).reshape(int(taking.sum()), -1).sum(0) >= 3
    if int(on.sum()) < 6:
        return None
    fits = fit_curves(stack, taking, on, *optics)
    x, y = dx[on], dy[on]
    frames = int(taking.sum())
    costs, found = [], []
    for curves in fits:
        good = curves.strength > 0.5
        if int(good.sum()) < 6:
            continue
        dome = _dome(x[good], y[good], curves, good, optics[0], apex=apex)
        # what a frame does to one place it does to all: together they are one witness
        calm = float(np.median(curves.misfit[good])) / max(frames - 2, 1)
        costs.append(calm * max(frames - 2, 1) + curves.prior)
        found.append((dome, calm, int(good.sum())))
    if not found:
        return None
    scale = max(min(calm for _, calm, _ in found), 1.0)
    chance = np.exp(-0.5 * np.minimum((np.array(costs) - min(costs)) / scale, 60.0))
    chance /= chance.sum()
    depth = float(sum(c * d[0][2] for c, d in zip(chance, found, strict=True)))
    varied = sum(
        c * (d[0][3] ** 2 + (d[0][2] - depth) ** 2) for c, d in zip(chance, found, strict=True)
    )
    (px, py, _, _), _, places = found[int(chance.argmax())]
    return Face(
        x_px + px * radius_px, y_px + py * radius_px, depth, float(np.sqrt(varied)), places
    )  # fmt: skip


def _dome(
    x: Floats, y: Floats, curves: Curves, good: NDArray[np.bool_], dof: float, *, apex: bool
) -> tuple[float, float, float, float]:
    """Robust fit of a dome: place (in radii), depth and its standard deviation."""
    z, sigma = curves.depth[good], np.maximum(curves.sigma[good], 0.02 * dof)
    basis = np.column_stack([np.ones_like(x), x, y, x * x + y * y])
    base = 1.0 / sigma**2
    # hairs and feelers before the eye, and what lies behind its rim, leave the dome
    away = np.abs(z - np.median(z))
    weight = base * (away < 4 * max(_scatter(z), 0.1 * dof))
    terms: Floats = np.zeros(4)
    spread = 0.02 * dof
    for _ in range(8):
        lifted = basis.T @ (basis * weight[:, None])
        total = float(lifted[0, 0])
        # a dome's face bends back by about one depth of field, seldom by more than three
        lifted += np.diag([0.0, 2e-2, 2e-2, 2e-2]) * total
        right = basis.T @ (weight * z)
        right[3] += 2e-2 * total * 0.8 * dof
        terms = np.asarray(np.linalg.solve(lifted, right), np.float64)
        rest = z - basis @ terms
        spread = max(_scatter(rest), 0.02 * dof)
        weight = base / (1 + (rest / (2 * spread)) ** 2) ** 2
    # neighbouring places share most of their window: some ten make one witness of the shape
    error = float(np.hypot(np.median(sigma), spread / np.sqrt(max(x.size / 10.0, 1.0))))
    if not apex:
        return 0.0, 0.0, float(terms[0]), error
    gx, gy = np.meshgrid(np.linspace(-0.6, 0.6, 25), np.linspace(-0.6, 0.6, 25))
    inside = np.hypot(gx, gy).ravel() < 0.6
    gx, gy = gx.ravel()[inside], gy.ravel()[inside]
    depths = terms[0] + terms[1] * gx + terms[2] * gy + terms[3] * (gx**2 + gy**2)
    near = depths <= np.quantile(depths, NUMBERS.nearest)
    return float(np.median(gx[near])), float(np.median(gy[near])), float(depths[near].mean()), error


def _scatter(values: Floats) -> float:
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))
