"""What of a stage the reference camera sees: its depth, its hairs, its eyes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from haltere.scene.camera import Lens
from haltere.scene.raster import look

Array = NDArray[np.float64]


def pinhole(lens: Lens) -> Array:
    """View row of the reference camera's middle of the pupil, shape (16,).

    Parameters
    ----------
    lens : Lens
        Optics.
    """
    row = np.zeros(16)
    row[[0, 4, 8]] = 1.0
    row[11] = -lens.pupil_distance_mm
    return row


def visible_depth(
    lens: Lens,
    verts: Array,
    tris: NDArray[np.int32],
    label: NDArray[np.int32],
    hair_pts: Array,
    hair_width: Array,
) -> tuple[float, float]:
    """Nearest and farthest visible depth of the animal in mm, 0 = plane of focus.

    Parameters
    ----------
    lens : Lens
        Optics.
    verts, tris, label : ndarray
        Surface of the stage, see `haltere.scene.stage.Stage`.
    hair_pts, hair_width : ndarray
        Its hairs.
    """
    small = replace(lens, width_px=400, height_px=round(400 * lens.height_px / lens.width_px))
    cx, cy = small.centre_px
    z, ids = look(
        verts.astype(np.float32),
        tris,
        hair_pts.astype(np.float32),
        hair_width.astype(np.float32),
        pinhole(small),
        small.focal_px,
        small.pupil_distance_mm,
        cx,
        cy,
        small.height_px,
        small.width_px,
    )
    animal = (ids < -1) | ((ids >= 0) & (label[np.maximum(ids, 0)] >= 2))
    seen = z[animal] - small.pupil_distance_mm
    return float(seen.min()), float(seen.max())


def not_buried(
    lens: Lens, verts: Array, tris: NDArray[np.int32], hair_pts: Array
) -> NDArray[np.bool_]:
    """Tell which hair pieces (S,) some point of the pupil might see past the surfaces.

    A piece is buried when it lies behind all that is seen within the widest blur disc about it.

    Parameters
    ----------
    lens : Lens
        Optics.
    verts, tris : ndarray
        Surface of the stage, see `haltere.scene.stage.Stage`.
    hair_pts : ndarray of float64, shape (2 S, 3)
        Ends of hair pieces.
    """
    import cv2

    small = replace(lens, width_px=400, height_px=round(400 * lens.height_px / lens.width_px))
    cx, cy = small.centre_px
    none = np.zeros((0, 3), np.float32)
    z, _ = look(
        verts.astype(np.float32), tris, none, none[:, :2], pinhole(small),
        small.focal_px, small.pupil_distance_mm, cx, cy, small.height_px, small.width_px,
    )  # fmt: skip
    widest = max(small.blur_disc_px(float(end)) for end in np.percentile(hair_pts[:, 2], [0, 100]))
    # room for a swaying hand too: it turns about the animal by a degree at most
    reach = 2 * (int(widest) + 6) + 1
    deepest = cv2.dilate(z, np.ones((reach, reach), np.uint8), borderValue=1e9)
    p = 0.5 * (hair_pts[0::2] + hair_pts[1::2]) + np.array([0.0, 0.0, small.pupil_distance_mm])
    x = np.rint(small.focal_px * p[:, 0] / p[:, 2] + cx).astype(int)
    y = np.rint(small.focal_px * p[:, 1] / p[:, 2] + cy).astype(int)
    held = (x >= 0) & (y >= 0) & (x < small.width_px) & (y < small.height_px)
    out = np.ones(len(p), np.bool_)
    out[held] = p[held, 2] < deepest[y[held], x[held]]
    return out


def eye_points(lens: Lens, verts: Array, tris: NDArray[np.int32], eye: NDArray[np.int32]) -> Array:
    """Find a visible point on each main eye, near its place nearest to the camera.

    Parameters
    ----------
    lens : Lens
        Optics.
    verts, tris, eye : ndarray
        Surface of the stage, see `haltere.scene.stage.Stage`.
    """
    small = replace(lens, width_px=800, height_px=round(800 * lens.height_px / lens.width_px))
    cx, cy = small.centre_px
    z, ids = look(
        verts.astype(np.float32),
        tris,
        np.zeros((0, 3), np.float32),
        np.zeros((0, 2), np.float32),
        pinhole(small),
        small.focal_px,
        small.pupil_distance_mm,
        cx,
        cy,
        small.height_px,
        small.width_px,
    )
    out = []
    for n in (0, 1):
        own = verts[np.unique(tris[eye == n])]
        apex = own[np.argmin(own[:, 2])]
        ys, xs = np.nonzero((ids >= 0) & (eye[np.maximum(ids, 0)] == n))
        if len(xs) < 8:
            out.append(apex)
            continue
        depth = z[ys, xs]
        zz = float(np.quantile(depth, 0.05))
        pick = np.flatnonzero(depth <= zz)
        u, v = np.median(xs[pick]), np.median(ys[pick])
        best = int(np.argmin((xs - u) ** 2 + (ys - v) ** 2))
        d = float(depth[best])
        out.append(
            np.array(
                [
                    (xs[best] - cx) * d / small.focal_px,
                    (ys[best] - cy) * d / small.focal_px,
                    d - small.pupil_distance_mm,
                ]
            )
        )
    return np.array(out)
