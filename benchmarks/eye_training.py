"""Draw the pictures that the eye finder learns from, and those that it is tried on.

usage: eye_training.py FOLDER [--first SEED] [--seeds N] [--jobs N] [--only PLAN ...] [--tame]
                       [--width PX] [--most-s SECONDS]

Each seed is one animal in one pose before one background: it is photographed two to four times,
with other focus, framing, light and faults. `pictures.npz` in FOLDER holds JPEG files and the truth
beside them. Without `--tame` all is varied beyond what the simulator's own runs show: proportions,
colours, views from above, head portraits, animals cut by the frame, drops and buds that look like
eyes, a second animal, blur up to a dozen depths of field. Seeds 100000 and up are for learning,
200000 and up for choosing, 300000 and up for the last trial.
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
from numpy.typing import NDArray

from haltere.scene import animal as animals
from haltere.scene import pattern as tx
from haltere.scene.animal import Animal
from haltere.scene.camera import Camera, Lens
from haltere.scene.exposure import Smear, backdrop, diffract, view_table
from haltere.scene.growth import Hairs
from haltere.scene.lighting import Lamp, Lighting
from haltere.scene.raster import look, sum_views
from haltere.scene.sensor import Sensor, add_noise, tone
from haltere.scene.stage import Stage, pinhole, pose_matrix, set_stage

Array = NDArray[np.float64]
Light = NDArray[np.float32]
PLANS: tuple[str, ...] = typing.get_args(animals.Plan)
BESIDE = 5  # label of a second animal
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
    eyes : ndarray of float64, shape (2, 5)
        Per main eye: middle of what is seen of it (x, y) px, radius px, share of it that is seen,
        depth in eye radii.
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


def _about(axis: int, angle: float) -> Array:
    c, s = np.cos(angle), np.sin(angle)
    i, j = [(1, 2), (2, 0), (0, 1)][axis]
    out = np.eye(3)
    out[i, i], out[i, j], out[j, i], out[j, j] = c, -s, s, c
    return out


def _tint(rng: np.random.Generator, low: float = 0.01, high: float = 0.9) -> Array:
    import colorsys

    value = float(np.exp(rng.uniform(np.log(low), np.log(high))))
    rgb = colorsys.hsv_to_rgb(float(rng.random()), float(rng.beta(1.2, 1.5)), 1.0)
    return np.asarray(rgb) ** 2.2 * value


def length_of(animal: Animal) -> float:
    """Body from end to end without legs and horns, body units."""
    thick = animal.balls[animal.balls[:, 3] >= 0.07]
    return float((thick[:, 0] + thick[:, 3]).max() - (thick[:, 0] - thick[:, 3]).min())


def varied(animal: Animal, rng: np.random.Generator) -> Animal:
    """Another animal of the plan: proportions, eye size, colours."""
    stretch = np.exp(rng.normal(0.0, 0.13, 3))
    eye = float(np.exp(rng.normal(-0.05, 0.2)))
    patches = []
    for p in animal.patches:
        points, normals = p.points, p.normals
        if p.label == 3 and p.eye >= 0:
            middle = points.reshape(-1, 3).mean(axis=0)
            if p.eye < 2:
                middle = animal.eyes[p.eye]
            points = middle + (points - middle) * eye
        if p.label != 1:
            normals = normals / stretch
            normals = normals / np.maximum(np.linalg.norm(normals, axis=-1, keepdims=True), 1e-9)
        patches.append(replace(p, points=points * stretch, normals=normals))
    m = animal.materials.copy()
    for row in m:
        if row[tx.KIND] in (tx.FACETED_EYE, tx.SHINY_EYE):
            if rng.random() < 0.25:
                row[tx.KIND] = tx.SHINY_EYE if row[tx.KIND] == tx.FACETED_EYE else tx.FACETED_EYE
                shiny = row[tx.KIND] == tx.SHINY_EYE
                row[tx.RIM] = rng.uniform(-0.15, 0.1) if shiny else rng.uniform(0.6, 1.1)
                row[tx.FACETS], row[tx.ROUGH] = rng.uniform(24, 44), rng.uniform(0.05, 0.4)
            if rng.random() < 0.6:
                for at in (tx.BASE, tx.ALT, tx.THIRD):
                    row[at : at + 3] = _tint(rng, 0.006, 0.7)
        elif rng.random() < 0.6:
            shift = np.exp(rng.normal(0.0, 0.45)) * np.exp(rng.normal(0.0, 0.3, 3))
            other = _tint(rng, 0.02, 0.8)
            mix = float(rng.choice(np.array([0.0, 0.3, 0.8]), p=[0.4, 0.3, 0.3]))
            for at in (tx.BASE, tx.ALT, tx.THIRD):
                row[at : at + 3] = np.clip(
                    (1 - mix) * row[at : at + 3] * shift + mix * other * rng.uniform(0.5, 1.5), 0, 1
                )
    h = animal.hairs
    some = rng.random(len(h.root)) < rng.choice(np.array([0.05, 0.3, 1.0]), p=[0.2, 0.3, 0.5])
    some[:5] = True  # the stage wants some hair
    colour = h.colour * np.tile(np.exp(rng.normal(0.0, 0.5, 3)), 2)
    hairs = Hairs(
        h.root[some] * stretch, h.tip[some] * stretch, h.bow[some], h.normal[some], h.width[some],
        np.clip(colour[some], 0.0, 1.0),
    )  # fmt: skip
    balls = animal.balls.copy()
    balls[:, :3] *= stretch
    if rng.random() < 0.15:
        patches = [p for p in patches if p.label != 1]
    return replace(
        animal, patches=tuple(patches), materials=m, hairs=hairs, balls=balls,
        eyes=animal.eyes * stretch,
    )  # fmt: skip


def turned(animal: Animal, by: Array) -> Animal:
    """Turn the animal, its plant too, by a rotation of body axes."""
    h = animal.hairs
    balls = animal.balls.copy()
    balls[:, :3] = balls[:, :3] @ by.T
    return replace(
        animal,
        patches=tuple(
            replace(p, points=p.points @ by.T, normals=p.normals @ by.T) for p in animal.patches
        ),
        hairs=Hairs(h.root @ by.T, h.tip @ by.T, h.bow @ by.T, h.normal @ by.T, h.width, h.colour),
        balls=balls,
        eyes=animal.eyes @ by.T,
    )


def lights(rng: np.random.Generator) -> Lighting:
    """Draw some lighting: a main window from above or beside, weak ones, a sky."""
    lamps = []
    for k in range(3):
        way = rng.normal(0.0, 1.0, 3) + np.array([0.0, -0.8, -0.7 if k < 2 else 0.3])
        way /= np.linalg.norm(way)
        power = rng.uniform(0.7, 1.4) if k == 0 else rng.uniform(0.05, 0.5)
        warm = 1.0 + rng.uniform(-0.12, 0.12)
        lamps.append(
            Lamp(
                (float(way[0]), float(way[1]), float(way[2])),
                float(rng.uniform(0.15, 0.7)), float(rng.uniform(0.15, 0.7)),
                (power * warm, power, power / warm), float(rng.uniform(0.1, 0.5)),
            )
        )  # fmt: skip
    up, down = rng.uniform(0.05, 0.5), rng.uniform(0.03, 0.25)
    return Lighting(tuple(lamps), (up, up, up * 1.05), (down, down, down * 0.9))


def behind(rng: np.random.Generator, h: int, w: int) -> Light:
    """Draw a far background of some kind, linear light."""
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    x, y = (x - w / 2) / w, (y - h / 2) / w
    level = float(np.exp(rng.uniform(np.log(0.004), np.log(0.9))))

    def colour() -> Light:
        return np.asarray(_tint(rng, 0.3, 1.0) * level * rng.uniform(0.4, 1.6), np.float32)

    out = np.empty((h, w, 3), np.float32)
    lean = rng.normal(0.0, 0.6, 2)
    out[:] = colour() * np.clip(1 + lean[0] * x + lean[1] * y, 0.2, 2.0)[..., None]
    kind = rng.choice(5, p=[0.4, 0.2, 0.15, 0.15, 0.1])
    if kind <= 1:
        for _ in range(int(rng.integers(2, 8) if kind == 0 else rng.integers(10, 60))):
            size = rng.uniform(0.15, 0.5) if kind == 0 else rng.uniform(0.01, 0.12)
            d = np.hypot(x - rng.uniform(-0.6, 0.6), (y - rng.uniform(-0.5, 0.5))) / size
            edge = rng.uniform(3, 7) if kind == 0 else rng.uniform(6, 40)
            alpha = (rng.uniform(0.3, 0.9) / (1 + np.exp(np.clip((d - 1) * edge, -40, 40))))[
                ..., None
            ]
            out = out * (1 - alpha) + colour() * 2 * alpha
    elif kind == 2:  # a flower
        cx, cy, n = rng.uniform(-0.5, 0.5), rng.uniform(-0.5, 0.5), int(rng.integers(5, 24))
        r, a = np.hypot(x - cx, y - cy), np.arctan2(y - cy, x - cx)
        petal = np.abs(np.cos(a * n / 2 + rng.uniform(0, 6))) * rng.uniform(0.3, 0.9)
        heart = rng.uniform(0.05, 0.2)
        alpha = (r < petal)[..., None] * np.float32(1.0)
        shade = (0.5 + 0.5 * np.cos(a * n))[..., None]
        out = out * (1 - alpha) + alpha * (colour() * 2 * shade + colour() * (1 - shade))
        out = np.where((r < heart)[..., None], colour() * 2, out)
    elif kind == 3:  # blades
        for _ in range(int(rng.integers(4, 30))):
            p = rng.uniform(-0.7, 0.7, 4) * np.array([w, h, w, h]) + np.array([w, h, w, h]) / 2
            c = colour() * 2
            cv2.line(out, (int(p[0]), int(p[1])), (int(p[2]), int(p[3])),
                     [float(v) for v in c], int(rng.integers(2, 30)))  # fmt: skip
    else:  # bark, sand
        for k in range(5):
            n = 3 * 2**k
            grain = rng.normal(0.0, 0.35, (n, n)).astype(np.float32)
            out *= np.exp(cv2.resize(grain, (w, h), interpolation=cv2.INTER_CUBIC))[..., None]
    if kind >= 2:
        soft = float(np.exp(rng.uniform(np.log(0.8), np.log(25.0)))) * w / 480
        out = cv2.GaussianBlur(out, (0, 0), soft)
    return np.ascontiguousarray(out, np.float32)


def balls_on(light: Light, clear: Array, rng: np.random.Generator) -> Light:
    """Add drops, buds and berries where they don't lie on an eye."""
    h, w = light.shape[:2]
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    for _ in range(int(rng.integers(1, 6))):
        r = float(np.exp(rng.uniform(np.log(0.008), np.log(0.09)))) * w
        cx, cy = rng.uniform(0, w), rng.uniform(0, h)
        if any(np.hypot(cx - e[0], cy - e[1]) < 1.4 * e[2] + r for e in clear if e[3] > 0):
            continue
        dx, dy = (x - cx) / r, (y - cy) / r * rng.uniform(0.8, 1.25)
        d2 = dx**2 + dy**2
        z = np.sqrt(np.clip(1 - d2, 0.0, 1.0))
        soft = float(np.exp(rng.uniform(np.log(0.7), np.log(6.0))))
        alpha = (d2 < 1).astype(np.float32) * float(rng.choice(np.array([0.4, 0.9, 1.0])))
        shade = 0.15 + 0.85 * np.clip(-0.4 * dx - 0.6 * dy + 0.7 * z, 0.0, 1.0)
        glint = np.exp(-((dx + 0.35) ** 2 + (dy + 0.4) ** 2) / rng.uniform(0.005, 0.05))
        ball = _tint(rng, 0.02, 0.8) * shade[..., None] + (glint * rng.uniform(0, 0.8))[..., None]
        layer = np.dstack([ball * alpha[..., None], alpha]).astype(np.float32)
        layer = cv2.GaussianBlur(layer, (0, 0), soft)
        light = light * (1 - layer[..., 3:]) + layer[..., :3]
    return np.asarray(light, np.float32)


