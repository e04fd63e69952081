"""A slender-waisted hunter on foot: long bean-shaped smooth eyes, beaded horns, sharp jaws."""

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

    chest: int
    belly: int
    face: int
    shield: int
    jaw: int
    leg: int
    horn: int
    bead: int
    eyes: tuple[int, int]


def _v(x: float, y: float, z: float) -> Array:
    return np.array([x, y, z])


def _skins(g: Growth, pal: Palette) -> _Skins:
    rng = g.rng
    gloss, rough = float(rng.uniform(0.5, 1.5)), float(rng.uniform(0.2, 0.5))
    pits = float(rng.choice(np.array([0.0, 55.0, 75.0])))

    def skin(a: Colour, b: Colour, c: Colour, bands: float = 0.0, **more: float) -> int:
        opts = {"gloss": gloss, "rough": rough, "mottle": 0.45, "mottle_freq": 6.0, "grain": 0.35,
                "bump": 0.8, "bands": bands}  # fmt: skip
        return g.skin(material(tx.CUTICLE, a, b, c, g.seed(), **{**opts, **more}))

    rough_skin = {"pits": pits, "pit_depth": 0.3 if pits else 0.0}
    bands = float(rng.choice(np.array([0.0, 0.0, 5.0, 9.0])))
    lean, spot = float(rng.uniform(-0.5, 0.5)), float(rng.choice(np.array([0.0, 0.22, 0.32])))
    shine = float(rng.uniform(0.05, 0.16))
    flecks = float(rng.choice(np.array([0.0, 0.0, 0.7])))
    # eyes as dark as glass now and then: only their glint stands out
    deep = 0.22 if rng.random() < 0.35 else 1.0
    iris, bar = darkened(pal.eye, deep), darkened(pal.eye_band, deep)
    eyes = [
        g.skin(
            material(
                tx.SMOOTH_EYE, iris, bar, bar, g.seed(), bands=bands,
                duty=0.55, mottle=flecks, gloss=1.8, rough=shine, lean=lean, spot=spot,
            )
        )
        for _ in range(2)
    ]  # fmt: skip
    masked = bool(rng.random() < 0.6)
    ringed = float(rng.integers(2, 5)) / 2.0
    return _Skins(
        chest=skin(pal.skin, pal.band, pal.mottle, **rough_skin),
        belly=skin(pal.skin, pal.band, pal.mottle, ringed, duty=float(rng.uniform(0.2, 0.5))),
        face=skin(pal.skin, pal.band, pal.mottle, **rough_skin),
        shield=skin(pal.band if masked else pal.mottle, pal.skin, pal.mottle, mottle=0.3),
        jaw=skin(pal.limb, pal.band, pal.mottle, gloss=1.4, rough=0.2),
        leg=skin(pal.limb, pal.band, pal.skin, float(rng.choice(np.array([0.0, 1.0]))), duty=0.4),
        horn=skin(pal.band if masked else pal.limb, pal.limb, pal.mottle),
        bead=skin(pal.limb, pal.band, pal.mottle, gloss=0.4, rough=0.6),
        eyes=(eyes[0], eyes[1]),
    )


