"""Fits one frame of a tilted rule: where it is sharp, how marks converge and how blur grows."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numba import njit
from numpy.typing import NDArray

from haltere.calibration.marks import MarkRow
from haltere.calibration.numbers import NUMBERS
from haltere.calibration.spacing import fit_line

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class RowFit:
    """What one frame of a tilted rule says, each with one standard deviation.

    Attributes
    ----------
    focus_px, focus_px_sigma : float
        Where along the rule the picture is sharpest, pixels from the picture's middle.
    focus_mm, focus_mm_sigma : float
        The same place on the rule, mm from the frame's own mark 0.
    spacing, spacing_sigma : float
        Pixels per mm of rule there.
    convergence, convergence_sigma : float
        How fast spacing falls along the rule there, 1/mm: sin(tilt) over the pupil's distance.
    growth, growth_sigma : float
        Diameter of the blur disc gained per mm along the rule, pixels.
    marks : int
        Marks that took part.
    misfit : float
        Root-mean-square difference of profile and model, as a share of the card's light.
    """

    focus_px: float
    focus_px_sigma: float
    focus_mm: float
    focus_mm_sigma: float
    spacing: float
    spacing_sigma: float
    convergence: float
    convergence_sigma: float
    growth: float
    growth_sigma: float
    marks: int
    misfit: float


_TABLE_X = np.linspace(-4.5, 4.5, 721)
_TABLE_R = np.linspace(0.0, 1.0, 41)


@cache
def _edges() -> Floats:
    """Table (41, 721) of an edge blurred by a disc and by the sensor, of standard deviation 1.

    The first axis is the disc's share of the standard deviation, the second the distance from the
    edge in standard deviations.
    """
    from scipy.special import ndtr

    # chords of a disc: its light projected on a line, cut into 400 slices of equal light
    share = (np.arange(400) + 0.5) / 400.0
    x = np.linspace(-1.0, 1.0, 4001)
    below = 0.5 + (x * np.sqrt(1.0 - x * x) + np.arcsin(x)) / np.pi
    chord = np.interp(share, below, x)
    table = np.empty((len(_TABLE_R), len(_TABLE_X)))
    for i, part in enumerate(_TABLE_R):
        rest = np.sqrt(max(1.0 - part * part, 1e-4))
        table[i] = ndtr((_TABLE_X[:, None] - 2.0 * part * chord) / rest).mean(axis=1)
    return table


@njit(cache=True, nogil=True)  # type: ignore[misc, unused-ignore]
def _draw(
    columns: Floats, at: Floats, half: Floats, sigma: Floats, part: Floats, table: Floats
) -> Floats:
    """Darkness (W, K): each mark a box between two blurred edges taken from the table."""
    out = np.zeros((len(columns), len(at)))
    step = (table.shape[1] - 1) / 9.0
    rows = table.shape[0] - 1
    for k in range(len(at)):
        row = min(part[k] * rows, rows - 1e-9)
        r = int(row)
        fr = row - r
        reach = 4.5 * sigma[k] + half[k]
        for i in range(len(columns)):
            x = columns[i] - at[k]
            if x < -reach or x > reach:
                continue
            value = 0.0
            for sign in (1.0, -1.0):
                place = ((x + sign * half[k]) / sigma[k] + 4.5) * step
                place = min(max(place, 0.0), table.shape[1] - 1.000001)
                c = int(place)
                fc = place - c
                low = table[r, c] * (1.0 - fc) + table[r, c + 1] * fc
                high = table[r + 1, c] * (1.0 - fc) + table[r + 1, c + 1] * fc
                value += sign * (low * (1.0 - fr) + high * fr)
            out[i, k] = value
    return out


@njit(cache=True, nogil=True)  # type: ignore[misc, unused-ignore]
def _normal(design: Floats, wanted: Floats) -> tuple[Floats, Floats]:
    """Sum the normal equations; a library's threads cost more than they save on so little."""
    rows, cols = design.shape
    square = np.zeros((cols, cols))
    right = np.zeros(cols)
    for i in range(rows):
        for a in range(cols):
            value = design[i, a]
            if value == 0.0:
                continue
            right[a] += value * wanted[i]
            for b in range(a, cols):
                square[a, b] += value * design[i, b]
    for a in range(cols):
        for b in range(a):
            square[a, b] = square[b, a]
    return square, right


