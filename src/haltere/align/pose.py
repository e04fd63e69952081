"""Where a point seen in the reference view falls in another frame of a hand-held run.

Conventions: picture coordinates are (x, y) in pixels relative to the picture's centre
((W - 1) / 2, (H - 1) / 2), pixel centres at integers.  Lengths along the axis are in units of
the distance from the plane of focus to the entrance pupil ('relative'), so that they need no
kit: depth 0 is the reference frame's plane of focus and grows away from the camera.

A pose is a row of six numbers, all zero for the reference:
``a_px, b_px`` sideways position of the entrance pupil, in reference pixels at its plane;
``c`` position along the axis, relative; the plane of focus travels with it, so ``c`` is also
the depth of the frame's plane of focus; ``tilt_x_px, tilt_y_px`` pan and tilt as the shift they
give at the centre; ``roll_rad``.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

POSE_SIZE = 6

_STEPS = (1e-2, 1e-2, 1e-6, 1e-2, 1e-2, 1e-6)
"""Steps of central differences by each number of a pose."""


def _rotation(pose: Floats, focal_px: float) -> Floats:
    """Rotation matrix of a pose (exact, from its rotation vector)."""
    vector = np.array([-pose[4] / focal_px, pose[3] / focal_px, pose[5]])
    angle = float(np.linalg.norm(vector))
    if angle < 1e-12:
        return np.eye(3)
    kx, ky, kz = vector / angle
    k = np.array([[0, -kz, ky], [kz, 0, -kx], [-ky, kx, 0]])
    turn: Floats = np.eye(3) + np.sin(angle) * k + (1 - np.cos(angle)) * (k @ k)
    return turn


def turning(pose: Floats, focal_px: float) -> tuple[Floats, Floats]:
    """Rotation of a pose, and how it moves with tilt and roll.

    Parameters
    ----------
    pose : ndarray of float64, shape (6,)
        Pose of the frame.
    focal_px : float
        See `project`.

    Returns
    -------
    turn : ndarray of float64, shape (3, 3)
        Rotation matrix.
    turning : ndarray of float64, shape (3, 3, 3)
        Its derivative by the pose's last three numbers, first axis, by central differences.
    """
    out = np.empty((3, 3, 3))
    for k, step in enumerate(_STEPS[3:]):
        up, down = pose.copy(), pose.copy()
        up[3 + k] += step
        down[3 + k] -= step
        out[k] = (_rotation(up, focal_px) - _rotation(down, focal_px)) / (2 * step)
    return _rotation(pose, focal_px), out


def project(pose: Floats, points_px: Floats, depth: Floats | float, focal_px: float) -> Floats:
    """Place in a frame of points seen at `points_px` in the reference view.

    Parameters
    ----------
    pose : ndarray of float64, shape (6,)
        Pose of the frame.
    points_px : ndarray of float64, shape (N, 2)
        Centred reference pixels.
    depth : ndarray of float64, shape (N,), or float
        Relative depth of each point.
    focal_px : float
        Plane-to-pupil distance over the size of a pixel at the plane.

    Returns
    -------
    ndarray of float64, shape (N, 2)
        Centred pixels in the frame.
    """
    far = 1.0 + np.broadcast_to(np.asarray(depth, np.float64), points_px.shape[:1])
    space = np.empty((points_px.shape[0], 3))
    space[:, 0] = far * points_px[:, 0] - pose[0]
    space[:, 1] = far * points_px[:, 1] - pose[1]
    space[:, 2] = (far - pose[2]) * focal_px
    space = space @ _rotation(pose, focal_px).T
    result: Floats = focal_px * space[:, :2] / space[:, 2:]
    return result


def homography(pose: Floats, depth: float, focal_px: float) -> Floats:
    """Map of centred reference pixels on the plane at `depth` to centred frame pixels.

    Parameters
    ----------
    pose : ndarray of float64, shape (6,)
        Pose of the frame.
    depth : float
        Relative depth of the plane, parallel to the reference frame's.
    focal_px : float
        See `project`.

    Returns
    -------
    ndarray of float64, shape (3, 3)
        Projective matrix.
    """
    far = 1.0 + depth
    plane = np.array(
        [
            [far, 0.0, -pose[0]],
            [0.0, far, -pose[1]],
            [0.0, 0.0, (far - pose[2]) * focal_px],
        ]
    )
    rotated = _rotation(pose, focal_px) @ plane
    result: Floats = np.diag([focal_px, focal_px, 1.0]) @ rotated
    result /= result[2, 2]
    return result


def apply(matrix: Floats, points_px: Floats) -> Floats:
    """Points of shape (N, 2) carried by a 3 x 3 projective matrix.

    Parameters
    ----------
    matrix : ndarray of float64, shape (3, 3)
        Projective matrix.
    points_px : ndarray of float64, shape (N, 2)
        Points (x, y).
    """
    moved = points_px @ matrix[:, :2].T + matrix[:, 2]
    result: Floats = moved[:, :2] / moved[:, 2:]
    return result


def jacobian(pose: Floats, points_px: Floats, depth: Floats | float, focal_px: float) -> Floats:
    """Give the derivative of `project` by the pose, shape (N, 2, 6), by central differences.

    Parameters
    ----------
    pose : ndarray of float64, shape (6,)
        Pose of the frame.
    points_px : ndarray of float64, shape (N, 2)
        Centred reference pixels.
    depth : float or ndarray of float64, shape (N,)
        Relative depth of the points.
    focal_px : float
        See `project`.
    """
    out = np.empty((points_px.shape[0], 2, POSE_SIZE))
    for k, step in enumerate(_STEPS):
        up, down = pose.copy(), pose.copy()
        up[k] += step
        down[k] -= step
        out[:, :, k] = (
            project(up, points_px, depth, focal_px) - project(down, points_px, depth, focal_px)
        ) / (2 * step)
    return out


def plane_depth(pose: Floats, points_px: Floats, focal_px: float) -> Floats:
    """Relative depth at which a frame's (tilted) plane of focus cuts the reference rays.

    Parameters
    ----------
    pose : ndarray of float64, shape (6,)
        Pose of the frame.
    points_px : ndarray of float64, shape (N, 2)
        Centred reference pixels.
    focal_px : float
        See `project`.

    Returns
    -------
    ndarray of float64, shape (N,)
        Relative depth at each point.
    """
    normal = _rotation(pose, focal_px)[2]
    rays = np.column_stack([points_px, np.full(points_px.shape[0], focal_px)])
    pupil = np.array([pose[0], pose[1], pose[2] * focal_px])
    far: Floats = (focal_px + normal @ pupil) / (rays @ normal)
    return far - 1.0
