"""How skin, eyes and leaves are coloured and dented, texel by texel, before any light falls."""

from __future__ import annotations

import math
from typing import Any

from numba import njit

from haltere.scene.noise import blend, honeycomb, lattice, nearest_spot, ramp, smooth

# Columns of a material row (see `material.py`, which fills them).
KIND, BASE, ALT, THIRD = 0, 1, 4, 7
BAND_FREQ, BAND_DUTY, MOTTLE_FREQ, MOTTLE = 10, 11, 12, 13
PIT_FREQ, PIT_DEPTH, PIT_RADIUS = 14, 15, 16
GLOSS, ROUGH, BUMP, GRAIN_FREQ, GRAIN, SEED = 17, 18, 19, 20, 21, 22
FACETS, RIM, VEINED = 23, 24, 25
# Only smooth eyes have these: the lean of their bands, the half width of the dark spot that looks
# back (both in radians), and where it lies, which the pose decides.
LEAN, SPOT, SPOT_AT = 26, 27, 28
COLUMNS = 31
CUTICLE, FACETED_EYE, SHINY_EYE, PLANT, PLUSH, SMOOTH_EYE = 0, 1, 2, 3, 4, 5


@njit(cache=True, nogil=True)
def _faceted(x: Any, y: Any, z: Any, m: Any, out: Any) -> Any:
    """Colour one point of a compound eye; give its height and shine."""
    seed = int(m[SEED])
    n = 1.0 / math.sqrt(x * x + y * y + z * z)
    x, y, z = x * n, y * n, z * n
    # equal-area map about the outward axis, so that facets keep their size
    q = math.sqrt(1.0 / max(1.0 + x, 0.15))
    fu, fv = y * q * m[FACETS] * 0.5, z * q * m[FACETS] * 0.5
    wall, cu, cv, du, dv = honeycomb(fu, fv)
    bulge = max(1.0 - (du * du + dv * dv) * 3.2, 0.0)
    seam = ramp(0.74, 1.0, wall)
    wave = m[BAND_FREQ] * (fv / m[FACETS] * 2.0)
    band = 0.5 + 0.5 * math.sin(wave + 2.0 * smooth(x * 2.0, y * 2.0, z * 2.0, seed))
    band = ramp(m[BAND_DUTY], m[BAND_DUTY] + 0.25, band)
    own = lattice(math.floor(cu * 2 + 0.5), math.floor(cv * 2 + 0.5), 7, seed)
    cloud = smooth(x * 2.6 + 9.0, y * 2.6, z * 2.6, seed + 2)
    # a darker field where one looks straight into the facets
    deep = 1.0 - 0.45 * ramp(0.80, 0.97, x) - 0.25 * ramp(0.35, 0.7, cloud)
    dim = (0.40 + 0.60 * bulge) * (0.8 + 0.4 * own) * (1.0 - 0.85 * seam) * deep
    for ch in range(3):
        out[ch] = dim * (m[BASE + ch] + (m[ALT + ch] - m[BASE + ch]) * band * m[MOTTLE])
    return 0.30 / m[FACETS] * bulge * m[RIM], 1.0 - 0.9 * seam


@njit(cache=True, nogil=True)
def _shiny(x: Any, y: Any, z: Any, m: Any, out: Any) -> Any:
    """Colour one point of a lens eye: dark pupil, a ring of colour deep inside, a sharp rim."""
    seed = int(m[SEED])
    n = 1.0 / math.sqrt(x * x + y * y + z * z)
    x, y, z = x * n, y * n, z * n
    deep = 0.5 + 0.5 * smooth(x * 9, y * 9, z * 9, seed)
    ring = ramp(0.97, 0.80, x) * ramp(0.25, 0.62, x)
    rim = ramp(m[RIM] + 0.05, m[RIM], x)
    fleck = smooth(math.atan2(y, z) * 14.0, x * 4.0, 0.5, seed)
    glow = ring * (0.35 + 0.65 * fleck)
    for ch in range(3):
        v = m[BASE + ch] * deep + (m[ALT + ch] - m[BASE + ch]) * glow
        out[ch] = v + (m[THIRD + ch] - v) * rim
    return -0.02 * rim, 1.0 - 0.85 * rim


