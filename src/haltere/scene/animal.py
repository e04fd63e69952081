"""Invented animals: a body plan, a palette, a plant to sit on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from haltere.scene import mesh
from haltere.scene import pattern as tx
from haltere.scene.beetle import grow_beetle
from haltere.scene.fly import grow_fly
from haltere.scene.growth import Growth, Hairs
from haltere.scene.hopper import grow_hopper
from haltere.scene.limbs import Limb, find_limbs
from haltere.scene.material import Palette, material, pick_palette
from haltere.scene.spider import grow_spider
from haltere.scene.wasp import grow_wasp

Array = NDArray[np.float64]
Plan = Literal["fly", "spider", "beetle", "wasp", "hopper"]
Grower = Callable[[Growth, Palette, Callable[[float], float]], tuple[Array, float]]
_GROWERS: dict[Plan, Grower] = {
    "fly": grow_fly,
    "spider": grow_spider,
    "beetle": grow_beetle,
    "wasp": grow_wasp,
    "hopper": grow_hopper,
}
# Height of the plant below the middle of the body, body units.
_GROUND: dict[Plan, float] = {
    "fly": -0.40, "spider": -0.34, "beetle": -0.34, "wasp": -0.42, "hopper": -0.36,
}  # fmt: skip
# How far about the eyes the frame reaches, body units; the others fill it from end to end.
_CLOSE: dict[Plan, tuple[float, float]] = {
    "beetle": (0.36, 0.75), "wasp": (0.34, 0.75), "hopper": (0.40, 0.85),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Animal:
    """An animal on its support in body units: x forward, y up, z to its right side.

    Attributes
    ----------
    plan : {"fly", "spider", "beetle", "wasp", "hopper"}
        Body plan.
    patches : tuple of Patch
        All surfaces.
    materials : ndarray of float64, shape (M, pattern.COLUMNS)
        Material table.
    hairs : Hairs
        All hairs.
    balls : ndarray of float64, shape (B, 4)
        Rough stand-ins (middle, radius) of the parts, for shade; body units.
    ball_part : ndarray of int32, shape (B,)
        Part of each.
    eyes : ndarray of float64, shape (2, 3)
        Middles of the two main eyes.
    eye_radius : float
        Their mean radius.
    palette : Palette
        Its colours.
    support : str
        "stem" or "leaf".
    close : float
        The picture is framed by what lies this near to the eyes; infinite for the whole animal.
    limbs : tuple of Limb
        Legs, horns and feelers that can be moved, body units.
    """

    plan: Plan
    patches: tuple[mesh.Patch, ...]
    materials: Array
    hairs: Hairs
    balls: Array
    ball_part: NDArray[np.int32]
    eyes: Array
    eye_radius: float
    palette: Palette
    support: str
    close: float = float("inf")
    limbs: tuple[Limb, ...] = ()


def grow(seed: int, plan: Plan | None = None) -> Animal:
    """Grow the animal that belongs to a seed.

    Parameters
    ----------
    seed : int
        Another seed gives another animal.
    plan : {"fly", "spider", "beetle", "wasp", "hopper"} or None
        Body plan; None lets the seed choose between fly and spider.

    Returns
    -------
    Animal
        In body units, not yet posed.
    """
    rng = np.random.default_rng([seed, 11])
    chosen: Plan = plan if plan is not None else ("fly" if rng.random() < 0.5 else "spider")
    pal = pick_palette(chosen, rng)
    g = Growth(rng)
    on_leaf = bool(rng.random() < 0.5)
    ground = _GROUND[chosen]
    radius, fold, sag = (float(rng.uniform(*r)) for r in ((0.50, 0.62), (0.08, 0.16), (0.02, 0.06)))
    across = np.linspace(0.0, 0.75, 60)
    if on_leaf:
        height = fold * across - 0.02
    else:
        clipped = np.minimum(across, radius * 0.94)
        height = np.sqrt(np.maximum(radius**2 - clipped**2, 0.0)) - radius
    eyes, eye_radius = _GROWERS[chosen](
        g, pal, lambda z: ground + float(np.interp(abs(z), across, height))
    )
    plant = g.skin(
        material(
            tx.PLANT, pal.plant, pal.plant_light, pal.plant_light, g.seed(),
            gloss=0.35, rough=0.6, veined=1.0 if on_leaf else 0.0, grain_freq=260.0,
        )
    )  # fmt: skip
    g.part += 1
    if on_leaf:
        sheet = mesh.leaf(2.4, 1.15, fold, 48, material=plant, part=g.part, sag=sag)
        g.patches.append(replace(sheet, points=sheet.points + np.array([0.0, ground, 0.0])))
    else:
        g.patches += mesh.stem(2.2, radius, ground - radius, 40, material=plant, part=g.part)
    hairs = Hairs(*(np.concatenate([h[i] for h in g.hairs]) for i in range(6)))
    close = float("inf")
    if chosen in _CLOSE:
        close = float(np.random.default_rng([seed, 13]).uniform(*_CLOSE[chosen]))
    return Animal(
        chosen, tuple(g.patches), np.array(g.materials), hairs, np.array(g.balls),
        np.array(g.ball_part, dtype=np.int32), eyes, eye_radius, pal, "leaf" if on_leaf else "stem",
        close, find_limbs(g.pieces),
    )  # fmt: skip
