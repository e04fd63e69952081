"""What a merge is held against: the best single frame, and one that knows depth and poses."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from truth_view import Floats, TruthView, luma, read_rgb

SOFT_DOF = 0.35  # standard deviation of the weights of the averaging one


def best_single(folder: Path, view: TruthView) -> tuple[Floats, NDArray[np.bool_]]:
    """Single frame with the highest PSNR, carried to the truth's view by the truth."""
    least, found = np.inf, None
    where, true = view.covered(), luma(view.sharp)
    for k in view.usable():
        rgb, valid = view.laid(read_rgb(folder / view.raw["frames"][k]["file"]), k)
        error = float(np.mean((luma(rgb) - true)[where & valid] ** 2))
        if error < least:
            least, found = error, (rgb, valid)
    assert found is not None
    return found


def knowing(folder: Path, view: TruthView) -> tuple[Floats, Floats]:
    """Merge with true poses and depth: each pixel from its nearest plane, and averaged softly.

    Occlusion between views is not undone. The backdrop takes the depth of the nearest thing.
    """
    nothing = ~np.isfinite(view.depth_mm)
    _, index = cv2.distanceTransformWithLabels(
        nothing.astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    table = np.zeros(int(index.max()) + 1)
    table[index[~nothing]] = view.depth_mm[~nothing]
    filled = TruthView(view.raw, view.sharp, table[index], view.mask)
    used = view.usable()
    shape = view.depth_mm.shape
    places, aways = [], []
    for k in used:
        u, v = filled.place(k)
        away = np.abs(filled.plane_mm(k) - filled.depth_mm).astype(np.float32)
        away[(u < 0) | (v < 0) | (u > shape[1] - 1) | (v > shape[0] - 1)] = np.inf
        places.append((u, v))
        aways.append(away)
    stack = np.stack(aways)
    chosen, least = stack.argmin(axis=0), stack.min(axis=0)
    nearest = np.zeros((*shape, 3))
    total, weights = np.zeros((*shape, 3)), np.zeros(shape)
    spread = SOFT_DOF * view.raw["depth_of_field_mm"]
    for i, k in enumerate(used):
        frame = read_rgb(folder / view.raw["frames"][k]["file"]).astype(np.float32)
        seen = cv2.remap(frame, *places[i], cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_REPLICATE)
        seen = np.clip(seen, 0, 1)
        nearest[chosen == i] = seen[chosen == i]
        with np.errstate(invalid="ignore"):
            weight = np.exp(-0.5 * (stack[i] ** 2 - least**2) / spread**2)
        weight = np.where(np.isfinite(weight), weight, 0)
        total += weight[..., None] * seen
        weights += weight
    return nearest, total / np.maximum(weights, 1e-12)[..., None]
