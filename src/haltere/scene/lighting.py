"""How lamps, sky and shade fall on painted skin, and end up in its texture."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from haltere.scene import mesh
from haltere.scene.noise import blend, ramp
from haltere.scene.pattern import FACETED_EYE, KIND, ROUGH, SHINY_EYE
from haltere.scene.raster import TEXTURE_PEAK

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Lamp:
    """A soft window of light carried by the camera.

    Attributes
    ----------
    direction : tuple of 3 floats
        Toward the lamp, axes of the reference camera (y down, z away).
    half_width, half_height : float
        Half sizes as tangents.
    colour : tuple of 3 floats
        Strength in red, green, blue.
    wrap : float
        How far its softness reaches round a body, 0..1.
    """

    direction: tuple[float, float, float]
    half_width: float
    half_height: float
    colour: tuple[float, float, float]
    wrap: float


@dataclass(frozen=True, slots=True)
class Lighting:
    """Light on the animal: a diffuser, a reflector, a dim rim, and what the sky gives.

    Attributes
    ----------
    lamps : tuple of Lamp
        The first casts shadows.
    above, below : tuple of 3 floats
        Colour of the surroundings.
    """

    lamps: tuple[Lamp, ...] = (
        Lamp((-0.42, -0.70, -0.58), 0.46, 0.30, (1.30, 1.26, 1.18), 0.30),
        Lamp((0.72, 0.12, -0.68), 0.26, 0.42, (0.26, 0.28, 0.31), 0.45),
        Lamp((0.30, -0.62, 0.72), 0.50, 0.30, (0.34, 0.38, 0.44), 0.15),
    )
    above: tuple[float, float, float] = (0.20, 0.21, 0.22)
    below: tuple[float, float, float] = (0.09, 0.09, 0.07)

    def table(self) -> Array:
        """Lamps as rows (L, 15): direction, two edges, half sizes, colour, wrap."""
        rows = []
        for lamp in self.lamps:
            f = mesh.frame_along(np.array(lamp.direction), np.array([0.0, -1.0, 0.0]))
            size = (lamp.half_width, lamp.half_height)
            rows.append([*f[:, 0], *f[:, 2], *f[:, 1], *size, *lamp.colour, lamp.wrap])
        return np.array(rows)

    def sky(self) -> Array:
        """Colour of the surroundings (6,): from above, from below."""
        return np.array([*self.above, *self.below])


@njit(cache=True, nogil=True)
def _window(rx: Any, ry: Any, rz: Any, lamp: Any, rough: Any) -> Any:
    """Light that comes from the direction r off one lamp: a bright rectangle with soft edges."""
    c = rx * lamp[0] + ry * lamp[1] + rz * lamp[2]
    if c <= 0.05:
        return 0.0
    a = abs(rx * lamp[3] + ry * lamp[4] + rz * lamp[5]) / c / lamp[9]
    b = abs(rx * lamp[6] + ry * lamp[7] + rz * lamp[8]) / c / lamp[10]
    lo = 1.0 - rough
    hi = 1.0 + 2.2 * rough
    return (1.0 - ramp(lo, hi, a)) * (1.0 - ramp(lo, hi, b)) / (1.0 + 1.6 * rough)


@njit(cache=True, nogil=True)
def _edge(points: Any, r: Any, c: Any, k: Any, fx: Any, fy: Any) -> Any:
    """Component `k` of a cell's two edges: along the columns and along the rows."""
    u0 = points[r, c + 1, k] - points[r, c, k]
    u1 = points[r + 1, c + 1, k] - points[r + 1, c, k]
    v0 = points[r + 1, c, k] - points[r, c, k]
    v1 = points[r + 1, c + 1, k] - points[r, c + 1, k]
    return u0 * (1.0 - fy) + u1 * fy, v0 * (1.0 - fx) + v1 * fx


