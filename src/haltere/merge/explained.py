"""Whether a merged picture explains the frames it was made from."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.align.ahead import in_turn
from haltere.align.lumas import light_of
from haltere.align.solve import centred, scaled
from haltere.merge.limits import EXPLAINED
from haltere.merge.moved import slope_of, steady, where_seen
from haltere.merge.paint import rotation_of
from haltere.merge.planes import plane_fit, plane_map
from haltere.merge.taken import Stretches
from haltere.sweeps.sweep import Sweep

Map = NDArray[np.float32]
Flags = NDArray[np.bool_]
_AREA = cv2.INTER_AREA


@dataclass(frozen=True, slots=True)
class Contradiction:
    """How much frames look otherwise than the picture and its depth say they should.

    Attributes
    ----------
    strength : ndarray of float32, shape (H, W)
        Largest difference among the frames, over what noise and edges there allow.
    share : ndarray of float32, shape (H, W)
        By which share the frame that differs most is brighter (+) or darker (-) than it should.
    frame : ndarray of int16, shape (H, W)
        That frame, as an index into the sweep's frames.
    """

    strength: Map
    share: Map
    frame: NDArray[np.int16]


def contradicted(
    sweep: Sweep,
    used: list[int],
    gains: NDArray[np.float64],
    light: Map,
    depth: Map,
    stretches: Stretches,
) -> Contradiction:
    """Hold frames against what they would look like if picture and depth were right.

    Of the picture at its depths each frame is foretold: what lies before and behind its plane of
    focus as discs, nearer ones over farther ones, seen from where the camera was. A place painted
    from a wrong depth is sharp where a frame shows it blurred, or blurred where one shows it
    sharp, whatever made it wrong.

    Parameters
    ----------
    sweep : Sweep
        Solved sweep, its analysis pictures still at hand.
    used : list of int
        Frames that were merged.
    gains : ndarray of float64, shape (len(used),)
        Factors on their linear light.
    light : ndarray of float32, shape (H, W)
        Light of the merged picture, 0..255, as the analysis pictures have it.
    depth : ndarray of float32, shape (H, W)
        Relative depth it was painted at.
    stretches : Stretches
        Frames that moved parts were taken from; the others are not asked there.

    Returns
    -------
    Contradiction
        Over the same places.
    """
    rows, cols = light.shape
    factor = sweep.lumas.shape[1] / cols
    region = np.asarray(
        cv2.resize(stretches.region, (cols, rows), interpolation=cv2.INTER_NEAREST), np.uint8
    )
    strength = np.zeros((rows, cols), np.float32)
    share = np.zeros((rows, cols), np.float32)
    frame = np.zeros((rows, cols), np.int16)

    def differing(i: int) -> tuple[Map, Map, int]:
        k = used[i]
        its = stretches.taken[i][region] > 0
        return *_differing(sweep, k, float(gains[i]), light, depth, factor, its), k

    for apart, by, k in in_turn(differing, _spaced(sweep, used)):
        more = apart > strength
        strength[more] = apart[more]
        share[more] = by[more]
        frame[more] = k
    return Contradiction(strength, share, frame)


def _spaced(sweep: Sweep, used: list[int]) -> Iterable[int]:
    """Places in `used` of frames whose planes lie some way apart: neighbours tell the same."""
    last = -np.inf
    for i in sorted(range(len(used)), key=lambda i: (sweep.poses[used[i], 2], i)):
        at = sweep.poses[used[i], 2] / sweep.dof
        if at - last >= EXPLAINED.every_dof:
            last = at
            yield i


def _differing(
    sweep: Sweep, k: int, gain: float, light: Map, depth: Map, factor: float, its: Flags
) -> tuple[Map, Map]:
    """Difference of one frame from what it should be, over what is allowed, and as a share."""
    rows, cols = light.shape
    pose = sweep.poses[k]
    plane = plane_map(pose, (rows, cols), factor, sweep.focal_px)
    off: Map = (depth - plane) / np.float32(sweep.dof)
    told, held = _foretold(sweep, k, light, off, factor)
    # not by whole pixels: what is cut off at the end would shift the rest
    shown = light_of(sweep.lumas.stored(k)) * np.float32(gain)
    one, other = _evened(told), _evened(cv2.resize(shown, (cols, rows), interpolation=_AREA))
    steep = cv2.dilate((slope_of(one) + slope_of(other)) / 2, np.ones((3, 3), np.uint8))
    allowed = np.float32(EXPLAINED.floor) + np.float32(EXPLAINED.edge_px) * steep
    apart = np.abs(steady(other - one, held > EXPLAINED.held)) / allowed
    share = (other / np.maximum(one, np.float32(0.5))) ** 2 - 1
    u, v = where_seen(pose, sweep.focal_px, depth, factor, (rows, cols))
    edge = 4
    inside = (u > edge) & (v > edge) & (u < cols - 1 - edge) & (v < rows - 1 - edge)
    inside &= its & (np.abs(off) < EXPLAINED.near_dof)
    strength, by = (
        np.asarray(
            cv2.remap(p, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.float32
        )
        for p in (apart, share)
    )
    strength[~inside] = 0.0
    return strength, by


def _evened(picture: NDArray[Any]) -> Map:
    """Root of light, whose noise is as strong in the dark, without its noise."""
    calm = cv2.GaussianBlur(np.maximum(picture, 0), (0, 0), EXPLAINED.window_px)
    return np.asarray(np.sqrt(calm), np.float32)


def _foretold(sweep: Sweep, k: int, light: Map, off: Map, factor: float) -> tuple[Map, Map]:
    """Foretell a frame, and how much of each pixel's light the picture tells of."""
    rows, cols = light.shape
    blur, layers = sweep.c_px / factor, _Layers(sweep, k)
    edges = _edges(float(off.min()), float(off.max()))
    layer = np.searchsorted(edges, off.ravel()).astype(np.uint8).reshape(off.shape)
    through, total, held = np.ones_like(light), np.zeros_like(light), np.zeros_like(light)
    for which in range(1, len(edges)):
        its = layer == which
        if not its.any():
            continue
        middle = float(edges[which - 1] + edges[which]) / 2
        radius = blur * abs(middle)
        mask = its.astype(np.float32)
        part: NDArray[Any] = cv2.merge([mask * light, mask])
        shrunk = max(0, int(np.ceil(np.log2(max(radius, 1e-3) / EXPLAINED.finest_px))))
        shape = (max(rows >> shrunk, 8), max(cols >> shrunk, 8))
        if shrunk:
            part = cv2.resize(part, shape[::-1], interpolation=_AREA)
        to_frame = scaled(layers.at(middle * sweep.dof), factor * cols / shape[1])
        carry = centred(to_frame, shape, shape)
        part = cv2.warpPerspective(part, carry, shape[::-1], flags=cv2.INTER_LINEAR)
        # a disc's light lies about as wide as a bell of half its radius
        sigma = radius / 2 * shape[1] / cols
        if sigma > EXPLAINED.sharp_px:
            part = cv2.GaussianBlur(part, (0, 0), sigma, borderType=cv2.BORDER_REPLICATE)
        if shrunk:
            part = cv2.resize(part, (cols, rows), interpolation=cv2.INTER_LINEAR)
        total += through * part[..., 0]
        laid = np.minimum(part[..., 1], np.float32(1))
        held += through * laid
        through *= 1 - laid
    return np.asarray(total / np.maximum(held, np.float32(1e-3)), np.float32), held


