"""How near does a merged picture come to the truth? Figures of one picture and one depth map."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.metrics import structural_similarity
from truth_view import TruthView, luma

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

BAND_PX = 12  # what lies near a silhouette
STEP_DOF = 2.0  # a jump of depth that makes one
FAR_PX = (24, 80)  # backdrop that the halo is held against
SURE = 0.5  # confidence from which a depth counts as sure


@dataclass(frozen=True, slots=True)
class Regions:
    """Where a picture is looked at, on the truth's grid."""

    animal: Flags
    silhouette: Flags
    backdrop: Flags
    around: Flags


def regions(view: TruthView) -> Regions:
    """Covered animal, its part near jumps of depth, backdrop beside it and farther off."""
    dof = view.raw["depth_of_field_mm"]
    far = np.nanmax(view.depth_mm) + 100 * dof
    depth = np.where(np.isfinite(view.depth_mm), view.depth_mm, far).astype(np.float32)
    window = np.ones((3, 3), np.uint8)
    step = cv2.dilate(depth, window) - cv2.erode(depth, window) > STEP_DOF * dof
    near = cv2.distanceTransform((~step).astype(np.uint8), cv2.DIST_L2, 5) <= BAND_PX
    animal = view.covered()
    nothing = (view.mask == 0) & ~np.isfinite(view.depth_mm)
    away = cv2.distanceTransform((view.mask == 0).astype(np.uint8), cv2.DIST_L2, 5)
    return Regions(
        animal,
        animal & near,
        nothing & (away >= 2) & (away <= BAND_PX),
        nothing & (away >= FAR_PX[0]) & (away <= FAR_PX[1]),
    )


def _rms(values: Floats) -> float:
    return 255 * float(np.sqrt(np.mean(values**2))) if values.size else float("nan")


def _gradient(picture: Floats) -> Floats:
    down, across = np.gradient(picture)
    return np.asarray(np.hypot(down, across))


def halo(where: Regions, grey: Floats, valid: Flags) -> float:
    """RMS of the backdrop beside the animal against the backdrop farther off, 8-bit levels."""
    around = (where.around & valid).astype(np.float32)
    weight = cv2.GaussianBlur(around, (0, 0), FAR_PX[0], borderType=cv2.BORDER_CONSTANT)
    level = cv2.GaussianBlur(
        around * grey.astype(np.float32), (0, 0), FAR_PX[0], borderType=cv2.BORDER_CONSTANT
    )
    beside = where.backdrop & valid & (weight > 0.05)
    return _rms(grey[beside] - level[beside] / weight[beside])


def picture_figures(
    view: TruthView,
    where: Regions,
    rgb: Floats,
    valid: Flags,
    reference: Floats,
    sharp: Flags | None = None,
) -> dict[str, Any]:
    """Figures of a picture on the truth's grid; `reference` is the reference frame itself.

    Colour: mean of a channel over mean of the same in the reference frame, less one, in percent,
    over animal that is sharp in that frame and in the picture (`sharp`), and clipped in neither.
    """
    said, true = np.where(valid, luma(rgb), luma(view.sharp)), luma(view.sharp)
    kernel = np.ones((13, 13), np.uint8)
    inner = cv2.erode(valid.astype(np.uint8), kernel, borderValue=0) > 0
    animal, edge = where.animal & inner, where.silhouette & inner
    _, ssim = structural_similarity(
        said, true, gaussian_weights=True, sigma=1.5, use_sample_covariance=False, data_range=1.0,
        full=True,
    )  # fmt: skip
    rms = _rms((said - true)[animal])
    index = view.raw["reference_index"]
    half = view.raw["depth_of_field_mm"] / 2
    both = animal & (np.abs(view.depth_mm - view.plane_mm(index)) <= half)
    if sharp is not None:
        both &= sharp
    for one in (rgb, reference):
        both &= np.all((one > 2 / 255) & (one < 253 / 255), axis=2)
    colour = [
        100 * (float(rgb[both, c].mean() / reference[both, c].mean()) - 1) if both.any() else 0.0
        for c in range(3)
    ]
    slopes, wanted = np.stack(np.gradient(said))[:, animal], np.stack(np.gradient(true))[:, animal]
    return {
        "psnr": 20 * float(np.log10(255 / rms)),
        "ssim": float(ssim[animal].mean()),
        "gradient": float(_gradient(said)[animal].mean() / _gradient(true)[animal].mean()),
        "gradient_kept": float((slopes * wanted).sum() / (wanted**2).sum()),
        "edge_rms": _rms((said - true)[edge]),
        "halo": halo(where, said, valid),
        "colour": colour,
        "lost": 1 - float((where.animal & valid).sum() / where.animal.sum()),
    }


def depth_figures(
    view: TruthView, where: Regions, depth_mm: Floats, confidence: Floats, valid: Flags
) -> dict[str, Any]:
    """Errors of a depth map in depths of field over the covered animal; NaN = not told."""
    here = where.animal & valid
    told = here & np.isfinite(depth_mm)
    sure = told & (confidence >= SURE)
    error = np.abs(depth_mm - view.depth_mm) / view.raw["depth_of_field_mm"]
    return {
        "depth_told": float(told.sum() / here.sum()),
        "depth_median": float(np.median(error[told])),
        "depth_within": float((error[told] <= 1).mean()),
        "sure": float(sure.sum() / here.sum()),
        "sure_within": float((error[sure] <= 1).mean()) if sure.any() else 1.0,
        "sure_median": float(np.median(error[sure])) if sure.any() else 0.0,
    }