@njit(cache=True, nogil=True)
def light(  # noqa: PLR0913, PLR0915, PLR0917
    points: Any, normals: Any, hidden: Any, seen: Any, lamps: Any, sky: Any, m: Any, unit_mm: Any,
    colour: Any, relief: Any, polish: Any, out: Any,
) -> None:  # fmt: skip
    """Let the lamps fall on a painted patch and write its texture bytes.

    Parameters
    ----------
    points, normals : ndarray of float64, shape (R, C, 3)
        Vertices in mm and unit normals, axes of the reference camera.
    hidden : ndarray of bool, shape (R - 1, C - 1)
        Cells that face away; their texels are left as they are.
    seen : ndarray of float32, shape (R, C, 2)
        Share of the surroundings, and of the main lamp, that a vertex sees.
    lamps, sky : ndarray of float64, shape (L, 15), (6,)
        From `Lighting`.
    m : ndarray of float64
        Material row.
    unit_mm : float
        A body unit in mm.
    colour, relief, polish : ndarray of float32
        From `pattern.paint`.
    out : ndarray of uint8, shape (H, W, 3)
        Filled with the square root of light, 255 for `raster.TEXTURE_PEAK`.
    """
    height, width = relief.shape
    rows, cols = points.shape[0] - 1, points.shape[1] - 1
    kind = int(m[KIND])
    # how much of a lamp's mirror image, and of the surroundings', a skin gives back
    spec, edge, ground, matt = 0.16, 1.0, 1.0, 1.0
    if kind == FACETED_EYE:
        ground, matt = 2.5, 0.75
    elif kind == SHINY_EYE:
        spec, edge, ground = 0.25, 2.0, 4.0
    scale = 65025.0 / TEXTURE_PEAK
    for j in range(height):
        gy = (j + 0.5) / height * rows
        r = min(int(gy), rows - 1)
        fy = gy - r
        jm, jp = max(j - 1, 0), min(j + 1, height - 1)
        for i in range(width):
            gx = (i + 0.5) / width * cols
            c = min(int(gx), cols - 1)
            if hidden[r, c]:
                continue
            fx = gx - c
            nx = blend(normals, r, c, 0, fx, fy)
            ny = blend(normals, r, c, 1, fx, fy)
            nz = blend(normals, r, c, 2, fx, fy)
            open_sky = blend(seen, r, c, 0, fx, fy)
            lamp_seen = blend(seen, r, c, 1, fx, fy)
            # relief tilts the normal against its slope along the patch's two directions
            im, ip = max(i - 1, 0), min(i + 1, width - 1)
            tux, tvx = _edge(points, r, c, 0, fx, fy)
            tuy, tvy = _edge(points, r, c, 1, fx, fy)
            tuz, tvz = _edge(points, r, c, 2, fx, fy)
            lu = math.sqrt(tux * tux + tuy * tuy + tuz * tuz) + 1e-9
            lv = math.sqrt(tvx * tvx + tvy * tvy + tvz * tvz) + 1e-9
            su = (relief[j, ip] - relief[j, im]) * unit_mm / (lu * cols / width * max(ip - im, 1))
            sv = (relief[jp, i] - relief[jm, i]) * unit_mm / (lv * rows / height * max(jp - jm, 1))
            su = min(max(su, -1.6), 1.6) / lu
            sv = min(max(sv, -1.6), 1.6) / lv
            nx -= su * tux + sv * tvx
            ny -= su * tuy + sv * tvy
            nz -= su * tuz + sv * tvz
            q = 1.0 / (math.sqrt(nx * nx + ny * ny + nz * nz) + 1e-9)
            nx, ny, nz = nx * q, ny * q, nz * q
            # mirror direction of the line of sight (0, 0, 1); Fresnel after Schlick (1994)
            rx, ry, rz = -2.0 * nz * nx, -2.0 * nz * ny, 1.0 - 2.0 * nz * nz
            fresnel = 0.045 + 0.4775 * (1.0 - max(-nz, 0.0)) ** 5
            up, mirror_up = 0.5 - 0.5 * ny, 0.5 - 0.5 * ry
            dr = (sky[3] + (sky[0] - sky[3]) * up) * open_sky
            dg = (sky[4] + (sky[1] - sky[4]) * up) * open_sky
            db = (sky[5] + (sky[2] - sky[5]) * up) * open_sky
            gloss = polish[j, i]
            mirror = ground * fresnel * open_sky
            sr = (sky[3] + (sky[0] - sky[3]) * mirror_up) * mirror
            sg = (sky[4] + (sky[1] - sky[4]) * mirror_up) * mirror
            sb = (sky[5] + (sky[2] - sky[5]) * mirror_up) * mirror
            for n in range(lamps.shape[0]):
                share = lamp_seen if n == 0 else open_sky
                cosine = nx * lamps[n, 0] + ny * lamps[n, 1] + nz * lamps[n, 2]
                wrap = lamps[n, 14]
                reach = max((cosine + wrap) / (1.0 + wrap), 0.0) * share
                glint = _window(rx, ry, rz, lamps[n], m[ROUGH]) * share * (spec + edge * fresnel)
                dr += lamps[n, 11] * reach
                dg += lamps[n, 12] * reach
                db += lamps[n, 13] * reach
                sr += lamps[n, 11] * glint
                sg += lamps[n, 12] * glint
                sb += lamps[n, 13] * glint
            vr = (matt * colour[j, i, 0] * dr + gloss * sr) * scale
            vg = (matt * colour[j, i, 1] * dg + gloss * sg) * scale
            vb = (matt * colour[j, i, 2] * db + gloss * sb) * scale
            out[j, i, 0] = np.uint8(min(math.sqrt(max(vr, 0.0)), 255.0))
            out[j, i, 1] = np.uint8(min(math.sqrt(max(vg, 0.0)), 255.0))
            out[j, i, 2] = np.uint8(min(math.sqrt(max(vb, 0.0)), 255.0))


