"""Textures of all patches with their coarser levels, painted and lit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.scene.lighting import Lighting, light, shade
from haltere.scene.mesh import Patch
from haltere.scene.pattern import paint
from haltere.scene.raster import LEVELS

Array = NDArray[np.float64]
# A leaf is looked at less closely than an animal.
_SUPPORT_DENSITY = 0.75
# Beyond this normal (z away from the camera) a surface can't be seen by a swaying hand.
AWAY = 0.3


@dataclass(frozen=True, slots=True)
class Baked:
    """Textures in one long list of texels.

    Attributes
    ----------
    uv : ndarray of float32, shape (V, 2)
        Texture coordinates of all vertices, in texels of level 0.
    tex : ndarray of uint8, shape (n, 3)
        Texels of all patches and levels.
    tex_at, tex_w, tex_h : ndarray of int32, shape (P, LEVELS)
        Where a patch's level starts, and its size.
    """

    uv: NDArray[np.float32]
    tex: NDArray[np.uint8]
    tex_at: NDArray[np.int32]
    tex_w: NDArray[np.int32]
    tex_h: NDArray[np.int32]


def bake(
    patches: Sequence[Patch], materials: Array, balls: Array, ball_part: NDArray[np.int32],
    lighting: Lighting, unit_mm: float, texels_per_mm: float,
) -> Baked:  # fmt: skip
    """Paint and light all patches.

    Parameters
    ----------
    patches : sequence of Patch
        In mm, axes of the reference camera.
    materials : ndarray of float64, shape (M, pattern.COLUMNS)
        Material table.
    balls, ball_part : ndarray, shape (B, 4), (B,)
        Stand-ins of the parts that cast shade, mm.
    lighting : Lighting
        Light.
    unit_mm : float
        A body unit in mm.
    texels_per_mm : float
        Density.
    """
    lamps, sky = lighting.table(), lighting.sky()
    n = len(patches)
    at = np.zeros((n, LEVELS), np.int32)
    tw, th = np.zeros_like(at), np.zeros_like(at)
    uvs, chunks, total = [], [], 0
    for k, p in enumerate(patches):
        density = texels_per_mm * (_SUPPORT_DENSITY if p.label == 1 else 1.0)
        along_u = np.linalg.norm(np.diff(p.points, axis=1), axis=-1).sum(axis=1).max()
        along_v = np.linalg.norm(np.diff(p.points, axis=0), axis=-1).sum(axis=0).max()
        w = int(np.clip(np.ceil(along_u * density), 4, 2000))
        h = int(np.clip(np.ceil(along_v * density), 4, 2000))
        out = _texture(
            p, (h, w), density, materials[p.material], balls, ball_part, lamps, sky, unit_mm
        )
        r, c = p.points.shape[:2]
        v, u = np.meshgrid(np.linspace(0, h, r), np.linspace(0, w, c), indexing="ij")
        uvs.append(np.stack([u, v], axis=-1).reshape(-1, 2))
        for level in range(LEVELS):
            at[k, level], tw[k, level], th[k, level] = total, out.shape[1], out.shape[0]
            chunks.append(out.reshape(-1, 3))
            total += len(chunks[-1])
            out = _halved(out)
    return Baked(np.concatenate(uvs).astype(np.float32), np.concatenate(chunks), at, tw, th)


def _texture(
    p: Patch, shape: tuple[int, int], density: float, m: Array, balls: Array,
    ball_part: NDArray[np.int32], lamps: Array, sky: Array, unit_mm: float,
) -> NDArray[np.uint8]:  # fmt: skip
    """Finest level (H, W, 3) of one patch."""
    colour = np.zeros((*shape, 3), np.float32)
    relief, polish = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    away = p.normals[..., 2] > AWAY
    hidden = away[:-1, :-1] & away[1:, :-1] & away[:-1, 1:] & away[1:, 1:]
    paint(p.local.astype(np.float32), hidden, m, 1.0 / (density * unit_mm), colour, relief, polish)
    seen = np.empty((*p.points.shape[:2], 2), np.float32)
    shade(p.points, p.normals, p.part, balls, ball_part, lamps[0], seen)
    out = np.zeros((*shape, 3), np.uint8)
    light(p.points, p.normals, hidden, seen, lamps, sky, m, unit_mm, colour, relief, polish, out)
    if hidden.any():
        # coarse levels mix in what lies behind the edge: give it the mean, not black
        bare = ~out.any(axis=2)
        if bare.any() and not bare.all():
            out[bare] = out[~bare].mean(axis=0)
    return out


def _halved(a: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Mean light of two by two texels (H, W, 3), stored as square roots like `a`."""
    h, w = a.shape[:2]
    b = np.pad(a, ((0, h % 2), (0, w % 2), (0, 0)), mode="edge").astype(np.float32) ** 2
    m = 0.25 * (b[0::2, 0::2] + b[1::2, 0::2] + b[0::2, 1::2] + b[1::2, 1::2])
    return np.asarray(np.sqrt(m) + 0.5, dtype=np.uint8)