@njit(cache=True, nogil=True)
def _smooth_eye(x: Any, y: Any, z: Any, m: Any, out: Any) -> Any:
    """Colour one point of a compound eye whose facets are too fine to see."""
    seed = int(m[SEED])
    n = 1.0 / math.sqrt(x * x + y * y + z * z)
    x, y, z = x * n, y * n, z * n
    cloud = smooth(x * 2.2 + 5.0, y * 2.2, z * 2.2, seed)
    fleck = smooth(x * 13.0, y * 13.0, z * 13.0, seed + 1)
    band = 0.0
    if m[BAND_FREQ] > 0.0:
        across = z * math.cos(m[LEAN]) + y * math.sin(m[LEAN])
        wave = 0.5 + 0.5 * math.sin(m[BAND_FREQ] * across + 1.3 * cloud)
        band = ramp(m[BAND_DUTY] - 0.12, m[BAND_DUTY] + 0.12, wave)
    spotted = ramp(0.60, 0.74, fleck) * m[MOTTLE]
    spot = 0.0
    if m[SPOT] > 0.0:
        # the facets that look into the lens swallow the light
        toward = x * m[SPOT_AT] + y * m[SPOT_AT + 1] + z * m[SPOT_AT + 2]
        spot = ramp(math.cos(1.35 * m[SPOT]), math.cos(0.75 * m[SPOT]), toward)
    # seen slantwise the eye is darker, and its rim is pigment
    dim = (0.72 + 0.5 * cloud) * (0.55 + 0.45 * ramp(-0.1, 0.55, x)) * (1.0 - 0.88 * spot)
    for ch in range(3):
        v = m[BASE + ch] + (m[ALT + ch] - m[BASE + ch]) * band
        v = v + (m[THIRD + ch] - v) * spotted
        out[ch] = v * dim
    return 0.0, 0.9 + 0.1 * cloud


@njit(cache=True, nogil=True)
def _plant(x: Any, y: Any, z: Any, s: Any, m: Any, texel: Any, out: Any) -> Any:
    """Colour one point of a leaf or stem; `s` is the way across a leaf or around a stem."""
    seed = int(m[SEED])
    grain = min(m[GRAIN_FREQ], 0.42 / texel)
    fine = 0.30 / texel
    f1 = smooth(x * 3.0, y * 9.0, z * 9.0, seed)
    f2 = smooth(x * 11.0, y * 34.0, z * 34.0, seed + 1)
    f3 = smooth(x * grain * 0.2, y * grain * 0.6, z * grain * 0.6, seed + 2)
    if m[VEINED] > 0.0:
        # side veins run slantwise from the midrib, with a fine net between them
        side = (x * 2.2 - abs(s) * 1.1) * 2.0
        d = abs(side - math.floor(side + 0.5))
        vein = max(ramp(0.06, 0.0, d) * 0.6, ramp(0.05, 0.0, abs(s)))
        net, _ = nearest_spot(x * 24.0, y * 24.0, z * 24.0, seed + 5)
        vein = max(vein, 0.35 * ramp(0.45, 0.75, net))
    else:
        vein = 0.5 * ramp(0.45, 0.75, smooth(s * 37.0, x * 1.2, 0.0, seed + 9))
    f4 = smooth(x * fine, y * fine, z * fine, seed + 3)
    tone = (0.55 + 0.55 * f1) * (0.7 + 0.6 * f2) * (0.78 + 0.44 * f3) * (0.85 + 0.3 * f4)
    spot, own = nearest_spot(x * 14.0, y * 14.0, z * 14.0, seed + 6)
    dot = ramp(0.22, 0.12, spot) * ramp(0.6, 0.7, own)
    for ch in range(3):
        v = m[BASE + ch] + (m[ALT + ch] - m[BASE + ch]) * ramp(0.35, 0.75, f1)
        v = v + (m[THIRD + ch] - v) * vein
        out[ch] = v * tone * (1.0 - 0.6 * dot)
    return (0.010 * f2 + 0.004 * f3 + 0.012 * vein - 0.006 * dot) * m[BUMP], 0.4 + 0.6 * f2


