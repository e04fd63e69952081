"""What must be known of a sweep before its picture is painted, at whatever size."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from haltere.errors import SweepError
from haltere.merge.brightness import light_gains
from haltere.merge.depth import DepthMap, depth_map
from haltere.merge.limits import NUMBERS
from haltere.merge.merged import LeftOut
from haltere.merge.moved import Moved, find_moved
from haltere.merge.noise import measure_noise
from haltere.merge.stretches import choose_stretches
from haltere.merge.taken import Stretches
from haltere.merge.volume import changed_rows, focus_volume
from haltere.progress import Progress, silent
from haltere.sweeps.choice import NOTHING_THERE, why_not_used
from haltere.sweeps.sweep import Sweep


@dataclass(frozen=True, slots=True)
class Prepared:
    """A sweep that can be painted.

    Attributes
    ----------
    used : tuple of int
        Frames to paint from.
    left_out : tuple of LeftOut
        Those that are not, and why.
    gains : ndarray of float64, shape (len(used),)
        Factors on linear light.
    ground : DepthMap
        Depth of each place.
    moved : Moved
        Where frames contradict each other, at the depth known before any was kept out of a part.
    stretches : Stretches
        Frames for parts that moved.
    """

    used: tuple[int, ...]
    left_out: tuple[LeftOut, ...]
    gains: NDArray[np.float64]
    ground: DepthMap
    moved: Moved
    stretches: Stretches


def prepare(
    sweep: Sweep,
    *,
    with_background: bool = False,
    longest_px: int = NUMBERS.volume_px,
    looks: Literal[1, 2] = 2,
    progress: Progress = silent,
) -> Prepared:
    """Choose the frames of a sweep, even out their light, and tell the depth of every place.

    Parameters
    ----------
    sweep : Sweep
        Solved sweep, its analysis pictures still at hand.
    with_background : bool
        Take also frames whose planes lie wholly behind the animal.
    longest_px : int, optional
        Places along the longest side that depth is told for.
    looks : {1, 2}, optional
        With 2 the depth of parts that moved is told again, by the frames they are taken from.
    progress : Progress, optional
        Told of every step; may raise to cancel.

    Returns
    -------
    Prepared
        All that painting needs but the frames themselves.

    Raises
    ------
    SweepError
        When there are fewer than two usable frames.
    """
    left = _left_out(sweep) + ([] if with_background else _behind(sweep))
    gone = {item.frame for item in left}
    used = [k for k in range(len(sweep.frames)) if sweep.frames[k].name not in gone]
    if len(used) < 2:
        msg = (
            f"{sweep.frames[sweep.reference].name}: only {len(used)} frame of this run can be "
            "merged; take a sweep of at least two sharp frames"
        )
        raise SweepError(msg)
    noise = measure_noise(sweep, used)
    volume = focus_volume(sweep, used, noise, progress, longest_px=longest_px)
    ground = depth_map(volume, sweep.dof, sweep.c_px / volume.factor)
    gains = light_gains(sweep, used, ground.depth, ground.known)
    # movement is told by places of one size, whatever those of depth are
    shrunk = max(1, round(2 * longest_px / NUMBERS.volume_px))
    moved = find_moved(sweep, used, gains, ground, progress, shrunk)
    stretches = choose_stretches(sweep, used, gains, ground, moved, progress)
    if stretches.moved and looks == 2:
        again = (stretches, volume)
        volume = focus_volume(sweep, used, noise, progress, *again, longest_px=longest_px)
        told = (sweep.dof, sweep.c_px / volume.factor)
        ground = depth_map(volume, *told, ground, changed_rows(stretches))
    return Prepared(tuple(used), tuple(left), gains, ground, moved, stretches)


def _left_out(sweep: Sweep) -> list[LeftOut]:
    """Frames that are not usable or could not be read, each with the likeliest of its faults."""
    taken = {frame.name for k, frame in enumerate(sweep.frames) if sweep.usable[k]}
    said = {plane.frame: plane.faults for plane in sweep.coverage.planes}
    # what could not be read is not among the sweep's frames, but has a plane without a place
    names = [*said, *(frame.name for frame in sweep.frames if frame.name not in said)]
    return [
        LeftOut(name, why_not_used(said.get(name, ())) or "it could not be placed in the sweep")
        for name in names
        if name not in taken
    ]


def _behind(sweep: Sweep) -> list[LeftOut]:
    """Frames whose planes lie wholly behind the animal: they would only make backdrop sharp."""
    choice = sweep.coverage.choice
    if choice is None or not choice.frames:
        return []
    at = {p.frame: p.position_dof for p in sweep.coverage.planes if p.position_dof is not None}
    empty = {one.frame for one in choice.left_out if one.why == NOTHING_THERE}
    # frames that hold what the animal sits on stay, and with them the ends of its feet
    held = max((z for name, z in at.items() if name not in empty), default=np.inf)
    return [
        LeftOut(
            frame.name,
            f"its plane lies {at[frame.name] - held:.1f} depths of field behind all that is sharp",
        )
        for k, frame in enumerate(sweep.frames)
        if sweep.usable[k]
        and frame.name in empty
        and at.get(frame.name, -np.inf) > held + NUMBERS.behind_dof
    ]