def drawn_marks(columns: Floats, mm: Floats, q: Floats) -> Floats:
    """Darkness (W, K) of each mark at each column: a box blurred by its disc and by the sensor.

    Each mark spreads over the disc that belongs to its own distance from the plane of focus, as
    light does, so that blur may change across it.

    Parameters
    ----------
    columns : ndarray of float64, shape (W,)
        Places in pixels.
    mm : ndarray of float64, shape (K,)
        Places of the marks on the rule.
    q : ndarray of float64, shape (7,)
        Place of focus in pixels, pixels per mm there, convergence per mm, place of focus in mm,
        growth of the blur disc in pixels per mm, width of a mark in mm, standard deviation of the
        sensor's own blur in pixels.
    """
    focus_px, spacing, convergence, focus_mm, growth, width, soft = q
    tau = mm - focus_mm
    stretch = np.maximum(1.0 + convergence * tau, 0.2)
    at = focus_px + spacing * tau / stretch
    # a disc of diameter b has a standard deviation of b/4 along a line
    disc = 0.25 * np.abs(growth * tau / stretch)
    sigma = np.sqrt(disc**2 + soft**2)
    half = 0.5 * width * spacing / stretch**2
    drawn: Floats = _draw(columns, at, half, sigma, disc / sigma, _edges())
    return drawn


@dataclass(frozen=True, slots=True)
class _Strip:
    """Part of a profile that is fitted."""

    columns: Floats
    light: Floats
    mm: Floats
    ground: Floats
    level: Floats


_EVEN = 0.1  # relative spread allowed to the marks' darkness: ink and light are never even
_NOISE = 0.01  # light of the card that the fit misses by, as a share; sets the weight of `_EVEN`


def _solve(strip: _Strip, q: Floats) -> tuple[Floats, Floats]:
    """Residuals of the profile, and the linear unknowns: card, darkness, each mark's own share."""
    marks = drawn_marks(strip.columns, strip.mm, q)
    count = marks.shape[1]
    design = np.column_stack([strip.ground, -marks.sum(axis=1), -marks]) * strip.level[:, None]
    normal, wanted = _normal(design, strip.light)
    weight = (_NOISE * strip.level.mean() / _EVEN) ** 2
    normal[-count:, -count:] += weight * np.eye(count)
    found = np.linalg.solve(normal + 1e-9 * np.eye(len(normal)), wanted)
    rest = (design * found).sum(axis=1) - strip.light
    return np.concatenate([rest, np.sqrt(weight) * found[-count:]]), np.asarray(found, np.float64)


def fit_row(row: MarkRow, pitch_mm: float) -> RowFit | None:
    """Fit the profile of one frame.

    Parameters
    ----------
    row : MarkRow
        Marks of the frame.
    pitch_mm : float
        From mark to mark.

    Returns
    -------
    RowFit or None
        None when the sharpest place lies outside the marks, or the model doesn't fit.
    """
    from scipy.optimize import least_squares

    strip, middle = _strip(row, pitch_mm)
    q = _start(row, strip, pitch_mm, middle)
    whole, rest, jacobian = np.zeros(0), np.zeros(0), np.zeros((0, 7))
    for _ in range(2):

        def misfit(q: Floats, strip: _Strip = strip) -> Floats:
            return _solve(strip, q)[0]

        fit = least_squares(
            misfit, q, x_scale=_steps(q, pitch_mm),
            bounds=_bounds(strip, pitch_mm), method="trf", max_nfev=40, xtol=1e-7, ftol=1e-7,
        )  # fmt: skip
        q = np.asarray(fit.x, np.float64)
        whole = np.asarray(fit.fun, np.float64)
        rest = whole[: len(strip.columns)]
        jacobian = np.asarray(fit.jac, np.float64)
        # the marks' darkness goes with the light on the card around them
        _, linear = _solve(strip, q)
        level = strip.level * (strip.ground @ linear[: strip.ground.shape[1]])
        if level.min() <= 0.0:
            return None
        strip = _Strip(strip.columns, strip.light, strip.mm, strip.ground, level)
    sigma = np.sqrt(_variances(strip, q, whole, jacobian))
    edge = NUMBERS.edge_marks * pitch_mm
    first, last = row.chain.number[0] * pitch_mm, row.chain.number[-1] * pitch_mm
    if not first + edge <= q[3] <= last - edge or q[4] < 3.0 * sigma[4]:
        return None
    return RowFit(
        focus_px=float(q[0]), focus_px_sigma=float(sigma[0]),
        spacing=float(q[1]), spacing_sigma=float(sigma[1]),
        convergence=float(q[2]), convergence_sigma=float(sigma[2]),
        focus_mm=float(q[3]), focus_mm_sigma=float(sigma[3]),
        growth=float(q[4]), growth_sigma=float(sigma[4]),
        marks=len(row.chain.at_px),
        misfit=float(np.sqrt(np.mean(rest**2)) / np.median(strip.level)),
    )  # fmt: skip


