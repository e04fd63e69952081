"""Frames of a sweep that can't be used, and why."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.focus.curves import Peaks, Stack, curve_shape
from haltere.focus.fault import Fault


@dataclass(frozen=True, slots=True)
class FaultNumbers:
    """Numbers that spoil a frame.

    Attributes
    ----------
    dark_gain : float
        Light that is missing against the run's median, as a factor in linear light: 2.5 is
        1.3 stops, more than any flash flickers (common practice, no source).
    keeps : float
        Share of the expected detail a frame must keep where its plane passes; smear of 2 px
        leaves less than half.
    places : int
        Places near the plane that are needed to say so.
    """

    dark_gain: float = 2.5
    keeps: float = 0.45
    places: int = 25


NUMBERS = FaultNumbers()


def find_faults(
    stack: Stack,
    peaks: Peaks,
    trusted: NDArray[np.bool_],
    gains: NDArray[np.float64],
    found: NDArray[np.bool_],
    dof: float,
    c_px: float,
    airy_px: float,
) -> list[tuple[Fault, ...]]:
    """Say what is wrong with each frame.

    Parameters
    ----------
    stack : Stack
        Detail of the run.
    peaks : Peaks
        Focus curves of the run.
    trusted : ndarray of bool, shape (R, C)
        Places whose curves are believed.
    gains : ndarray of float64, shape (N,)
        Linear-light gains.
    found : ndarray of bool, shape (N,)
        Frames that were registered.
    dof, c_px, airy_px : float
        See `haltere.focus.curves.find_peaks`.

    Returns
    -------
    list of tuple of Fault
        One entry a frame, empty where nothing is wrong.
    """
    result: list[tuple[Fault, ...]] = []
    kept = np.full(len(gains), np.nan)
    for k in range(len(gains)):
        off = np.abs(stack.along[k] - peaks.depth)
        near = trusted & (off < dof) & np.isfinite(stack.energy[k])
        if near.sum() < NUMBERS.places:
            continue
        expected = peaks.amplitude[near] * curve_shape(off[near] * 2 * c_px / dof, airy_px)
        kept[k] = float(np.median((stack.energy[k][near] - peaks.noise[near]) / expected))
    for k, gain in enumerate(gains):
        faults: list[Fault] = []
        if not found[k]:
            faults.append(Fault("hidden", 0.9, "it shows nothing that the other frames show"))
        if gain > NUMBERS.dark_gain:
            stops = float(np.log2(gain))
            faults.append(Fault("dark", min(0.5 + stops / 4, 0.99), f"{stops:.1f} stops darker"))
        elif np.isfinite(kept[k]) and kept[k] < NUMBERS.keeps:
            faults.append(
                Fault(
                    "motion",
                    float(np.clip(1.0 - kept[k], 0.5, 0.95)),
                    f"keeps {100 * max(kept[k], 0):.0f} % of the detail its plane should show",
                )
            )
        result.append(tuple(faults))
    return result
