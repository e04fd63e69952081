"""How wide focus curves are in two bands of detail, and the depth of field that tells."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.focus.curves import Band, Peaks, Stack, find_peaks, quietest, sharp_energy

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class WidthNumbers:
    """Numbers that steer the measurement of an unknown depth of field.

    Attributes
    ----------
    spectrum : float
        Power spectrum of texture where the lens's own blur is told from it: with true Airy discs
        21 simulated sweeps showed 1.8 to 2.3, 2.0 in the median.
    fine_px : tuple of 2 floats
        Bands compared; a third one, coarser by as much again, told nothing more.
    airy_px : tuple of 2 floats
        Least and largest Airy disc that is believed, analysis pixels.
    strongest : float
        Percentile of energy from which a place tells.
    fit, over_noise : float
        Correlation with the expected curve, and energy over noise, from which a peak's height
        tells of the spectrum.
    places : int
        Fewest such peaks.
    around : float
        Factor around the depth of field known so far within which a better one is sought.
    widening : float
        Curves are this much wider than those of a flat surface at rest: 1.09 in the median of the
        same sweeps.
    """

    spectrum: float = 2.0
    fine_px: tuple[float, float] = (0.8, 1.2)
    airy_px: tuple[float, float] = (0.4, 8.0)
    strongest: float = 80.0
    fit: float = 0.93
    over_noise: float = 4.0
    places: int = 30
    around: float = 1.5
    widening: float = 1.09


NUMBERS = WidthNumbers()

BANDS = tuple(Band(fine_px, NUMBERS.spectrum) for fine_px in NUMBERS.fine_px)
"""Bands that `measure_widths` wants the detail of."""

_THINNED = 3
"""Every third place is plenty for two numbers."""


def measure_widths(
    stacks: Sequence[Stack], usable: Mask, dof: float, c_px: float, airy_px: float
) -> tuple[float, float]:
    """Measure the depth of field, and the lens's own blur, of a sweep whose kit is unknown.

    The heights of the same peaks in both bands tell how much of the finest detail the lens
    lost; with it, the widths of the curves tell the depth of field.

    Parameters
    ----------
    stacks : sequence of Stack
        Detail in `BANDS`.
    usable : ndarray of bool, shape (N,)
        Frames that take part.
    dof : float
        Relative depth of field, roughly.
    c_px, airy_px : float
        Circle of confusion and the Airy diameter assumed so far, analysis pixels.

    Returns
    -------
    dof : float
        Relative depth of field.
    airy_px : float
        Airy diameter whose blur the lens, the camera and the hand together had.
    """
    seen = stacks[0].energy[usable, ::_THINNED, ::_THINNED]
    most = np.where(np.isfinite(seen), seen, -1.0).max(0)
    strong: Mask = np.asarray(most >= np.percentile(most, NUMBERS.strongest), np.bool_)
    noise = [quietest(stack, usable) for stack in stacks]
    chosen = [_at(stack, strong) for stack in stacks]
    airy = _airy(
        [
            find_peaks(stack, usable, dof, c_px, airy_px, quiet, band)
            for stack, quiet, band in zip(chosen, noise, BANDS, strict=True)
        ],
        airy_px,
    )
    tries = dof * np.geomspace(1 / NUMBERS.around, NUMBERS.around, 9)
    logs = []
    for stack, quiet, band in zip(chosen, noise, BANDS, strict=True):
        misfit = [
            np.log(
                np.maximum(
                    1 - find_peaks(stack, usable, float(d), c_px, airy, quiet, band).fit ** 2, 1e-4
                )
            ).mean()
            for d in tries
        ]
        logs.append(_lowest(np.log(tries), np.array(misfit)))
    return float(np.exp(np.mean(logs))) / NUMBERS.widening, airy


def _at(stack: Stack, strong: Mask) -> Stack:
    """Detail of the chosen places alone, as one row."""
    thin = (slice(None), slice(None, None, _THINNED), slice(None, None, _THINNED))
    nothing = np.zeros((1, int(strong.sum())), np.float32)
    return Stack(
        stack.energy[thin][:, strong][:, None, :],
        stack.along[thin][:, strong][:, None, :],
        np.zeros((0, 2)),
        nothing,
    )


def _airy(peaks: Sequence[Peaks], assumed: float) -> float:
    """Airy disc that explains the heights of the same peaks in both bands."""
    plain = np.all(
        [
            (peak.fit > NUMBERS.fit) & (peak.amplitude > NUMBERS.over_noise * peak.noise)
            for peak in peaks
        ],
        axis=0,
    )
    if plain.sum() < NUMBERS.places:
        return assumed
    heights = np.array([np.log(peak.amplitude[plain]) for peak in peaks])
    found = np.median(heights - heights[1], axis=1)
    tries = np.arange(NUMBERS.airy_px[0], NUMBERS.airy_px[1] + 0.01, 0.1)
    told = np.log([[sharp_energy(float(airy), band) for band in BANDS] for airy in tries])
    miss = ((told - told[:, 1:2] - found) ** 2).sum(1)
    return float(tries[miss.argmin()])


def _lowest(x: Floats, y: Floats) -> float:
    """Where a curve is lowest, by a parabola through its lowest three points."""
    at = int(np.clip(y.argmin(), 1, len(y) - 2))
    left, mid, right = y[at - 1 : at + 2]
    bend = left - 2 * mid + right
    shift = 0.5 * (left - right) / bend if bend > 0 else 0.0
    return float(x[at] + np.clip(shift, -0.5, 0.5) * (x[1] - x[0]))
