"""Irregularities that a seed repeats: smooth noise, scattered spots, a honeycomb."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit


@njit(cache=True, nogil=True)
def lattice(ix: Any, iy: Any, iz: Any, seed: Any) -> Any:
    """Give the number in 0..1 that belongs to a lattice point.

    Parameters
    ----------
    ix, iy, iz : int
        Lattice point.
    seed : int
        Another seed gives other numbers.
    """
    n = np.uint32(ix) * np.uint32(374761393) + np.uint32(iy) * np.uint32(668265263)
    n = np.uint32(n + np.uint32(iz) * np.uint32(2147483647))
    n = np.uint32(n + np.uint32(seed) * np.uint32(1274126177))
    n = np.uint32((n ^ (n >> np.uint32(13))) * np.uint32(1274126177))
    n = np.uint32((n ^ (n >> np.uint32(16))) * np.uint32(2246822519))
    return np.float64(np.uint32(n ^ (n >> np.uint32(15)))) * (1.0 / 4294967296.0)


@njit(cache=True, nogil=True)
def smooth(x: Any, y: Any, z: Any, seed: Any) -> Any:
    """Give value noise in 0..1 whose features have size one.

    Parameters
    ----------
    x, y, z : float
        Place.
    seed : int
        Seed of the lattice.
    """
    fx, fy, fz = math.floor(x), math.floor(y), math.floor(z)
    ix, iy, iz = int(fx), int(fy), int(fz)
    ax, ay, az = x - fx, y - fy, z - fz
    ax = ax * ax * (3.0 - 2.0 * ax)
    ay = ay * ay * (3.0 - 2.0 * ay)
    az = az * az * (3.0 - 2.0 * az)
    bx, by, bz = 1.0 - ax, 1.0 - ay, 1.0 - az
    c00 = lattice(ix, iy, iz, seed) * bx + lattice(ix + 1, iy, iz, seed) * ax
    c10 = lattice(ix, iy + 1, iz, seed) * bx + lattice(ix + 1, iy + 1, iz, seed) * ax
    c01 = lattice(ix, iy, iz + 1, seed) * bx + lattice(ix + 1, iy, iz + 1, seed) * ax
    c11 = lattice(ix, iy + 1, iz + 1, seed) * bx + lattice(ix + 1, iy + 1, iz + 1, seed) * ax
    return (c00 * by + c10 * ay) * bz + (c01 * by + c11 * ay) * az


@njit(cache=True, nogil=True)
def nearest_spot(x: Any, y: Any, z: Any, seed: Any) -> Any:
    """Give the distance to the nearest of one random point per unit cell, and its own number.

    Parameters
    ----------
    x, y, z : float
        Place, in cells.
    seed : int
        Seed of the points.
    """
    ix, iy, iz = math.floor(x), math.floor(y), math.floor(z)
    best = 9.0
    own = 0.0
    for dz in range(-1, 2):
        for dy in range(-1, 2):
            for dx in range(-1, 2):
                jx, jy, jz = ix + dx, iy + dy, iz + dz
                px = jx + 0.15 + 0.7 * lattice(jx, jy, jz, seed) - x
                if abs(px) > best:
                    continue
                py = jy + 0.15 + 0.7 * lattice(jx, jy, jz, seed + 1) - y
                pz = jz + 0.15 + 0.7 * lattice(jx, jy, jz, seed + 2) - z
                d = px * px + py * py + pz * pz
                if d < best * best:
                    best = math.sqrt(d)
                    own = lattice(jx, jy, jz, seed + 3)
    return best, own


@njit(cache=True, nogil=True)
def ramp(a: Any, b: Any, x: Any) -> Any:
    """Rise smoothly from 0 at `a` to 1 at `b`; `a` may be the larger.

    Parameters
    ----------
    a, b : float
        Where it leaves 0 and reaches 1; they must differ.
    x : float
        Place.
    """
    t = min(max((x - a) / (b - a), 0.0), 1.0)
    return t * t * (3.0 - 2.0 * t)


@njit(cache=True, nogil=True)
def honeycomb(x: Any, y: Any) -> Any:
    """Give nearness to the cell's wall (0..1), the cell's middle (x, y), the way from it (x, y).

    Parameters
    ----------
    x, y : float
        Place, in widths of a cell.
    """
    h = math.sqrt(3.0)
    ax = x - math.floor(x + 0.5)
    ay = y - h * math.floor(y / h + 0.5)
    bx = x - 0.5 - math.floor(x)
    by = y - h * 0.5 - h * math.floor(y / h)
    if ax * ax + ay * ay < bx * bx + by * by:
        dx, dy = ax, ay
    else:
        dx, dy = bx, by
    wall = max(abs(dx), 0.5 * abs(dx) + 0.8660254 * abs(dy)) * 2.0
    return wall, x - dx, y - dy, dx, dy


@njit(cache=True, nogil=True)
def blend(a: Any, r: Any, c: Any, k: Any, fx: Any, fy: Any) -> Any:
    """Interpolate channel `k` of a grid (R, C, K) between four vertices.

    Parameters
    ----------
    a : ndarray, shape (R, C, K)
        Values at the vertices.
    r, c : int
        Row and column of the first of the four.
    k : int
        Channel.
    fx, fy : float
        Shares 0..1 of the way to the next column and row.
    """
    top = a[r, c, k] * (1.0 - fx) + a[r, c + 1, k] * fx
    low = a[r + 1, c, k] * (1.0 - fx) + a[r + 1, c + 1, k] * fx
    return top * (1.0 - fy) + low * fy
