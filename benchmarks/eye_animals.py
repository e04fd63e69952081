"""Draw the animals that the eye finder learns from: the simulator's, varied far beyond it."""

from __future__ import annotations

import colorsys
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from haltere.scene import pattern as tx
from haltere.scene.animal import Animal
from haltere.scene.growth import Growth, Hairs
from haltere.scene.material import material

Array = NDArray[np.float64]


def about(axis: int, angle: float) -> Array:
    """Give the rotation by an angle about one of the axes."""
    c, s = np.cos(angle), np.sin(angle)
    i, j = [(1, 2), (2, 0), (0, 1)][axis]
    out = np.eye(3)
    out[i, i], out[i, j], out[j, i], out[j, j] = c, -s, s, c
    return out


def tint(rng: np.random.Generator, low: float = 0.01, high: float = 0.9) -> Array:
    """Draw a colour, linear light, of a brightness between the two."""
    value = float(np.exp(rng.uniform(np.log(low), np.log(high))))
    rgb = colorsys.hsv_to_rgb(float(rng.random()), float(rng.beta(1.2, 1.5)), 1.0)
    return np.asarray(rgb) ** 2.2 * value


def length_of(animal: Animal) -> float:
    """Body from end to end without legs and horns, body units."""
    thick = animal.balls[animal.balls[:, 3] >= 0.07]
    return float((thick[:, 0] + thick[:, 3]).max() - (thick[:, 0] - thick[:, 3]).min())


def varied(animal: Animal, rng: np.random.Generator) -> Animal:
    """Give another animal of the plan: proportions, eye size, colours."""
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
                    row[at : at + 3] = tint(rng, 0.006, 0.7)
        elif rng.random() < 0.6:
            shift = np.exp(rng.normal(0.0, 0.45)) * np.exp(rng.normal(0.0, 0.3, 3))
            other = tint(rng, 0.02, 0.8)
            mix = float(rng.choice(np.array([0.0, 0.3, 0.8]), p=[0.4, 0.3, 0.3]))
            for at in (tx.BASE, tx.ALT, tx.THIRD):
                row[at : at + 3] = np.clip(
                    (1 - mix) * row[at : at + 3] * shift + mix * other * rng.uniform(0.5, 1.5), 0, 1
                )
    if rng.random() < 0.25:
        _band(m, rng)
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


def _band(m: Array, rng: np.random.Generator) -> None:
    """Ring the skins of all parts in two colours that stand out from each other."""
    dark, bright = tint(rng, 0.01, 0.15), tint(rng, 0.25, 0.9)
    skins = np.flatnonzero(np.isin(m[:, tx.KIND], (tx.CUTICLE, tx.PLUSH)))
    often = float(rng.uniform(1.0, 6.0))
    for k in skins[rng.random(len(skins)) < 0.8]:
        m[k, tx.BASE : tx.BASE + 3], m[k, tx.ALT : tx.ALT + 3] = dark, bright
        m[k, tx.BAND_FREQ] = often * float(rng.uniform(0.7, 1.4))
        m[k, tx.BAND_DUTY] = float(rng.uniform(0.25, 0.6))


def _head_ways(animal: Animal) -> tuple[Array, Array, Array]:
    """From the left eye to the right one, forward, and upward."""
    across = animal.eyes[1] - animal.eyes[0]
    across = across / np.linalg.norm(across)
    ahead = np.array([1.0, 0.0, 0.0]) - across[0] * across
    ahead = ahead / np.linalg.norm(ahead)
    up = np.cross(across, ahead)
    return across, ahead, up if up[1] > 0 else -up


