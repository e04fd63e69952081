"""Hairs as the renderer draws them: short straight pieces with widths and lit colours."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from haltere.scene.camera import Lens
from haltere.scene.growth import Hairs
from haltere.scene.lighting import Lighting, light_hairs

Array = NDArray[np.float64]


def _hair_pieces(
    root: Array, tip: Array, bow: Array, width: Array, colour: Array, pieces: int
) -> tuple[Array, Array, Array]:
    t = np.linspace(0.0, 1.0, pieces + 1)
    bez = root[:, None] * (1 - t)[None, :, None] + tip[:, None] * t[None, :, None]
    bez = bez + bow[:, None] * (4 * t * (1 - t))[None, :, None]
    taper = np.clip(1.0 - t**1.6, 0.12, 1.0)
    w = width[:, None] * taper
    col = colour[:, None, :3] * (1 - t)[None, :, None] + colour[:, None, 3:] * t[None, :, None]
    pts = np.stack([bez[:, :-1], bez[:, 1:]], axis=2).reshape(-1, 3)
    ww = np.stack([w[:, :-1], w[:, 1:]], axis=-1).reshape(-1, 2)
    cc = np.concatenate([col[:, :-1], col[:, 1:]], axis=-1).reshape(-1, 6)
    return pts, ww, cc


def drawn_hairs(
    hairs: Hairs, lens: Lens, lighting: Lighting
) -> tuple[Array, Array, Array, NDArray[np.int64]]:
    """Cut the hairs that face the camera into pieces and light them.

    Parameters
    ----------
    hairs : Hairs
        Posed, mm, axes of the reference camera.
    lens : Lens
        Optics.
    lighting : Lighting
        Light.

    Returns
    -------
    points : ndarray of float64, shape (2 S, 3)
        Ends of the pieces.
    width : ndarray of float64, shape (S, 2)
        Widths at both ends.
    colour : ndarray of float64, shape (S, 6)
        Linear light at both ends.
    whose : ndarray of int64, shape (S,)
        Hair that each piece belongs to.
    """
    facing = hairs.normal[:, 2] < 0.35
    # hairs are lit by what their root sees, roughly: darker below the body
    under = np.clip(0.75 - 0.45 * hairs.normal[:, 1], 0.3, 1.15)
    length_px = np.linalg.norm(hairs.tip - hairs.root, axis=1) * lens.px_per_mm
    drawn = []
    # a short hair needs fewer pieces to look bent
    for some, pieces in ((facing & (length_px < 60.0), 3), (facing & (length_px >= 60.0), 6)):
        q, w, c = _hair_pieces(
            hairs.root[some], hairs.tip[some], hairs.bow[some], hairs.width[some],
            hairs.colour[some], pieces,
        )  # fmt: skip
        whose = np.repeat(np.flatnonzero(some), pieces)
        drawn.append((q, w, light_hairs(q, c, np.repeat(under[some], pieces), lighting), whose))
    pts, ww, cc = (np.concatenate([d[i] for d in drawn]) for i in range(3))
    return pts, ww, cc, np.concatenate([d[3] for d in drawn])
