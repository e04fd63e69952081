"""A plush eight-legged jumper with two large shiny front eyes."""

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
_BLACK: Colour = (0.006, 0.006, 0.007)
# Where the face ends, body units along x.
_FRONT = 0.43


@dataclass(frozen=True, slots=True)
class _Skins:
    """Rows of the material table."""

    back: int
    belly: int
    leg: int
    face: int
    fang: int
    eye: int
    small_eye: int


def _v(x: float, y: float, z: float) -> Array:
    return np.array([x, y, z])


def _skins(g: Growth, pal: Palette) -> _Skins:
    rng = g.rng

    def plush(bands: float, duty: float, base: Colour, third: Colour, mottle: float = 0.7) -> int:
        return g.skin(
            material(
                tx.PLUSH, base, pal.band, third, g.seed(), bands=bands, duty=duty, mottle=mottle,
                gloss=0.25, rough=0.8, bump=1.3, mottle_freq=float(rng.uniform(6, 12)),
            )
        )  # fmt: skip

    def glass() -> int:
        return g.skin(
            material(
                tx.SHINY_EYE,
                _BLACK,
                pal.eye_band,
                _BLACK,
                g.seed(),
                gloss=1.0,
                rough=0.05,
                rim=-0.05,
            )
        )

    metal = material(
        tx.CUTICLE, pal.eye_band, pal.skin, pal.eye, g.seed(), gloss=1.6, rough=0.22, mottle=0.4,
        grain=0.25, bump=0.6,
    )  # fmt: skip
    return _Skins(
        back=plush(float(rng.choice(np.array([0.0, 1.0, 1.5]))), 0.35, pal.skin, pal.mottle),
        belly=plush(float(rng.choice(np.array([1.0, 1.5, 2.0, 2.5]))), 0.4, pal.skin, pal.mottle),
        leg=plush(float(rng.choice(np.array([1.0, 2.0]))), 0.35, pal.limb, pal.mottle),
        face=plush(0.0, 0.4, pal.skin, pal.band, mottle=0.9),
        fang=g.skin(metal),
        eye=glass(),
        small_eye=glass(),
    )


def _eyes(g: Growth, skins: _Skins, tall: float) -> tuple[list[Array], float]:
    """Two large eyes in sockets in front, six small ones (four of them modelled) behind."""
    rng = g.rng
    big, gap = float(rng.uniform(0.088, 0.100)), float(rng.uniform(0.004, 0.012))
    centres = []
    for n, side in enumerate((-1.0, 1.0)):
        c = _v(_FRONT - 0.032, 0.045, side * (big + gap))
        centres.append(c)
        socket = _v(0.075, big * 1.1, big * 1.1)
        g.box(c - _v(0.030, 0.0, 0.0), np.eye(3), socket, skins.face, cells=12)
        add_eye(g, c, _v(1.0, 0.02, side * 0.08), np.full(3, big), skins.eye, n, 20)
    for side in (-1.0, 1.0):
        small = big * float(rng.uniform(0.48, 0.6))
        beside = _v(_FRONT - 0.075, 0.082, side * 0.222)
        behind = _v(0.20, 0.155 * tall, side * 0.205)
        out = (_v(0.9, 0.1, side * 0.42), _v(0.1, 0.6, side * 0.8))
        add_eye(g, beside, out[0], np.full(3, small), skins.small_eye, 2, 12)
        add_eye(g, behind, out[1], np.full(3, small * 0.8), skins.small_eye, 2, 10)
    return centres, big


def _mouth(g: Growth, skins: _Skins) -> list[mesh.Patch]:
    """Two shining fangs; the palps beside them come back, for their long hair."""
    palps: list[mesh.Patch] = []
    lift = float(g.rng.uniform(-0.02, 0.03))
    for side in (-1.0, 1.0):
        top, tip = _v(_FRONT - 0.05, -0.06, side * 0.062), _v(_FRONT + 0.01, -0.29, side * 0.07)
        g.leg_piece(top, tip, 0.062, 0.040, 0.012, skins.fang)
        joints = [
            _v(_FRONT - 0.06, -0.12, side * 0.155),
            _v(_FRONT + 0.08, -0.07 + lift, side * 0.20),
            _v(_FRONT + 0.14, -0.20, side * 0.17),
            _v(_FRONT + 0.12, -0.30, side * 0.13),
        ]
        palps += add_leg(
            g, joints, [0.040, 0.036, 0.036, 0.040], [0.004, 0.004, 0.008],
            [skins.leg, skins.leg, skins.face],
        )  # fmt: skip
    return palps