def bulging(animal: Animal, rng: np.random.Generator) -> Animal:
    """Give the animal eyes that are round, stand out of the head and nearly touch."""
    ways = np.stack(_head_ways(animal))
    middle = animal.eyes.mean(axis=0)
    rest = [
        np.concatenate([p.points.reshape(-1, 3) for p in animal.patches if p.eye == n])
        - animal.eyes[n]
        for n in (0, 1)
    ]
    half = np.mean([np.abs(r @ ways.T).max(axis=0) for r in rest], axis=0)
    radius = float(np.prod(half) ** (1 / 3) * rng.uniform(0.95, 1.5))
    scale = radius * rng.uniform(0.9, 1.15, 3) / half
    apart = radius * float(rng.uniform(1.0, 1.3))
    push = radius * (rng.uniform(0.2, 0.9) * ways[1] + rng.uniform(-0.2, 0.6) * ways[2])
    stretch = ways.T @ np.diag(scale) @ ways
    eyes = np.array([middle + side * apart * ways[0] + push for side in (-1.0, 1.0)])
    patches, balls = [], animal.balls.copy()
    for p in animal.patches:
        if p.eye in (0, 1):
            normals = p.normals @ np.linalg.inv(stretch)
            normals = normals / np.maximum(np.linalg.norm(normals, axis=-1, keepdims=True), 1e-9)
            points = (p.points - animal.eyes[p.eye]) @ stretch + eyes[p.eye]
            patches.append(replace(p, points=points, normals=normals))
            balls[animal.ball_part == p.part] = [*eyes[p.eye], 0.95 * radius]
        else:
            patches.append(p)
    return replace(animal, patches=tuple(patches), balls=balls, eyes=eyes, eye_radius=radius)


def with_feelers(animal: Animal, rng: np.random.Generator) -> Animal:
    """Give the animal two more feelers, whose feet stand before the gap between the eyes."""
    across, ahead, up = _head_ways(animal)
    g = Growth(rng)
    g.part, g.materials = max(p.part for p in animal.patches), list(animal.materials)
    rings = float(rng.choice(np.array([0.0, 1.0, 2.0])))
    skin = g.skin(
        material(
            tx.CUTICLE, *(tuple(tint(rng, 0.02, 0.8)) for _ in range(3)), g.seed(), gloss=0.8,
            rough=0.4, bands=rings, duty=0.4,
        )
    )  # fmt: skip
    r, pieces = animal.eye_radius, int(rng.integers(4, 11))
    thick, long = float(rng.uniform(0.010, 0.024)), float(rng.uniform(0.25, 0.7)) / pieces
    foot, high = float(rng.uniform(0.1, 0.5)) * r, float(rng.uniform(-0.6, 0.8)) * r
    rise, bow = float(rng.uniform(0.1, 1.6)), float(rng.normal(0.0, 0.2))
    for side in (-1.0, 1.0):
        at = animal.eyes.mean(axis=0) + side * foot * across + high * up
        at = at + float(rng.uniform(0.4, 1.0)) * r * ahead
        g.box(at, np.eye(3), np.full(3, 1.5 * thick), skin, cells=8)
        way = 0.7 * ahead + rise * up + side * float(rng.uniform(0.1, 0.9)) * across
        for k in range(pieces):
            way = way / np.linalg.norm(way)
            g.leg_piece(
                at, at + long * way, thick * (1 - 0.4 * k / pieces), thick * (1 - 0.4 * k / pieces),
                0.15 * thick, skin, cells=8, around=10,
            )  # fmt: skip
            at, way = at + long * way, way + bow * up + rng.normal(0.0, 0.08, 3)
    return replace(
        animal, patches=(*animal.patches, *g.patches), materials=np.array(g.materials),
        balls=np.concatenate([animal.balls, np.array(g.balls)]),
        ball_part=np.concatenate([animal.ball_part, np.array(g.ball_part, np.int32)]),
    )  # fmt: skip


def wild(animal: Animal, rng: np.random.Generator) -> Animal:
    """Give another animal of the plan, now and then with bulging eyes and feelers before them."""
    close = rng.random() < 0.22
    if close:
        animal = bulging(animal, rng)
    if rng.random() < (0.6 if close else 0.15):
        animal = with_feelers(animal, rng)
    return varied(animal, rng)
