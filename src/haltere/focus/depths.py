"""Which focus peaks are believed, and the depth of larger cells made of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.align.solve import Grid
from haltere.focus.curves import NUMBERS as CURVES
from haltere.focus.curves import Peaks, Stack, find_peaks, quietest

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class DepthNumbers:
    """Numbers that decide which peaks are believed.

    Attributes
    ----------
    fit : float
        Correlation of a place's curve with the expected one; noise alone stays below 0.8.
    over_noise : float
        Peak energy over the energy without focus.
    least_energy : float
        Peak energy in squared grey levels of 255: below it texture drowns in quantisation.
    likely_weight : float
        What a likely depth of field counts for against the curves, per squared logarithm: on 21
        bursts half come within 7 % and the one of half a depth of field within a factor of 1.7.
    about : float
        Steps of the search to either side of what was found before within which it is looked for
        first: in bursts and sweeps it moves by less than one (assumed).
    far : float
        Relative depth given to cells without any believed peak: far behind, no vote.
    """

    fit: float = 0.88
    over_noise: float = 1.5
    least_energy: float = 0.15
    likely_weight: float = 0.3
    about: float = 2.6
    far: float = 1.0


NUMBERS = DepthNumbers()


def believed(peaks: Peaks) -> NDArray[np.bool_]:
    """Tell which places have a focus peak that stands out of the noise.

    Parameters
    ----------
    peaks : Peaks
        Fitted curves.

    Returns
    -------
    ndarray of bool, shape (R, C)
        True where the peak is believed.
    """
    result: NDArray[np.bool_] = (
        (peaks.fit > NUMBERS.fit)
        & (peaks.amplitude > NUMBERS.over_noise * peaks.noise)
        & (peaks.amplitude > NUMBERS.least_energy)
    )
    return result


def cell_depths(peaks: Peaks, trusted: NDArray[np.bool_], grid: Grid) -> Floats:
    """Depth of each cell of the registration grid: weighted median of its places.

    Parameters
    ----------
    peaks : Peaks
        Depth of the places.
    trusted : ndarray of bool, shape (R, C)
        Places that count.
    grid : Grid
        Registration grid; its cells hold whole places.

    Returns
    -------
    ndarray of float64, shape (cells,)
        Relative depth, `NUMBERS.far` where no place counts.
    """
    k = grid.step_px // CURVES.cell_px
    rows, cols = grid.shape

    def gather(values: Floats) -> Floats:
        cut = values[: rows * k, : cols * k].reshape(rows, k, cols, k)
        result: Floats = cut.transpose(0, 2, 1, 3).reshape(rows * cols, k * k)
        return result

    depth = gather(peaks.depth)
    weight = gather(np.where(trusted, peaks.amplitude * peaks.fit**8, 0.0))
    order = np.argsort(depth, axis=1)
    climbing = np.cumsum(np.take_along_axis(weight, order, 1), axis=1)
    middle = (climbing < climbing[:, -1:] / 2).sum(1).clip(0, k * k - 1)
    chosen = np.take_along_axis(depth, order, 1)[np.arange(rows * cols), middle]
    return np.where(climbing[:, -1] > 0, chosen, NUMBERS.far)


def estimate_depth_of_field(
    stack: Stack,
    usable: NDArray[np.bool_],
    c_px: float,
    airy_px: float,
    likely: float | None = None,
    near: float | None = None,
) -> float:
    """Relative depth of field that explains the widths of the focus curves best.

    For frames whose kit is unknown: the blur grows with the distance from the plane at a rate
    that only the right depth of field reproduces.

    Parameters
    ----------
    stack : Stack
        Measured detail.
    usable : ndarray of bool, shape (N,)
        Frames that take part.
    c_px, airy_px : float
        Circle of confusion and Airy diameter, analysis pixels.
    likely : float, optional
        What it would be at an ordinary magnification; felt only where the run hardly moved.
    near : float, optional
        What was found with poses that were not quite as good: the answer is looked for there first,
        and elsewhere only when it does not lie there, so that it is the same and comes sooner.

    Returns
    -------
    float
        Relative depth of field.
    """
    middle = np.nanmedian(stack.along[usable], axis=(1, 2))
    spread = max(float(np.ptp(middle)), 1e-6)
    # every third place is plenty for one number
    thin = Stack(
        stack.energy[:, ::3, ::3],
        stack.along[:, ::3, ::3],
        stack.points_px,
        stack.luma[::3, ::3],
    )
    noise = quietest(thin, usable)
    seen = thin.energy[usable]
    most = np.where(np.isfinite(seen), seen, -1.0).max(0)
    strongest = most >= np.percentile(most, 80)
    told = Stack(
        thin.energy[:, strongest][:, None, :],
        thin.along[:, strongest][:, None, :],
        thin.points_px[:0],
        thin.luma[strongest][None, :],
    )
    tries = spread * np.geomspace(1 / 60, 3.0, 26)
    ratio = tries[1] / tries[0]

    def scored(some: Floats) -> Floats:
        scores = np.empty(len(some))
        for k, dof in enumerate(some):
            peaks = find_peaks(told, usable, float(dof), c_px, airy_px, noise)
            scores[k] = np.log(np.maximum(1 - peaks.fit**2, 1e-4)).mean()
        if likely is not None:
            scores += NUMBERS.likely_weight * np.log(some / likely) ** 2
        return scores

    if near is not None:
        about = tries[np.abs(np.log(tries / near)) < NUMBERS.about * np.log(ratio)]
        found = _lowest(about, scored(about), inside=True)
        if found is not None:
            return found
    found = _lowest(tries, scored(tries), inside=False)
    assert found is not None
    return found


def _lowest(tries: Floats, scores: Floats, *, inside: bool) -> float | None:
    """Where a parabola through the lowest score and its neighbours is lowest.

    None where it must lie inside and lies at an end.
    """
    if len(tries) < 3:
        return None
    best = int(scores.argmin())
    if inside and not 0 < best < len(tries) - 1:
        return None
    best = int(np.clip(best, 1, len(tries) - 2))
    left, mid, right = scores[best - 1 : best + 2]
    bend = left - 2 * mid + right
    shift = 0.5 * (left - right) / bend if bend > 0 else 0.0
    return float(tries[best] * (tries[1] / tries[0]) ** np.clip(shift, -0.5, 0.5))
