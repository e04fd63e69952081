"""Sweeps pushed by hand as they come: steps, passes, faults, holes and moving limbs are drawn."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from haltere.scene import animal as animals
from haltere.scene.camera import Camera, Lens, rotation_matrix
from haltere.scene.hand import make_hand
from haltere.scene.kits import Outfit, draw_outfit
from haltere.scene.limbs import MovedLimb
from haltere.scene.pushing import Push, Pushing, draw_push, lay_holes
from haltere.scene.raster import look
from haltere.scene.rocking import PLANS
from haltere.scene.runs import Run, Take, hand_smear, jerked, misfired
from haltere.scene.stage import Stage, animal_depths, set_stage
from haltere.scene.visible import pinhole

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Sweeping:
    """Ranges that the conditions of a sweep are drawn from.

    Attributes
    ----------
    pushing : Pushing
        What happens along depth.
    magnifications : tuple of float
        Three of five sweeps take one of these; the others lie between the least and the greatest.
    f_numbers : tuple of float
        The one at which the animal is about as deep as the sweep needs is taken, or one nearby.
    most_effective : float
        No effective f-number beyond this: diffraction shows (common practice, no source).
    iso : tuple of int
        One is drawn; noise follows.
    smear_px : tuple of 2 floats
        Length of a smear at 1600 px width.
    side : tuple of 2 floats
        Sideways sway against the usual hand's.
    moving : float
        Share of sweeps in which a limb moves.
    turn_deg : tuple of 2 floats
        By how much.
    """

    pushing: Pushing = field(default_factory=Pushing)
    magnifications: tuple[float, ...] = (1.0, 2.0, 3.0)
    f_numbers: tuple[float, ...] = (5.6, 6.3, 7.1, 8.0, 9.0, 10.0, 11.0, 13.0, 14.0, 16.0)
    most_effective: float = 48.0
    iso: tuple[int, ...] = (100, 200, 400, 800, 1600)
    smear_px: tuple[float, float] = (3.0, 12.0)
    side: tuple[float, float] = (0.8, 2.0)
    moving: float = 0.4
    turn_deg: tuple[float, float] = (2.0, 8.0)


@dataclass(frozen=True, slots=True)
class SweepingRun:
    """A sweep and what was drawn for it.

    Attributes
    ----------
    run : Run
        To render.
    push : Push
        What happens along depth, depths of field; its zero is its own.
    mean_step, uneven : float
        Mean step within passes in depths of field, as it was before holes were torn open;
        standard deviation over mean.
    """

    run: Run
    push: Push
    mean_step: float
    uneven: float


def _lens(
    rng: np.random.Generator, depth: float, size: tuple[int, int, float], habits: Sweeping
) -> Lens:
    """Lens at which an animal that fills the frame is about `depth` depths of field deep."""
    span = habits.magnifications
    m = float(rng.choice(np.array(span)))
    if rng.random() < 0.4:
        m = round(float(rng.uniform(min(span), max(span))), 2)
    focal = float(rng.choice(np.array([50.0, 60.0, 75.0, 90.0, 100.0])))
    width, height, sensor = size
    lenses = [Lens(m, focal, n, sensor, width, height) for n in habits.f_numbers]
    lenses = [one for one in lenses if one.f_number_effective <= habits.most_effective]
    # animals are about 0.65 frame widths deep
    own = np.array([0.65 * sensor / m / one.depth_of_field_mm for one in lenses]) / depth
    fit = [one for one, r in zip(lenses, own, strict=True) if 0.7 <= r <= 2.2]
    if not fit:
        return lenses[int(np.argmin(np.abs(np.log(own))))]
    return fit[int(rng.integers(len(fit)))]


def _limb(
    rng: np.random.Generator, stage: Stage, push: Push, ref: int, habits: Sweeping
) -> tuple[MovedLimb | None, NDArray[np.int64]]:
    """Limb that moves, and the pose of each frame."""
    frames = len(push.number)
    still = np.zeros(frames, np.int64)
    seen = [i for i, share in enumerate(limb_shares(stage)) if 0.004 <= share <= 0.2]
    if not seen:
        return None, still
    number = int(rng.choice(seen))
    angle = np.zeros(frames)
    style = rng.random()
    if style < 0.4 and push.number[-1] > 0:
        for k in range(1, int(push.number[-1]) + 1):
            angle[push.number == k] = _angle(rng, habits)
    elif style < 0.7:
        begin = int(rng.integers(2, frames - 4))
        angle[begin : begin + int(rng.integers(2, 6))] = _angle(rng, habits)
    else:
        for begin in rng.integers(3, frames - 2, int(rng.integers(1, 4))):
            angle[int(begin) :] = _angle(rng, habits)
    angle -= angle[ref]
    poses = [0.0, *(float(a) for a in np.unique(angle) if a != 0.0)]
    if len(poses) == 1:
        return None, still
    own = stage.limbs[number]
    arm = stage.verts[own.verts].mean(axis=0) - own.base_mm
    axis = np.cross(arm, rng.normal(size=3))
    axis /= np.linalg.norm(axis)
    which = np.array([poses.index(float(a)) for a in angle])
    return MovedLimb(number, axis, tuple(poses)), which


def _angle(rng: np.random.Generator, habits: Sweeping) -> float:
    return float(rng.choice([-1.0, 1.0]) * rng.uniform(*habits.turn_deg))


def limb_shares(stage: Stage) -> list[float]:
    """Share of the frame in which each limb of a stage is seen from the reference camera.

    Parameters
    ----------
    stage : Stage
        What stands before the lens.
    """
    lens = stage.lens
    small = replace(lens, width_px=400, height_px=round(400 * lens.height_px / lens.width_px))
    cx, cy = small.centre_px
    _, ids = look(
        stage.verts, stage.tris, stage.hair_pts, stage.hair_width, pinhole(small),
        small.focal_px, small.pupil_distance_mm, cx, cy, small.height_px, small.width_px,
    )  # fmt: skip
    first = stage.tris[ids[ids >= 0], 0]
    count = np.bincount(first, minlength=len(stage.verts))
    return [float(count[one.verts].sum()) / ids.size for one in stage.limbs]


def plan_sweeping(
    seed: int,
    width_px: int = 1280,
    height_px: int = 960,
    sensor_width_mm: float = 17.3,
    plan: animals.Plan | None = None,
    habits: Sweeping = Sweeping(),
) -> SweepingRun:
    """Plan the sweep that belongs to a seed: animal, light, hand and luck are all drawn.

    Parameters
    ----------
    seed : int
        Another seed gives another sweep.
    width_px, height_px : int
        Frame size.
    sensor_width_mm : float
        Width of the sensor.
    plan : str or None
        Body plan; None takes the five kinds in turn.
    habits : Sweeping
        Ranges.
    """
    rng = np.random.default_rng([seed, 97])
    push = draw_push(rng, habits.pushing)
    steps = push.steps()
    lens = _lens(rng, push.depth, (width_px, height_px, sensor_width_mm), habits)
    dof = lens.depth_of_field_mm
    creature = animals.grow(seed, plan or PLANS[seed % len(PLANS)])
    stage = set_stage(
        creature, lens, seed, fill=float(rng.uniform(0.7, 1.2)), depth_mm=push.depth * dof
    )
    seen = animal_depths(stage, lens)
    near, deep = float(seen.min()), float(np.ptp(seen))
    push = lay_holes(rng, push, (seen - near) / deep, habits.pushing)
    usable = np.flatnonzero(push.usable)
    middle = 0.5 * (push.near + push.far)
    ref = int(usable[np.argmin(np.abs(push.position[usable] - middle))])
    position = (push.position - push.position[ref]) * dof
    stage = stage.moved(np.array([0.0, 0.0, (push.near - push.position[ref]) * dof - near]))
    limb, pose = None, np.zeros(len(position), np.int64)
    if rng.random() < habits.moving:
        limb, pose = _limb(rng, stage, push, ref, habits)
    moved = tuple(stage.with_limb(limb, k) for k in range(1, len(limb.angle_deg))) if limb else ()
    outfit = draw_outfit(rng, lens, habits.iso, (6.0, 12.0))
    takes = _takes(rng, seed, outfit, push, position, ref, pose, habits)
    run = Run(
        "sweep", seed, creature.plan, creature.support, outfit, stage, takes, ref, moved, limb
    )
    return SweepingRun(run, push, float(steps.mean()), float(steps.std() / steps.mean()))


def _takes(
    rng: np.random.Generator, seed: int, outfit: Outfit, push: Push, position: Array, ref: int,
    pose: NDArray[np.int64], habits: Sweeping,
) -> tuple[Take, ...]:  # fmt: skip
    lens, frames = outfit.lens, len(position)
    waits = rng.uniform(0.93, 1.07, frames - 1) / outfit.frames_per_s
    waits += np.diff(push.number) * rng.uniform(0.2, 1.5, frames - 1)  # the hand turns round
    times = np.concatenate([[0.0], np.cumsum(waits)])
    hand = make_hand(
        seed, scale=float(rng.uniform(*habits.side) * np.sqrt(1.0 / lens.magnification))
    )
    zero = hand.at(float(times[ref]))
    gain = np.exp(rng.normal(0.0, 0.025, frames))
    out = []
    for i in range(frames):
        t = float(times[i])
        d = hand.at(t) - zero
        smear, g, blur = hand_smear(outfit, hand, t), float(gain[i]), 0.0
        faults: tuple[str, ...] = ()
        length, angle = float(rng.uniform(*habits.smear_px)), float(rng.uniform(0.0, 2.0 * np.pi))
        if push.dark[i]:
            faults = ("misfire",)
            smear, g = misfired(smear, g, outfit)
        elif push.smeared[i]:
            faults = ("motion_blur",)
            # a shorter one would be no fault
            blur = max(2.2, length * lens.width_px / 1600.0)
            smear = jerked(smear, blur, angle)
        z = float(position[i]) - lens.pupil_distance_mm
        camera = Camera((float(d[0]), float(d[1]), z), rotation_matrix(d[3], d[4], d[5]))
        number = int(push.number[i])
        out.append(
            Take(t, number, float(position[i]), camera, smear, g, faults, blur, int(pose[i]))
        )
    return tuple(out)
