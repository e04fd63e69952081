"""Where the camera stands in each frame of a sweep, a burst or a single."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from haltere.scene import animal as animals
from haltere.scene.camera import Camera, Lens, rotation_matrix
from haltere.scene.exposure import Smear
from haltere.scene.hand import Hand, make_hand, push_positions
from haltere.scene.kits import Outfit
from haltere.scene.limbs import MovedLimb
from haltere.scene.stage import Stage, animal_depths, set_stage

Array = NDArray[np.float64]
Kind = Literal["sweep", "burst", "single"]


@dataclass(frozen=True, slots=True)
class RunShape:
    """How runs are laid out, in depths of field unless said otherwise.

    Chosen so that the classes of frames stay apart: nothing lies near the border of "sharp".
    """

    step: float = 0.54  # mean step of a push: frames overlap by nearly half
    lead: float = 0.35  # a clean sweep starts this far before the animal and ends as far behind
    hole: float = 3.65  # step across a hole; leaves 2.65 uncovered
    deepest: float = 13.0  # deepest animal, so that 26 frames suffice
    deepest_free: float = 20.0  # bursts and singles: as deep as the animal is, up to this
    keeper: float = 0.36  # a keeper's eye lies within this
    miss: float = 0.64  # any other frame's eye lies outside this
    clear_miss: float = 1.15  # a burst without keeper stays outside this for either eye
    motion_px: tuple[float, float] = (7.0, 13.0)  # smear at 1600 px width; never below 4
    dark: float = 0.008  # light left in a misfire, beside the ambient share


@dataclass(frozen=True, slots=True)
class Take:
    """One exposure to make; `pose` 0 is the animal as it stands, others as `Run.moved` says."""

    time_s: float
    pass_number: int
    position_mm: float
    camera: Camera
    smear: Smear
    gain: float
    faults: tuple[str, ...]
    blur_px: float
    pose: int = 0


@dataclass(frozen=True, slots=True)
class Run:
    """One run to render.

    Attributes
    ----------
    kind : {"sweep", "burst", "single"}
        What is taken.
    seed : int
        Its seed.
    plan, support : str
        Body plan and support.
    outfit : Outfit
        Camera, lens, settings.
    stage : Stage
        The animal, in the axes of the reference take.
    takes : tuple of Take
        In order of time.
    reference_index : int
        Index of the take that sees the maps.
    moved : tuple of Stage
        The animal in poses 1, 2 and so on, with a limb elsewhere.
    limb : MovedLimb or None
        That limb.
    """

    kind: Kind
    seed: int
    plan: str
    support: str
    outfit: Outfit
    stage: Stage
    takes: tuple[Take, ...]
    reference_index: int
    moved: tuple[Stage, ...] = ()
    limb: MovedLimb | None = None

    def stage_of(self, take: Take) -> Stage:
        """Give the animal as it stands in a take.

        Parameters
        ----------
        take : Take
            One of the run's.
        """
        return self.moved[take.pose - 1] if take.pose else self.stage


def hand_smear(outfit: Outfit, hand: Hand, time_s: float) -> Smear:
    """Movement of the picture that a hand makes during an exposure.

    Parameters
    ----------
    outfit : Outfit
        Gives the exposure and the picture's scale.
    hand : Hand
        The hand.
    time_s : float
        Moment.
    """
    v = hand.speed(time_s)
    lens = outfit.lens
    px_s = np.array(
        [v[0] * lens.px_per_mm + v[4] * lens.focal_px, v[1] * lens.px_per_mm - v[3] * lens.focal_px]
    )
    f, a = px_s * outfit.flash_s, px_s * outfit.exposure_s
    return Smear((float(f[0]), float(f[1])), (float(a[0]), float(a[1])), outfit.ambient_share)


def misfired(
    smear: Smear, gain: float, outfit: Outfit, shape: RunShape = RunShape()
) -> tuple[Smear, float]:
    """Take the flash away: what is left is nearly all daylight.

    Parameters
    ----------
    smear : Smear
        Of the frame with its flash.
    gain : float
        Its light.
    outfit : Outfit
        Settings.
    shape : RunShape, optional
        Says what a misfire leaves beside the daylight.
    """
    left = shape.dark + outfit.ambient_share
    return replace(smear, ambient_share=outfit.ambient_share / left), gain * left


def jerked(smear: Smear, length_px: float, angle: float) -> Smear:
    """Move the camera while the flash burns.

    Parameters
    ----------
    smear : Smear
        Of the frame as it was.
    length_px : float
        Way of the picture.
    angle : float
        Its direction, radians.
    """
    way = length_px * float(np.cos(angle)), length_px * float(np.sin(angle))
    return replace(smear, flash_px=way)


def _cameras(lens: Lens, hand: Hand, times: Array, positions: Array, ref: int) -> list[Camera]:
    """Poses relative to the reference take, whose pose is the origin."""
    zero = hand.at(float(times[ref]))
    out = []
    for t, z in zip(times, positions, strict=True):
        d = hand.at(float(t)) - zero
        out.append(
            Camera(
                (float(d[0]), float(d[1]), float(z) - lens.pupil_distance_mm),
                rotation_matrix(d[3], d[4], d[5]),
            )
        )
    return out


def _times(rng: np.random.Generator, n: int, rate: float) -> Array:
    gaps = (1.0 / rate) * rng.uniform(0.93, 1.07, max(n - 1, 0))
    return np.concatenate([[0.0], np.cumsum(gaps)])


def _hand(seed: int, lens: Lens) -> Hand:
    # a hand leans closer at high magnification: the picture sways about alike
    return make_hand(seed, scale=float(np.sqrt(1.0 / lens.magnification)))


def _flicker(rng: np.random.Generator, n: int) -> Array:
    """Flash output per frame: a few per cent, with a slow drift while it recharges."""
    return np.asarray(
        np.exp(rng.normal(0.0, 0.022, n) + 0.02 * np.sin(np.arange(n) * rng.uniform(0.2, 0.8)))
    )


def _best_hole(depths: Array, near: float, far: float, hole_mm: float) -> float:
    """Start of the stretch in the animal's middle under which most of its surface lies."""
    best, at = -1.0, 0.5 * (near + far - hole_mm)
    for f in np.linspace(0.38, 0.62, 25):
        a = near + f * (far - near) - 0.5 * hole_mm
        n = float(np.count_nonzero((depths > a) & (depths < a + hole_mm)))
        if n > best:
            best, at = n, a
    return at


