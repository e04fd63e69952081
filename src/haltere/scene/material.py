"""Colours and skins an invented animal may wear, and the plants it sits on."""

from __future__ import annotations

import colorsys
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.scene import pattern as tx

Array = NDArray[np.float64]
Colour = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Palette:
    """Colours of one animal, linear light 0..1."""

    skin: Colour
    band: Colour
    mottle: Colour
    limb: Colour
    eye: Colour
    eye_band: Colour
    hair_root: Colour
    hair_tip: Colour
    plant: Colour
    plant_light: Colour
    backdrop: Colour


def _hsv(h: float, s: float, v: float) -> Colour:
    r, g, b = colorsys.hsv_to_rgb(h % 1.0, min(max(s, 0.0), 1.0), min(max(v, 0.0), 1.0))
    return r**2.2, g**2.2, b**2.2


# (skin, band, mottle, eye, eye band, hair root, hair tip) as hue, saturation, value; picked by eye
# so that the parts stay apart in grey as well as in colour.
_FLY = (
    (
        (0.06, 0.75, 0.42),
        (0.12, 0.45, 0.86),
        (0.03, 0.70, 0.24),
        (0.99, 0.80, 0.52),
        (0.05, 0.85, 0.80),
    ),
    (
        (0.55, 0.55, 0.34),
        (0.14, 0.60, 0.85),
        (0.50, 0.60, 0.55),
        (0.03, 0.85, 0.48),
        (0.13, 0.80, 0.75),
    ),
    (
        (0.09, 0.30, 0.40),
        (0.10, 0.12, 0.80),
        (0.08, 0.45, 0.22),
        (0.36, 0.75, 0.48),
        (0.02, 0.80, 0.70),
    ),
    (
        (0.40, 0.70, 0.36),
        (0.17, 0.70, 0.80),
        (0.46, 0.80, 0.50),
        (0.97, 0.75, 0.50),
        (0.08, 0.70, 0.80),
    ),
    (
        (0.72, 0.40, 0.34),
        (0.07, 0.65, 0.84),
        (0.78, 0.45, 0.50),
        (0.09, 0.85, 0.60),
        (0.46, 0.60, 0.60),
    ),
    (
        (0.12, 0.80, 0.72),
        (0.08, 0.60, 0.16),
        (0.10, 0.85, 0.52),
        (0.01, 0.80, 0.40),
        (0.10, 0.70, 0.66),
    ),
)
_SPIDER = (
    (
        (0.08, 0.35, 0.36),
        (0.10, 0.10, 0.88),
        (0.06, 0.60, 0.58),
        (0.38, 0.60, 0.16),
        (0.36, 0.75, 0.52),
    ),
    (
        (0.60, 0.15, 0.24),
        (0.03, 0.82, 0.78),
        (0.62, 0.12, 0.52),
        (0.55, 0.60, 0.14),
        (0.52, 0.70, 0.55),
    ),
    (
        (0.11, 0.50, 0.55),
        (0.08, 0.70, 0.22),
        (0.12, 0.35, 0.82),
        (0.08, 0.70, 0.14),
        (0.09, 0.80, 0.60),
    ),
    (
        (0.29, 0.40, 0.40),
        (0.14, 0.20, 0.86),
        (0.25, 0.50, 0.24),
        (0.70, 0.50, 0.15),
        (0.74, 0.55, 0.50),
    ),
    (
        (0.02, 0.55, 0.36),
        (0.12, 0.30, 0.80),
        (0.05, 0.65, 0.60),
        (0.47, 0.70, 0.14),
        (0.46, 0.75, 0.48),
    ),
)