def _variances(strip: _Strip, q: Floats, rest: Floats, jacobian: Floats) -> Floats:
    """Variances (7,) of the unknowns, from misfits that belong together around each mark.

    Misfit is largest at sharp marks, whose shape the model knows least, and neighbouring pixels
    share it, so that marks and not pixels are counted (cluster-robust, Liang and Zeger 1986, from
    memory).
    """
    inverse = np.linalg.pinv(jacobian.T @ jacobian)
    stretch = np.maximum(1.0 + q[2] * (strip.mm - q[3]), 0.2)
    at = q[0] + q[1] * (strip.mm - q[3]) / stretch
    nearest = np.abs(strip.columns[:, None] - at).argmin(axis=1)
    groups = np.concatenate([nearest, np.arange(len(strip.mm))])  # a mark's own darkness with it
    scores = np.zeros((len(strip.mm), jacobian.shape[1]))
    np.add.at(scores, groups, jacobian * rest[:, None])
    many = int((np.abs(scores).sum(axis=1) > 0.0).sum())
    robust = inverse @ (scores.T @ scores) @ inverse * many / max(many - jacobian.shape[1], 1)
    plain = inverse * float(rest @ rest) / max(len(strip.columns) - len(q) - 5, 1)
    return np.asarray(np.maximum(np.diag(robust), np.diag(plain)), np.float64)


def _strip(row: MarkRow, pitch_mm: float) -> tuple[_Strip, float]:
    chain = row.chain
    at, number = chain.at_px, chain.number
    low = at[0] - 0.5 * (at[1] - at[0]) / (number[1] - number[0])
    high = at[-1] + 0.5 * (at[-1] - at[-2]) / (number[-1] - number[-2])
    seen = np.isfinite(row.profile)
    inside = np.flatnonzero(seen & (np.arange(len(seen)) >= low) & (np.arange(len(seen)) <= high))
    middle = (len(row.profile) - 1) / 2.0
    columns = inside.astype(np.float64) - middle
    light = row.profile[inside]
    # marks beyond the strip reach into it
    mm = np.arange(number[0] - 2, number[-1] + 3) * pitch_mm
    x = np.linspace(-1.0, 1.0, len(columns))
    ground = np.asarray(np.polynomial.legendre.legvander(x, 4), np.float64)
    level = np.full(len(columns), float(np.quantile(light, 0.8)))
    return _Strip(columns, light, mm, ground, level), middle


def _start(row: MarkRow, strip: _Strip, pitch_mm: float, middle: float) -> Floats:
    """Best of a coarse search over place of focus, growth of blur and width of the marks."""
    mm = row.chain.number.astype(np.float64) * pitch_mm
    line = fit_line(mm, row.chain.at_px - middle)
    best, best_cost = np.zeros(7), np.inf
    reach = float(mm[-1] - mm[0])
    for focus in np.linspace(mm[0], mm[-1], 9):
        w = 1.0 + line.b * focus
        spacing = (line.a - line.b * line.e) / w**2
        place = (line.a * focus + line.e) / w
        for at_end in (0.4, 0.8, 1.4):
            growth = at_end * pitch_mm * spacing / (0.6 * reach)
            for width in (0.12, 0.25):
                q = np.array([place, spacing, line.b / w, focus, growth, width * pitch_mm, 0.8])
                cost = float(np.sum(_solve(strip, q)[0] ** 2))
                if cost < best_cost:
                    best, best_cost = q, cost
    return best


def _steps(q: Floats, pitch_mm: float) -> Floats:
    return np.array(
        [1.0, 0.01 * q[1], 0.002 / pitch_mm, 0.1 * pitch_mm, 0.1 * q[4], 0.02 * pitch_mm, 0.2]
    )


def _bounds(strip: _Strip, pitch_mm: float) -> tuple[Floats, Floats]:
    width = float(strip.columns[-1] - strip.columns[0])
    low = [-1e5, 1e-3, -0.2 / pitch_mm, strip.mm[0], 1e-4, 0.02 * pitch_mm, 0.2]
    high = [1e5, width, 0.2 / pitch_mm, strip.mm[-1], width, 0.6 * pitch_mm, 12.0]
    return np.array(low), np.array(high)
