"""Plain things to put before the lens whose pictures geometry foretells."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from haltere.scene.camera import Camera, Lens
from haltere.scene.raster import LEVELS, TEXTURE_PEAK
from haltere.scene.stage import Stage

Array = NDArray[np.float64]
WHITE = 255
# Linear light of a white texel.
LIGHT = TEXTURE_PEAK


def straight_on(lens: Lens, *, forward_mm: float = 0.0) -> Camera:
    return Camera((0.0, 0.0, -lens.pupil_distance_mm + forward_mm), np.eye(3))


def board(
    lens: Lens,
    squares: Sequence[tuple[float, float, float, float, float]],
    *,
    hairs: Sequence[tuple[float, float, float]] = (),
    background: float = 0.0,
) -> Stage:
    """White squares (x, y, z, half width, half height), black upright hairs (x, z, width); mm."""
    verts, tris, uv = [], [], []
    for n, (x, y, z, a, b) in enumerate(squares):
        verts += [[x - a, y - b, z], [x + a, y - b, z], [x + a, y + b, z], [x - a, y + b, z]]
        tris += [[4 * n, 4 * n + 1, 4 * n + 2], [4 * n, 4 * n + 2, 4 * n + 3]]
        uv += [[0, 0], [8, 0], [8, 8], [0, 8]]
    size = np.array([[max(8 >> level, 1) for level in range(LEVELS)]], np.int32)
    start = np.concatenate([[0], np.cumsum(size[0] ** 2)[:-1]]).astype(np.int32)[None]
    ends = [[[x, -40.0, z], [x, 40.0, z]] for x, z, _ in hairs]
    count = len(tris)
    return Stage(
        lens=lens,
        verts=np.array(verts, np.float32).reshape(-1, 3),
        tris=np.array(tris, np.int32).reshape(-1, 3),
        uv=np.array(uv, np.float32).reshape(-1, 2),
        tri_patch=np.zeros(count, np.int32),
        tri_label=np.full(count, 2, np.int32),
        tri_eye=np.full(count, -1, np.int32),
        tex=np.full((int((size**2).sum()), 3), WHITE, np.uint8),
        tex_at=start,
        tex_w=size,
        tex_h=size.copy(),
        hair_pts=np.array(ends, np.float32).reshape(-1, 3),
        hair_width=np.array([[w, w] for _, _, w in hairs], np.float32).reshape(-1, 2),
        hair_colour=np.zeros((len(hairs), 6), np.float32),
        eye_points=np.zeros((2, 3)),
        backdrop=np.full(3, background),
        blobs=np.zeros((0, 6)),
    )


def moments(light: Array) -> tuple[float, float, float, float]:
    """Middle (x, y) and variance along x and y of a bright spot, pixels."""
    y, x = np.mgrid[0 : light.shape[0], 0 : light.shape[1]]
    total = light.sum()
    mx, my = float((light * x).sum() / total), float((light * y).sum() / total)
    vx = float((light * (x - mx) ** 2).sum() / total)
    vy = float((light * (y - my) ** 2).sum() / total)
    return mx, my, vx, vy