@njit(cache=True, nogil=True)
def shade(
    points: Any, normals: Any, own: Any, balls: Any, ball_part: Any, lamp: Any, seen: Any
) -> None:
    """Work out how much sky and main lamp each vertex (R, C, 3) sees past the other parts.

    The parts stand as `balls` (n, 4), middle and radius; those of part `own` are left out.
    `seen` (R, C, 2) is filled.

    Parameters
    ----------
    points, normals : ndarray of float64, shape (R, C, 3)
        Vertices in mm and unit normals, axes of the reference camera.
    own : int
        Part that the vertices belong to.
    balls : ndarray of float64, shape (n, 4)
        Middle and radius, mm.
    ball_part : ndarray of int32, shape (n,)
        Part of each ball.
    lamp : ndarray of float64
        Row of the main lamp; its first three numbers point to it.
    seen : ndarray of float32, shape (R, C, 2)
        Filled with the shares 0..1 of sky and main lamp.
    """
    for r in range(points.shape[0]):
        for c in range(points.shape[1]):
            occlusion = 0.0
            lit = 1.0
            for b in range(balls.shape[0]):
                if ball_part[b] == own:
                    continue
                dx = balls[b, 0] - points[r, c, 0]
                dy = balls[b, 1] - points[r, c, 1]
                dz = balls[b, 2] - points[r, c, 2]
                radius = balls[b, 3]
                d2 = dx * dx + dy * dy + dz * dz + 1e-9
                if d2 > 100.0 * radius * radius:
                    continue
                toward = dx * normals[r, c, 0] + dy * normals[r, c, 1] + dz * normals[r, c, 2]
                cosine = toward / math.sqrt(d2)
                occlusion += max(0.0, 0.35 + 0.65 * cosine) * min(radius * radius / d2, 1.0)
                t = dx * lamp[0] + dy * lamp[1] + dz * lamp[2]
                if t > 0.0:
                    p = math.sqrt(max(d2 - t * t, 0.0))
                    soft = 0.18 * t
                    lit *= 0.25 + 0.75 * ramp(radius * 0.65 - soft, radius * 0.95 + soft, p)
            seen[r, c, 0] = math.exp(-1.1 * occlusion)
            seen[r, c, 1] = lit


def light_hairs(pts: Array, colour: Array, root_light: Array, lighting: Lighting) -> Array:
    """Light hair pieces as thin cylinders (Kajiya & Kay 1989): sine of the angle to each lamp.

    Parameters
    ----------
    pts : ndarray of float64, shape (2 S, 3)
        Ends of the pieces.
    colour : ndarray of float64, shape (S, 6)
        Colour at both ends.
    root_light : ndarray of float64, shape (S,)
        Share of light where the hair roots.
    lighting : Lighting
        Lamps.
    """
    tangent = mesh.unit(pts[1::2] - pts[0::2])
    across = tangent @ np.array([0.0, 0.0, -1.0])
    total = np.full((len(tangent), 3), 0.10)
    shine = np.zeros((len(tangent), 3))
    for lamp in lighting.lamps:
        along = tangent @ mesh.unit(np.array(lamp.direction))
        sine = np.sqrt(np.clip(1 - along**2, 0, 1))
        glint = sine * np.sqrt(np.clip(1 - across**2, 0, 1)) - along * across
        total += 0.75 * sine[:, None] * np.array(lamp.colour)
        shine += 0.10 * (np.clip(glint, 0, 1) ** 24)[:, None] * np.array(lamp.colour)
    both = np.concatenate([total, total], axis=1) * colour + np.concatenate([shine, shine], axis=1)
    return np.asarray(both * root_light[:, None])
