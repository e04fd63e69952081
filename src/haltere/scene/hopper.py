"""A long-faced grass dweller: smooth oval eyes high on the head, long horns, jumping legs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.scene import mesh
from haltere.scene import pattern as tx
from haltere.scene.growth import Growth, Head, add_leg, turned_head
from haltere.scene.material import Colour, Palette, darkened, material

Array = NDArray[np.float64]
Ground = Callable[[float], float]


@dataclass(frozen=True, slots=True)
class _Skins:
    """Rows of the material table."""

    saddle: int
    belly: int
    face: int
    lip: int
    leg: int
    thigh: int
    horn: int
    eyes: tuple[int, int]


def _v(x: float, y: float, z: float) -> Array:
    return np.array([x, y, z])


def _skins(g: Growth, pal: Palette) -> _Skins:
    rng = g.rng
    grit = float(rng.uniform(95, 160))

    def skin(a: Colour, b: Colour, c: Colour, bands: float = 0.0, **more: float) -> int:
        opts = {"gloss": 0.32, "rough": 0.55, "mottle": float(rng.uniform(0.3, 0.9)),
                "mottle_freq": float(rng.uniform(6, 14)), "grain": 0.7, "bump": 1.6,
                "grain_freq": 1.6 * grit, "pits": grit, "pit_depth": 0.18, "pit_radius": 0.24,
                "bands": bands}  # fmt: skip
        return g.skin(material(tx.CUTICLE, a, b, c, g.seed(), **{**opts, **more}))

    bands = float(rng.choice(np.array([0.0, 6.0, 11.0, 16.0])))
    lean, spot = float(rng.uniform(-0.4, 0.4)), float(rng.choice(np.array([0.0, 0.16, 0.24])))
    flecks = float(rng.choice(np.array([0.0, 0.5, 0.9])))
    shine = float(rng.uniform(0.06, 0.2))
    # eyes as dark as glass now and then: only their glint stands out
    deep = 0.22 if rng.random() < 0.2 else 1.0
    iris, bar = darkened(pal.eye, deep), darkened(pal.eye_band, deep)
    eyes = [
        g.skin(
            material(
                tx.SMOOTH_EYE, iris, bar, pal.mottle, g.seed(), bands=bands,
                duty=0.5, mottle=flecks, gloss=1.4, rough=shine, lean=lean, spot=spot,
            )
        )
        for _ in range(2)
    ]  # fmt: skip
    barred = float(rng.choice(np.array([0.0, 1.5, 2.5])))
    return _Skins(
        saddle=skin(pal.skin, pal.band, pal.mottle),
        belly=skin(pal.skin, pal.band, pal.mottle, float(rng.integers(4, 8)) / 2.0, duty=0.12),
        face=skin(pal.skin if rng.random() < 0.6 else pal.band, pal.band, pal.mottle),
        lip=skin(pal.band, pal.skin, pal.mottle, mottle=0.3),
        leg=skin(pal.limb, pal.band, pal.mottle, float(rng.choice(np.array([0.0, 2.0]))), duty=0.3),
        thigh=skin(pal.skin, pal.mottle, pal.limb, barred, duty=0.3),
        horn=skin(pal.limb, pal.band, pal.mottle, pits=0.0, pit_depth=0.0),
        eyes=(eyes[0], eyes[1]),
    )


def _head(g: Growth, skins: _Skins) -> tuple[Head, list[mesh.Patch]]:
    """Grow a head longer than wide, its face slanting or steep, with a ridge and a mouth below."""
    rng = g.rng
    head = turned_head(
        _v(0.20, 0.03, 0.0), 0.115, float(rng.normal(0.0, 0.3)), float(rng.uniform(-0.45, 0.25)),
        float(rng.normal(0.0, 0.1)),
    )  # fmt: skip
    long, narrow = float(rng.uniform(0.92, 1.15)), float(rng.uniform(0.9, 1.1))
    made = g.box(head.at(0.0, -0.005, 0.0), head.axes, _v(0.105, 0.150, 0.100 * narrow), skins.face,
                 power=2.3, cells=18)  # fmt: skip
    chin = -0.150 * long
    low = _v(0.098, 0.115 * long, 0.088 * narrow)
    made += g.box(head.at(0.005, 0.5 * chin, 0.0), head.axes, low, skins.face, power=2.4, cells=16,
                  joined=True)  # fmt: skip
    # the ridge down the middle of the face
    g.leg_piece(
        head.at(0.096, 0.115, 0.0), head.at(0.098, -0.06, 0.0), 0.018, 0.022, 0.004, skins.face
    )
    g.box(head.at(0.055, chin - 0.030, 0.0), head.axes, _v(0.045, 0.038, 0.066 * narrow), skins.lip,
          power=2.5, cells=12)  # fmt: skip
    g.box(head.at(0.060, chin - 0.075, 0.0), head.axes, _v(0.030, 0.036, 0.050 * narrow), skins.lip,
          power=2.4, cells=12)  # fmt: skip
    for side in (-1.0, 1.0):
        jaw, tip = head.at(0.02, chin - 0.02, side * 0.07), head.at(0.04, chin - 0.10, side * 0.035)
        g.leg_piece(jaw, tip, 0.032, 0.022, 0.004, skins.horn)
        joints = [
            head.at(0.02, chin - 0.07, side * 0.045), head.at(0.05, chin - 0.12, side * 0.085),
            head.at(0.075, chin - 0.165, side * 0.075), head.at(0.085, chin - 0.205, side * 0.05),
        ]  # fmt: skip
        add_leg(g, joints, [0.012, 0.012, 0.012, 0.013], [0.002] * 3, [skins.lip] * 3)
    return head, made


def _eyes(g: Growth, skins: _Skins, head: Head) -> tuple[list[Array], float]:
    """Two ovals high on the sides of the head."""
    rng = g.rng
    tall, long = float(rng.uniform(0.068, 0.092)), float(rng.uniform(0.048, 0.062))
    out, apart = float(rng.uniform(0.050, 0.066)), float(rng.uniform(0.066, 0.080))
    centres = []
    for n, side in enumerate((-1.0, 1.0)):
        c = head.at(0.022, 0.075, side * apart)
        axes = mesh.frame_along(head.way(0.40, 0.25, side * 0.9), head.way(-0.35, 1.0, 0.0))
        g.box(c, axes, _v(out, tall, long), skins.eyes[n], cells=20, label=3, eye=n)
        centres.append(c)
    return centres, 0.5 * (tall + long)


def _horns(g: Growth, skins: _Skins, head: Head) -> None:
    """Long thin horns that taper."""
    rng = g.rng
    pieces, length = int(rng.integers(13, 19)), float(rng.uniform(0.036, 0.050))
    wide, rise, bow = (float(rng.uniform(*r)) for r in ((0.25, 0.8), (0.3, 1.1), (-0.08, 0.05)))
    for side in (-1.0, 1.0):
        at = head.at(0.085, 0.055, side * 0.030)
        way = mesh.unit(head.way(0.8, rise + float(rng.normal(0.0, 0.15)), side * wide))
        for i in range(pieces):
            end = at + way * length
            r = 0.0155 if i == 0 else 0.0115 - 0.0004 * i
            g.leg_piece(at, end, r * 0.9, r, 0.0006, skins.horn, cells=8, around=10)
            at = end
            way = mesh.unit(way + head.way(0.0, bow, side * 0.04))


def _legs(g: Growth, skins: _Skins, ground: Ground) -> list[mesh.Patch]:
    rng = g.rng
    out: list[mesh.Patch] = []
    for i, reach in enumerate((0.22, -0.05)):
        for side in (-1.0, 1.0):
            hip = _v(0.14 - 0.15 * i, -0.16, side * 0.10)
            x = hip[0] + reach * float(rng.uniform(0.7, 1.2))
            z = side * float(rng.uniform(0.28, 0.38))
            foot = _v(x, ground(z) + 0.016, z)
            knee = 0.5 * (hip + foot) + _v(0.02, 0.12 + float(rng.uniform(0.0, 0.05)), side * 0.08)
            toe_z = z + side * 0.02
            toe = _v(x + 0.09, ground(toe_z) + 0.012, toe_z)
            out += add_leg(g, [hip, knee, foot, toe], [0.036, 0.028, 0.020, 0.014],
                           [0.006, 0.002, 0.002], [skins.leg] * 3)  # fmt: skip
    high = float(rng.uniform(0.16, 0.30))
    for side in (-1.0, 1.0):
        hip = _v(-0.14, -0.09, side * 0.145)
        knee = _v(-0.58 + float(rng.uniform(-0.04, 0.06)), high, side * 0.25)
        z = side * float(rng.uniform(0.22, 0.30))
        foot = _v(-0.36 + float(rng.uniform(-0.08, 0.05)), ground(z) + 0.016, z)
        toe = _v(foot[0] + 0.12, ground(z) + 0.012, z)
        mid = hip + 0.45 * (knee - hip)
        out.append(g.leg_piece(hip, knee, 0.070, 0.028, 0.030, skins.thigh, cells=20, around=18))
        g.balls.append((*mid, 0.07))
        g.ball_part.append(g.part)
        out += add_leg(g, [knee, foot, toe], [0.030, 0.020, 0.015], [0.002, 0.002], [skins.leg] * 2)
    return out


def grow_hopper(g: Growth, pal: Palette, ground: Ground) -> tuple[Array, float]:
    """Grow all parts and hairs; parameters and returns as `fly.grow_fly`.

    Parameters
    ----------
    g : Growth
        What grows.
    pal : Palette
        Colours.
    ground : callable
        Height of the support at a distance from its middle line.
    """
    rng = g.rng
    skins = _skins(g, pal)
    stout = float(rng.uniform(0.9, 1.1))
    saddle = g.box(_v(0.06, 0.0, 0.0), np.eye(3), _v(0.20, 0.185, 0.150 * stout), skins.saddle,
                   power=2.7, cells=20)  # fmt: skip
    # a keel along the saddle
    g.leg_piece(_v(0.235, 0.135, 0.0), _v(-0.13, 0.150, 0.0), 0.020, 0.022, 0.022, skins.saddle)
    back = mesh.unit(_v(-1.0, float(rng.uniform(-0.12, 0.12)), 0.0))
    long = float(rng.uniform(0.36, 0.48))
    belly = g.box(_v(-0.06, -0.03, 0.0) + 0.9 * long * back, mesh.frame_along(-back),
                  _v(long, 0.150, 0.130 * stout), skins.belly, power=2.2, cells=20)  # fmt: skip
    head, skull = _head(g, skins)
    eyes, radius = _eyes(g, skins, head)
    _horns(g, skins, head)
    legs = _legs(g, skins, ground)
    a, b = pal.hair_root, pal.hair_tip
    way, furry = _v(-1.0, 0.25, 0.0), float(rng.uniform(0.2, 1.2))
    g.coat(
        skull,
        int(150 * furry),
        (0.008, 0.022),
        0.0015,
        a,
        b,
        lean=head.way(0.6, -0.4, 0.0),
        lay=0.4,
    )
    g.coat(saddle, int(160 * furry), (0.008, 0.022), 0.0015, a, b, lean=way, lay=0.4)
    g.coat(belly, int(160 * furry), (0.008, 0.022), 0.0015, a, b, lean=way, lay=0.5)
    g.coat(legs, 420, (0.010, 0.032), 0.0018, a, b, lean=_v(0.0, -0.7, 0.0), lay=0.4)
    return np.array(eyes), radius
