"""The ground under the animal: leaf or stem, the lowest thing in the picture at every depth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class GroundNumbers:
    """Numbers that tell leaf and stem from an animal.

    Attributes
    ----------
    layer_dof : float
        Thickness of the layers of depth in which the lowest places are looked for, depths of field.
    strip : int
        Width, in places, of the strips they are looked for in: legs are hardly wider.
    fewest : int
        Places a strip's layer must hold, so that a speck does not count.
    border : int
        Lowest rows of the picture left out: there the ground is cut off, not at its lowest.
    least_points : int
        Fewer lowest places are too few to lay a sheet through.
    tries : int
        Sheets through three random ones that are tried (Fischler & Bolles 1981, from memory).
    near : float
        Places up or down within which one of the lowest lies on the sheet.
    under_costs : float
        What one clearly below the sheet costs, in ones that lie on it: nothing is seen under the
        ground.
    degrees : tuple of int
        Polynomials the sheet is bent into, one after the other.
    held : float
        How much the bending is held back where nothing is seen.
    least : float
        Share of the lowest places that must lie on it: simulated sweeps that show ground had 0.23
        and more, those without 0.06 to 0.25.
    scatter : float
        Median distance, up or down, of those on the sheet, in places: 0.3 to 1.2 on ground, 1.4
        and more on sheets laid through whatever else was lowest; chance gives half of `near`.
    rises : float
        Share of the picture's height it must rise through; ground rose through 0.19 and more.
    under : float
        Largest share of believed places that may be seen under it: 0.17 at most on stems, whose
        sides fall away below the ridge the sheet is laid through.
    slope_dof : float
        Depth over which its slope is told.
    goes_on_dof : float
        How far it is taken to go on there: a leaf's far edge is a strip of blur, hardly deeper.
    thick : float
        Places above the sheet that still belong to it: blur, and the window detail is gathered in.
    thick_dof : float
        The same along depth: veins and edges stand out by as much on simulated leaves.
    """

    layer_dof: float = 0.5
    strip: int = 4
    fewest: int = 3
    border: int = 3
    least_points: int = 60
    tries: int = 600
    near: float = 4.5
    under_costs: float = 2.0
    degrees: tuple[int, ...] = (2, 3, 4, 5)
    held: float = 1e-5
    least: float = 0.2
    scatter: float = 1.2
    rises: float = 0.12
    under: float = 0.2
    slope_dof: float = 0.5
    goes_on_dof: float = 3.0
    thick: float = 3.0
    thick_dof: float = 1.5


NUMBERS = GroundNumbers()


def find_ground(
    depth_dof: Floats, trusted: Mask, first_dof: float = -np.inf, last_dof: float = np.inf
) -> Mask | None:
    """Tell which places lie on or behind the sheet the animal sits on.

    The sheet is laid through the lowest place of every strip at every depth, as a height in the
    picture over sideways position and depth: so a leaf may be seen at a grazing angle, and a stem
    may curve away. The picture is taken to be upright.

    Parameters
    ----------
    depth_dof : ndarray of float64, shape (R, C)
        Depth of each place's peak, depths of field.
    trusted : ndarray of bool, shape (R, C)
        Places whose peak is believed.
    first_dof, last_dof : float, optional
        Depth of the outermost planes: peaks beyond them are extrapolated and lay no sheet. Nearer
        ones are held against its edge, farther ones against what it does if it goes on straight.

    Returns
    -------
    ndarray of bool, shape (R, C), or None
        Places that lie on it, or behind it; None where no such sheet is seen.
    """
    rows, cols = trusted.shape
    y, x = _lowest(depth_dof, trusted)
    depth = depth_dof[y, x]
    within = (depth > first_dof - 1) & (depth < last_dof + 1)
    y, x, depth = y[within], x[within], depth[within]
    if len(x) < NUMBERS.least_points:
        return None
    low, high = float(depth.min()), float(depth.max())
    middle, half = (low + high) / 2, max((high - low) / 2, 1.0)

    def across(columns: Floats) -> Floats:
        return np.asarray((columns - cols / 2) / cols, np.float64)

    height = y.astype(np.float64)
    sideways, along = across(x.astype(np.float64)), (depth - middle) / half
    on = _plane(_terms(sideways, along, 1), height)
    fitted, off = np.zeros(3), np.full(len(height), np.inf)
    for degree in NUMBERS.degrees:
        terms = _terms(sideways, along, degree)
        for _ in range(8):
            fitted = _fitted(terms, height, on)
            off = np.abs(height - terms @ fitted)
            before, on = on, off < NUMBERS.near
            if np.array_equal(on, before):
                break
    share = float(on.mean())
    rises = float(np.ptp(np.percentile(height[on], (5, 95)))) if on.any() else 0.0
    scatter = float(np.median(off[on])) if on.any() else np.inf
    if share < NUMBERS.least or rises < NUMBERS.rises * rows or scatter > NUMBERS.scatter:
        return None
    near, far = np.percentile(depth[on], (1, 99))
    held = np.clip(depth_dof, max(near, first_dof - 0.5), min(far, last_dof + 0.5))
    here_y, here_x = np.mgrid[0:rows, 0:cols].astype(np.float64)

    def sheet(at: Floats) -> Floats:
        terms = _terms(across(here_x).ravel(), (at.ravel() - middle) / half, NUMBERS.degrees[-1])
        result: Floats = (terms @ fitted).reshape(rows, cols)
        return result

    ground_y = sheet(held)
    # beyond its ends a bent sheet runs away: its slope is told on the inside
    inward = np.where(held > middle, -NUMBERS.slope_dof, NUMBERS.slope_dof)
    rising = (sheet(held + inward) - ground_y) / inward
    steep = np.abs(rising)
    ground_y += rising * np.clip(depth_dof - held, 0.0, NUMBERS.goes_on_dof)
    above = ground_y - here_y
    under = float(
        (above < -np.maximum(2 * NUMBERS.thick, NUMBERS.thick_dof * steep))[trusted].mean()
    )
    if under > NUMBERS.under:
        return None
    places: Mask = above < np.maximum(NUMBERS.thick, NUMBERS.thick_dof * steep)
    return places


def _lowest(depth: Floats, trusted: Mask) -> tuple[Ints, Ints]:
    """Rows and columns of the lowest place but one of each strip in each layer of depth."""
    y, x = np.nonzero(trusted)
    layer = np.floor(depth[y, x] / NUMBERS.layer_dof).astype(np.intp)
    order = np.lexsort((-y, x // NUMBERS.strip, layer))
    here = np.column_stack([layer, x // NUMBERS.strip])[order]
    first = np.flatnonzero(np.r_[True, (here[1:] != here[:-1]).any(1)][: len(order)])
    count = np.diff(np.r_[first, len(order)])
    chosen = order[first[count >= NUMBERS.fewest] + 1]
    chosen = chosen[y[chosen] < len(trusted) - NUMBERS.border]
    return y[chosen], x[chosen]


def _plane(flat: Floats, height: Floats) -> Mask:
    """Points on the flat sheet that most lie on and few below."""
    rng = np.random.default_rng(0)
    best, found = -np.inf, np.zeros(3)
    for three in rng.integers(0, len(height), (NUMBERS.tries, 3)):
        try:
            plane = np.linalg.solve(flat[three], height[three])
        except np.linalg.LinAlgError:
            continue
        # ground that rises toward the camera would hide what sits on it
        if plane[1] > 0:
            continue
        under = height - flat @ plane
        on = np.count_nonzero(np.abs(under) < NUMBERS.near)
        score = on - NUMBERS.under_costs * np.count_nonzero(under > 1.5 * NUMBERS.near)
        if score > best:
            best, found = score, plane
    result: Mask = np.abs(height - flat @ found) < 1.33 * NUMBERS.near
    return result


def _terms(sideways: Floats, along: Floats, degree: int) -> Floats:
    """Powers of both coordinates up to a degree, one column each."""
    across, deep = [np.ones_like(sideways)], [np.ones_like(along)]
    for _ in range(degree):
        across.append(across[-1] * sideways)
        deep.append(deep[-1] * along)
    return np.column_stack(
        [across[i] * deep[j - i] for j in range(degree + 1) for i in range(j + 1)]
    )


def _fitted(terms: Floats, height: Floats, on: Mask) -> Floats:
    """Least squares over the points on the sheet, held back a little where there are none."""
    here = terms[on]
    normal = here.T @ here + NUMBERS.held * len(height) * np.eye(terms.shape[1])
    return np.asarray(np.linalg.solve(normal, here.T @ height[on]), np.float64)
