"""A bristly six-legged animal with two large faceted eyes; it has no wings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.scene import mesh
from haltere.scene import pattern as tx
from haltere.scene.growth import Growth, add_eye, add_leg
from haltere.scene.material import Colour, Palette, material

Array = NDArray[np.float64]
Ground = Callable[[float], float]


@dataclass(frozen=True, slots=True)
class _Skins:
    """Rows of the material table."""

    thorax: int
    belly: int
    face: int
    leg: int
    horn: int
    facet: int


def _v(x: float, y: float, z: float) -> Array:
    return np.array([x, y, z])


def _skins(g: Growth, pal: Palette) -> _Skins:
    rng = g.rng
    pits = float(rng.choice(np.array([0.0, 0.0, 36.0, 50.0, 64.0])))
    plush = rng.random() < 0.35
    opts = {
        "gloss": 0.25 if plush else float(rng.uniform(0.9, 2.0)),
        "rough": 0.7 if plush else float(rng.uniform(0.22, 0.5)),
        "mottle": 0.75,
    }
    pitted = {"pits": pits, "pit_depth": 0.4 if pits else 0.0}

    def skin(a: Colour, b: Colour, c: Colour, bands: float, **more: float) -> int:
        kind = tx.PLUSH if plush else tx.CUTICLE
        return g.skin(material(kind, a, b, c, g.seed(), bands=bands, **{**opts, **more}))

    chest_bands = float(rng.choice(np.array([0.0, 0.0, 1.0, 1.5])))
    leg_bands = float(rng.choice(np.array([0.0, 1.0, 2.0])))
    leg_pits = {"pits": 48.0, "pit_depth": 0.25} if pits else {}
    eye = material(
        tx.FACETED_EYE, pal.eye, pal.eye_band, pal.eye_band, g.seed(),
        facets=float(rng.uniform(30, 40)), bands=float(rng.choice(np.array([0.0, 9.0, 14.0]))),
        duty=0.35, mottle=0.8, gloss=0.9, rough=0.35, rim=float(rng.uniform(0.7, 1.1)),
    )  # fmt: skip
    return _Skins(
        thorax=skin(pal.skin, pal.band, pal.mottle, chest_bands, duty=0.22, **pitted),
        belly=skin(
            pal.skin, pal.band, pal.mottle, float(rng.integers(3, 7)) / 2.0,
            duty=float(rng.uniform(0.2, 0.5)), **pitted,
        ),
        face=skin(pal.mottle, pal.band, pal.skin, 0.0, mottle=0.4),
        leg=skin(pal.limb, pal.band, pal.mottle, leg_bands, duty=0.25, **leg_pits),
        horn=skin(pal.limb, pal.band, pal.skin, 1.0, duty=0.3),
        facet=g.skin(eye),
    )  # fmt: skip


def _horns(g: Growth, pal: Palette, skins: _Skins, head: Array) -> None:
    """Short horns with a brush of bristles, or long ones of beads."""
    rng = g.rng
    brushed = rng.random() < 0.5
    turn = float(rng.uniform(0.2, 0.7))
    for side in (-1.0, 1.0):
        base = head + _v(0.095, 0.03, side * 0.030)
        if brushed:
            knee = base + _v(0.07, 0.015, side * 0.02)
            end = knee + _v(0.035, -0.07, side * 0.012)
            g.leg_piece(base, knee, 0.016, 0.018, 0.002, skins.horn)
            tip = g.leg_piece(knee, end, 0.018, 0.026, 0.010, skins.horn)
            g.coat([tip], 9, (0.08, 0.14), 0.0035, pal.hair_root, pal.hair_tip,
                   lean=_v(0.6, 0.7, side * 0.3), lay=0.8, spread=0.2)  # fmt: skip
            continue
        at, way = base, mesh.unit(_v(0.75, 0.55, side * 0.5))
        for i in range(9):
            end = at + way * (0.055 - 0.002 * i)
            r = 0.0145 - 0.0007 * i
            g.leg_piece(at, end, r * 0.9, r, 0.003, skins.horn, cells=8, around=10)
            at, way = end, mesh.unit(way + _v(0.02, -0.10 * turn, side * 0.10))


def _legs(g: Growth, skins: _Skins, ground: Ground) -> list[mesh.Patch]:
    rng = g.rng
    out: list[mesh.Patch] = []
    for i, reach in enumerate((0.36, 0.02, -0.36)):
        for side in (-1.0, 1.0):
            hip = _v(0.13 - 0.13 * i, -0.13, side * 0.09)
            x = hip[0] + reach * float(rng.uniform(0.75, 1.1))
            z = side * float(rng.uniform(*((0.42, 0.5) if i == 1 else (0.34, 0.44))))
            foot = _v(x, ground(z), z)
            lift = _v(0.04 * (1 - i), 0.20 + float(rng.uniform(-0.03, 0.05)), side * 0.10)
            knee = 0.5 * (hip + foot) + lift
            ankle = foot + _v(-0.02, 0.025, -side * 0.012)
            toe_z = z + side * 0.045
            toe = _v(x + (0.10 if i < 2 else -0.10), ground(toe_z) + 0.010, toe_z)
            arch = 0.5 * (ankle + toe) + _v(0.0, 0.006, 0.0)
            out += add_leg(
                g, [hip, knee, ankle, arch, toe], [0.045, 0.030, 0.019, 0.015, 0.010],
                [0.016, 0.006, 0.002, 0.002], [skins.leg] * 4,
            )  # fmt: skip
    return out


def grow_fly(g: Growth, pal: Palette, ground: Ground) -> tuple[Array, float]:
    """Grow all parts and hairs.

    Parameters
    ----------
    g : Growth
        What grows.
    pal : Palette
        Colours.
    ground : callable
        Height of the support at a distance from its middle line.

    Returns
    -------
    eyes : ndarray of float64, shape (2, 3)
        Middles of the two main eyes.
    radius : float
        Their mean radius.
    """
    rng = g.rng
    skins = _skins(g, pal)
    fat, plump = float(rng.uniform(0.9, 1.15)), float(rng.uniform(0.85, 1.15))
    chest = g.box(np.zeros(3), np.eye(3), _v(0.235, 0.20 * fat, 0.185 * fat), skins.thorax,
                  power=2.25, cells=20)  # fmt: skip
    droop = float(rng.uniform(-0.25, 0.05))
    long = 0.32 * float(rng.uniform(0.85, 1.1))
    back = _v(-np.cos(droop), np.sin(droop), 0.0)
    belly = g.box(
        back * (0.17 + long * 0.92) + _v(0.0, -0.02, 0.0),
        mesh.frame_along(-back),
        _v(long, 0.19 * plump, 0.19 * plump),
        skins.belly,
        power=2.1,
        cells=22,
    )
    hc = _v(0.315, 0.035, 0.0)
    head = g.box(hc, np.eye(3), _v(0.10, 0.135, 0.14), skins.face, cells=14)
    big, spread = float(rng.uniform(0.92, 1.12)), float(rng.uniform(0.108, 0.122))
    eyes = [hc + _v(0.035, 0.025, side * spread) for side in (-1.0, 1.0)]
    for n, (side, c) in enumerate(zip((-1.0, 1.0), eyes, strict=True)):
        size = _v(0.085, 0.128, 0.112) * big
        add_eye(g, c, _v(0.62, 0.18, side * 0.76), size, skins.facet, n, 20)
    _horns(g, pal, skins, hc)
    mouth = hc + _v(0.06, -0.10, 0.0)
    lip = mouth + _v(0.05, -0.11, 0.0)
    snout = [
        g.leg_piece(mouth, lip, 0.038, 0.030, 0.004, skins.face),
        g.leg_piece(lip, lip + _v(0.035, -0.025, 0.0), 0.040, 0.036, 0.006, skins.horn),
    ]
    legs = _legs(g, skins, ground)
    way, dense = _v(-1.0, 0.25, 0.0), float(rng.uniform(0.6, 1.5))
    a, b = pal.hair_root, pal.hair_tip
    # bristles, then down
    g.coat(chest, int(70 * dense), (0.10, 0.27), 0.0052, a, b, lean=way, lay=0.42, spread=0.2)
    g.coat(belly, int(80 * dense), (0.07, 0.18), 0.0042, a, b, lean=way, lay=0.5, spread=0.2)
    g.coat(chest, int(420 * dense), (0.022, 0.06), 0.0026, a, b, lean=way, lay=0.45)
    g.coat(belly, int(560 * dense), (0.020, 0.05), 0.0024, a, b, lean=way, lay=0.55)
    g.coat(head, int(90 * dense), (0.03, 0.10), 0.0030, a, b, lean=_v(0.7, 0.3, 0.0), lay=0.4)
    g.coat(legs, int(520 * dense), (0.02, 0.075), 0.0028, a, b, lean=_v(0.0, -0.8, 0.0), lay=0.35)
    g.coat(snout, 40, (0.015, 0.04), 0.0024, a, b, lean=_v(0.6, -0.6, 0.0), lay=0.4)
    return np.array(eyes), 0.11 * big
