"""Depths that are only the cone of light of a strong edge: rims of its discs, plane after plane."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.align.ahead import in_turn
from haltere.merge.limits import CONES

Map = NDArray[np.float32]
Mask = NDArray[np.bool_]


def cones(peak: Map, depth_dof: Map, blur_px: float) -> Mask:
    """Places whose depth only tells how far they lie from a much stronger edge.

    The disc of an edge that is out of focus has a rim.  From plane to plane the disc grows, its
    rim runs over what lies beside the edge, and where that has no detail of its own the depth
    told is that of the plane whose rim lies there: it changes with the distance from the edge as
    the radius of the disc does.  No surface that is seen can be as steep as the cone of light
    that shows it.

    Parameters
    ----------
    peak : ndarray of float32, shape (H, W)
        Detail at each place's depth.
    depth_dof : ndarray of float32, shape (H, W)
        That depth, in depths of field.
    blur_px : float
        Radius of the disc for one depth of field of defocus, in places.

    Returns
    -------
    ndarray of bool, shape (H, W)
        True where the depth is one of a cone.
    """
    away, reach = _rims(peak, depth_dof, blur_px)
    on = away > 0
    steep = on & (_slope(away, reach, on) >= CONES.slope)
    side = 2 * CONES.beside + 1
    on &= cv2.dilate(steep.astype(np.uint8), np.ones((side, side), np.uint8)) > 0
    count, parts = cv2.connectedComponents(on.astype(np.uint8))
    if count == 1:
        return on
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    members = np.asarray(parts[on], np.intp)
    np.minimum.at(low, members, depth_dof[on])
    np.maximum.at(high, members, depth_dof[on])
    whole = np.bincount(members, minlength=count) >= CONES.least
    return np.asarray((whole & (high - low >= CONES.span_dof))[parts] & on, np.bool_)


def _rims(peak: Map, depth_dof: Map, blur_px: float) -> tuple[Map, Map]:
    """Give places on the rim of a stronger thing's disc: distance to it, and the disc's radius."""
    low, high = float(depth_dof.min()), float(depth_dof.max())
    width = max((high - low) / CONES.bins, 1e-6)
    within = np.floor((depth_dof - low) / width).clip(0, CONES.bins - 1).astype(np.int16)
    top = float(np.percentile(peak, 99.8))
    away, reach = np.zeros(peak.shape, np.float32), np.zeros(peak.shape, np.float32)

    def found(layer: int) -> list[tuple[Mask, Map, Map]]:
        strength = np.where(within == layer, peak, np.float32(0))
        if not strength.any():
            return []
        apart = np.abs(depth_dof - np.float32(low + (layer + 0.5) * width))
        radius = np.float32(blur_px) * apart
        far = (apart > CONES.least_dof + width / 2) & (radius > CONES.least_px)
        off = CONES.off_px + CONES.off_share * radius + np.float32(blur_px * width / 2)
        rims = []
        for least in top / 4.0 ** np.arange(CONES.levels):
            edges = strength >= least
            if not edges.any():
                continue
            distance = cv2.distanceTransform((~edges).astype(np.uint8), cv2.DIST_L2, 5)
            rim = far & (np.abs(distance - radius) <= off) & (peak < CONES.share * least)
            rims.append((rim, np.asarray(distance, np.float32), radius))
        return rims

    for rims in in_turn(found, range(CONES.bins)):
        for rim, distance, radius in rims:
            new = rim & (away == 0)
            away[new], reach[new] = distance[new], radius[new]
    return away, reach


def _slope(away: Map, reach: Map, on: Mask) -> Map:
    """Slope of radius on distance among the rims around each place; 0 where they are few."""

    def around(values: Map) -> Map:
        side = (CONES.window, CONES.window)
        return np.asarray(cv2.boxFilter(values, -1, side, normalize=False), np.float32)

    count = around(on.astype(np.float32))
    size = np.maximum(count, 1)
    along, beside = around(away) / size, around(reach) / size
    common = around(away * reach) / size - along * beside
    spread = around(away * away) / size - along * along
    slope = common / np.maximum(spread, np.float32(CONES.least_spread))
    return np.asarray(np.where(count >= CONES.least_beside, slope, 0), np.float32)