def _legs(g: Growth, skins: _Skins, ground: Ground) -> list[mesh.Patch]:
    rng = g.rng
    out: list[mesh.Patch] = []
    shape = ((1.3, 0.42, 0.42), (0.95, 0.20, 0.55), (0.9, -0.20, 0.55), (1.0, -0.46, 0.46))
    for i, (thick, reach, wide) in enumerate(shape):
        for side in (-1.0, 1.0):
            hip = _v(0.27 - 0.13 * i, -0.12, side * 0.17)
            far = reach * float(rng.uniform(0.85, 1.1))
            z = side * wide * float(rng.uniform(0.88, 1.05))
            foot = _v(hip[0] + far, ground(z) + 0.01, z)
            rise = 0.20 + float(rng.uniform(-0.02, 0.04))
            k1 = hip + _v(0.45 * far, rise, side * 0.17)
            k2 = k1 + _v(0.40 * far, -0.06, side * 0.10)
            k3 = 0.35 * k2 + 0.65 * foot + _v(0.0, 0.02, side * 0.03)
            radii = [r * thick for r in (0.052, 0.046, 0.040, 0.032, 0.022)]
            out += add_leg(
                g,
                [hip, k1, k2, k3, foot],
                radii,
                [0.014 * thick, 0.006, 0.004, 0.0],
                [skins.leg] * 4,
            )
    return out


def grow_spider(g: Growth, pal: Palette, ground: Ground) -> tuple[Array, float]:
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
    tall, plump = float(rng.uniform(0.92, 1.1)), float(rng.uniform(0.9, 1.2))
    front = g.box(_v(0.12, 0.0, 0.0), np.eye(3), _v(0.31, 0.195 * tall, 0.245), skins.back,
                  power=2.7, cells=22)  # fmt: skip
    way = mesh.unit(_v(-1.0, float(rng.uniform(-0.15, 0.12)), 0.0))
    belly = g.box(_v(-0.16, 0.0, 0.0) + way * 0.33, mesh.frame_along(-way),
                  _v(0.33, 0.22 * plump, 0.235 * plump), skins.belly, cells=22)  # fmt: skip
    eyes, radius = _eyes(g, skins, tall)
    palps = _mouth(g, skins)
    legs = _legs(g, skins, ground)
    back, dense = _v(-1.0, 0.2, 0.0), float(rng.uniform(0.8, 1.3))
    a, b = pal.hair_root, pal.hair_tip
    g.coat(belly, int(1100 * dense), (0.03, 0.085), 0.0026, a, b, lean=back, lay=0.6, spread=0.2)
    g.coat(front, int(900 * dense), (0.025, 0.06), 0.0026, a, b, lean=back, lay=0.55, spread=0.2)
    g.coat(front, int(120 * dense), (0.06, 0.13), 0.0034, a, b, lean=_v(0.5, 0.8, 0.0), lay=0.5)
    # the beard hangs over the face only
    g.coat(front, int(420 * dense), (0.04, 0.085), 0.0026, a, b, lean=_v(0.9, -0.35, 0.0), lay=0.6,
           window=(0.36, 9.0), spread=0.2)  # fmt: skip
    g.coat(legs, int(1300 * dense), (0.025, 0.075), 0.0026, a, b, lean=_v(0.1, -0.7, 0.0), lay=0.45)
    g.coat(legs, int(110 * dense), (0.07, 0.13), 0.0036, a, b, lean=_v(0.2, -0.2, 0.0), lay=0.3)
    g.coat(palps, int(330 * dense), (0.04, 0.10), 0.0028, b, b, lean=_v(0.6, -0.7, 0.0), lay=0.5)
    return np.array(eyes), radius
