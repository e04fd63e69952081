"""Round, bounded patches of a picture that could be eyes, and what is measured of each."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Plane = NDArray[np.float32]

LOOK_PX = 480
"""Longest side of the pictures searched: an eye of a fortieth of the picture is 6 px in radius."""

RADII_PX = tuple(round(9.0 * 1.22**k, 2) for k in range(10))
"""Radii tried at `LOOK_PX`, from a fiftieth to an eighth of the picture."""

SHAPES = (1.0, 0.75)
"""Width over height: round, and the upright oval of a faceted eye seen from the side."""

FEATURES = (
    "edge", "edge_rank", "weakest_octant", "weak_octant", "pupil",
    "contrast_l", "contrast_c", "inner_chroma", "inner_l", "spread_l", "spread_c", "glint",
    "fine_inside", "fine_outside", "fine_ratio", "focus", "log_radius", "oval", "facets",
    "twin", "twin_size", "dome", "height", "aside",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Discs:
    """Candidate discs of one picture.

    Attributes
    ----------
    centre_px : ndarray of float64, shape (N, 2)
        (x, y) in pixels of the picture searched.
    radius_px : ndarray of float64, shape (N,)
        Half the height; half the width is `radius_px * shape`.
    shape : ndarray of float64, shape (N,)
        Width over height.
    features : ndarray of float64, shape (N, len(FEATURES))
        What was measured.
    colour : ndarray of float64, shape (N, 3)
        Median CIELAB colour inside.
    """

    centre_px: Floats
    radius_px: Floats
    shape: Floats
    features: Floats
    colour: Floats


def _rings(radius: float, shape: float) -> tuple[Plane, Plane]:
    """Double-angle direction of the normals on an oval's edge, a Gaussian band, weights sum 1."""
    half = int(np.ceil(1.3 * radius)) + 2
    y, x = np.mgrid[-half : half + 1, -half : half + 1].astype(np.float64)
    wide, tall = radius * np.sqrt(shape), radius / np.sqrt(shape)
    out = np.sqrt((x / wide) ** 2 + (y / tall) ** 2)
    nx, ny = x / wide**2, y / tall**2
    size = np.maximum(nx**2 + ny**2, 1e-12)
    width = max(1.0, 0.08 * radius) / radius
    weight = np.exp(-0.5 * ((out - 1) / width) ** 2)
    weight /= weight.sum()
    twice = (nx**2 - ny**2) / size, 2 * nx * ny / size
    return (weight * twice[0]).astype(np.float32), (weight * twice[1]).astype(np.float32)


def _edges(planes: list[Plane], sigma: float) -> tuple[Plane, Plane]:
    """Double-angle direction of the colour gradient, its length below 1 where it is weak.

    The sign of an edge is left out: an eye is darker than the body on one side and brighter
    than the background on the other.
    """
    xx, yy, xy = (np.zeros(planes[0].shape, np.float32) for _ in range(3))
    for plane in planes:
        soft = cv2.GaussianBlur(plane, (0, 0), sigma)
        gx = cv2.Sobel(soft, cv2.CV_32F, 1, 0, ksize=3, scale=0.125)
        gy = cv2.Sobel(soft, cv2.CV_32F, 0, 1, ksize=3, scale=0.125)
        xx += gx * gx
        yy += gy * gy
        xy += gx * gy
    total = xx + yy
    floor = max(float(np.percentile(total, 70)), 0.02)
    return (
        np.asarray((xx - yy) / (total + floor), np.float32),
        np.asarray(2 * xy / (total + floor), np.float32),
    )


def to_look(rgb: NDArray[np.uint8] | NDArray[np.uint16]) -> tuple[NDArray[np.uint8], float]:
    """Picture at the size searched, 8 bit, and its size over the given one.

    Parameters
    ----------
    rgb : ndarray of uint8 or uint16, shape (H, W, 3)
        Encoded colour; linear pictures must be encoded first.

    Returns
    -------
    picture : ndarray of uint8, shape (h, w, 3)
        Shrunk picture.
    scale : float
        w / W.
    """
    scale = min(1.0, LOOK_PX / max(rgb.shape[:2]))
    size = (round(rgb.shape[1] * scale), round(rgb.shape[0] * scale))
    small = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)
    shown = np.asarray(small, np.float32)
    if small.dtype == np.uint16:
        shown /= np.float32(257.0)
    return np.asarray(shown, np.uint8), size[0] / rgb.shape[1]


