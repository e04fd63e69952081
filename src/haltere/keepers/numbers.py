"""Numbers that steer what is said of a burst, each with its reason."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class KeeperNumbers:
    """Numbers that steer the room.

    Attributes
    ----------
    work_px : int
        Longest side of the pictures measured: a blur of half a depth of field still shows there.
    dark : float
        Brightness against the run's median below which a frame counts as dark: a misfired flash
        leaves a quarter or less, flicker stays above 0.8.
    near_dof : float
        A keeper's largest distance of the plane from the eye, in depths of field.
    smear_px : float
        A keeper's longest smear, full-size pixels.
    fit : float
        Correlation of a place's focus curve with the expected one from which it is believed.
    strong : float
        Detail at a place's peak against what is there without focus, from which it is believed.
    eye_share : float
        Share of an eye's radius within which its places are taken: its edge shows what lies behind.
    nearest : float
        Share of an eye's face counted as its nearest part, which photographers want sharp.
    looks : int
        Frames searched for the eye.
    sure : float
        Summed probability from which a proposed eye is believed.
    clipped : int
        Luma (of 255) from which a pixel has no detail left.
    clipped_share : float
        Share of an eye's face that may be clipped: a catch light takes up to a tenth.
    floor_dof : float
        Least uncertainty of an offset: the error left by registration and the eye's shape.
    vague_dof : float
        Uncertainty of an offset above which a keeper is not claimed: at 0.8 even an eye said to
        be at zero lies within half a depth of field less often than not.
    alone_keeper, alone_none : float
        Sharpness of a single frame's eye from which it is kept, below which it is not.
    """

    work_px: int = 1600
    dark: float = 0.5
    near_dof: float = 0.5
    smear_px: float = 2.0
    fit: float = 0.85
    strong: float = 2.0
    eye_share: float = 0.8
    nearest: float = 0.12
    looks: int = 3
    sure: float = 0.3
    clipped: int = 252
    clipped_share: float = 0.3
    floor_dof: float = 0.08
    vague_dof: float = 0.8
    alone_keeper: float = 0.8
    alone_none: float = 0.6


NUMBERS = KeeperNumbers()
