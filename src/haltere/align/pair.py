"""Registration of one frame to its neighbour, coarse to fine, by a similarity."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.align.bands import Picture, band, flicker
from haltere.align.loops import similarity_sums

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Registration:
    """Map of centred pixels of the first picture to those of the second.

    Attributes
    ----------
    matrix : ndarray of float64, shape (2, 3)
        Similarity: [[s cos, -s sin, tx], [s sin, s cos, ty]] in pixels of the pictures given.
    agreement : float
        Correlation of the two band-passed pictures after registration, weighted to where both
        have detail; 1 is perfect.
    overlap : float
        Share of the first picture that the second covers.
    """

    matrix: Floats
    agreement: float
    overlap: float


def _warp_to_first(second: Picture, matrix: Floats, shape: tuple[int, int]) -> Picture:
    """Second picture on the first one's grid; outside is NaN-free zero."""
    h, w = shape
    h2, w2 = second.shape
    first_centre = np.array([(w - 1) / 2, (h - 1) / 2])
    second_centre = np.array([(w2 - 1) / 2, (h2 - 1) / 2])
    m = matrix.copy()
    m[:, 2] += second_centre - matrix[:, :2] @ first_centre
    warped = cv2.warpAffine(
        second,
        m,
        (w, h),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_CONSTANT,
    )
    return np.asarray(warped, np.float32)


def _shift_by_phase(first: Picture, second: Picture) -> tuple[float, float]:
    """Rough shift of content from first to second, by phase correlation."""
    window = cv2.createHanningWindow((first.shape[1], first.shape[0]), cv2.CV_32F)
    shift, _ = cv2.phaseCorrelate(first, second, window)
    return float(shift[0]), float(shift[1])


def _gathered(picture: Picture) -> Picture:
    """Mean square of a picture about every pixel."""
    return np.asarray(cv2.GaussianBlur(picture * picture, (0, 0), 4.0), np.float32)


def _refine(first: Picture, second: Picture, matrix: Floats, rounds: int) -> tuple[Floats, float]:
    """Gauss-Newton on the four numbers of a similarity, weighted to shared detail."""
    h, w = first.shape
    ones = np.ones_like(second)
    agreement = 0.0
    for _ in range(rounds):
        seen = np.asarray(_warp_to_first(ones, matrix, (h, w)) > 0.999, np.float32)
        moved = _warp_to_first(second, matrix, (h, w)) * seen
        here = first * seen
        energy, energy2 = _gathered(here), _gathered(moved)
        # every third pixel: they are alike over more than that, and sorting all takes long
        some = np.minimum(energy[::3, ::3], energy2[::3, ::3])
        floor = max(float(np.percentile(some, 60)), 1e-6)
        normal, right, products = similarity_sums(here, moved, seen, energy, energy2, floor)
        normal += np.diag(1e-6 * np.diag(normal) + 1e-9)
        step = np.linalg.solve(normal, -right)
        # content of the second lies at x + d: the map to it grows by d
        change = np.array([[step[2], -step[3], step[0]], [step[3], step[2], step[1]]])
        matrix = matrix.copy()
        matrix[:, 2] += matrix[:, :2] @ change[:, 2]
        matrix[:, :2] = matrix[:, :2] @ (np.eye(2) + change[:, :2])
        scale = float(np.sqrt(products[1] * products[2]))
        agreement = float(products[0]) / scale if scale > 0 else 0.0
        if np.hypot(step[0], step[1]) < 0.01 and abs(step[2]) * w < 0.02:
            break
    return matrix, agreement


def register_pair(first: Picture, second: Picture, start: Floats | None = None) -> Registration:
    """Find the similarity that carries the first picture's content to the second's.

    Works on band-passed luma from coarse to fine, weighted to places where both have detail,
    so that a place sharp in one only does not pull.

    Parameters
    ----------
    first, second : ndarray of float32, shape (H, W)
        Grey pictures, some 300-500 px wide is enough.
    start : ndarray of float64, shape (2, 3), optional
        A first guess in centred pixels; by default a shift is found by phase correlation
        (Kuglin & Hines 1975).

    Returns
    -------
    Registration
        The map and how well it fits.
    """
    # some hundred lines and columns tell the brightness as well as all do
    every = 1 + min(first.shape) // 128
    gain = flicker(first[::every, ::every]) / flicker(second[::every, ::every])
    second = second * np.float32(gain)
    matrix = np.eye(2, 3) if start is None else start.copy()
    agreement = 0.0
    for factor, sigma, rounds in ((4, 1.5, 12), (2, 1.5, 8), (1, 1.5, 6)):
        h, w = first.shape[0] // factor, first.shape[1] // factor
        if min(h, w) < 24:
            continue
        small = [cv2.resize(p, (w, h), interpolation=cv2.INTER_AREA) for p in (first, second)]
        bands = [band(np.asarray(s, np.float32), sigma) for s in small]
        local = matrix.copy()
        local[:, 2] /= factor
        tries = [local]
        if factor == 4 and start is None:
            dx, dy = _shift_by_phase(bands[0], bands[1])
            tries.append(np.array([[1.0, 0.0, dx], [0.0, 1.0, dy]]))
        fits = [_refine(bands[0], bands[1], t, rounds) for t in tries]
        local, agreement = max(fits, key=lambda fit: fit[1])
        matrix = local.copy()
        matrix[:, 2] *= factor
    seen = _warp_to_first(np.ones_like(second), matrix, first.shape)
    return Registration(matrix, agreement, float((seen > 0.5).mean()))