def plan_sweep(
    seed: int, outfit: Outfit, *, frames: int, passes: int = 1, gap: bool = False,
    plan: animals.Plan | None = None, shape: RunShape = RunShape(),
) -> Run:  # fmt: skip
    """Plan a hand-pushed sweep through an animal whose depth fits the number of frames.

    Parameters
    ----------
    seed : int
        Animal, pose and hand.
    outfit : Outfit
        Camera, lens, settings.
    frames : int
        Frames in all.
    passes : {1, 2}
        2: away with a hole, then back toward the camera through it.
    gap : bool
        True leaves a hole that nothing fills.
    plan : {"fly", "spider", "beetle", "wasp", "hopper"} or None
        Body plan; None lets the seed choose between fly and spider.
    shape : RunShape
        Layout.
    """
    rng = np.random.default_rng([seed, 61])
    lens = outfit.lens
    dof = lens.depth_of_field_mm
    if passes == 2:
        way = (shape.step * (frames - 2) + shape.hole) / 1.78
    elif gap:
        way = shape.step * (frames - 2) + shape.hole
    else:
        way = shape.step * (frames - 1)
    depth = float(np.clip(way - 2.0 * shape.lead, 2.0, shape.deepest))
    creature = animals.grow(seed, plan)
    stage = set_stage(creature, lens, seed, depth_mm=depth * dof)
    depths = animal_depths(stage, lens)
    near = float(depths.min()) - shape.lead * dof
    far = float(depths.max()) + shape.lead * dof
    hole = shape.hole * dof
    start = _best_hole(depths, near, far, hole)
    if passes == 2:
        n1 = 2 + max(2, round((far - near - hole) / (shape.step * dof)))
        n1 = min(n1, frames - 4)
        first = _with_hole(rng, near, far, start, hole, n1, dof)
        back_to = start - rng.uniform(0.3, 0.8) * dof
        second = push_positions(rng, far - 0.2 * dof, float(back_to), frames - n1 - 1, dof)
        positions = np.concatenate([first, second])
        number = [0] * n1 + [1] * (frames - n1)
    else:
        if gap:
            positions = _with_hole(rng, near, far, start, hole, frames, dof)
        else:
            positions = push_positions(rng, near, far, frames - 1, dof)
        number = [0] * frames
    times = _times(rng, frames, outfit.frames_per_s)
    if passes == 2:
        times[np.array(number) == 1] += 0.25  # the hand turns round
    ref = int(np.argmin(np.abs(positions - 0.5 * (near + far))))
    stage = stage.moved(np.array([0.0, 0.0, -positions[ref]]))
    positions = positions - positions[ref]
    hand = _hand(seed, lens)
    cams = _cameras(lens, hand, times, positions, ref)
    gain = _flicker(rng, frames)
    takes = tuple(
        Take(
            float(times[i]),
            number[i],
            float(positions[i]),
            cams[i],
            hand_smear(outfit, hand, float(times[i])),
            float(gain[i]),
            (),
            0.0,
        )
        for i in range(frames)
    )
    return Run("sweep", seed, creature.plan, creature.support, outfit, stage, takes, ref)


