"""Noise taken out of small overlapping blocks: what stands above it stays, what doesn't goes."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float32]
SIDE = 8
"""Pixels along a block: as large as the finest things that hold still, hairs and facets."""


def cosines() -> Floats:
    """Give the orthonormal cosine basis of a block's side, DCT-II, shape (8, 8), one a row.

    Returns
    -------
    ndarray of float32
        Row k holds the k-th cosine.
    """
    k, x = np.mgrid[0:SIDE, 0:SIDE].astype(np.float64)
    basis = np.sqrt(2.0 / SIDE) * np.cos(np.pi * (2.0 * x + 1.0) * k / (2.0 * SIDE))
    basis[0] /= np.sqrt(2.0)
    return np.asarray(basis, np.float32)


def block_powers(gain: NDArray[np.float64]) -> Floats:
    """Tell how strongly white noise reaches each cosine of a block after a filter.

    Parameters
    ----------
    gain : ndarray of float64, shape (G, G)
        Amplitude of the filter on the grid of a Fourier transform of G x G pixels.

    Returns
    -------
    ndarray of float32, shape (8, 8)
        Variance in each cosine for noise of variance 1 before the filter.
    """
    size = gain.shape[0]
    spectra = np.abs(np.fft.fft(cosines().astype(np.float64), size, axis=1)) ** 2
    return np.asarray(spectra @ (gain**2) @ spectra.T / size**2, np.float32)


@njit(cache=True, nogil=True, fastmath=True)
def _turn(block: Any, basis: Any, room: Any, out: Any) -> None:
    """Cosines of a block: out = basis @ block @ basis.T."""
    for k in range(8):
        for x in range(8):
            total = np.float32(0.0)
            for y in range(8):
                total += basis[k, y] * block[y, x]
            room[k, x] = total
    for k in range(8):
        for j in range(8):
            total = np.float32(0.0)
            for x in range(8):
                total += room[k, x] * basis[j, x]
            out[k, j] = total


@njit(cache=True, nogil=True, fastmath=True)
def _turn_back(coded: Any, basis: Any, room: Any, out: Any) -> None:
    """Block of its cosines: out = basis.T @ coded @ basis."""
    for y in range(8):
        for j in range(8):
            total = np.float32(0.0)
            for k in range(8):
                total += basis[k, y] * coded[k, j]
            room[y, j] = total
    for y in range(8):
        for x in range(8):
            total = np.float32(0.0)
            for j in range(8):
                total += room[y, j] * basis[j, x]
            out[y, x] = total


@njit(cache=True, nogil=True, fastmath=True)
def _weigh(coded: Any, guide: Any, noise: Any, powers: Any) -> Any:
    """Keep of each cosine the share that is no noise; give the variance that is left."""
    left = np.float32(0.0)
    for k in range(8):
        for j in range(8):
            here = noise * powers[k, j]
            kept = guide[k, j] * guide[k, j]
            kept = kept / (kept + here + np.float32(1e-12))
            if k == 0 and j == 0:
                kept = np.float32(1.0)
            coded[k, j] *= kept
            left += kept * kept * here
    return left


@njit(cache=True, nogil=True, fastmath=True)
def _cut(coded: Any, noise: Any, powers: Any, cut: Any) -> Any:
    """Leave out cosines that do not stand above the noise; give the variance that is left."""
    left = np.float32(0.0)
    for k in range(8):
        for j in range(8):
            here = noise * powers[k, j]
            if k + j > 0 and coded[k, j] * coded[k, j] < cut * cut * here:
                coded[k, j] = np.float32(0.0)
            else:
                left += here
    return left


@njit(cache=True, nogil=True, fastmath=True)
def calm(picture: Any, pilot: Any, variance: Any, powers: Any, cut: Any, step: Any) -> Any:
    """Take noise out of a picture of one channel, block by block, overlapping blocks averaged.

    Parameters
    ----------
    picture : ndarray of float32, shape (H, W)
        With noise.
    pilot : ndarray of float32, shape (H, W)
        An estimate without noise; its cosines tell how much of each is kept (Wiener). An empty
        one: cosines below `cut` standard deviations are left out instead.
    variance : ndarray of float32, shape (H, W)
        Variance of the noise by place, before the filter that `powers` tells of.
    powers : ndarray of float32, shape (8, 8)
        From `block_powers`.
    cut : float
        Standard deviations below which a cosine is taken for noise, where there is no pilot.
    step : int
        Pixels from block to block.

    Returns
    -------
    ndarray of float32, shape (H, W)
        With less noise.
    """
    high, wide = picture.shape
    basis = np.empty((8, 8), np.float32)
    for k in range(8):
        for x in range(8):
            size = np.sqrt(0.125) if k == 0 else 0.5
            basis[k, x] = size * np.cos(np.pi * (2 * x + 1) * k / 16.0)
    guided = pilot.size > 0
    total = np.zeros((high, wide), np.float32)
    weight = np.zeros((high, wide), np.float32)
    room = np.empty((8, 8), np.float32)
    coded = np.empty((8, 8), np.float32)
    guide = np.empty((8, 8), np.float32)
    back = np.empty((8, 8), np.float32)
    rows = (high - 8 + step - 1) // step + 1
    columns = (wide - 8 + step - 1) // step + 1
    for r in range(rows):
        y = min(r * step, high - 8)
        for c in range(columns):
            x = min(c * step, wide - 8)
            noise = np.float32(0.0)
            for i in range(2, 8, 4):
                for j in range(2, 8, 4):
                    noise += variance[y + i, x + j]
            noise *= np.float32(0.25)
            _turn(picture[y : y + 8, x : x + 8], basis, room, coded)
            if guided:
                _turn(pilot[y : y + 8, x : x + 8], basis, room, guide)
                left = _weigh(coded, guide, noise, powers)
            else:
                left = _cut(coded, noise, powers, cut)
            _turn_back(coded, basis, room, back)
            share = np.float32(1.0) / (left + np.float32(1e-12))
            for i in range(8):
                for j in range(8):
                    total[y + i, x + j] += share * back[i, j]
                    weight[y + i, x + j] += share
    return total / weight