# Glossy or metallic backs, dark eyes.
_BEETLE = (
    (
        (0.38, 0.85, 0.34),
        (0.30, 0.85, 0.56),
        (0.45, 0.80, 0.26),
        (0.08, 0.55, 0.16),
        (0.10, 0.50, 0.40),
    ),
    (
        (0.03, 0.88, 0.52),
        (0.05, 0.30, 0.10),
        (0.01, 0.85, 0.36),
        (0.60, 0.20, 0.10),
        (0.60, 0.20, 0.26),
    ),
    (
        (0.62, 0.40, 0.15),
        (0.10, 0.85, 0.74),
        (0.60, 0.50, 0.26),
        (0.05, 0.70, 0.34),
        (0.08, 0.75, 0.58),
    ),
    (
        (0.08, 0.78, 0.40),
        (0.10, 0.65, 0.68),
        (0.05, 0.75, 0.20),
        (0.10, 0.40, 0.13),
        (0.10, 0.50, 0.34),
    ),
    (
        (0.58, 0.75, 0.36),
        (0.80, 0.60, 0.34),
        (0.52, 0.75, 0.50),
        (0.07, 0.30, 0.20),
        (0.09, 0.30, 0.46),
    ),
    (
        (0.13, 0.80, 0.62),
        (0.08, 0.60, 0.12),
        (0.11, 0.75, 0.42),
        (0.99, 0.75, 0.28),
        (0.03, 0.75, 0.50),
    ),
)
# Warning colours or dull ones; smooth eyes.
_WASP = (
    (
        (0.08, 0.35, 0.10),
        (0.13, 0.88, 0.84),
        (0.06, 0.50, 0.18),
        (0.07, 0.60, 0.20),
        (0.10, 0.65, 0.40),
    ),
    (
        (0.03, 0.75, 0.36),
        (0.10, 0.75, 0.72),
        (0.04, 0.70, 0.16),
        (0.28, 0.45, 0.42),
        (0.24, 0.50, 0.62),
    ),
    (
        (0.62, 0.55, 0.20),
        (0.55, 0.60, 0.46),
        (0.66, 0.45, 0.12),
        (0.04, 0.60, 0.22),
        (0.08, 0.70, 0.46),
    ),
    (
        (0.09, 0.82, 0.62),
        (0.06, 0.60, 0.16),
        (0.08, 0.80, 0.42),
        (0.38, 0.55, 0.30),
        (0.34, 0.55, 0.50),
    ),
    (
        (0.05, 0.40, 0.12),
        (0.12, 0.12, 0.84),
        (0.02, 0.75, 0.40),
        (0.60, 0.25, 0.24),
        (0.58, 0.20, 0.50),
    ),
)
# Colours of grass, straw and soil; pale or banded eyes.
_HOPPER = (
    (
        (0.27, 0.65, 0.52),
        (0.16, 0.55, 0.76),
        (0.30, 0.65, 0.34),
        (0.16, 0.45, 0.62),
        (0.07, 0.60, 0.30),
    ),
    (
        (0.09, 0.50, 0.46),
        (0.11, 0.30, 0.76),
        (0.07, 0.55, 0.24),
        (0.10, 0.50, 0.52),
        (0.06, 0.60, 0.22),
    ),
    (
        (0.12, 0.45, 0.62),
        (0.08, 0.55, 0.28),
        (0.11, 0.50, 0.44),
        (0.06, 0.65, 0.26),
        (0.10, 0.50, 0.60),
    ),
    (
        (0.22, 0.55, 0.46),
        (0.95, 0.40, 0.56),
        (0.18, 0.50, 0.66),
        (0.02, 0.60, 0.44),
        (0.08, 0.40, 0.70),
    ),
    (
        (0.58, 0.16, 0.40),
        (0.06, 0.45, 0.66),
        (0.08, 0.30, 0.24),
        (0.58, 0.20, 0.50),
        (0.60, 0.30, 0.20),
    ),
)
_TABLES = {"fly": _FLY, "spider": _SPIDER, "beetle": _BEETLE, "wasp": _WASP, "hopper": _HOPPER}
# Share of animals with pale hair.
_PALE = {"fly": 0.45, "spider": 0.8, "beetle": 0.6, "wasp": 0.7, "hopper": 0.9}


