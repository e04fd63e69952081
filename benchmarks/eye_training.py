"""Draw the pictures that the eye finder learns from, and those that it is tried on.

usage: eye_training.py FOLDER [--first SEED] [--seeds N] [--jobs N] [--only PLAN ...] [--tame]
                       [--width PX] [--most-s SECONDS]

Each seed is one animal in one pose before one background: it is photographed two to four times,
with other focus, framing, light and faults. `pictures.npz` in FOLDER holds JPEG files and the truth
beside them. Without `--tame` all is varied beyond what the simulator's own runs show: proportions,
colours, eyes that nearly touch, feelers before them, banded bodies, views from above, head
portraits, animals cut by the frame or by a blade before them, drops and buds that look like eyes,
blur up to a dozen depths of field, and in every third picture a second animal, half of these well
apart from the first. Seeds 100000 and up are for learning, 200000 and up for choosing, 300000 and
up for the last trial; see README.md for those already seen.

Of two animals the main one is that of which more is seen; it is drawn larger than the other, and
nearer to the lens where they are almost as large.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import subprocess
import time
import typing
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from eye_animals import about, length_of, turned
from eye_animals import wild as wild_one
from eye_light import balls_on, behind, blades_before, lights
from numpy.typing import NDArray

from haltere.scene import animal as animals
from haltere.scene.camera import Camera, Lens
from haltere.scene.exposure import Smear, backdrop, diffract, view_table
from haltere.scene.raster import look, sum_views
from haltere.scene.sensor import Sensor, add_noise, tone
from haltere.scene.stage import Stage, pinhole, pose_matrix, set_stage

Array = NDArray[np.float64]
Light = NDArray[np.float32]
PLANS: tuple[str, ...] = typing.get_args(animals.Plan)
BESIDE = 5  # label of a second animal
ITS_EYES = 10  # its main eyes are counted from here
ROOM = 1.6  # the stage is set for a frame so much larger than the one that is taken


@dataclass(frozen=True, slots=True)
class Picture:
    """One picture and what is true of it.

    Attributes
    ----------
    rgb : ndarray of uint8, shape (H, W, 3)
        What the camera wrote, before JPEG.
    quality : int
        JPEG quality to be written with.
    parts : ndarray of uint8, shape (H / 4, W / 4)
        0 background and plant, 1 main animal, 2 another one.
    eyes : ndarray of float64, shape (4, 5)
        Two of the main animal, two of the other one; of each: middle of what is seen of it (x, y)
        px, radius px, share of it that is seen, depth in eye radii.
    defocus_dof : float
        Plane minus nearer eye, depths of field.
    body_px : float
        Length of the body, px.
    plan : str
        Body plan.
    """

    rgb: NDArray[np.uint8]
    quality: int
    parts: NDArray[np.uint8]
    eyes: Array
    defocus_dof: float
    body_px: float
    plan: str


@dataclass(frozen=True, slots=True)
class Scene:
    """What is photographed: one animal, or two.

    Attributes
    ----------
    stage : Stage
        All that is drawn.
    hairs : int
        How many hair pieces are the main animal's; those after them are the other one's.
    body_px, radii_mm : tuple of float
        Body length and eye radius of the main animal and of the other one.
    aim_mm : ndarray of float64, shape (2,)
        What is moved to the middle of the frame, so that both are in it.
    apart : bool
        Whether the second animal was put well apart from the first.
    """

    stage: Stage
    hairs: int
    body_px: tuple[float, float]
    radii_mm: tuple[float, float]
    aim_mm: tuple[float, float] = (0.0, 0.0)
    apart: bool = False


def together(one: Stage, other: Stage) -> Stage:
    """Both in one stage; the other's eyes are numbered apart."""
    at, texels = len(one.verts), len(one.tex)
    join = np.concatenate
    main = (other.tri_eye == 0) | (other.tri_eye == 1)
    label = np.where(other.tri_label >= 2, BESIDE, other.tri_label).astype(np.int32)
    return replace(
        one,
        verts=join([one.verts, other.verts]),
        tris=join([one.tris, other.tris + np.int32(at)]),
        uv=join([one.uv, other.uv]),
        tri_patch=join([one.tri_patch, other.tri_patch + np.int32(len(one.tex_at))]),
        tri_label=join([one.tri_label, label]),
        tri_eye=join([one.tri_eye, np.where(main, other.tri_eye + ITS_EYES, -1).astype(np.int32)]),
        tex=join([one.tex, other.tex]),
        tex_at=join([one.tex_at, other.tex_at + np.int32(texels)]),
        tex_w=join([one.tex_w, other.tex_w]),
        tex_h=join([one.tex_h, other.tex_h]),
        hair_pts=join([one.hair_pts, other.hair_pts]),
        hair_width=join([one.hair_width, other.hair_width]),
        hair_colour=join([one.hair_colour, other.hair_colour]),
    )


