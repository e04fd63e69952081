"""Where a point in space falls in a frame: thin lens, pose of the camera, plane of focus."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere import optics

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Lens:
    """A thin lens focused at a fixed magnification, and the sensor behind it.

    Attributes
    ----------
    magnification : float
        Size on the sensor over size on the animal.
    focal_mm, f_number : float
        Focal length, marked f-number.
    sensor_width_mm : float
        Width of the sensor.
    width_px, height_px : int
        Size of a frame.
    coc_mm : float
        Circle of confusion that the depth of field is counted with.
    pupil_magnification : float
        Exit pupil over entrance pupil.
    """

    magnification: float = 1.0
    focal_mm: float = 60.0
    f_number: float = 8.0
    sensor_width_mm: float = 17.3
    width_px: int = 1600
    height_px: int = 1200
    coc_mm: float = 0.015
    pupil_magnification: float = 1.0

    @property
    def pupil_distance_mm(self) -> float:
        """Distance from the entrance pupil to the plane of focus, f (1/m + 1/p)."""
        return optics.plane_to_pupil_mm(self.focal_mm, self.magnification, self.pupil_magnification)

    @property
    def aperture_mm(self) -> float:
        """Diameter of the entrance pupil, f/N."""
        return optics.aperture_diameter_mm(self.focal_mm, self.f_number)

    @property
    def f_number_effective(self) -> float:
        """F-number at the sensor, N (1 + m/p)."""
        return optics.effective_f_number(
            self.f_number, self.magnification, self.pupil_magnification
        )

    @property
    def depth_of_field_mm(self) -> float:
        """Depth of field 2 c Ne / m^2 at the animal."""
        return optics.depth_of_field_mm(self.coc_mm, self.f_number_effective, self.magnification)

    @property
    def pixel_pitch_mm(self) -> float:
        """Width of a pixel on the sensor."""
        return self.sensor_width_mm / self.width_px

    @property
    def px_per_mm(self) -> float:
        """Pixels per mm in the plane of focus."""
        return self.magnification / self.pixel_pitch_mm

    @property
    def focal_px(self) -> float:
        """Pinhole focal length in pixels: pupil distance over mm per pixel."""
        return self.pupil_distance_mm * self.px_per_mm

    @property
    def centre_px(self) -> tuple[float, float]:
        """Principal point (x, y); pixel centres lie at integers."""
        return (self.width_px - 1) / 2.0, (self.height_px - 1) / 2.0

    def blur_disc_px(self, defocus_mm: float) -> float:
        """Diameter in pixels of the disc that a point `defocus_mm` behind the plane becomes.

        m D dz / (s + dz) on the sensor; `defocus_mm` is negative in front of the plane.

        Parameters
        ----------
        defocus_mm : float
            Depth of the point behind the plane of focus.
        """
        disc_mm = optics.blur_disc_mm(
            self.magnification, self.aperture_mm, -defocus_mm, self.pupil_distance_mm
        )
        return disc_mm / self.pixel_pitch_mm


@dataclass(frozen=True, slots=True)
class Camera:
    """One pose: entrance pupil and rotation in the axes of the reference frame.

    Attributes
    ----------
    centre_mm : tuple of 3 floats
        Entrance pupil, x right, y down, z away from the camera.
    rotation : ndarray of float64, shape (3, 3)
        ``p_cam = rotation @ (P - centre_mm)``.
    """

    centre_mm: tuple[float, float, float]
    rotation: Array

    def to_camera(self, points_mm: Array) -> Array:
        """Points (..., 3) in the axes of this camera, mm.

        Parameters
        ----------
        points_mm : ndarray of float64, shape (..., 3)
            Points in the axes of the reference camera.
        """
        turned: Array = (points_mm - np.asarray(self.centre_mm)) @ self.rotation.T
        return turned


def rotation_matrix(pitch: float, yaw: float, roll: float) -> Array:
    """Rotation of a camera by three small angles in radians, shape (3, 3).

    Parameters
    ----------
    pitch, yaw, roll : float
        Turns about the camera's x, y and z axes; applied roll first.
    """
    cx, sx = np.cos(pitch), np.sin(pitch)
    cy, sy = np.cos(yaw), np.sin(yaw)
    cz, sz = np.cos(roll), np.sin(roll)
    rx = np.array([[1.0, 0.0, 0.0], [0.0, cx, -sx], [0.0, sx, cx]])
    ry = np.array([[cy, 0.0, sy], [0.0, 1.0, 0.0], [-sy, 0.0, cy]])
    rz = np.array([[cz, -sz, 0.0], [sz, cz, 0.0], [0.0, 0.0, 1.0]])
    return np.asarray(rx @ ry @ rz, dtype=np.float64)


def project(lens: Lens, camera: Camera, points_mm: Array) -> Array:
    """Pixels (..., 2) where points (..., 3) in mm are seen through the middle of the pupil.

    Parameters
    ----------
    lens : Lens
        Optics.
    camera : Camera
        Pose.
    points_mm : ndarray of float64, shape (..., 3)
        Points in the axes of the reference camera.
    """
    p = camera.to_camera(points_mm)
    k = lens.focal_px
    cx, cy = lens.centre_px
    return np.stack([k * p[..., 0] / p[..., 2] + cx, k * p[..., 1] / p[..., 2] + cy], axis=-1)


def plane_homography(lens: Lens, camera: Camera) -> Array:
    """Homography (3, 3) from frame pixels on its plane of focus to reference pixels.

    The reference camera has its pupil at (0, 0, -s) and no rotation.

    Parameters
    ----------
    lens : Lens
        Optics.
    camera : Camera
        Pose of the frame.
    """
    s, k = lens.pupil_distance_mm, lens.focal_px
    cx, cy = lens.centre_px
    inner = np.array([[k, 0.0, cx], [0.0, k, cy], [0.0, 0.0, 1.0]])
    back = camera.rotation.T
    shift = np.asarray(camera.centre_mm) + np.array([0.0, 0.0, s])
    plane = np.column_stack([back[:, 0], back[:, 1], back[:, 2] + shift / s])
    h = inner @ plane @ np.linalg.inv(inner)
    return np.asarray(h / h[2, 2], dtype=np.float64)


def pupil_points(lens: Lens, count: int, turn: float) -> Array:
    """`count` points (count, 2) in mm spread evenly over the entrance pupil.

    A sunflower spiral: equal areas, mean square radius exactly that of the full disc, and no two
    points share a shadow on any axis, so that a blurred edge has no steps.

    Parameters
    ----------
    lens : Lens
        Gives the pupil's diameter.
    count : int
        Number of points.
    turn : float
        Angle in radians by which the pattern is turned (another one per frame).
    """
    i = np.arange(count, dtype=np.float64)
    radius = np.sqrt((i + 0.5) / count)
    angle = turn + i * np.pi * (3.0 - np.sqrt(5.0))
    p = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=-1)
    if count >= 8:
        # few points lie a little off-centre and unround: set mean and variances to a disc's
        p -= p.mean(axis=0)
        values, axes = np.linalg.eigh(p.T @ p / count)
        p = p @ (axes * (0.5 / np.sqrt(values))) @ axes.T
    return np.asarray(0.5 * lens.aperture_mm * p)