def pick_palette(plan: str, rng: np.random.Generator) -> Palette:
    """Colours for one animal of a body plan, each seed its own.

    Parameters
    ----------
    plan : {"fly", "spider", "beetle", "wasp", "hopper"}
        Body plan.
    rng : Generator
        Source of the choice.
    """
    table = _TABLES[plan]
    row = table[int(rng.integers(len(table)))]
    turn = float(rng.normal(0.0, 0.018))

    def tint(c: tuple[float, float, float]) -> Colour:
        return _hsv(
            c[0] + turn,
            c[1] * float(rng.uniform(0.72, 0.95)),
            c[2] * float(rng.uniform(0.92, 1.06)),
        )

    skin, band, mottle, eye, eye_band = (tint(c) for c in row)
    limb = tuple(0.55 * a + 0.45 * b for a, b in zip(skin, mottle, strict=True))
    pale = bool(rng.random() < _PALE[plan])
    root = _hsv(0.09, 0.3, 0.62) if pale else _hsv(0.07, 0.5, 0.10)
    tip = _hsv(0.11, 0.25, 0.95) if pale else _hsv(0.08, 0.5, 0.34)
    green = float(rng.choice(np.array([0.27, 0.30, 0.24, 0.21, 0.11, 0.34])))
    plant = _hsv(green, float(rng.uniform(0.40, 0.55)), float(rng.uniform(0.30, 0.40)))
    light = _hsv(green - 0.03, float(rng.uniform(0.35, 0.48)), float(rng.uniform(0.46, 0.58)))
    hue = float(rng.choice(np.array([0.28, 0.33, 0.58, 0.10, 0.45, 0.95])))
    back = _hsv(hue, float(rng.uniform(0.2, 0.42)), float(rng.uniform(0.17, 0.25)))
    return Palette(
        skin,
        band,
        mottle,
        (limb[0], limb[1], limb[2]),
        eye,
        eye_band,
        root,
        tip,
        plant,
        light,
        back,
    )


def darkened(colour: Colour, share: float) -> Colour:
    """Colour with a share of its light.

    Parameters
    ----------
    colour : Colour
        Linear light.
    share : float
        0 is black, 1 leaves it as it is.
    """
    return colour[0] * share, colour[1] * share, colour[2] * share


def material(  # noqa: PLR0913
    kind: int, base: Colour, alt: Colour, third: Colour, seed: int, *,
    bands: float = 0.0, duty: float = 0.45, mottle_freq: float = 8.0, mottle: float = 0.6,
    pits: float = 0.0, pit_depth: float = 0.0, pit_radius: float = 0.33, gloss: float = 0.6,
    rough: float = 0.45, bump: float = 1.0, grain_freq: float = 320.0, grain: float = 0.5,
    facets: float = 40.0, rim: float = 0.5, veined: float = 0.0, lean: float = 0.0,
    spot: float = 0.0,
) -> Array:  # fmt: skip
    """One row of the material table, see the column names in `pattern`.

    Parameters
    ----------
    kind : int
        `pattern.CUTICLE`, `FACETED_EYE`, `SMOOTH_EYE`, `SHINY_EYE`, `PLANT` or `PLUSH`.
    base, alt, third : Colour
        Main colour, colour of bands, colour of mottles (or veins, or the glow in an eye).
    seed : int
        Seed of the patterns.
    bands, duty : float
        Bands per unit of the place along the part; share of the banded colour.
    mottle_freq, mottle, pits, pit_depth, pit_radius : float
        Patterns: per body unit, strengths 0..1, radius in spacings.
    gloss, rough, bump : float
        Strength and width of the shine; strength of the relief.
    grain_freq, grain : float
        Fine grain: per body unit, strength 0..1.
    facets, rim : float
        Facets across an eye; bulge of facets, or where a shiny eye's rim begins.
    veined : float
        Above 0 for leaves.
    lean, spot : float
        Lean of a smooth eye's bands; half width of the dark spot that looks back, 0 for none;
        radians.
    """
    m = np.zeros(tx.COLUMNS)
    m[tx.KIND] = kind
    m[tx.BASE : tx.BASE + 3] = base
    m[tx.ALT : tx.ALT + 3] = alt
    m[tx.THIRD : tx.THIRD + 3] = third
    m[tx.BAND_FREQ], m[tx.BAND_DUTY] = bands, duty
    m[tx.MOTTLE_FREQ], m[tx.MOTTLE] = mottle_freq, mottle
    m[tx.PIT_FREQ], m[tx.PIT_DEPTH], m[tx.PIT_RADIUS] = pits, pit_depth, pit_radius
    m[tx.GLOSS], m[tx.ROUGH], m[tx.BUMP] = gloss, rough, bump
    m[tx.GRAIN_FREQ], m[tx.GRAIN] = grain_freq, grain
    m[tx.SEED], m[tx.FACETS], m[tx.RIM] = seed % 100003, facets, rim
    m[tx.VEINED], m[tx.LEAN], m[tx.SPOT] = veined, lean, spot
    return m
