"""What is true of a set of frames, and how it is written beside them."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from haltere.scene.camera import Camera, Lens, plane_homography, project

Array = NDArray[np.float64]
SHARP_NOTE = (
    "pinhole at the reference entrance pupil, noise free, with the same diffraction blur and "
    "exposure gain as the frames"
)
DEPTH_RULE = "depth_mm = depth_min_mm + value * scale_mm"
NOTHING = 65535


@dataclass(frozen=True, slots=True)
class FrameTruth:
    """What is true of one frame.

    Attributes
    ----------
    file : str
        File name.
    pass_number : int
        Pass of a sweep, from 0.
    time_s : float
        Moment after the first frame of the set.
    camera : Camera
        Pose.
    position_mm : float
        Plane of focus along the reference axis, 0 = reference.
    faults : tuple of str
        "misfire", "motion_blur".
    eyes_px : ndarray of float64, shape (2, 2)
        Where the two eye points are seen.
    eye_visible_fraction : tuple of 2 floats
        Share of an eye's camera-side surface that nothing hides and the frame holds.
    eye_depth_offset_mm : tuple of 2 floats
        Plane minus eye along the frame's axis: + = the plane lies behind the eye.
    blur_px : float
        Length of the movement during a motion-blurred exposure, else 0.
    pose : int
        Pose of the limb that moves.
    """

    file: str
    pass_number: int
    time_s: float
    camera: Camera
    position_mm: float
    faults: tuple[str, ...]
    eyes_px: Array
    eye_visible_fraction: tuple[float, float]
    eye_depth_offset_mm: tuple[float, float]
    blur_px: float = 0.0
    pose: int = 0


@dataclass(frozen=True, slots=True)
class LimbTruth:
    """A limb that moves between frames.

    Attributes
    ----------
    number : int
        Which of the stage's limbs.
    base_mm, axis : ndarray of float64, shape (3,)
        A point on the axis it turns about, and the axis as a unit vector.
    angle_deg : tuple of float
        Angle in each pose; pose 0 is the reference frame's, with angle 0.
    """

    number: int
    base_mm: Array
    axis: Array
    angle_deg: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Gap:
    """A stretch of the animal's visible depth that no frame covers, mm."""

    from_mm: float
    to_mm: float


@dataclass(frozen=True, slots=True)
class Truth:
    """What is true of one set.

    Attributes
    ----------
    kind : {"sweep", "burst", "single"}
        What was taken.
    seed : int
        Seed it came from.
    plan, support : str
        Body plan and support.
    lens : Lens
        Optics.
    frames : tuple of FrameTruth
        In order of time.
    reference_index : int
        The frame whose axes are the world's.
    visible_depth_mm : tuple of 2 floats
        Nearest and farthest visible depth of the animal.
    eye_points_mm : ndarray of float64, shape (2, 3)
        A point on each main eye.
    eyes_seen : tuple of dict
        Per eye: visible pixels and depth percentiles from the reference.
    gaps : tuple of Gap
        True gaps.
    folder : Path
        Where truth.json lies.
    limb : LimbTruth or None
        What moves.
    """

    kind: str
    seed: int
    plan: str
    support: str
    lens: Lens
    frames: tuple[FrameTruth, ...]
    reference_index: int
    visible_depth_mm: tuple[float, float]
    eye_points_mm: Array
    eyes_seen: tuple[dict[str, Any], ...]
    gaps: tuple[Gap, ...]
    folder: Path
    limb: LimbTruth | None = None


def eye_offsets(lens: Lens, camera: Camera, eyes: Array) -> tuple[float, float]:
    """Plane of focus minus eye along the camera's axis, mm, for two points (2, 3).

    Parameters
    ----------
    lens : Lens
        Optics.
    camera : Camera
        Pose of the frame.
    eyes : ndarray of float64, shape (2, 3)
        Eye points, mm.
    """
    z = camera.to_camera(eyes)[:, 2]
    s = lens.pupil_distance_mm
    return float(s - z[0]), float(s - z[1])


def find_gaps(depths_mm: Array, planes_mm: Array, dof_mm: float) -> tuple[Gap, ...]:
    """Stretches of the animal's depth that no plane covers to half a depth of field.

    Parameters
    ----------
    depths_mm : ndarray of float64
        Depths of the animal's pixels.
    planes_mm : ndarray of float64
        Plane positions of the usable frames.
    dof_mm : float
        Depth of field.
    """
    d = np.sort(depths_mm)
    if d.size == 0 or planes_mm.size == 0:
        return ()
    p = np.sort(planes_mm)
    edges = [float(d[0])]
    out = []
    for lo, hi in zip(p - dof_mm / 2, p + dof_mm / 2, strict=True):
        if lo > edges[-1]:
            out.append((edges[-1], float(min(lo, d[-1]))))
        if hi > edges[-1]:
            edges.append(float(hi))
    if edges[-1] < d[-1]:
        out.append((edges[-1], float(d[-1])))
    return tuple(
        Gap(a, b) for a, b in out
        if b - a > 1e-6 and np.searchsorted(d, b) > np.searchsorted(d, a)
    )  # fmt: skip