def _with_hole(
    rng: np.random.Generator, near: float, far: float, start: float, hole: float, n: int, dof: float
) -> Array:
    """Positions (n,) from near to far with one step of length `hole` from `start`."""
    before, after = max(start - near, 0.0), max(far - start - hole, 0.0)
    k = n - 2  # steps beside the hole
    a = int(np.clip(round(k * before / max(before + after, 1e-9)), 1, k - 1))
    left = push_positions(rng, near, start, a, dof)
    right = push_positions(rng, start + hole, far, k - a, dof)
    return np.concatenate([left, right])


def _wander(rng: np.random.Generator, times: Array, size: float) -> Array:
    """Draw a slow correlated path (n,) of standard deviation about `size`."""
    out = np.zeros(len(times))
    for f, a in ((0.35, 1.0), (0.8, 0.7), (2.6, 0.45), (9.5, 0.12)):
        out += a * np.sin(2 * np.pi * f * rng.uniform(0.7, 1.3) * times + rng.uniform(0, 2 * np.pi))
    return np.asarray(out * size)


def _away(x: Array, middle: float, inner: float, outer: float) -> Array:
    """`x` with the values that lie between two distances from `middle` moved to the nearer one."""
    d = x - middle
    size = np.abs(d)
    split = 0.5 * (inner + outer)
    moved = np.where(
        (size > inner) & (size <= split),
        0.98 * inner,
        np.where((size > split) & (size < outer), outer, size),
    )
    if inner <= 0.0:
        moved = np.maximum(size, outer)
    return np.asarray(middle + np.where(d < 0, -moved, moved))


def _burst_path(
    rng: np.random.Generator,
    times: Array,
    keeper: bool,
    count_ok: NDArray[np.bool_],
    apart: float,
    shape: RunShape,
) -> Array:
    """Plane minus nearer eye per frame, in depths of field, with the classes kept apart.

    `apart` is how far the other eye lies behind the nearer one. Where there is room, frames stay
    away from that eye too, so that nobody can call them keepers.
    """
    for _ in range(20000):
        if keeper:
            x = _wander(rng, times, 1.0) + rng.uniform(-0.9, 0.7)
            if apart > 2.2 * shape.miss:
                x = _away(x, apart, 0.0, shape.miss)
            x = _away(x, 0.0, shape.keeper, shape.miss)
            good = np.abs(x) <= shape.keeper
            n = int(np.count_nonzero(good & count_ok))
            # an unfortunate frame (dark, smeared) must not look like the best one
            if 2 <= n <= 4 and not (good & ~count_ok).any():
                return x
        else:
            x = _wander(rng, times, 0.6) - 2.3
            if (x <= -shape.clear_miss).all() and x.min() > -5.0:
                return x
    # a burst of one or two frames can't hold two keepers: put what there is onto the eye, or off it
    return np.linspace(-0.2, 0.2, len(times)) if keeper else np.full(len(times), -2.0)


