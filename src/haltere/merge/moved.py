"""Where something moved between frames that are sharp at nearly the same depth."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.align.ahead import in_turn
from haltere.merge.depth import DepthMap
from haltere.merge.limits import PLACES
from haltere.merge.paint import rotation_of
from haltere.merge.planes import plane_map
from haltere.progress import Progress, silent
from haltere.sweeps.sweep import Sweep

Map = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Moved:
    """How much neighbours in depth contradict each other.

    Attributes
    ----------
    strength : ndarray of float32, shape (H, W)
        Largest difference between neighbours near a place's depth, over what noise, defocus and
        the edges there allow; 1 is allowed.
    at_focus : ndarray of float32, shape (H, W)
        The same of neighbours that both are sharp there: they are averaged into a ghost.
    between : ndarray of int16, shape (H, W)
        The first of the two frames that differ most, as a place in `order`.
    order : tuple of int
        Frames from near to far.
    factor : float
        Analysis pixels per place.
    """

    strength: Map
    at_focus: Map
    between: NDArray[np.int16]
    order: tuple[int, ...]
    factor: float


@dataclass(frozen=True, slots=True)
class Look:
    """One frame carried to the reference view.

    Attributes
    ----------
    light : ndarray of float32, shape (H, W)
        Root of its light, 0..16, noise evened out.
    away : ndarray of float32, shape (H, W)
        Distance of its plane from each place's depth, depths of field.
    slope : ndarray of float32, shape (H, W)
        Steepest slope of the light nearby, per place.
    seen : ndarray of bool, shape (H, W)
        Places within the frame.
    """

    light: Map
    away: Map
    slope: Map
    seen: NDArray[np.bool_]


def find_moved(
    sweep: Sweep,
    used: list[int],
    gains: NDArray[np.float64],
    ground: DepthMap,
    progress: Progress = silent,
    shrunk: int = 2,
) -> Moved:
    """Hold every frame against its neighbour in depth, along the depth of each place.

    Neighbours are blurred alike, so that they differ by what moved, also where a thing has left
    its place for another one.  Holds a few small frames.

    Parameters
    ----------
    sweep : Sweep
        Solved sweep, its analysis pictures still at hand.
    used : list of int
        Frames that take part.
    gains : ndarray of float64, shape (len(used),)
        Factors on linear light.
    ground : DepthMap
        Depth of each place.
    progress : Progress, optional
        Told of each frame.
    shrunk : int, optional
        By how much places are larger than those of the depth map.

    Returns
    -------
    Moved
        At that size, usually half the depth map's.
    """
    rows, cols = (max(1, n // shrunk) for n in ground.depth.shape)
    factor = ground.factor * ground.depth.shape[1] / cols
    size = (cols, rows)
    depth: Map = np.asarray(
        cv2.resize(ground.depth, size, interpolation=cv2.INTER_NEAREST), np.float32
    )
    known = cv2.resize(ground.known.astype(np.uint8), size, interpolation=cv2.INTER_AREA)
    # what was never sharp is backdrop, whose light drifts; beside the animal limbs may end
    animal = cv2.dilate(known, np.ones((9, 9), np.uint8)) > 0
    shrink = max(1, round(factor))
    order = sorted(range(len(used)), key=lambda i: (sweep.poses[used[i], 2], i))
    strength = np.zeros((rows, cols), np.float32)
    at_focus = np.zeros((rows, cols), np.float32)
    between = np.zeros((rows, cols), np.int16)

    def carried(i: int) -> Look:
        light = sweep.lumas.small(used[i], shrink) * np.float32(gains[i])
        return look(sweep, used[i], light, depth, factor)

    def compared(pair: tuple[Look, Look]) -> tuple[Map, NDArray[np.bool_], Map]:
        one, other = pair
        apart = _apart(one, other)
        apart[~animal] = 0.0
        near = np.minimum(one.away, other.away) < PLACES.moved_dof
        sharp = np.maximum(one.away, other.away) < PLACES.ghost_dof
        return apart, near, np.where(sharp, apart, np.float32(0))

    pairs = itertools.pairwise(in_turn(carried, order))
    for place, (apart, near, focused) in enumerate(in_turn(compared, pairs), 1):
        better = near & (apart > strength)
        strength[better] = apart[better]
        between[better] = place - 1
        np.maximum(at_focus, focused, out=at_focus)
        progress("looking for what moved", place + 1, len(order))
    return Moved(strength, at_focus, between, tuple(used[i] for i in order), factor)


def look(sweep: Sweep, k: int, light: Map, depth: Map, factor: float) -> Look:
    """Carry a small frame to the reference view along the depth of each place.

    Parameters
    ----------
    sweep : Sweep
        Solved sweep.
    k : int
        Index of the frame.
    light : ndarray of float32
        Its light on 0..255, evened out.
    depth : ndarray of float32, shape (H, W)
        Relative depth of each place.
    factor : float
        Analysis pixels per place.

    Returns
    -------
    Look
        The frame as the reference view shows it.
    """
    rows, cols = depth.shape
    pose = sweep.poses[k]
    u, v = where_seen(pose, sweep.focal_px, depth, factor, light.shape)
    warped = cv2.remap(light, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    edge = 4
    inside = (u > edge) & (v > edge)
    inside &= (u < light.shape[1] - 1 - edge) & (v < light.shape[0] - 1 - edge)
    # the root evens out the noise of light
    root = cv2.GaussianBlur(np.sqrt(np.maximum(warped, 0)), (0, 0), PLACES.moved_window_px)
    slope = slope_of(np.asarray(root, np.float32))
    plane = plane_map(pose, (rows, cols), factor, sweep.focal_px)
    away = np.abs(plane - depth) / np.float32(sweep.dof)
    steep = cv2.dilate(slope, np.ones((3, 3), np.uint8))
    return Look(np.asarray(root, np.float32), away, np.asarray(steep, np.float32), inside)


def where_seen(
    pose: NDArray[np.float64], focal_px: float, depth: Map, factor: float, shape: tuple[int, ...]
) -> tuple[Map, Map]:
    """Tell where a small frame shows each place of the reference view.

    Parameters
    ----------
    pose : ndarray of float64, shape (6,)
        Pose of the frame.
    focal_px : float
        See `haltere.align.pose`.
    depth : ndarray of float32, shape (H, W)
        Relative depth of each place.
    factor : float
        Analysis pixels per place.
    shape : tuple of int
        Rows and columns of the small frame.

    Returns
    -------
    tuple of ndarray of float32, shape (H, W)
        Its pixels, x and y.
    """
    rows, cols = depth.shape
    focal = np.float32(focal_px)
    turn = rotation_of(pose, focal_px).astype(np.float32)
    x = ((np.arange(cols) - (cols - 1) / 2) * factor).astype(np.float32)[None, :]
    y = ((np.arange(rows) - (rows - 1) / 2) * factor).astype(np.float32)[:, None]
    far = 1 + depth
    sx, sy = far * x - np.float32(pose[0]), far * y - np.float32(pose[1])
    sz = (far - np.float32(pose[2])) * focal
    w = turn[2, 0] * sx + turn[2, 1] * sy + turn[2, 2] * sz
    scale = focal * np.float32(shape[1] / (cols * factor)) / w
    u = (turn[0, 0] * sx + turn[0, 1] * sy + turn[0, 2] * sz) * scale
    v = (turn[1, 0] * sx + turn[1, 1] * sy + turn[1, 2] * sz) * scale
    u += np.float32((shape[1] - 1) / 2)
    v += np.float32((shape[0] - 1) / 2)
    return u, v


def steady(apart: Map, both: NDArray[np.bool_]) -> Map:
    """Take off differences of light that drift slowly over the picture: flash or shadow, no limb.

    Parameters
    ----------
    apart : ndarray of float32, shape (H, W)
        Difference of two frames.
    both : ndarray of bool, shape (H, W)
        Where both tell; elsewhere the result is 0.
    """
    shared = both.astype(np.float32)
    apart = apart * shared
    side = (PLACES.drift_px, PLACES.drift_px)
    slow = cv2.blur(apart, side) / np.maximum(cv2.blur(shared, side), np.float32(1e-3))
    return np.asarray((apart - slow) * shared, np.float32)


def slope_of(picture: Map) -> Map:
    """Steepness of a picture at each place, per place.

    Parameters
    ----------
    picture : ndarray of float32, shape (H, W)
        Picture.
    """
    right = cv2.Sobel(picture, cv2.CV_32F, 1, 0, scale=0.125)
    down = cv2.Sobel(picture, cv2.CV_32F, 0, 1, scale=0.125)
    return np.asarray(cv2.magnitude(right, down), np.float32)


def _apart(one: Look, other: Look) -> Map:
    both = one.seen & other.seen
    apart = steady(other.light - one.light, both)
    allowed = PLACES.moved_floor + PLACES.moved_px * np.maximum(one.slope, other.slope)
    result = np.abs(apart) / np.asarray(allowed, np.float32)
    result[~both] = 0.0
    return np.asarray(result, np.float32)
