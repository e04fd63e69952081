"""Bursts taken while rocking to and fro: the hand decides where the planes lie, not a script."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.scene import animal as animals
from haltere.scene.camera import Camera, Lens, rotation_matrix
from haltere.scene.hand import make_hand
from haltere.scene.kits import draw_outfit
from haltere.scene.runs import Run, Take, hand_smear, jerked, misfired
from haltere.scene.stage import set_stage

Array = NDArray[np.float64]

PLANS: tuple[animals.Plan, ...] = ("fly", "spider", "beetle", "wasp", "hopper")


@dataclass(frozen=True, slots=True)
class Rocking:
    """Ranges that the conditions of a burst are drawn from.

    Attributes
    ----------
    magnifications, f_numbers : tuple of float
        One of each is drawn.
    axial_sd_mm : tuple of 2 floats
        Standard deviation of the movement along the axis.
    sway_hz : tuple of 2 floats
        Rhythm of that movement: slow, so that neighbouring frames are alike.
    frames : tuple of 2 ints
        Fewest and most frames.
    iso : tuple of int
        One is drawn; noise follows.
    without_keeper : float
        Share of bursts that must not hold a keeper.
    smeared, misfired : float
        Share of bursts in which one or two frames are smeared; dark.
    smear_px : tuple of 2 floats
        Length of a smear at 1600 px width.
    side : tuple of 2 floats
        Sideways sway against the usual hand's.
    """

    magnifications: tuple[float, ...] = (1.0, 2.0)
    f_numbers: tuple[float, ...] = (8.0, 11.0, 16.0)
    axial_sd_mm: tuple[float, float] = (0.6, 3.0)
    sway_hz: tuple[float, float] = (0.25, 1.9)
    frames: tuple[int, int] = (10, 20)
    iso: tuple[int, ...] = (100, 200, 400, 800, 1600)
    without_keeper: float = 0.36
    smeared: float = 0.4
    misfired: float = 0.25
    smear_px: tuple[float, float] = (3.0, 14.0)
    side: tuple[float, float] = (0.8, 3.0)


@dataclass(frozen=True, slots=True)
class RockingRun:
    """A burst and what was drawn for it.

    Attributes
    ----------
    run : Run
        To render.
    axial_sd_mm : float
        Standard deviation of the movement along the axis.
    keeper : bool
        Whether a keeper was asked for.
    """

    run: Run
    axial_sd_mm: float
    keeper: bool


def _path(rng: np.random.Generator, times: Array, sd: float, habits: Rocking) -> Array:
    """Movement along the axis in mm: a few slow sines about a place that is aimed at roughly."""
    amplitude = rng.uniform(0.3, 1.0, 4)
    amplitude *= sd / np.sqrt(0.5 * (amplitude**2).sum())
    rate = rng.uniform(*habits.sway_hz, 4)
    phase = rng.uniform(0, 2 * np.pi, 4)
    waves = amplitude[:, None] * np.sin(2 * np.pi * rate[:, None] * times + phase[:, None])
    return np.asarray(waves.sum(0) + rng.normal(0, 0.4) * sd)


def _offsets(
    rng: np.random.Generator,
    times: Array,
    sd: float,
    dof: float,
    apart: float,
    fine: NDArray[np.bool_],
    keeper: bool,
    habits: Rocking,
) -> Array:
    """Plane minus eye in mm, drawn again until the burst has a keeper or has none.

    `apart` is how far the other eye lies behind: a burst without keeper has neither eye sharp.
    """
    for _ in range(4000):
        path = _path(rng, times, sd, habits)
        near = np.abs(path[fine]).min()
        other = np.abs(path[fine] - apart).min()
        if keeper and near <= 0.5 * dof:
            return path
        if not keeper and near > 0.5 * dof and other > 0.5 * dof:
            return path
    # hardly any path of so small a movement misses (or of so large a one hits): move it bodily
    path = _path(rng, times, sd, habits)
    if keeper:
        nearest = path[fine][np.abs(path[fine]).argmin()]
        return np.asarray(path - nearest + 0.3 * dof * rng.uniform(-1, 1))
    return np.asarray(path - path.max() - rng.uniform(0.6, 3.0) * dof)


def plan_rocking(
    seed: int,
    *,
    width_px: int = 1600,
    height_px: int = 1200,
    sensor_width_mm: float = 17.3,
    plan: animals.Plan | None = None,
    habits: Rocking = Rocking(),
) -> RockingRun:
    """Plan the burst that belongs to a seed: animal, light, hand and luck are all drawn.

    Parameters
    ----------
    seed : int
        Another seed gives another burst.
    width_px, height_px : int
        Frame size.
    sensor_width_mm : float
        Width of the sensor.
    plan : str or None
        Body plan; None takes the five kinds in turn.
    habits : Rocking
        Ranges.
    """
    rng = np.random.default_rng([seed, 83])
    m = float(rng.choice(np.array(habits.magnifications)))
    focal = float(rng.choice(np.array([60.0, 75.0, 90.0])))
    lens = Lens(
        m,
        focal,
        float(rng.choice(np.array(habits.f_numbers))),
        sensor_width_mm,
        width_px,
        height_px,
    )
    outfit = draw_outfit(rng, lens, habits.iso, (8.0, 12.0))
    frames = int(rng.integers(habits.frames[0], habits.frames[1] + 1))
    sd = float(np.exp(rng.uniform(*np.log(habits.axial_sd_mm))))
    keeper = bool(rng.random() >= habits.without_keeper)
    fine = np.ones(frames, bool)
    misfires = _some(rng, frames, habits.misfired)
    smeared = [i for i in _some(rng, frames, habits.smeared) if i not in misfires]
    fine[misfires + smeared] = False
    dof = lens.depth_of_field_mm
    creature = animals.grow(seed, plan or PLANS[seed % len(PLANS)])
    stage = set_stage(creature, lens, seed, fill=float(rng.uniform(0.7, 1.3)))
    gaps = (1.0 / outfit.frames_per_s) * rng.uniform(0.93, 1.07, frames - 1)
    times = np.concatenate([[0.0], np.cumsum(gaps)])
    eye = int(np.argmin(stage.eye_points[:, 2]))
    apart = float(np.ptp(stage.eye_points[:, 2]))
    offset = _offsets(rng, times, sd, dof, apart, fine, keeper, habits)
    usable = np.flatnonzero(fine)
    ref = int(usable[np.argmin(np.abs(offset[usable]))])
    stage = stage.moved(np.array([0.0, 0.0, -float(offset[ref]) - float(stage.eye_points[eye, 2])]))
    scale = float(rng.uniform(*habits.side) * np.sqrt(1.0 / m))
    hand = make_hand(seed, scale=scale)
    zero = hand.at(float(times[ref]))
    gain = np.exp(rng.normal(0.0, 0.03, frames))
    takes = []
    for i in range(frames):
        t = float(times[i])
        d = hand.at(t) - zero
        turn = rotation_matrix(d[3], d[4], d[5])
        # the pupil's z for which plane minus eye is just what the path says
        r, p = turn[2], stage.eye_points[eye]
        want = lens.pupil_distance_mm - offset[i]
        z = float(p[2] - (want - r[0] * (p[0] - d[0]) - r[1] * (p[1] - d[1])) / r[2])
        smear, g, blur = hand_smear(outfit, hand, t), float(gain[i]), 0.0
        faults: list[str] = []
        if i in misfires:
            faults.append("misfire")
            smear, g = misfired(smear, g, outfit)
        if i in smeared:
            faults.append("motion_blur")
            blur = float(rng.uniform(*habits.smear_px)) * width_px / 1600.0
            angle = float(rng.uniform(0.0, 2.0 * np.pi))
            smear = jerked(smear, blur, angle)
        camera = Camera((float(d[0]), float(d[1]), z), turn)
        takes.append(
            Take(t, 0, z + lens.pupil_distance_mm, camera, smear, g, tuple(faults), blur)
        )  # fmt: skip
    run = Run("burst", seed, creature.plan, creature.support, outfit, stage, tuple(takes), ref)
    return RockingRun(run, sd, keeper)


def _some(rng: np.random.Generator, frames: int, share: float) -> list[int]:
    """No frame, or one or two, of a burst."""
    count = int(rng.integers(1, 3)) if rng.random() < share else 0
    return [int(i) for i in rng.choice(frames, count, replace=False)]