def _eyes(g: Growth, skins: _Skins, head: Head) -> tuple[list[Array], list[mesh.Patch], float]:
    """Two beans along the sides of the head, hollow toward the horns; three dots on top."""
    rng = g.rng
    tall, deep = float(rng.uniform(0.098, 0.118)), float(rng.uniform(0.054, 0.068))
    bend, turn = float(rng.uniform(1.5, 4.0)), float(rng.uniform(0.75, 1.15))
    centres, made = [], []
    for n, side in enumerate((-1.0, 1.0)):
        c = head.at(0.012, 0.022, side * 0.112)
        out = head.way(float(np.cos(turn)), 0.05, side * float(np.sin(turn)))
        axes = mesh.frame_along(out, head.way(0.0, 1.0, side * 0.12))
        start = len(g.patches)
        g.box(c, axes, _v(0.056, tall, deep), skins.eyes[n], cells=20, label=3, eye=n)
        # the ends reach forward and inward round the hollow
        inward = -side * np.sign(float(axes[:, 2] @ head.way(-1.0, 0.0, side)))
        g.patches[start:] = mesh.bent(g.patches[start:], c, axes, inward * side * bend)
        made += g.patches[start:]
        centres.append(c)
    for z, x in ((0.0, 0.028), (-0.024, 0.002), (0.024, 0.002)):
        dot = head.at(x, 0.137, z)
        # skin to those who ask for eyes: nobody focuses on them
        g.box(dot, mesh.frame_along(head.way(0.4, 0.9, 2.0 * z)), np.full(3, 0.013), skins.eyes[0],
              cells=8, eye=2)  # fmt: skip
    return centres, made, float(np.sqrt(tall * deep))


def _horns(g: Growth, skins: _Skins, head: Head) -> None:
    """Long horns: a straight first piece, then a bow of beads."""
    rng = g.rng
    beads, length = int(rng.integers(9, 12)), float(rng.uniform(0.044, 0.060))
    wide, rise, bow = (float(rng.uniform(*r)) for r in ((0.3, 0.9), (0.3, 1.0), (-0.22, 0.02)))
    for side in (-1.0, 1.0):
        base = head.at(0.080, 0.020, side * 0.034)
        g.box(base, head.axes, np.full(3, 0.020), skins.face, cells=8)
        knee = base + 0.105 * mesh.unit(head.way(0.75, rise, side * wide))
        g.leg_piece(base, knee, 0.012, 0.015, 0.003, skins.horn)
        sway = float(rng.normal(0.0, 0.12))
        at, way = knee, mesh.unit(head.way(0.8, 0.25 * rise + sway, side * wide))
        for i in range(beads):
            end = at + way * length
            r = 0.0125 + 0.003 * np.sin(np.pi * i / beads)
            g.leg_piece(at, end, r * 0.85, r, 0.001, skins.bead, cells=10, around=12)
            at = end
            way = mesh.unit(way + head.way(0.0, bow + 0.3 * sway, side * 0.12))


def _jaws(g: Growth, skins: _Skins, head: Head) -> None:
    """Hang a shield over two jaws that cross or gape, and thin feelers."""
    gape = float(g.rng.uniform(-0.02, 0.05))
    g.box(head.at(0.068, -0.062, 0.0), head.axes, _v(0.030, 0.050, 0.064), skins.shield,
          power=2.5, cells=14)  # fmt: skip
    for side in (-1.0, 1.0):
        root = head.at(0.030, -0.095, side * 0.090)
        elbow = head.at(0.085, -0.150, side * (0.078 + gape))
        tip = head.at(0.108, -0.172, side * (0.002 + gape))
        g.leg_piece(root, elbow, 0.026, 0.020, 0.004, skins.jaw)
        g.leg_piece(elbow, tip, 0.019, 0.004, 0.005, skins.jaw)
        joints = [
            head.at(0.03, -0.13, side * 0.03), head.at(0.05, -0.19, side * 0.055),
            head.at(0.07, -0.225, side * 0.05), head.at(0.075, -0.26, side * 0.035),
        ]  # fmt: skip
        add_leg(g, joints, [0.008, 0.008, 0.008, 0.007], [0.001] * 3, [skins.bead] * 3)