def find_discs(picture: NDArray[np.uint8], most: int = 80) -> Discs:
    """Find round patches with an edge all around, and measure each.

    The edge detector adds up how far colour gradients point across an oval, in the manner of
    the generalised Hough transform (Ballard 1981).

    Parameters
    ----------
    picture : ndarray of uint8, shape (H, W, 3)
        RGB, some `LOOK_PX` wide.
    most : int
        How many to keep.

    Returns
    -------
    Discs
        The strongest first.
    """
    lab = cv2.cvtColor(picture.astype(np.float32) / np.float32(255.0), cv2.COLOR_RGB2LAB)
    planes: list[Plane] = [np.ascontiguousarray(lab[:, :, k], np.float32) for k in range(3)]
    found: list[tuple[float, int, int, float, float]] = []
    responses: dict[tuple[float, float], Plane] = {}
    tries = [r for r in RADII_PX if 2.2 * r < min(picture.shape[:2])]
    for radius in tries:
        twice = _edges(planes, max(0.8, 0.08 * radius))
        here: list[tuple[float, int, int, float, float]] = []
        for shape in SHAPES:
            ring = _rings(radius, shape)
            total = np.asarray(
                cv2.filter2D(twice[0], cv2.CV_32F, ring[0], borderType=cv2.BORDER_REFLECT)
                + cv2.filter2D(twice[1], cv2.CV_32F, ring[1], borderType=cv2.BORDER_REFLECT),
                np.float32,
            )
            responses[radius, shape] = total
            size = 2 * int(0.35 * radius) + 3
            peak = (total >= cv2.dilate(total, np.ones((size, size), np.uint8))) & (total > 0.1)
            ys, xs = np.nonzero(peak)
            here += [
                (float(total[y, x]), int(x), int(y), radius, shape)
                for y, x in zip(ys, xs, strict=True)
            ]
        # large ovals score lower than small ones by chance alone: each size has its share
        found += sorted(here, reverse=True)[: most // 5]
    found.sort(reverse=True)
    kept: list[tuple[float, int, int, float, float]] = []
    for one in found:
        near = any(
            np.hypot(one[1] - k[1], one[2] - k[2]) < 0.3 * min(one[3], k[3])
            and 0.75 < one[3] / k[3] < 1.34
            for k in kept
        )
        if not near:
            kept.append(one)
        if len(kept) >= most:
            break
    if not kept:
        empty = np.zeros(0)
        return Discs(np.zeros((0, 2)), empty, empty, np.zeros((0, len(FEATURES))), np.zeros((0, 3)))
    measured = _measure(planes, kept, responses)
    array = np.array([k[1:] for k in kept], np.float64)
    colour = np.array([planes_at(planes, k[1], k[2], k[3]) for k in kept])
    return Discs(array[:, :2], array[:, 2], array[:, 3], measured, colour)


def _measure(
    planes: list[Plane],
    kept: list[tuple[float, int, int, float, float]],
    responses: dict[tuple[float, float], Plane],
) -> Floats:
    light, red, blue = planes
    h, w = light.shape
    fine = np.abs(light - cv2.GaussianBlur(light, (0, 0), 1.2))
    rough = np.abs(cv2.GaussianBlur(light, (0, 0), 2.0) - cv2.GaussianBlur(light, (0, 0), 5.0))
    usual = max(float(np.percentile(fine, 90)), 0.3)
    typical_l = float(np.median(light))
    yy, xx = np.mgrid[0:h, 0:w].astype(np.float32)
    rows = []
    for total, x, y, radius, shape in kept:
        wide, tall = radius * np.sqrt(shape), radius / np.sqrt(shape)
        x0, x1 = max(0, int(x - 1.8 * wide)), min(w, int(x + 1.8 * wide) + 2)
        y0, y1 = max(0, int(y - 1.8 * tall)), min(h, int(y + 1.8 * tall) + 2)
        cut = np.s_[y0:y1, x0:x1]
        dx, dy = xx[cut] - x, yy[cut] - y
        out = np.sqrt((dx / wide) ** 2 + (dy / tall) ** 2)
        core, inner = out < 0.45, out < 0.85
        around = (out > 1.15) & (out < 1.7)
        band = (out > 0.6) & (out < 0.9)
        means = [np.array([float(np.median(p[cut][m])) for p in planes]) for m in (inner, around)]
        octant = ((np.arctan2(dy, dx) + np.pi) * (8 / (2 * np.pi))).astype(int) % 8
        gaps = []
        for k in range(8):
            near, far = band & (octant == k), around & (octant == k)
            if near.sum() < 3 or far.sum() < 3:
                gaps.append(0.0)
                continue
            step = [float(np.mean(p[cut][near]) - np.mean(p[cut][far])) for p in planes]
            gaps.append(float(np.linalg.norm(step)))
        gaps.sort()
        ll = light[cut][inner]
        spread_c = float(np.hypot(red[cut][inner].std(), blue[cut][inner].std()))
        within, without = float(fine[cut][inner].mean()), float(fine[cut][around].mean())
        smaller = [r for r in responses if 0.35 * radius < r[0] < 0.7 * radius]
        pupil = max((float(responses[r][y, x]) for r in smaller), default=0.0)
        rank = sum(k[0] > total for k in kept if k[3] == radius) / 10
        others = [
            k for k in kept
            if 1.1 * radius < np.hypot(k[1] - x, k[2] - y) < 4.5 * radius
            and 0.55 < k[3] / radius < 1.4 and abs(k[2] - y) < 1.5 * radius
        ]  # fmt: skip
        twin, twin_size = 0.0, 0.0
        for other in others:
            mine = means[0]
            place = planes_at(planes, other[1], other[2], other[3])
            like = float(np.exp(-np.linalg.norm(mine - place) / 15.0))
            if like * other[0] > twin:
                twin, twin_size = like * other[0], other[3] / radius
        # a dome is lit from above: brighter top, darker bottom
        upper = float(light[cut][inner & (dy < 0)].mean()) if (inner & (dy < 0)).any() else 0.0
        lower = float(light[cut][inner & (dy >= 0)].mean())
        rows.append([
            total, rank, min(gaps[0], 30.0) / 10, min(gaps[2], 30.0) / 10, pupil,
            (means[0][0] - means[1][0]) / 20,
            min(float(np.hypot(*(means[0] - means[1])[1:])), 60.0) / 20,
            float(np.hypot(means[0][1], means[0][2])) / 20,
            (means[0][0] - typical_l) / 20,
            float(ll.std()) / 10, spread_c / 10,
            min(float(np.percentile(ll, 99) - np.median(ll)), 60.0) / 20,
            np.log(within / usual + 0.02), np.log(without / usual + 0.02),
            np.log((within + 0.05) / (without + 0.05)),
            np.log(float(fine[cut].mean()) / usual + 0.02),
            np.log(radius / 20), 1.0 - shape,
            np.log((within + 0.05) / (float(rough[cut][core].mean()) + 0.1)),
            twin, min(twin_size, 1.5), (upper - lower) / 10,
            y / h - 0.5, abs(x / w - 0.5),
        ])  # fmt: skip
    return np.array(rows, np.float64)


def planes_at(planes: list[Plane], x: int, y: int, radius: float) -> Floats:
    """Median colour within a little square about a place.

    Parameters
    ----------
    planes : list of ndarray of float32, shape (H, W)
        Colour channels.
    x, y : int
        Place, pixels.
    radius : float
        Radius of the disc there, pixels; the square reaches 0.6 of it to each side.
    """
    half = max(1, int(0.6 * radius))
    cut = np.s_[max(0, y - half) : y + half + 1, max(0, x - half) : x + half + 1]
    return np.array([float(np.median(p[cut])) for p in planes])
