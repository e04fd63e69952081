"""Numbers that steer splitting and classifying, each with its reason."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class RunNumbers:
    """Numbers that steer the room.

    Attributes
    ----------
    look_px : int
        Longest side of the pictures compared: shows an animal and costs 15 ms a pair.
    pause_s : float
        A pause longer than this ends a run of fast frames: nobody holds a burst that long still.
    pause_ratio : float
        A pause is also this many times the usual interval around it, for slow shooters.
    usual_s : float
        Intervals above this say nothing about a rate of shooting.
    agreement : float
        Correlation above which two neighbours show the same thing: rendered hand-held neighbours
        lie above 0.96, other animals below 0.5.
    overlap : float
        Share of the picture that must still be seen.
    bridge : int
        How many frames a broken tie may reach back over misfires and smears.
    dark : float
        Brightness against the run's median below which a frame is a misfire.
    soft : float
        Detail against the run's median below which a frame is smeared.
    turn : float
        Share of the whole travel the camera must come back to count as turned.
    steady : float
        Share of a pass's frames' travel that must go the pass's way; wandering gives half.
    passes : int
        More legs than this are wandering.
    pass_frames : int
        Fewest frames of a pass.
    travel : float
        Least travel of a sweep, relative to the distance: some five depths of field at five
        times life size, half a one at twice; ten times the noise of a chain of small pictures.
    uneven : float
        Median departure of the steps from their median, against it, above which they come from
        an unsteady stand: rendered sweeps lie below 0.4, a drifting burst at 1.1.
    """

    look_px: int = 400
    pause_s: float = 2.0
    pause_ratio: float = 6.0
    usual_s: float = 10.0
    agreement: float = 0.72
    overlap: float = 0.35
    bridge: int = 4
    dark: float = 0.5
    soft: float = 0.5
    turn: float = 0.2
    steady: float = 0.75
    passes: int = 4
    pass_frames: int = 5
    travel: float = 0.0015
    uneven: float = 0.7


NUMBERS = RunNumbers()