def _edges(low: float, high: float) -> NDArray[np.float64]:
    """Borders of layers, depths of field from a plane: thicker the farther they lie from it."""
    sides = []
    for most in (-low, high):
        at, out = EXPLAINED.layer_dof / 2, []
        while at < most + 1e-6:
            out.append(at)
            at += max(EXPLAINED.layer_dof, EXPLAINED.layer_share * at)
        sides.append([*out, max(at, most + 1e-3)])
    return np.array([*(-v for v in reversed(sides[0])), *sides[1]])


class _Layers:
    """Maps of centred reference pixels to those of a frame, for layers behind or before its plane.

    A layer leans as the plane does; over a hand's small angles one over its distance is linear
    as well.
    """

    def __init__(self, sweep: Sweep, k: int) -> None:
        pose, focal = sweep.poses[k], sweep.focal_px
        self.plane = plane_fit(pose, sweep.lumas.shape, focal)
        self.moved = pose[:3]
        turn = rotation_of(pose, focal)
        self.turned = np.diag([focal, focal, 1.0]) @ turn @ np.diag([1.0, 1.0, focal])

    def at(self, behind: float) -> NDArray[np.float64]:
        """Map of a layer, by how far behind the plane it lies, relative."""
        p0, p1, p2 = self.plane
        far = 1 + p0 + behind
        nearness = np.array([-p1 / far**2, -p2 / far**2, 1 / far])
        whole = self.turned @ (np.eye(3) - np.outer(self.moved, nearness))
        return np.asarray(whole / whole[2, 2], np.float64)
