"""Frames of a sweep that can't be used, and why."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.focus.blur import Blur
from haltere.focus.curves import Peaks, Stack, find_peaks
from haltere.focus.depths import believed
from haltere.focus.fault import Fault
from haltere.focus.smear import NO_SMEAR, Smear
from haltere.sweeps.kept import kept_shares
from haltere.sweeps.smears import Pictures, smears_of_sweep

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class FaultNumbers:
    """Numbers that spoil a frame.

    Attributes
    ----------
    dark_gain : float
        Light that is missing against the run's median, as a factor in linear light: 2.5 is
        1.3 stops, more than any flash flickers (common practice, no source).
    keeps : float
        Share of the expected detail a frame must keep where its plane passes: what is lost in all
        directions alike was shaken, or misted over. Of 970 still frames of rendered sweeps the
        worst kept 0.85; flashes and air are less even (assumed).
    shows : float
        Share from which a frame did not move, whatever its directions say: movement adds no detail,
        another posture of a limb does. Smeared frames kept 0.99 at most.
    fewest : int
        Frames that must be left to tell the detail without those that seem smeared.
    """

    dark_gain: float = 2.5
    keeps: float = 0.6
    shows: float = 1.2
    fewest: int = 3


NUMBERS = FaultNumbers()


def find_faults(
    stack: Stack,
    peaks: Peaks,
    trusted: NDArray[np.bool_],
    gains: Floats,
    found: NDArray[np.bool_],
    dof: float,
    c_px: float,
    airy_px: float,
    pictures: Pictures | None = None,
) -> tuple[list[tuple[Fault, ...]], Floats]:
    """Say what is wrong with each frame, and how much of its detail it keeps.

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
    pictures : Pictures, optional
        The frames themselves; without them no direction of movement is told.

    Returns
    -------
    faults : list of tuple of Fault
        One entry a frame, empty where nothing is wrong.
    kept : ndarray of float64, shape (N,)
        Share of the detail that its plane should show, as energy; NaN where nothing tells.
    """
    fair: NDArray[np.bool_] = np.asarray(found & (gains <= NUMBERS.dark_gain), np.bool_)
    smears = [NO_SMEAR] * len(gains)
    scale = 1.0
    if pictures is not None:
        blur = Blur(dof, c_px)
        smears = smears_of_sweep(pictures, stack, peaks, trusted, gains, fair, blur, airy_px)
        scale = pictures.scale
    still = fair & np.array([smear.longer <= 0.5 for smear in smears])
    if NUMBERS.fewest <= int(still.sum()) < int(fair.sum()):
        # smeared frames made less of the detail that their planes should show
        peaks = find_peaks(stack, still, dof, c_px, airy_px)
        trusted = believed(peaks)
    kept = np.where(found, kept_shares(stack, peaks, trusted, dof, c_px, airy_px), np.nan)
    result: list[tuple[Fault, ...]] = []
    for k, gain in enumerate(gains):
        faults: list[Fault] = []
        if not found[k]:
            faults.append(Fault("hidden", 0.9, "it shows nothing that the other frames show"))
        if gain > NUMBERS.dark_gain:
            stops = float(np.log2(gain))
            faults.append(Fault("dark", min(0.5 + stops / 4, 0.99), f"{stops:.1f} stops darker"))
        else:
            faults += _moved(smears[k], scale, float(kept[k]))
        result.append(tuple(faults))
    return result, kept


def _moved(smear: Smear, scale: float, kept: float) -> list[Fault]:
    """Movement with its length in full-size pixels, or detail that is missing all round."""
    if smear.longer > 0.5 and not kept > NUMBERS.shows:
        way = smear.angle_deg
        turned = "" if way is None else f", {way:.0f} degrees clockwise from level"
        said = f"smeared by about {smear.length_px / scale:.1f} px{turned}"
        return [Fault("motion", smear.longer, said)]
    if np.isfinite(kept) and kept < NUMBERS.keeps:
        said = f"keeps {100 * max(kept, 0):.0f} % of the detail its plane should show"
        return [Fault("motion", float(np.clip(1.0 - kept, 0.5, 0.95)), said)]
    return []