def _legs(g: Growth, skins: _Skins, ground: Ground) -> list[mesh.Patch]:
    rng = g.rng
    out: list[mesh.Patch] = []
    for i, reach in enumerate((0.30, 0.0, -0.34)):
        for side in (-1.0, 1.0):
            hip = _v(0.12 - 0.13 * i, -0.14, side * 0.075)
            x = hip[0] + reach * float(rng.uniform(0.75, 1.2))
            z = side * float(rng.uniform(0.30, 0.42))
            foot = _v(x, ground(z) + 0.014, z)
            thigh = hip + _v(0.12 * reach, -0.05, side * 0.05)
            knee = 0.55 * hip + 0.45 * foot
            knee[1] = float(rng.uniform(-0.02, 0.10))
            out += add_leg(
                g, [hip, thigh, knee, foot], [0.038, 0.024, 0.017, 0.012], [0.006, 0.012, 0.003],
                [skins.chest, skins.leg, skins.leg],
            )  # fmt: skip
            at, ahead = foot, (0.040, -0.032, -0.036)[i]
            for n in range(4):
                z_next = at[2] + side * 0.012
                to = _v(at[0] + ahead, ground(z_next) + 0.009, z_next)
                r = 0.0105 - 0.0012 * n
                out.append(g.leg_piece(at, to, r * 0.8, r, 0.001, skins.leg, cells=8, around=10))
                at = to
    return out


def grow_wasp(g: Growth, pal: Palette, ground: Ground) -> tuple[Array, float]:
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
    slim = float(rng.uniform(0.88, 1.1))
    chest = g.box(_v(0.02, 0.01, 0.0), np.eye(3), _v(0.20, 0.165, 0.140 * slim), skins.chest,
                  power=2.2, cells=20)  # fmt: skip
    chest += g.box(_v(0.14, 0.03, 0.0), np.eye(3), _v(0.085, 0.115, 0.130 * slim), skins.chest,
                   cells=14)  # fmt: skip
    chest += g.box(_v(-0.16, -0.02, 0.0), np.eye(3), _v(0.09, 0.12, 0.110 * slim), skins.chest,
                   cells=14)  # fmt: skip
    waist, lift = float(rng.uniform(0.10, 0.22)), float(rng.uniform(-0.3, 0.25))
    back = mesh.unit(_v(-1.0, lift, 0.0))
    joint = _v(-0.23, -0.05, 0.0)
    g.leg_piece(joint, joint + waist * back, 0.020, 0.032, 0.004, skins.belly)
    long = float(rng.uniform(0.28, 0.36))
    belly = g.box(joint + (waist + 0.92 * long) * back, mesh.frame_along(-back),
                  _v(long, 0.145 * slim, 0.145 * slim), skins.belly, cells=20)  # fmt: skip
    head = turned_head(
        _v(0.205, 0.035, 0.0), 0.125, float(rng.normal(0.0, 0.35)), float(rng.uniform(-0.1, 0.45)),
        float(rng.normal(0.0, 0.15)),
    )  # fmt: skip
    g.leg_piece(_v(0.18, 0.03, 0.0), head.centre, 0.045, 0.045, 0.0, skins.chest)
    skull = g.box(head.centre, head.axes, _v(0.082, 0.140, 0.138), skins.face, power=2.15, cells=18)
    eyes, beans, radius = _eyes(g, skins, head)
    _horns(g, skins, head)
    _jaws(g, skins, head)
    legs = _legs(g, skins, ground)
    a, b = pal.hair_root, pal.hair_tip
    furry, way = float(rng.uniform(0.3, 1.6)), _v(-1.0, 0.25, 0.0)
    g.coat(
        skull, int(420 * furry), (0.015, 0.045), 0.0013, a, b, lean=head.way(0.7, 0.1, 0.0), lay=0.4
    )
    g.coat(chest, int(900 * furry), (0.02, 0.055), 0.0014, a, b, lean=way, lay=0.4)
    g.coat(belly, int(500 * furry), (0.012, 0.035), 0.0013, a, b, lean=way, lay=0.65)
    g.coat(legs, 480, (0.010, 0.03), 0.0014, a, b, lean=_v(0.0, -0.7, 0.0), lay=0.4)
    if rng.random() < 0.2:
        g.coat(beans, 160, (0.006, 0.014), 0.0012, a, b, lean=way, lay=0.2)
    return np.array(eyes), radius