def plan_burst(
    seed: int, outfit: Outfit, *, frames: int, keeper: bool = True, misfires: tuple[int, ...] = (),
    smeared: tuple[int, ...] = (), plan: animals.Plan | None = None, shape: RunShape = RunShape(),
) -> Run:  # fmt: skip
    """Plan a burst that tries to put the plane of focus onto the nearer eye.

    Parameters
    ----------
    seed : int
        Animal, pose and hand.
    outfit : Outfit
        Camera, lens, settings.
    frames : int
        Frames in all.
    keeper : bool
        True: two to four frames have the nearer eye sharp. False: none has either eye sharp.
    misfires, smeared : tuple of int
        Frames without flash, frames smeared by a jerk.
    plan : {"fly", "spider", "beetle", "wasp", "hopper"} or None
        Body plan; None lets the seed choose between fly and spider.
    shape : RunShape
        Layout.
    """
    rng = np.random.default_rng([seed, 67])
    lens = outfit.lens
    dof = lens.depth_of_field_mm
    creature = animals.grow(seed, plan)
    stage = set_stage(creature, lens, seed, fill=0.9, deepest_mm=shape.deepest_free * dof)
    times = _times(rng, frames, outfit.frames_per_s)
    fine = np.array([i not in misfires and i not in smeared for i in range(frames)])
    apart = float(np.ptp(stage.eye_points[:, 2])) / dof
    offset = _burst_path(rng, times, keeper, fine, apart, shape) * dof
    usable = np.flatnonzero(fine)
    ref = int(usable[np.argmin(np.abs(usable - frames / 2))]) if len(usable) else 0
    eye = int(np.argmin(stage.eye_points[:, 2]))
    stage = stage.moved(np.array([0.0, 0.0, -float(offset[ref]) - float(stage.eye_points[eye, 2])]))
    hand = _hand(seed, lens)
    cams = _cameras(lens, hand, times, np.zeros(frames), ref)
    takes = []
    gain = _flicker(rng, frames)
    for i, c in enumerate(cams):
        # the pupil's z for which plane minus eye is just what the path says
        r, p = c.rotation[2], stage.eye_points[eye]
        want = lens.pupil_distance_mm - offset[i]
        z = p[2] - (want - r[0] * (p[0] - c.centre_mm[0]) - r[1] * (p[1] - c.centre_mm[1])) / r[2]
        cam = Camera((c.centre_mm[0], c.centre_mm[1], float(z)), c.rotation)
        smear = hand_smear(outfit, hand, float(times[i]))
        g, faults, blur = float(gain[i]), [], 0.0
        if i in misfires:
            faults.append("misfire")
            smear, g = misfired(smear, g, outfit, shape)
        if i in smeared:
            faults.append("motion_blur")
            smear, blur = _jerk(rng, lens, smear, shape)
        takes.append(
            Take(
                float(times[i]),
                0,
                float(z) + lens.pupil_distance_mm,
                cam,
                smear,
                g,
                tuple(faults),
                blur,
            )
        )
    return Run("burst", seed, creature.plan, creature.support, outfit, stage, tuple(takes), ref)


def _jerk(
    rng: np.random.Generator, lens: Lens, smear: Smear, shape: RunShape
) -> tuple[Smear, float]:
    length = max(4.5, float(rng.uniform(*shape.motion_px)) * lens.width_px / 1600.0)
    a = float(rng.uniform(0.0, 2.0 * np.pi))
    return jerked(smear, length, a), length


def plan_single(
    seed: int,
    outfit: Outfit,
    *,
    misfire: bool = False,
    plan: animals.Plan | None = None,
    shape: RunShape = RunShape(),
) -> Run:
    """Plan one frame with the plane within a quarter depth of field of the nearer eye.

    Parameters
    ----------
    seed : int
        Animal, pose and hand.
    outfit : Outfit
        Camera, lens, settings.
    misfire : bool
        True takes it without flash.
    plan : {"fly", "spider", "beetle", "wasp", "hopper"} or None
        Body plan; None lets the seed choose between fly and spider.
    shape : RunShape
        Layout.
    """
    rng = np.random.default_rng([seed, 71])
    lens = outfit.lens
    creature = animals.grow(seed, plan)
    stage = set_stage(
        creature,
        lens,
        seed,
        fill=float(rng.uniform(0.75, 1.15)),
        deepest_mm=shape.deepest_free * lens.depth_of_field_mm,
    )
    eye = int(np.argmin(stage.eye_points[:, 2]))
    off = float(rng.uniform(-0.25, 0.25)) * lens.depth_of_field_mm
    stage = stage.moved(np.array([0.0, 0.0, -off - float(stage.eye_points[eye, 2])]))
    hand = _hand(seed, lens)
    smear = hand_smear(outfit, hand, 0.0)
    g = float(_flicker(rng, 1)[0])
    faults: tuple[str, ...] = ()
    if misfire:
        faults = ("misfire",)
        g *= shape.dark + outfit.ambient_share
    cam = Camera((0.0, 0.0, -lens.pupil_distance_mm), np.eye(3))
    return Run(
        "single",
        seed,
        creature.plan,
        creature.support,
        outfit,
        stage,
        (Take(0.0, 0, 0.0, cam, smear, g, faults, 0.0),),
        0,
    )
