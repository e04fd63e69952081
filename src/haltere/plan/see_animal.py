"""A made-up animal of the wished depth before a lens that blurs as the kit does."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from haltere import optics
from haltere.errors import UsageError
from haltere.plan.see_numbers import SEEING, Seeing

if TYPE_CHECKING:
    from haltere.plan.given import Given
    from haltere.scene.animal import Animal
    from haltere.scene.camera import Lens
    from haltere.scene.sensor import Sensor
    from haltere.scene.stage import Stage


def lens_of(given: Given, f_number: float, size_px: tuple[int, int], pitch_mm: float) -> Lens:
    """Give the thin lens that blurs and diffracts as the kit does at a marked f-number.

    A symmetric lens with the kit's entrance pupil distance and effective f-number has the same
    perspective, the same blur disc near the plane of focus and the same diffraction, whatever is
    attached.

    Parameters
    ----------
    given : Given
        Kit and magnification.
    f_number : float
        As marked.
    size_px : tuple of int
        Width and height of the picture.
    pitch_mm : float
        Width of its pixels on the sensor.

    Returns
    -------
    Lens
        For the simulator.
    """
    from haltere.scene.camera import Lens

    m = given.lens.magnification
    return Lens(
        magnification=m,
        focal_mm=given.lens.pupil_distance_mm / (1.0 + 1.0 / m),
        f_number=given.effective(f_number) / (1.0 + m),
        sensor_width_mm=pitch_mm * size_px[0],
        width_px=size_px[0],
        height_px=size_px[1],
        coc_mm=given.coc_mm,
    )


def noise_of(given: Given, pitch_mm: float, seeing: Seeing = SEEING) -> Sensor:
    """Give the noise of pixels of this width at the planned ISO speed.

    Parameters
    ----------
    given : Given
        ISO speed and pixel width of the sensor.
    pitch_mm : float
        Width of the picture's pixels; larger ones than the sensor's are sums of those.
    seeing : Seeing, optional
        What a usual sensor holds.

    Returns
    -------
    Sensor
        For the simulator.
    """
    from haltere.scene.sensor import Sensor

    area_um2 = (1000.0 * pitch_mm) ** 2
    full = seeing.electrons_per_um2 * area_um2 * 100.0 / given.iso
    return Sensor(full, seeing.read_electrons * max(pitch_mm / given.pitch_mm, 1.0))


@dataclass(frozen=True, slots=True)
class Drawn:
    """An animal before the lens, its middle in depth at 0.

    Attributes
    ----------
    kind : str
        "fly" or "spider".
    stage : Stage
        What the simulator draws.
    size_mm : tuple of float
        Width and height as the camera sees it, and depth.
    aim : tuple of float
        Where the camera is aimed for the whole view, right and down, mm.
    face : tuple of float
        Its nearer eye, right and down, mm.
    """

    kind: str
    stage: Stage
    size_mm: tuple[float, float, float]
    aim: tuple[float, float]
    face: tuple[float, float]

    def seen_from(self, place: tuple[float, float], given: Given) -> Stage:
        """Give the stage with a place on the axis, before the background of the whole frame.

        Parameters
        ----------
        place : tuple of float
            Right and down, mm.
        given : Given
            Kit and magnification.

        Returns
        -------
        Stage
            Moved.
        """
        aimed = self.stage.moved(np.array([-place[0], -place[1], 0.0]))
        frame = lens_of(given, given.f_numbers[0], given.picture_px, given.pitch_mm)
        return replace(aimed, lens=frame)


def drawn_animal(given: Given, widest: float, seed: int, seeing: Seeing) -> Drawn:
    """Grow an animal and make it as large as its depth says.

    Parameters
    ----------
    given : Given
        Kit and wishes.
    widest : float
        Smallest f-number that it is drawn at: how fine its paint must be.
    seed : int
        Another one makes another animal.
    seeing : Seeing
        How fine.

    Returns
    -------
    Drawn
        The animal before the lens.

    Raises
    ------
    UsageError
        When the animal is so deep that the lens would touch it, or too small to be seen.
    """
    from haltere.scene.animal import grow
    from haltere.scene.stage import animal_depths, set_stage

    creature = grow(seed)
    depth_mm = given.wishes.depth_mm
    m = given.lens.magnification
    if depth_mm > seeing.deepest * given.lens.pupil_distance_mm:
        raise UsageError(
            f"--see: an animal {depth_mm:g} mm deep reaches the lens at {m:.3g}:1; "
            "ask for less --depth or less --magnification"
        )
    # once small and plain, only to learn how deep it is in body units
    plain = lens_of(given, widest, (400, 300), 4.0 * m / 400)
    unit = set_stage(creature, plain, seed, body_mm=1.0, texels_per_px=0.02)
    body_mm = depth_mm / float(np.ptp(animal_depths(unit, plain)))
    if body_mm * m < seeing.least_share * given.sensor_mm[0]:
        raise UsageError(
            f"--see: an animal {depth_mm:g} mm deep is too small to be seen at {m:.3g}:1; "
            "ask for more --depth or more --magnification"
        )
    # a field that holds animal and frame wherever on the animal the camera is aimed
    field_mm = 1.2 * max(1.7 * body_mm, given.sensor_mm[0] / m, given.sensor_mm[1] / m)
    airy_mm = optics.airy_diameter_mm(given.effective(widest))
    paint_mm = max(given.pitch_mm / seeing.texels_per_px, airy_mm / seeing.texels_per_airy)
    wide = lens_of(given, widest, (_even(field_mm * m / paint_mm),) * 2, paint_mm)
    creature = _on_a_long_stem(creature, 3.0 * field_mm / body_mm)
    stage = set_stage(creature, wide, seed, body_mm=body_mm, depth_mm=depth_mm)
    body = stage.verts[np.unique(stage.tris[stage.tri_label >= 2])].astype(np.float64)
    low, high = body.min(axis=0), body.max(axis=0)
    eye = stage.eye_points[int(np.argmin(stage.eye_points[:, 2]))]
    aim = []
    for axis in (0, 1):
        spare = 0.5 * max(high[axis] - low[axis] - seeing.room * given.sensor_mm[axis] / m, 0.0)
        middle = 0.5 * (low[axis] + high[axis])
        aim.append(float(middle + np.clip(eye[axis] - middle, -spare, spare)))
    size = (float(high[0] - low[0]), float(high[1] - low[1]), depth_mm)
    return Drawn(creature.plan, stage, size, (aim[0], aim[1]), (float(eye[0]), float(eye[1])))


def _on_a_long_stem(creature: Animal, length: float) -> Animal:
    """Let a stem be so many body units long that no frame shows its ends."""
    if creature.support != "stem":
        return creature
    patches = []
    for patch in creature.patches:
        if patch.label != 1:
            patches.append(patch)
            continue
        factor = np.ones(3)
        factor[0] = max(length / max(float(np.ptp(patch.points[..., 0])), 1e-9), 1.0)
        local = patch.local.copy()
        local[..., :3] *= factor
        patches.append(replace(patch, points=patch.points * factor, local=local))
    return replace(creature, patches=tuple(patches))


def _even(number: float) -> int:
    return 2 * math.ceil(number / 2)
