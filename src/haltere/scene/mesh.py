"""Bodies as grids of vertices: rounded boxes, tapered tubes, leaves; and where hairs root."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Patch:
    """A piece of surface as a grid of vertices.

    Attributes
    ----------
    points, normals : ndarray of float64, shape (R, C, 3)
        Vertices and unit normals, body units (later mm).
    local : ndarray of float64, shape (R, C, 4)
        Pattern coordinates, see `pattern.paint`.
    material : int
        Row of the material table.
    label : int
        1 support, 2 animal, 3 eyes.
    part : int
        Number of the part this patch belongs to (patches of a part don't shade each other).
    eye : int
        Number of the eye, -1 for none.
    """

    points: Array
    normals: Array
    local: Array
    material: int
    label: int
    part: int
    eye: int = -1


def unit(v: Array) -> Array:
    """Vectors (..., 3) brought to length one.

    Parameters
    ----------
    v : ndarray of float64, shape (..., 3)
        Vectors; zero stays zero.
    """
    return np.asarray(v / np.maximum(np.linalg.norm(v, axis=-1, keepdims=True), 1e-12))


def frame_along(axis: Array, up: Array | None = None) -> Array:
    """Three unit columns (3, 3), the first along `axis`, the second as near `up` as can be.

    Parameters
    ----------
    axis : ndarray, shape (3,)
        Direction, any length.
    up : ndarray, shape (3,), or None
        None for +y; z takes its place where it lies along `axis`.
    """
    a = unit(np.asarray(axis, dtype=np.float64))
    u = np.array([0.0, 1.0, 0.0]) if up is None else np.asarray(up, dtype=np.float64)
    if abs(float(a @ unit(u))) > 0.97:
        u = np.array([0.0, 0.0, 1.0])
    b = unit(u - a * (a @ u))
    return np.stack([a, b, np.cross(a, b)], axis=1)


def rounded_box(
    centre: Array, axes: Array, radii: Array, power: float, cells: int,
    *, material: int, label: int, part: int, eye: int = -1,
) -> list[Patch]:  # fmt: skip
    """Six patches of an ellipsoid (power 2) or of a body with fuller corners (power > 2).

    Parameters
    ----------
    centre : ndarray, shape (3,)
        Middle.
    axes : ndarray, shape (3, 3)
        Columns are its axes.
    radii : ndarray, shape (3,)
        Half lengths along them.
    power : float
        Exponent of the norm.
    cells : int
        Cells along one edge of a patch.
    material, label, part, eye : int
        As in `Patch`; for eyes the pattern coordinates are unit vectors.
    """
    t = np.tan(np.linspace(-1.0, 1.0, cells + 1) * np.pi / 4.0)
    v, u = np.meshgrid(t, t, indexing="ij")
    one = np.ones_like(u)
    faces = [(one, u, v), (-one, u, v), (u, one, v), (u, -one, v), (u, v, one), (u, v, -one)]
    out = []
    for f in faces:
        d = unit(np.stack(f, axis=-1))
        d = d / (np.sum(np.abs(d) ** power, axis=-1, keepdims=True) ** (1.0 / power))
        n = np.sign(d) * np.abs(d) ** (power - 1.0) / radii
        q = d * radii
        local = np.concatenate([unit(d) if eye >= 0 else q, d[..., :1]], axis=-1)
        out.append(Patch(centre + q @ axes.T, unit(n @ axes.T), local, material, label, part, eye))
    return out


def bent(patches: list[Patch], centre: Array, axes: Array, bend: float) -> list[Patch]:
    """Patches bowed like a bean: shifted along the third axis by the square of the second.

    Parameters
    ----------
    patches : list of Patch
        What is bent.
    centre : ndarray, shape (3,)
        Where nothing moves.
    axes : ndarray, shape (3, 3)
        Columns are the axes.
    bend : float
        Shift per squared distance, 1 / body unit.
    """
    out = []
    for p in patches:
        along = (p.points - centre) @ axes[:, 1]
        n = p.normals @ axes
        # normals go with the inverse transpose of the shift's derivative
        n[..., 1] -= 2.0 * bend * along * n[..., 2]
        shifted = p.points + bend * (along**2)[..., None] * axes[:, 2]
        out.append(replace(p, points=shifted, normals=unit(n @ axes.T)))
    return out


def _tube(path: Array, radii: Array, around: int, *, material: int, label: int, part: int) -> Patch:
    """Draw a tapered tube along `path` (n, 3) with `radii` (n,)."""
    tangent = unit(np.gradient(path, axis=0))
    angle = np.linspace(0.0, 2.0 * np.pi, around + 1)
    rings = []
    for way in tangent:
        fr = frame_along(way)
        rings.append(np.outer(np.cos(angle), fr[:, 1]) + np.outer(np.sin(angle), fr[:, 2]))
    ring = np.array(rings)
    points = path[:, None] + ring * radii[:, None, None]
    # where the tube narrows its wall faces along it
    step = np.maximum(np.linalg.norm(np.gradient(path, axis=0), axis=1), 1e-9)
    slope = np.clip(np.gradient(radii) / step, -4.0, 4.0)
    normals = unit(ring - slope[:, None, None] * tangent[:, None, :])
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
    s = np.broadcast_to((along / along[-1])[:, None, None], (*points.shape[:2], 1))
    return Patch(points, normals, np.concatenate([points, s], axis=-1), material, label, part)


def limb(
    a: Array, b: Array, r0: float, r1: float, swell: float, cells: int, around: int,
    *, material: int, label: int, part: int,
) -> Patch:  # fmt: skip
    """Draw one segment of a leg from `a` to `b`, rounded at both ends, swollen in the middle.

    Parameters
    ----------
    a, b : ndarray of float64, shape (3,)
        Ends.
    r0, r1 : float
        Radii at `a` and `b` before rounding.
    swell : float
        Added to the radius in the middle.
    cells, around : int
        Cells along and around it.
    material, label, part : int
        As in `Patch`.
    """
    t = 0.5 - 0.5 * np.cos(np.linspace(0.0, np.pi, cells + 1))
    r = r0 + (r1 - r0) * t + swell * np.sin(np.pi * t) ** 1.5
    length = max(float(np.linalg.norm(b - a)), 1e-9)
    for end, cap in ((t, r0 / length), (1.0 - t, r1 / length)):
        r = r * np.sqrt(1.0 - np.clip(1.0 - end / max(cap, 1e-6), 0.0, 1.0) ** 2)
    path = a + t[:, None] * (b - a)
    return _tube(path, np.maximum(r, 1e-5), around, material=material, label=label, part=part)


def leaf(
    length: float, width: float, fold: float, cells: int, *, material: int, part: int, sag: float
) -> Patch:
    """Lay a leaf along x with its upper side up, folded at the midrib by `fold`.

    Parameters
    ----------
    length, width : float
        Half length and half width, body units.
    fold : float
        Rise per unit away from the midrib.
    cells : int
        Cells across; there are twice as many along.
    material, part : int
        As in `Patch`.
    sag : float
        Drop at unit distance along x; it grows with the square.
    """
    x = np.linspace(-1.0, 1.0, 2 * cells + 1)
    q = np.linspace(-1.0, 1.0, cells + 1)
    xx, qq = np.meshgrid(x, q, indexing="xy")
    half = width * (1.0 - np.abs(xx) ** 2.6) ** 0.6
    z = qq * np.maximum(half, 1e-4)
    y = fold * np.abs(z) - sag * (xx * length) ** 2 - 0.25 * fold * np.exp(-((z / 0.06) ** 2))
    y = y - 0.35 * fold * (z / max(width, 1e-6)) ** 4 * width
    pts = np.stack([xx * length, y, z], axis=-1)
    du = np.gradient(pts, axis=1)
    dv = np.gradient(pts, axis=0)
    n = unit(np.cross(dv, du))
    n = n * np.sign(n[..., 1:2] + 1e-9)
    local = np.concatenate([pts, z[..., None]], axis=-1)
    return Patch(pts, n, local, material, 1, part)


def stem(
    half_length: float, radius: float, y: float, cells: int, *, material: int, part: int
) -> list[Patch]:
    """Lay a stem along x at height `y`, in ten long strips of which the far ones can be dropped.

    Parameters
    ----------
    half_length, radius : float
        Size, body units.
    y : float
        Height of its axis.
    cells : int
        Vertices along it.
    material, part : int
        As in `Patch`.
    """
    sectors = 10
    xs = np.linspace(-half_length, half_length, cells)
    out = []
    for k in range(sectors):
        a = np.linspace(k, k + 1, 7) * 2.0 * np.pi / sectors
        ring = np.stack([np.zeros_like(a), np.cos(a), np.sin(a)], axis=-1)
        axis = np.stack([xs, np.full(cells, y), np.zeros(cells)], axis=-1)
        pts = ring[None] * radius + axis[:, None, :]
        around = np.broadcast_to(a[None, :, None] / (2.0 * np.pi), (*pts.shape[:2], 1))
        local = np.concatenate([pts, around], axis=-1)
        out.append(
            Patch(pts, np.broadcast_to(ring[None], pts.shape).copy(), local, material, 1, part)
        )
    return out
