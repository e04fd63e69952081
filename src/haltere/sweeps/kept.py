"""How much of the detail that its plane should show a frame of a sweep keeps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.focus.curves import Peaks, Stack, curve_at, find_peaks
from haltere.focus.depths import believed

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class KeptNumbers:
    """Numbers that say what a frame should show.

    Attributes
    ----------
    places : int
        Places near the plane that are needed to say how much it keeps.
    near_dof : float
        Distance from the plane within which a place tells.
    about_dof : float
        The same before its curve is told without the frame.
    fewest : int
        Other frames that such a curve needs.
    """

    places: int = 25
    near_dof: float = 1.0
    about_dof: float = 1.5
    fewest: int = 3


NUMBERS = KeptNumbers()


def kept_shares(
    stack: Stack,
    peaks: Peaks,
    trusted: NDArray[np.bool_],
    dof: float,
    c_px: float,
    airy_px: float,
) -> Floats:
    """Share of the expected detail that each frame has where its plane passes.

    Parameters
    ----------
    stack : Stack
        Detail of the run.
    peaks : Peaks
        Focus curves of the run.
    trusted : ndarray of bool, shape (R, C)
        Places whose curves are believed.
    dof, c_px, airy_px : float
        See `haltere.focus.curves.find_peaks`.

    Returns
    -------
    ndarray of float64, shape (N,)
        As energy; NaN where too few places tell.
    """
    return np.array(
        [_share(stack, peaks, trusted, k, dof, c_px, airy_px) for k in range(len(stack.energy))]
    )


def _share(
    stack: Stack,
    peaks: Peaks,
    trusted: NDArray[np.bool_],
    index: int,
    dof: float,
    c_px: float,
    airy_px: float,
) -> float:
    """Share of the expected detail that one frame has where its plane passes."""
    energy = stack.energy[index]
    off = np.abs(stack.along[index] - peaks.depth)
    near = trusted & (off < NUMBERS.near_dof * dof) & np.isfinite(energy)
    if near.sum() < NUMBERS.places:
        return float("nan")
    expected = peaks.amplitude[near] * curve_at(off[near] * 2 * c_px / dof, airy_px)
    return float(np.median((energy[near] - peaks.noise[near]) / expected))


def kept_beside_others(
    stack: Stack,
    peaks: Peaks,
    trusted: NDArray[np.bool_],
    others: NDArray[np.bool_],
    index: int,
    dof: float,
    c_px: float,
    airy_px: float,
) -> float:
    """Share of the detail that the other frames alone foretell for one frame.

    A frame that lies by itself draws the tops of the curves there, and keeps all of what it drew;
    told by the flanks that the others have measured, it must come up to them.

    Parameters
    ----------
    stack : Stack
        Detail of the run.
    peaks : Peaks
        Focus curves of the run.
    trusted : ndarray of bool, shape (R, C)
        Places whose curves are believed.
    others : ndarray of bool, shape (N,)
        Frames that foretell; the frame itself counts for nothing among them.
    index : int
        The frame.
    dof, c_px, airy_px : float
        See `haltere.focus.curves.find_peaks`.

    Returns
    -------
    float
        As energy; NaN where too few frames or places tell.
    """
    taking = others.copy()
    taking[index] = False
    off = np.abs(stack.along[index] - peaks.depth)
    about = trusted & (off < NUMBERS.about_dof * dof) & np.isfinite(stack.energy[index])
    if int(taking.sum()) < NUMBERS.fewest or int(about.sum()) < NUMBERS.places:
        return float("nan")
    some = Stack(
        stack.energy[:, about][:, None, :],
        stack.along[:, about][:, None, :],
        np.zeros((0, 2)),
        np.zeros((1, int(about.sum())), np.float32),
    )
    told = find_peaks(some, taking, dof, c_px, airy_px)
    return _share(some, told, believed(told), index, dof, c_px, airy_px)