def eyes_seen(
    stage: Stage, lens: Lens, z: Light, ids: NDArray[np.int32], radii_mm: tuple[float, float]
) -> Array:
    """Rows of `Picture.eyes`."""
    cx, cy = lens.centre_px
    out = np.zeros((4, 5))
    for row, n in enumerate((0, 1, ITS_EYES, ITS_EYES + 1)):
        own = stage.verts[stage.tris[stage.tri_eye == n].ravel()].astype(np.float64)
        ys, xs = np.nonzero((ids >= 0) & (stage.tri_eye[np.maximum(ids, 0)] == n))
        if len(own) == 0 or len(xs) < 6:
            continue
        depth = own[:, 2] + lens.pupil_distance_mm
        px = np.stack([own[:, 0], own[:, 1]], 1) * lens.focal_px / depth[:, None] + [cx, cy]
        whole = float(cv2.contourArea(cv2.convexHull(px.astype(np.float32))))
        out[row] = (
            xs.mean(), ys.mean(), np.sqrt(max(whole, len(xs)) / np.pi),
            len(xs) / max(whole, len(xs)), float(np.quantile(z[ys, xs], 0.05)) / radii_mm[row // 2],
        )  # fmt: skip
    return out


def _yaw(rng: np.random.Generator) -> float:
    return float(rng.normal(0.0, 0.9) if rng.random() < 0.8 else rng.uniform(-np.pi, np.pi))


def _set(
    seed: int, plan: str, lens: Lens, fill: float, wild: bool, rng: np.random.Generator,
    deepest: float,
) -> tuple[Stage, float, float]:  # fmt: skip
    """Set a stage; its body length in px, its eye radius in mm."""
    creature = animals.grow(seed, typing.cast(typing.Any, plan))
    yaw = float(rng.choice(np.array([-1.0, 1.0])) * rng.uniform(0.15, 1.0))
    tip = 0.23
    if wild:
        creature, yaw = wild_one(creature, rng), _yaw(rng)
        # the camera looks down further by `more`
        more = float(rng.uniform(-0.35, 0.3) if rng.random() < 0.7 else rng.uniform(0.3, 1.3))
        base = pose_matrix(yaw, 0.0, 0.0)
        creature = turned(creature, base.T @ about(0, more) @ base)
        creature = turned(creature, about(0, float(rng.normal(0.0, 0.12))))
    # mm per body unit: about what `set_stage` would choose for this yaw
    body = np.concatenate([p.points.reshape(-1, 3) for p in creature.patches if p.label != 1])
    size = np.ptp(body @ pose_matrix(yaw, tip, 0.0).T, axis=0)
    wide = lens.sensor_width_mm / lens.magnification
    tall = wide * lens.height_px / lens.width_px
    unit = float(min(fill * wide / size[0], (fill + 0.06 / ROOM) * tall / size[1]))
    stage = set_stage(
        creature, lens, seed, fill=fill, yaw=yaw, lighting=lights(rng) if wild else None,
        deepest_mm=deepest * lens.depth_of_field_mm, body_mm=unit,
    )  # fmt: skip
    return stage, length_of(creature) * unit * lens.px_per_mm, creature.eye_radius * unit


def pictures_of(seed: int, plan: str, *, wild: bool = True, width: int = 480) -> list[Picture]:
    """All pictures of one animal.

    Parameters
    ----------
    seed : int
        Another seed, another animal, pose and background.
    plan : str
        Body plan.
    wild : bool
        False keeps to the animals, poses and light of the simulator's own runs.
    width : int
        Width of a picture, px.
    """
    rng = np.random.default_rng([seed, 101])
    m, focal = float(np.exp(rng.uniform(np.log(0.7), np.log(3.0)))), float(rng.uniform(50, 105))
    stop = float(rng.choice(np.array([5.6, 8.0, 11.0, 16.0, 22.0])))
    lens = Lens(m, focal, stop, 17.3, width, round(0.75 * width))
    big = replace(
        lens, sensor_width_mm=17.3 * ROOM,
        width_px=round(width * ROOM), height_px=round(0.75 * width * ROOM),
    )  # fmt: skip
    fill = 0.9
    beside = wild and rng.random() < 0.35
    apart = beside and rng.random() < 0.5
    if wild:
        low, high = (0.3, 0.75) if apart else (0.35, 1.7)
        fill = float(np.exp(rng.uniform(np.log(low), np.log(high))))
    stage, body_px, radius_mm = _set(
        seed, plan, big, fill / ROOM, wild, rng, float(rng.uniform(8, 30))
    )
    scene = Scene(stage, len(stage.hair_width), (body_px, 0.0), (radius_mm, 1.0))
    if beside:
        scene = _joined_by(scene, seed + 5_000_000, big, fill, apart, rng)
    count = int(rng.integers(2, 5)) if wild else 2
    return [_taken(scene, lens, plan, wild, rng) for _ in range(count)]


def _joined_by(
    scene: Scene, seed: int, big: Lens, fill: float, apart: bool, rng: np.random.Generator
) -> Scene:
    """Put another animal beside the main one, somewhere or well apart from it."""
    share = float(rng.uniform(0.3, 0.9))
    kind = str(rng.choice(np.array(PLANS)))
    second, body_px, radius_mm = _set(seed, kind, big, share * fill / ROOM, True, rng, 15.0)
    if rng.random() < 0.6:  # else it sits on a plant of its own
        bare = second.tri_label != 1
        second = replace(
            second, tris=second.tris[bare], tri_patch=second.tri_patch[bare],
            tri_label=second.tri_label[bare], tri_eye=second.tri_eye[bare],
        )  # fmt: skip
    wide = big.sensor_width_mm / ROOM / big.magnification
    size = np.array([wide, 0.75 * wide])
    # almost as large: then it stands behind
    behind_dof = rng.uniform(4.0, 10.0) if share > 0.75 else rng.uniform(-3.0, 10.0)
    deep = behind_dof * big.depth_of_field_mm
    aim = np.zeros(2)
    if apart:
        to, aim = _well_apart(_box(scene.stage), _box(second), size, rng)
    else:
        to = rng.uniform([0.2, -0.35], [0.55, 0.35]) * [rng.choice(np.array([-1.0, 1.0])), 1] * wide
    return replace(
        scene, stage=together(scene.stage, second.moved(np.array([*to, deep]))),
        body_px=(scene.body_px[0], body_px), radii_mm=(scene.radii_mm[0], radius_mm),
        aim_mm=(float(aim[0]), float(aim[1])), apart=apart,
    )  # fmt: skip


def _box(stage: Stage) -> Array:
    """Least and greatest x and y of an animal, mm."""
    own = stage.verts[np.unique(stage.tris[stage.tri_label >= 2])][:, :2].astype(np.float64)
    return np.stack([np.quantile(own, 0.01, axis=0), np.quantile(own, 0.99, axis=0)])


def _well_apart(
    main: Array, other: Array, size: Array, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Where the other animal goes (shift, mm), and what then is the middle of the frame."""
    best, shift, aim = -1.0, np.zeros(2), np.zeros(2)
    for _ in range(30):
        way = rng.normal(0.0, 1.0, 2)
        way = way / np.linalg.norm(way)
        room = 0.5 * (np.ptp(main, axis=0) + np.ptp(other, axis=0))
        room = room + float(rng.uniform(0.03, 0.2)) * size[0]
        far = float(np.min(room / np.maximum(np.abs(way), 1e-6)))
        to = main.mean(axis=0) + far * way - other.mean(axis=0)
        both = np.stack([np.minimum(main, other + to)[0], np.maximum(main, other + to)[1]])
        middle = np.clip(both.mean(axis=0), -0.22 * size[0], 0.22 * size[0])
        shown = [
            float(np.prod(np.clip(
                np.minimum(b[1], middle + size / 2) - np.maximum(b[0], middle - size / 2), 0, None
            )) / np.prod(np.ptp(b, axis=0)))
            for b in (main, other + to)
        ]  # fmt: skip
        if min(shown) > best:
            best, shift, aim = min(shown), to, middle
        if best > 0.7:
            break
    return shift, aim


def _taken(scene: Scene, lens: Lens, plan: str, wild: bool, rng: np.random.Generator) -> Picture:
    """Take one exposure with its own focus, framing, light and faults."""
    stage = scene.stage
    nearer = stage.eye_points[int(np.argmin(stage.eye_points[:, 2]))]
    wide = lens.sensor_width_mm / lens.magnification
    off = float(rng.normal(0.0, 2.5) if rng.random() < 0.65 else rng.uniform(-12.0, 12.0))
    shift = rng.normal(0.0, 0.05, 2) * wide if wild else np.zeros(2)
    shift = shift - scene.aim_mm
    if wild and rng.random() < (0.1 if scene.apart else 0.35):
        # the head somewhere in the frame, now and then at its edge
        shift = rng.normal(0.0, 0.22, 2) * wide * [1.0, 0.75] - nearer[:2]
    shift = np.clip(shift, -0.28 * wide, 0.28 * wide)
    here = stage.moved(
        np.array([shift[0], shift[1], -off * lens.depth_of_field_mm - nearer[2]])
    )  # fmt: skip
    h, w = lens.height_px, lens.width_px
    cx, cy = lens.centre_px
    z, ids = look(
        here.verts, here.tris, here.hair_pts, here.hair_width, pinhole(lens), lens.focal_px,
        lens.pupil_distance_mm, cx, cy, h, w,
    )  # fmt: skip
    before = blades_before(rng, h, w) if wild and rng.random() < 0.2 else None
    if before is not None:
        ids = np.where(before[..., 3] > 0.5, -1, ids).astype(np.int32)
    label = np.where(ids >= 0, here.tri_label[np.maximum(ids, 0)], 0)
    eyes = eyes_seen(here, lens, z, ids, scene.radii_mm)
    smear = Smear()
    if rng.random() < 0.1:
        a, size = rng.uniform(0, 2 * np.pi), rng.uniform(1.0, 9.0) * w / 480
        smear = Smear((float(size * np.cos(a)), float(size * np.sin(a))))
    blur = abs(lens.blur_disc_px(off * lens.depth_of_field_mm))
    camera = Camera((0.0, 0.0, -lens.pupil_distance_mm), np.eye(3))
    views = 16 if blur < 6 else 28
    table, offsets = view_table(lens, camera, views, int(rng.integers(1 << 30)), smear)
    middle = 0.5 * (here.hair_pts[0::2, 2] + here.hair_pts[1::2, 2])
    order = np.argsort(middle, kind="stable").astype(np.int32)
    animal = label >= 2
    back = behind(rng, h, w) if wild else backdrop(here, lens, camera)
    light = sum_views(
        here.verts, here.tris, here.uv, here.tri_patch, here.tex, here.tex_at, here.tex_w,
        here.tex_h, here.hair_pts, here.hair_width, here.hair_colour, order, table, offsets,
        lens.focal_px, lens.pupil_distance_mm, cx, cy, lens.px_per_mm * lens.aperture_mm, back,
    )  # fmt: skip
    light = diffract(light, lens, smear)
    bright = light.max(axis=2)
    level = float(np.quantile(bright[animal], 0.97)) if animal.any() else float(bright.max())
    gain = 0.70 / max(level, 1e-3) * float(rng.uniform(0.5, 1.4) if wild else rng.uniform(0.9, 1.1))
    if wild:
        if rng.random() < 0.05:
            gain *= 0.2
        if rng.random() < 0.25:
            light = balls_on(light, eyes, rng)
        if before is not None:
            light = light * (1 - before[..., 3:]) + before[..., :3] * np.float32(max(level, 1e-3))
    light = light * np.float32(gain)
    parts = np.where(label == BESIDE, 2, np.where(label >= 2, 1, 0))
    parts = np.where(ids < -1, np.where(-2 - ids < scene.hairs, 1, 2), parts).astype(np.uint8)
    body_px = scene.body_px[0]
    if (parts == 2).sum() > 1.3 * (parts == 1).sum():
        parts = np.array([0, 2, 1], np.uint8)[parts]
        eyes, body_px = eyes[[2, 3, 0, 1]], scene.body_px[1]
    small = cv2.resize(parts, (w // 4, h // 4), interpolation=cv2.INTER_NEAREST)
    picture, quality = _written(light, wild, rng)
    return Picture(picture, quality, np.asarray(small), eyes, off, body_px, plan)


def _written(light: Light, wild: bool, rng: np.random.Generator) -> tuple[NDArray[np.uint8], int]:
    """Develop light as a camera does; also the quality of the JPEG."""
    quality = 92
    if wild:
        if rng.random() < 0.2:
            light = light + np.float32(rng.uniform(0.0, 0.15))
        light = light ** np.float32(np.exp(rng.normal(0.0, 0.12)))
        quality = int(rng.integers(50, 96))
    electrons = 24000.0 / float(np.exp(rng.uniform(0.0, np.log(40.0)))) if wild else 24000.0
    picture = tone(add_noise(light, Sensor(electrons), int(rng.integers(1 << 30))))
    if wild and rng.random() < 0.3:
        soft = cv2.GaussianBlur(picture, (0, 0), float(rng.uniform(0.7, 1.5)))
        amount = float(rng.uniform(0.3, 1.2))
        picture = cv2.addWeighted(picture, 1 + amount, soft, -amount, 0)
    return np.asarray(picture), quality


def beside_of(parts: NDArray[np.uint8]) -> tuple[float, float]:
    """Tell what share of a picture another animal covers, and how far from the main one.

    Parameters
    ----------
    parts : ndarray of uint8
        As `Picture.parts`.

    Returns
    -------
    share, gap : float
        Of the picture; in widths, infinite where one of them is not seen.
    """
    main, other = (parts == 1), (parts == 2)
    if not (main.any() and other.any()):
        return float(other.mean()), float("inf")
    away = cv2.distanceTransform((~main).astype(np.uint8), cv2.DIST_L2, 3)
    return float(other.mean()), float(away[other].min()) / parts.shape[1]


def _job(todo: tuple[int, str, bool, int]) -> list[tuple[bytes, bytes, list[float], str]]:
    seed, plan, wild, width = todo
    cv2.setNumThreads(1)
    out = []
    try:
        taken = pictures_of(seed, plan, wild=wild, width=width)
    except (ValueError, IndexError) as why:  # an animal turned out of sight; say so and go on
        print(f"seed {seed} ({plan}) left out: {why}", flush=True)
        return []
    for p in taken:
        jpeg = cv2.imencode(".jpg", p.rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, p.quality])[1]
        png = cv2.imencode(".png", p.parts)[1]
        numbers = [*p.eyes.ravel().tolist(), p.defocus_dof, p.body_px, float(seed)]
        out.append((jpeg.tobytes(), png.tobytes(), numbers, p.plan))
    return out


def draw(
    first: int, seeds: int, *, plans: tuple[str, ...] = PLANS, wild: bool = True, jobs: int = 2,
    width: int = 480, most_s: float = 1e9,
) -> dict[str, NDArray[typing.Any]]:  # fmt: skip
    """Draw pictures of many animals; plans take turns.

    Parameters
    ----------
    first, seeds : int
        First seed, and how many.
    plans : tuple of str
        Body plans.
    wild, width : bool, int
        As in `pictures_of`.
    jobs : int
        Processes.
    most_s : float
        Stop after so many seconds.

    Returns
    -------
    dict
        "jpeg" and "parts" (bytes one after another with "jpeg_at" and "parts_at"), "truth"
        (n, 23): the four rows of `Picture.eyes`, defocus, body length, seed; "plan".
    """
    todo = [(first + k, plans[k % len(plans)], wild, width) for k in range(seeds)]
    rows: list[tuple[bytes, bytes, list[float], str]] = []
    start = time.monotonic()
    with multiprocessing.get_context("spawn").Pool(jobs) as pool:
        for some in pool.imap(_job, todo, chunksize=4):
            rows += some
            if time.monotonic() - start > most_s:
                pool.terminate()
                break
    return {
        "jpeg": np.frombuffer(b"".join(r[0] for r in rows), np.uint8),
        "jpeg_at": np.cumsum([0, *(len(r[0]) for r in rows)]),
        "parts": np.frombuffer(b"".join(r[1] for r in rows), np.uint8),
        "parts_at": np.cumsum([0, *(len(r[1]) for r in rows)]),
        "truth": np.array([r[2] for r in rows]),
        "plan": np.array([r[3] for r in rows]),
    }


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("folder", type=Path)
    ask.add_argument("--first", type=int, default=100000)
    ask.add_argument("--seeds", type=int, default=1000)
    ask.add_argument("--jobs", type=int, default=2)
    ask.add_argument("--width", type=int, default=480)
    ask.add_argument("--only", nargs="*", default=list(PLANS))
    ask.add_argument("--most-s", type=float, default=1e9, help="stop after so many seconds")
    ask.add_argument("--tame", action="store_true")
    said = ask.parse_args()
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False
    ).stdout.strip()
    start = time.monotonic()
    got = draw(
        said.first, said.seeds, plans=tuple(said.only), wild=not said.tame, jobs=said.jobs,
        width=said.width, most_s=said.most_s,
    )  # fmt: skip
    said.folder.mkdir(parents=True, exist_ok=True)
    np.savez(said.folder / "pictures.npz", **got)
    print(json.dumps({
        "commit": commit, "first_seed": said.first, "seeds": said.seeds,
        "plans": said.only, "pictures": len(got["truth"]), "wild": not said.tame,
        "seconds": round(time.monotonic() - start, 1),
    }))  # fmt: skip


if __name__ == "__main__":
    main()