def write_truth(truth: Truth, depth_min_mm: float, scale_mm: float, views: int) -> Path:
    """Write truth.json into ``truth.folder`` and say where.

    Parameters
    ----------
    truth : Truth
        What is true of the set.
    depth_min_mm, scale_mm : float
        How the depth map is coded, see `DEPTH_RULE`.
    views : int
        Points of the pupil per frame.
    """
    lens = truth.lens
    cx, cy = lens.centre_px
    frames = []
    for f in truth.frames:
        row: dict[str, Any] = {
            "file": f.file,
            "pass": f.pass_number,
            "time_s": round(f.time_s, 3),
            "position_mm": f.position_mm,
            "camera_mm": list(f.camera.centre_mm),
            "rotation": f.camera.rotation.tolist(),
            "faults": list(f.faults),
            "eyes_px": f.eyes_px.tolist(),
            "eye_visible": [v > 0.5 for v in f.eye_visible_fraction],
            "eye_visible_fraction": [round(v, 3) for v in f.eye_visible_fraction],
            "eye_depth_offset_mm": list(f.eye_depth_offset_mm),
            "homography_at_plane": plane_homography(lens, f.camera).tolist(),
        }
        if "motion_blur" in f.faults:
            row["blur_px"] = round(f.blur_px, 2)
        if truth.limb is not None:
            row["pose"] = f.pose
        frames.append(row)
    data = {
        "seed": truth.seed,
        "renderer": "haltere scene",
        "samples_per_pixel": views,
        "kind": truth.kind,
        "magnification": lens.magnification,
        "focal_length_mm": lens.focal_mm,
        "f_number_marked": lens.f_number,
        "f_number_effective": lens.f_number_effective,
        "coc_mm": lens.coc_mm,
        "depth_of_field_mm": lens.depth_of_field_mm,
        "sensor_width_mm": lens.sensor_width_mm,
        "width_px": lens.width_px,
        "height_px": lens.height_px,
        "entrance_pupil_to_plane_mm": lens.pupil_distance_mm,
        "aperture_diameter_mm": lens.aperture_mm,
        "focal_px": lens.focal_px,
        "principal_point_px": [cx, cy],
        "pixel_convention": "centres at integers",
        "depth_axis": "along the reference frame's optical axis, growing away from the camera, "
        "0 = the reference frame's plane of focus, mm",
        "camera_convention": "world axes = reference camera axes (x right, y down, z away); origin "
        "on the optical axis at the reference plane of focus; camera_mm = entrance pupil; p_cam = "
        "rotation @ (P - camera_mm); px = focal_px * p_cam.xy / p_cam.z + principal_point",
        "reference": truth.frames[truth.reference_index].file,
        "reference_index": truth.reference_index,
        "diffraction": True,
        "support": truth.support,
        "animal_style": truth.plan,
        "animal_visible_depth_mm": list(truth.visible_depth_mm),
        "eyes": [
            {"point_mm": p.tolist(), **seen}
            for p, seen in zip(truth.eye_points_mm, truth.eyes_seen, strict=True)
        ],
        "gaps": [{"from_mm": g.from_mm, "to_mm": g.to_mm} for g in truth.gaps],
        "depth_png": {
            "depth_min_mm": depth_min_mm,
            "scale_mm": scale_mm,
            "nothing": NOTHING,
            "rule": DEPTH_RULE,
        },
        "sharp_png": SHARP_NOTE,
        "frames": frames,
    }
    if (limb := truth.limb) is not None:
        data["limb"] = {
            "number": limb.number,
            "base_mm": limb.base_mm.tolist(),
            "axis": limb.axis.tolist(),
            "angle_deg": list(limb.angle_deg),
            "limb_png": "1 seen in pose 0, 2 seen in another pose, 3 in both",
        }
    truth.folder.mkdir(parents=True, exist_ok=True)
    path = truth.folder / "truth.json"
    path.write_text(json.dumps(data, indent=1), encoding="utf-8")
    return path


def eye_pixels(lens: Lens, camera: Camera, eyes: Array) -> Array:
    """Pixels (2, 2) where the eye points are seen.

    Parameters
    ----------
    lens : Lens
        Optics.
    camera : Camera
        Pose of the frame.
    eyes : ndarray of float64, shape (2, 3)
        Eye points, mm.
    """
    return project(lens, camera, eyes)
