"""Registration of one frame to its neighbour, coarse to fine, by a similarity."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.align.bands import Picture, flicker, shrink
from haltere.align.loops import seen_columns, similarity_sums

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


_LEVELS = ((4, 0.1), (1, 0.04))
"""By how much both pictures are shrunk in turn, and the step, pixels there, that ends a level."""

_ROUNDS = 12
"""At most as many steps at one level; two or three are usual."""

_SURE = 0.9
"""Agreement beyond which a start is not doubted."""

_BLOCK = 4
"""Side of a block that is weighted as one, pixels."""

_BORDER = 6
"""Pixels along either picture's edges that do not count: what is cut off there is blurred with its
own reflection, and a bright leaf in a border seemed to stand still."""

_LEAST = 24
"""Shorter sides than this, pixels, are not registered."""


def _corner_map(turn: complex, shift: complex, shape: tuple[int, int]) -> Floats:
    """Give z -> turn z + shift of centred pixels as a 3 x 3 map of pixels from the corner."""
    centre = complex((shape[1] - 1) / 2, (shape[0] - 1) / 2)
    at = shift + centre - turn * centre
    return np.array(
        [[turn.real, -turn.imag, at.real], [turn.imag, turn.real, at.imag], [0.0, 0.0, 1.0]]
    )


def _warp(picture: Picture, corner: Floats, into: Picture) -> Picture:
    """Picture of the second on the first one's grid, put into another; outside is zero."""
    h, w = picture.shape
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    warped = cv2.warpAffine(picture, corner[:2], (w, h), dst=into, flags=flags)
    return np.asarray(warped, np.float32)


def _banded(picture: Picture, gain: float) -> Picture:
    """Difference of two blurs, sigma about 1.5 and 3.6 px, times `gain`."""
    h, w = picture.shape
    fine = cv2.GaussianBlur(picture, (9, 9), 1.5)
    # the coarser one of every second pixel: 0.05 ms in place of 0.25
    half = cv2.resize(fine, (w // 2, h // 2), interpolation=cv2.INTER_AREA)
    coarse = cv2.resize(cv2.GaussianBlur(half, (9, 9), 1.65), (w, h))
    return np.asarray(cv2.addWeighted(fine, gain, coarse, -gain, 0.0, dst=fine), np.float32)


def _detail(picture: Picture) -> Picture:
    """Mean square about every block of a band-passed picture."""
    h, w = picture.shape
    # of every second pixel: finer detail than that has been blurred away
    half = cv2.resize(picture, (w // 2, h // 2), interpolation=cv2.INTER_AREA)
    size = w // _BLOCK, h // _BLOCK
    blocks = cv2.resize(half * half, size, interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.GaussianBlur(blocks, (0, 0), 1.0), np.float32)


@lru_cache(maxsize=8)
def _window(w: int, h: int) -> Picture:
    return np.asarray(cv2.createHanningWindow((w, h), cv2.CV_32F), np.float32)


def _shift_by_phase(first: Picture, second: Picture) -> complex:
    """Rough shift of content from first to second, by phase correlation."""
    shift, _ = cv2.phaseCorrelate(first, second, _window(first.shape[1], first.shape[0]))
    return complex(*shift)


class _Level:
    """Two band-passed pictures of one size, to be brought onto each other."""

    def __init__(self, first: Picture, second: Picture, gain: float, stop: float) -> None:
        self.first, self.second = _banded(first, 1.0), _banded(second, gain)
        self._details = _detail(self.first), _detail(self.second)
        self._stop = stop

    def refine(self, turn: complex, shift: complex) -> tuple[float, complex, complex]:
        """Take Gauss-Newton steps until they are short: agreement, turn with growth, shift."""
        agreement, floor = 0.0, 0.0
        here, there = self._details
        shape = self.first.shape
        reach = max(shape) / 2
        moved, shown = np.empty_like(self.second), np.empty_like(there)
        for _ in range(_ROUNDS):
            corner = _corner_map(turn, shift, shape)
            moved = _warp(self.second, corner, moved)
            shown = _warp(there, _corner_map(turn, shift / _BLOCK, there.shape), shown)
            # told once: where detail begins hardly changes while the pictures settle
            floor = floor or _common(here, shown)
            seen = seen_columns(corner, shape, _BORDER, _BORDER)
            normal, right, products = similarity_sums(self.first, moved, seen, here, shown, floor)
            normal.flat[::5] += 1e-6 * normal.flat[::5] + 1e-9
            right, down, growth, roll = np.linalg.solve(normal, -right).tolist()
            # content of the second lies at x + d: the map to it grows by d
            shift += turn * complex(right, down)
            turn *= complex(1.0 + growth, roll)
            cross, own, other = products.tolist()
            agreement = cross / math.sqrt(own * other) if own * other > 0 else 0.0
            if max(math.hypot(right, down), reach * math.hypot(growth, roll)) < self._stop:
                break
        return agreement, turn, shift


def _common(detail: Picture, detail2: Picture) -> float:
    """Mean square that two fifths of the blocks exceed in both pictures."""
    both = np.minimum(detail, detail2).ravel()
    place = int(0.6 * both.size)
    return max(float(np.partition(both, place)[place]), 1e-6)


def register_pair(first: Picture, second: Picture) -> Registration:
    """Find the similarity that carries the first picture's content to the second's.

    Works on band-passed luma from coarse to fine, weighted to places where both have detail,
    so that a place sharp in one only does not pull. Begins with a shift by phase correlation
    (Kuglin & Hines 1975), and where that does not agree, with none as well.

    Parameters
    ----------
    first, second : ndarray of float32, shape (H, W)
        Grey pictures of one size, some 300-500 px wide is enough.

    Returns
    -------
    Registration
        The map and how well it fits.
    """
    gain: float | None = None
    fit: tuple[float, complex, complex] | None = None
    for factor, stop in _LEVELS:
        if min(first.shape) < _LEAST * factor:
            continue
        small = shrink(first, factor), shrink(second, factor)
        if gain is None:
            # some forty lines and columns tell the brightness as well as all do
            every = 1 + min(small[0].shape) // 40
            light, light2 = (flicker(p[::every, ::every]) for p in small)
            gain = light / light2
        level = _Level(*small, gain, stop)
        if fit is None:
            fit = level.refine(1.0, _shift_by_phase(level.first, level.second))
            if fit[0] < _SURE:
                fit = max(fit, level.refine(1.0, 0.0), key=lambda fit: fit[0])
        else:
            fit = level.refine(fit[1], fit[2] / factor)
        fit = fit[0], fit[1], fit[2] * factor
    agreement, turn, shift = fit or (0.0, 1.0, 0.0)
    corner = _corner_map(turn, shift, first.shape)
    seen = seen_columns(corner, first.shape, 0, 0)
    matrix = np.array([[turn.real, -turn.imag, shift.real], [turn.imag, turn.real, shift.imag]])
    return Registration(matrix, agreement, float((seen[:, 1] - seen[:, 0]).sum()) / first.size)
