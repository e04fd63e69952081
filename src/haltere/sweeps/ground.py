"""The ground under the animal: a leaf is a smooth sheet behind all else that shows detail."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class GroundNumbers:
    """Numbers that tell a leaf from an animal.

    Attributes
    ----------
    near_dof : float
        Distance from the sheet, in depths of field, within which a place belongs to it: its veins
        and edges stand out by as much on simulated leaves.
    tries : int
        Planes through three random places that are tried (Fischler & Bolles 1981, from memory).
    looked_at : int
        Places they are held against.
    steepest_dof : float
        Steepest tilt, depths of field over the picture's width.
    behind_costs : float
        What a place behind the sheet costs, in places on it: the animal's back is no ground.
    least, front, behind : float
        Share of believed places that must lie on it, must lie before it, and may lie behind it:
        behind the leaves of simulated sweeps lie at most 0.046. A stem is no sheet: a plane through
        it takes the animal in, so that little is left before it, or leaves more behind.
    degrees : tuple of int
        Polynomials the plane is bent into, one after the other.
    """

    near_dof: float = 1.5
    tries: int = 600
    looked_at: int = 3000
    steepest_dof: float = 90.0
    behind_costs: float = 2.0
    least: float = 0.08
    front: float = 0.15
    behind: float = 0.05
    degrees: tuple[int, ...] = (2, 3, 4)


NUMBERS = GroundNumbers()


def find_ground(depth_dof: Floats, trusted: Mask) -> Mask | None:
    """Tell which places lie on or behind the sheet the animal sits on.

    Parameters
    ----------
    depth_dof : ndarray of float64, shape (R, C)
        Depth of each place's peak, depths of field.
    trusted : ndarray of bool, shape (R, C)
        Places whose peak is believed.

    Returns
    -------
    ndarray of bool, shape (R, C), or None
        None where no such sheet is seen.
    """
    rows, cols = trusted.shape
    y, x = np.mgrid[0:rows, 0:cols]
    across = ((x - cols / 2) / cols).ravel()
    down = ((y - rows / 2) / cols).ravel()
    chosen = np.flatnonzero(trusted.ravel())
    if len(chosen) < 200:
        return None
    depth = depth_dof.ravel()[chosen]
    on = _plane(np.column_stack([np.ones(len(chosen)), across[chosen], down[chosen]]), depth)
    if on is None:
        return None
    sheet = np.zeros(rows * cols)
    for degree in NUMBERS.degrees:
        terms = _terms(across, down, degree)
        for _ in range(7):
            sheet = terms @ _fitted(terms[chosen], depth, on)
            on = np.abs(sheet[chosen] - depth) < NUMBERS.near_dof
    lead = sheet.reshape(rows, cols) - depth_dof
    share = float(on.mean())
    behind = float((lead[trusted] < -NUMBERS.near_dof).mean())
    front = 1.0 - share - behind
    if share < NUMBERS.least or front < NUMBERS.front or behind > NUMBERS.behind:
        return None
    result: Mask = lead < NUMBERS.near_dof
    return result


def _plane(flat: Floats, depth: Floats) -> Mask | None:
    """Places on the plane that most lie on and few behind."""
    rng = np.random.default_rng(0)
    some = rng.permutation(len(depth))[: NUMBERS.looked_at]
    threes = rng.integers(0, len(depth), (NUMBERS.tries, 3))
    best, found = 0.0, None
    for three in threes:
        try:
            plane = np.linalg.solve(flat[three], depth[three])
        except np.linalg.LinAlgError:
            continue
        if np.hypot(plane[1], plane[2]) > NUMBERS.steepest_dof:
            continue
        lead = flat[some] @ plane - depth[some]
        on = np.count_nonzero(np.abs(lead) < 0.8 * NUMBERS.near_dof)
        behind = np.count_nonzero(lead < -1.6 * NUMBERS.near_dof)
        score = on - NUMBERS.behind_costs * behind
        if score > best:
            best, found = score, plane
    if found is None:
        return None
    result: Mask = np.abs(flat @ found - depth) < 1.33 * NUMBERS.near_dof
    return result


def _terms(across: Floats, down: Floats, degree: int) -> Floats:
    """Powers of both coordinates up to a degree, one column each."""
    return np.column_stack(
        [across**i * down ** (j - i) for j in range(degree + 1) for i in range(j + 1)]
    )


def _fitted(terms: Floats, depth: Floats, on: Mask) -> Floats:
    """Least squares over the places on the sheet, held back a little where there are none."""
    here = terms[on]
    normal = here.T @ here + 2e-5 * len(depth) * np.eye(terms.shape[1])
    return np.asarray(np.linalg.solve(normal, here.T @ depth[on]), np.float64)