def together(one: Stage, other: Stage) -> Stage:
    """Both in one stage; the other's eyes don't count."""
    at, texels = len(one.verts), len(one.tex)
    join = np.concatenate
    label = np.where(other.tri_label >= 2, BESIDE, other.tri_label).astype(np.int32)
    return replace(
        one,
        verts=join([one.verts, other.verts]),
        tris=join([one.tris, other.tris + np.int32(at)]),
        uv=join([one.uv, other.uv]),
        tri_patch=join([one.tri_patch, other.tri_patch + np.int32(len(one.tex_at))]),
        tri_label=join([one.tri_label, label]),
        tri_eye=join([one.tri_eye, np.full_like(other.tri_eye, -1)]),
        tex=join([one.tex, other.tex]),
        tex_at=join([one.tex_at, other.tex_at + np.int32(texels)]),
        tex_w=join([one.tex_w, other.tex_w]),
        tex_h=join([one.tex_h, other.tex_h]),
        hair_pts=join([one.hair_pts, other.hair_pts]),
        hair_width=join([one.hair_width, other.hair_width]),
        hair_colour=join([one.hair_colour, other.hair_colour]),
    )


def eyes_seen(
    stage: Stage, lens: Lens, z: Light, ids: NDArray[np.int32], radius_mm: float
) -> Array:
    """Rows of `Picture.eyes`."""
    cx, cy = lens.centre_px
    out = np.zeros((2, 5))
    for n in (0, 1):
        own = stage.verts[stage.tris[stage.tri_eye == n].ravel()].astype(np.float64)
        ys, xs = np.nonzero((ids >= 0) & (stage.tri_eye[np.maximum(ids, 0)] == n))
        if len(own) == 0 or len(xs) < 6:
            continue
        depth = own[:, 2] + lens.pupil_distance_mm
        px = np.stack([own[:, 0], own[:, 1]], 1) * lens.focal_px / depth[:, None] + [cx, cy]
        whole = float(cv2.contourArea(cv2.convexHull(px.astype(np.float32))))
        out[n] = (
            xs.mean(), ys.mean(), np.sqrt(max(whole, len(xs)) / np.pi),
            len(xs) / max(whole, len(xs)), float(np.quantile(z[ys, xs], 0.05)) / radius_mm,
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
        creature, yaw = varied(creature, rng), _yaw(rng)
        # the camera looks down further by `more`
        more = float(rng.uniform(-0.35, 0.3) if rng.random() < 0.7 else rng.uniform(0.3, 1.3))
        base = pose_matrix(yaw, 0.0, 0.0)
        creature = turned(creature, base.T @ _about(0, more) @ base)
        creature = turned(creature, _about(0, float(rng.normal(0.0, 0.12))))
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
    if wild:
        fill = float(np.exp(rng.uniform(np.log(0.35), np.log(1.7))))
    stage, body_px, radius_mm = _set(
        seed, plan, big, fill / ROOM, wild, rng, float(rng.uniform(8, 30))
    )
    hairs = len(stage.hair_width)
    if wild and rng.random() < 0.15:
        kind = str(rng.choice(np.array(PLANS)))
        second, _, _ = _set(
            seed + 50000, kind, big, min(0.75, float(rng.uniform(0.2, 0.7))) * fill / ROOM, True,
            rng, 15.0,
        )  # fmt: skip
        no_plant = second.tri_label != 1
        second = replace(
            second, tris=second.tris[no_plant], tri_patch=second.tri_patch[no_plant],
            tri_label=second.tri_label[no_plant], tri_eye=second.tri_eye[no_plant],
        )  # fmt: skip
        frame_mm = 17.3 / m
        to = np.array([
            rng.choice(np.array([-1.0, 1.0])) * rng.uniform(0.2, 0.55) * frame_mm,
            rng.uniform(-0.35, 0.35) * frame_mm,
            rng.uniform(-1, 10) * lens.depth_of_field_mm,
        ])  # fmt: skip
        stage = together(stage, second.moved(to))
    count = int(rng.integers(2, 5)) if wild else 2
    return [_taken(stage, lens, body_px, radius_mm, plan, wild, hairs, rng) for _ in range(count)]


def _taken(
    stage: Stage, lens: Lens, body_px: float, radius_mm: float, plan: str, wild: bool,
    hairs: int, rng: np.random.Generator,
) -> Picture:  # fmt: skip
    """Take one exposure with its own focus, framing, light and faults; `hairs` are the first's."""
    nearer = stage.eye_points[int(np.argmin(stage.eye_points[:, 2]))]
    wide = lens.sensor_width_mm / lens.magnification
    off = float(rng.normal(0.0, 2.5) if rng.random() < 0.65 else rng.uniform(-12.0, 12.0))
    shift = rng.normal(0.0, 0.05, 2) * wide if wild else np.zeros(2)
    if wild and rng.random() < 0.35:
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
    label = np.where(ids >= 0, here.tri_label[np.maximum(ids, 0)], 0)
    eyes = eyes_seen(here, lens, z, ids, radius_mm)
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
    light = light * np.float32(gain)
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
    parts = np.where(label == BESIDE, 2, np.where(label >= 2, 1, 0))
    parts = np.where(ids < -1, np.where(-2 - ids < hairs, 1, 2), parts).astype(np.uint8)
    small = cv2.resize(parts, (w // 4, h // 4), interpolation=cv2.INTER_NEAREST)
    return Picture(np.asarray(picture), quality, np.asarray(small), eyes, off, body_px, plan)


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
        (n, 13): two rows of `Picture.eyes`, defocus, body length, seed; "plan".
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
