"""The eye of a sweep's animal, so that gaps are told against it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from haltere.errors import FrameError, UsageError
from haltere.frames import Decoder
from haltere.keepers.eye import Spot, gather, look_for
from haltere.keepers.numbers import NUMBERS as KEEPERS
from haltere.progress import Progress, silent
from haltere.sweeps import Coverage, Sweep
from haltere.sweeps.eye_place import in_reference, with_eye


@dataclass(frozen=True, slots=True)
class SweepEyeNumbers:
    """Numbers that steer the search.

    Attributes
    ----------
    planes : tuple of float
        Shares of the sweep's depth at which frames are looked at in turn, until one look is sure:
        eyes lie in the nearer half of most animals (assumed).
    radius_share : float
        Radius of an eye that was pointed at, as a share of the picture's longer side (assumed).
    """

    planes: tuple[float, ...] = (0.3, 0.5, 0.1, 0.8)
    radius_share: float = 0.02


NUMBERS = SweepEyeNumbers()


def told_against_eye(
    sweep: Sweep,
    decoder: Decoder,
    eye: tuple[float, float] | None = None,
    eye_frame: str | None = None,
    progress: Progress = silent,
) -> Coverage:
    """Say of each gap of a sweep where it lies against the eye.

    Without a given eye it is looked for, in four small pictures at most, and only where there is a
    gap.

    Parameters
    ----------
    sweep : Sweep
        Solved.
    decoder : Decoder
        Open decoder.
    eye : tuple of float, optional
        Where it is, in upright full-size pixels of `eye_frame`.
    eye_frame : str, optional
        A frame's name.
    progress : Progress, optional
        Told of each look.

    Returns
    -------
    Coverage
        As it was where no eye is found.

    Raises
    ------
    UsageError
        When the eye was given in a frame that could not be placed.
    """
    if eye is not None:
        name = eye_frame or sweep.frames[0].name
        here = in_reference(sweep, name, eye)
        if here is None:
            raise UsageError(f"{name}: does not match the other frames; name another --eye-frame")
        frame = sweep.frames[sweep.reference]
        radius = NUMBERS.radius_share * max(frame.width_px, frame.height_px)
        return with_eye(sweep, here, radius, "given")
    if not sweep.coverage.gaps:
        return sweep.coverage
    spot = _proposed(sweep, decoder, progress)
    if spot is None:
        return sweep.coverage
    return with_eye(sweep, (spot.x_px, spot.y_px), spot.radius_px, "proposed")


def _proposed(sweep: Sweep, decoder: Decoder, progress: Progress) -> Spot | None:
    """Likeliest eye in full-size pixels of the reference frame; None where none is likely."""
    usable = np.flatnonzero(sweep.usable)
    if usable.size == 0:
        return None
    order = usable[np.argsort(sweep.poses[usable, 2], kind="stable")]
    looks = dict.fromkeys(int(order[round(share * (order.size - 1))]) for share in NUMBERS.planes)
    spots: list[Spot] = []
    for done, k in enumerate(looks, start=1):
        progress("looking for the eye", done, len(looks))
        frame = sweep.frames[k]
        try:
            seen = look_for(decoder.rgb(frame, KEEPERS.look_px)).spots
        except FrameError:
            continue
        for one in seen:
            at = in_reference(sweep, frame.name, (one.x_px, one.y_px))
            if at is not None:
                spots.append(Spot(at[0], at[1], one.radius_px, one.chance, one.colour))
        found = gather(spots, done)
        if found and sum(one.chance for one in found[:2]) > KEEPERS.certain:
            return found[0]
    found = gather(spots, len(looks))
    sure = bool(found) and sum(one.chance for one in found[:2]) > KEEPERS.sure
    return found[0] if sure else None
