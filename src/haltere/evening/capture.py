"""How a run was taken, put together from the kit, the call and the files."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from haltere.frames.frame import Frame
from haltere.kit import Kit, capture
from haltere.kit.capture import Capture


@dataclass(frozen=True, slots=True)
class Told:
    """What the photographer said in the call; None where nothing was said.

    Attributes
    ----------
    kit : Kit or None
        What the photographer owns.
    magnification : float or None
        Size on the sensor over size on the animal.
    pupil_distance_mm : float or None
        Plane of focus to entrance pupil.
    coc_mm : float or None
        Circle of confusion on the sensor.
    """

    kit: Kit | None = None
    magnification: float | None = None
    pupil_distance_mm: float | None = None
    coc_mm: float | None = None


def capture_of(frames: Sequence[Frame], told: Told) -> Capture:
    """Say how one run was taken, from what was told and the first frame's shooting data.

    Parameters
    ----------
    frames : sequence of Frame
        The frames.
    told : Told
        What the photographer said.

    Raises
    ------
    UsageError
        When a number that was told makes no sense.
    """
    first = frames[0]
    shooting = first.shooting
    return capture(
        told.kit,
        magnification=told.magnification,
        pupil_distance_mm=told.pupil_distance_mm,
        coc_mm=told.coc_mm,
        focal_mm=shooting.focal_mm,
        f_number=shooting.f_number,
        pixel_pitch_mm=shooting.pixel_pitch_mm,
        picture_px=(first.width_px, first.height_px),
    )
