"""A hard-cased crawler: glossy wing cases, small side eyes, clubbed horns; it cannot fly."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

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

    case: int
    collar: int
    face: int
    lip: int
    under: int
    leg: int
    horn: int
    eyes: tuple[int, int]


def _v(x: float, y: float, z: float) -> Array:
    return np.array([x, y, z])


def _skins(g: Growth, pal: Palette) -> _Skins:
    rng = g.rng
    gloss, rough = float(rng.uniform(1.3, 2.8)), float(rng.uniform(0.06, 0.26))
    pits = float(rng.choice(np.array([0.0, 0.0, 75.0, 100.0, 130.0])))

    def shell(a: Colour, b: Colour, c: Colour, bands: float, **more: float) -> int:
        opts = {"gloss": gloss, "rough": rough, "mottle": 0.6, "mottle_freq": 5.0, "grain": 0.22,
                "bump": 0.5, "bands": bands, "pits": pits,
                "pit_depth": 0.16 if pits else 0.0, "pit_radius": 0.24}  # fmt: skip
        return g.skin(material(tx.CUTICLE, a, b, c, g.seed(), **{**opts, **more}))

    # furrows along the wing cases, stripes, or neither
    ribs, striped = float(rng.choice(np.array([0.0, 7.0, 9.0]))), bool(rng.random() < 0.4)
    other = pal.band if striped else pal.skin
    faceted, spot = bool(rng.random() < 0.6), float(rng.uniform(0.25, 0.4))
    facets, bulge = float(rng.uniform(16, 34)), float(rng.uniform(0.5, 1.0))
    # eyes as dark as glass now and then: only their glint stands out
    deep = 0.22 if rng.random() < 0.4 else 1.0
    iris, bar = darkened(pal.eye, deep), darkened(pal.eye_band, deep)
    eyes = []
    for _ in range(2):
        kind = tx.FACETED_EYE if faceted else tx.SMOOTH_EYE
        eyes.append(
            g.skin(
                material(
                    kind, iris, bar, bar, g.seed(), facets=facets, rim=bulge,
                    mottle=0.7,
                    gloss=0.7 if faceted else 1.5, rough=0.2 if faceted else 0.1, spot=spot,
                )
            )
        )  # fmt: skip
    return _Skins(
        case=shell(pal.skin, other, pal.mottle, ribs, duty=0.42),
        collar=shell(pal.skin if rng.random() < 0.5 else pal.mottle, pal.band, pal.mottle, 0.0),
        face=shell(pal.mottle, pal.band, pal.skin, 0.0, grain=0.4, bump=0.9),
        lip=shell(pal.band, pal.skin, pal.mottle, 0.0, gloss=0.8, pits=0.0, pit_depth=0.0),
        under=shell(
            darkened(pal.limb, 0.25), pal.band, pal.limb, 0.0, gloss=0.6, rough=0.4, grain=0.5
        ),
        leg=shell(pal.limb, pal.band, pal.mottle, 0.0, pits=0.0, pit_depth=0.0, grain=0.4),
        horn=shell(pal.limb, pal.band, pal.mottle, 0.0, gloss=0.7, pits=0.0, pit_depth=0.0),
        eyes=(eyes[0], eyes[1]),
    )


def _wing_cases(g: Growth, skins: _Skins) -> list[mesh.Patch]:
    """Two domes that meet in a seam along the back."""
    rng = g.rng
    radii = _v(
        float(rng.uniform(0.40, 0.52)), float(rng.uniform(0.22, 0.30)),
        float(rng.uniform(0.25, 0.31)),
    )  # fmt: skip
    middle = _v(-radii[0] + 0.04, -0.02, 0.0)
    out = []
    for side in (-1.0, 1.0):
        start = len(g.patches)
        made = g.box(
            middle + _v(0.0, 0.0, side * 0.035), np.eye(3), radii, skins.case, power=2.25,
            cells=24, joined=side > 0,
        )  # fmt: skip
        for i, p in enumerate(made):
            # the furrows' place is the angle about the body, the same for both cases
            q = p.local / np.array([*radii, 1.0])
            angle = np.arctan2(np.abs(q[..., 2] + side * 0.10), q[..., 1])
            local = np.concatenate([p.local[..., :3], angle[..., None] * 1.9 / np.pi], axis=-1)
            made[i] = g.patches[start + i] = replace(p, local=local)
        out += made
    belly = radii * np.array([0.94, 0.55, 0.9])
    g.box(middle + _v(0.0, -0.12, 0.0), np.eye(3), belly, skins.under, cells=16)
    return out


def _horns(g: Growth, skins: _Skins, head: Head, size: float) -> None:
    """Bent horns of beads that end in a club of three or four flat ones."""
    rng = g.rng
    beads, club = int(rng.integers(5, 8)), int(rng.integers(3, 5))
    wide, rise, bow = (float(rng.uniform(*r)) for r in ((0.5, 1.1), (-0.5, 0.4), (-0.06, 0.12)))
    for side in (-1.0, 1.0):
        at = head.at(0.088, -0.022, side * 0.082 * size)
        way = mesh.unit(head.way(0.6, 0.0, side * wide))
        end = at + way * 0.075
        g.leg_piece(at, end, 0.013, 0.016, 0.004, skins.horn)
        at, way = end, mesh.unit(head.way(0.8, rise, side * wide))
        for i in range(beads + club):
            fat = 0.0125 if i < beads else 0.024 + 0.004 * (i - beads)
            step = 0.030 if i < beads else 0.034
            end = at + way * step
            g.leg_piece(at, end, fat * 0.8, fat, 0.003, skins.horn, cells=8, around=12)
            at = end
            way = mesh.unit(way + head.way(0.05, bow, side * 0.08))


def _mouth(g: Growth, skins: _Skins, head: Head, size: float) -> None:
    """Lay a plate over short jaws, with two feelers below."""
    rng = g.rng
    gape = float(rng.uniform(0.0, 0.03))
    g.box(head.at(0.105, -0.028, 0.0), head.axes, _v(0.045, 0.040, 0.078 * size), skins.face,
          power=2.6, cells=12)  # fmt: skip
    g.box(head.at(0.140, -0.046, 0.0), head.axes, _v(0.024, 0.022, 0.050 * size), skins.lip,
          power=2.5, cells=10)  # fmt: skip
    for side in (-1.0, 1.0):
        root, elbow = head.at(0.085, -0.065, side * 0.058), head.at(0.165, -0.072, side * 0.054)
        tip = head.at(0.205, -0.080, side * (0.010 + gape))
        g.leg_piece(root, elbow, 0.026, 0.019, 0.003, skins.horn)
        g.leg_piece(elbow, tip, 0.018, 0.004, 0.003, skins.horn)
        joints = [
            head.at(0.09, -0.085, side * 0.045), head.at(0.14, -0.125, side * 0.07),
            head.at(0.17, -0.155, side * 0.06), head.at(0.18, -0.185, side * 0.045),
        ]  # fmt: skip
        add_leg(g, joints, [0.008, 0.008, 0.009, 0.010], [0.002] * 3, [skins.horn] * 3)


def _legs(g: Growth, pal: Palette, skins: _Skins, ground: Ground) -> list[mesh.Patch]:
    rng = g.rng
    out: list[mesh.Patch] = []
    stout = float(rng.uniform(0.8, 1.15))
    for i, reach in enumerate((0.20, -0.06, -0.30)):
        for side in (-1.0, 1.0):
            hip = _v(0.16 - 0.24 * i, -0.17, side * 0.13)
            x = hip[0] + reach * float(rng.uniform(0.7, 1.2))
            z = side * float(rng.uniform(0.36, 0.46))
            knee = _v(hip[0] + 0.45 * (x - hip[0]), -0.10 + float(rng.uniform(-0.03, 0.04)),
                      side * 0.33)  # fmt: skip
            foot = _v(x, ground(z) + 0.02, z)
            # a swollen thigh, a shin that widens to its foot
            thigh = g.leg_piece(hip, knee, 0.030 * stout, 0.024 * stout, 0.017 * stout, skins.leg)
            shin = g.leg_piece(knee, foot, 0.017 * stout, 0.026 * stout, 0.0, skins.leg)
            out += [thigh, shin]
            g.coat([shin], 26, (0.03, 0.055), 0.0050, pal.hair_root, pal.hair_tip,
                   lean=_v(0.0, -0.8, 0.0), lay=0.45, spread=0.15)  # fmt: skip
            at, ahead = foot, 0.040 if i == 0 else -0.022
            for _ in range(4):
                z_next = at[2] + side * 0.020
                to = _v(at[0] + ahead, ground(z_next) + 0.012, z_next)
                out.append(g.leg_piece(at, to, 0.009, 0.014, 0.001, skins.leg, cells=8, around=10))
                at = to
    return out


def grow_beetle(g: Growth, pal: Palette, ground: Ground) -> tuple[Array, float]:
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
    cases = _wing_cases(g, skins)
    wide = float(rng.uniform(0.92, 1.12))
    collar = g.box(_v(0.115, -0.02, 0.0), np.eye(3), _v(0.16, 0.155, 0.225 * wide), skins.collar,
                   power=2.5, cells=20)  # fmt: skip
    g.box(_v(0.06, -0.12, 0.0), np.eye(3), _v(0.20, 0.10, 0.17), skins.under, cells=12)
    size = float(rng.uniform(0.9, 1.1))
    head = turned_head(
        _v(0.20, -0.045, 0.0), 0.115, float(rng.normal(0.0, 0.2)), float(rng.uniform(0.0, 0.4)),
        float(rng.normal(0.0, 0.08)),
    )  # fmt: skip
    skull = g.box(head.centre, head.axes, _v(0.115, 0.095, 0.128 * size), skins.face, power=2.2,
                  cells=16)  # fmt: skip
    eyes, lashes = [], []
    tall, long = float(rng.uniform(0.038, 0.054)), float(rng.uniform(0.044, 0.062))
    for n, side in enumerate((-1.0, 1.0)):
        c = head.at(0.030, 0.022, side * 0.108 * size)
        look = mesh.frame_along(head.way(0.45, 0.28, side * 0.85), head.axes[:, 1])
        lashes += g.box(c, look, _v(0.043, tall, long), skins.eyes[n], cells=16, label=3, eye=n)
        eyes.append(c)
    _horns(g, skins, head, size)
    _mouth(g, skins, head, size)
    legs = _legs(g, pal, skins, ground)
    a, b = pal.hair_root, pal.hair_tip
    furry, back = float(rng.uniform(0.2, 1.5)), _v(-1.0, 0.2, 0.0)
    g.coat(
        skull, int(120 * furry), (0.012, 0.04), 0.0022, a, b, lean=head.way(0.8, 0.2, 0.0), lay=0.5
    )
    g.coat(collar, int(160 * furry), (0.010, 0.03), 0.0020, a, b, lean=back, lay=0.6)
    if rng.random() < 0.4:
        g.coat(
            cases, int(500 * furry), (0.012, 0.03), 0.0020, a, b, lean=back, lay=0.75, spread=0.1
        )
    if rng.random() < 0.25:
        g.coat(lashes, 60, (0.006, 0.014), 0.0014, a, b, lean=back, lay=0.2)
    g.coat(legs, 420, (0.012, 0.035), 0.0024, a, b, lean=_v(0.0, -0.7, 0.0), lay=0.4)
    return np.array(eyes), 0.5 * (tall + long)