@njit(cache=True, nogil=True)
def _skin(x: Any, y: Any, z: Any, s: Any, m: Any, texel: Any, out: Any) -> Any:
    """Colour one point of bare or plush skin; `s` is the place along the part."""
    seed = int(m[SEED])
    grain_f = min(m[GRAIN_FREQ], 0.42 / texel)
    mf = m[MOTTLE_FREQ]
    mo = smooth(x * mf, y * mf, z * mf, seed + 1)
    mo2 = smooth(x * mf * 2.7, y * mf * 2.7, z * mf * 2.7, seed + 2)
    mottled = ramp(0.35, 0.75, 0.6 * mo + 0.4 * mo2)
    band = 0.0
    edge = 0.0
    if m[BAND_FREQ] > 0.0:
        wobble = smooth(x * 7.0, y * 7.0, z * 7.0, seed) - 0.5
        phase = s * m[BAND_FREQ] + wobble * 0.35 + (mo2 - 0.5) * 0.12
        saw = phase - math.floor(phase)
        band = ramp(0.0, 0.05, saw) * ramp(m[BAND_DUTY] + 0.05, m[BAND_DUTY], saw)
        edge = ramp(0.07, 0.0, abs(saw - 0.5 * m[BAND_DUTY] - 0.5))
    g1 = smooth(x * grain_f, y * grain_f, z * grain_f, seed + 3)
    g2 = smooth(x * grain_f * 0.45, y * grain_f * 0.45, z * grain_f * 0.45, seed + 4)
    grain = 1.0 + m[GRAIN] * ((g1 - 0.5) * 1.0 + (g2 - 0.5) * 1.2)
    height = 0.0
    pit = 0.0
    if m[PIT_DEPTH] > 0.0:
        pf = m[PIT_FREQ]
        d, own = nearest_spot(x * pf, y * pf, z * pf, seed + 20)
        radius = m[PIT_RADIUS] * (0.7 + 0.6 * own)
        pit = ramp(radius, radius * 0.45, d)
        wall = ramp(radius * 1.5, radius * 1.05, d) * (1.0 - pit)
        height += m[PIT_DEPTH] / pf * (0.25 * wall - pit)
    if int(m[KIND]) == PLUSH:
        # flattened scales and down that lie along the part
        gs = grain_f
        streak = smooth(x * gs * 0.16, y * gs * 0.75, z * gs * 0.75, seed + 8)
        tuft = smooth(x * 16.0, y * 26.0, z * 26.0, seed + 10)
        grain *= (0.45 + 1.1 * streak) * (0.7 + 0.6 * tuft)
        height += 0.006 * streak + 0.008 * tuft
    height += m[BUMP] * (0.004 * mo2 + 0.25 / grain_f * g2 + 0.12 / grain_f * g1)
    height -= 0.012 * m[BUMP] * edge
    dim = grain * (1.0 - 0.62 * pit) * (1.0 - 0.45 * edge)
    for ch in range(3):
        v = m[BASE + ch] + (m[ALT + ch] - m[BASE + ch]) * band
        v = v + (m[THIRD + ch] - v) * mottled * m[MOTTLE]
        out[ch] = max(v * dim, 0.0)
    return height, (0.55 + 0.45 * g2) * (1.0 - 0.8 * pit)


@njit(cache=True, nogil=True)
def paint(
    local: Any, hidden: Any, m: Any, texel: Any, colour: Any, relief: Any, polish: Any
) -> None:
    """Fill in colour, relief and polish of a patch.

    Parameters
    ----------
    local : ndarray of float32, shape (R, C, 4)
        Pattern coordinates at the patch's vertices: place in body units and place along the part;
        for eyes the unit vector from the eye's middle, first axis outward.
    hidden : ndarray of bool, shape (R - 1, C - 1)
        Cells that face away and need no paint.
    m : ndarray of float64
        One material row.
    texel : float
        Size of a texel in body units: finer detail than that is left out.
    colour, relief, polish : ndarray of float32, shape (H, W, 3), (H, W), (H, W)
        Filled: albedo 0..1, height in body units, strength of the shine.
    """
    height, width = relief.shape
    rows, cols = local.shape[0] - 1, local.shape[1] - 1
    kind = int(m[KIND])
    for j in range(height):
        gy = (j + 0.5) / height * rows
        r = min(int(gy), rows - 1)
        fy = gy - r
        for i in range(width):
            gx = (i + 0.5) / width * cols
            c = min(int(gx), cols - 1)
            if hidden[r, c]:
                continue
            fx = gx - c
            x = blend(local, r, c, 0, fx, fy)
            y = blend(local, r, c, 1, fx, fy)
            z = blend(local, r, c, 2, fx, fy)
            s = blend(local, r, c, 3, fx, fy)
            if kind == FACETED_EYE:
                up, shine = _faceted(x, y, z, m, colour[j, i])
            elif kind == SHINY_EYE:
                up, shine = _shiny(x, y, z, m, colour[j, i])
            elif kind == SMOOTH_EYE:
                up, shine = _smooth_eye(x, y, z, m, colour[j, i])
            elif kind == PLANT:
                up, shine = _plant(x, y, z, s, m, texel, colour[j, i])
            else:
                up, shine = _skin(x, y, z, s, m, texel, colour[j, i])
            relief[j, i] = up
            polish[j, i] = shine * m[GLOSS]
