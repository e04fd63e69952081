"""What a camera sees: hidden surfaces, textures and hairs, summed over points of the pupil.

Each point of the pupil is an exact pinhole view, sheared so that the plane of focus stays put;
their mean is the defocused frame with all its occlusions. The kernels free the interpreter lock.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit

# Textures hold the square root of linear light in a byte; this is the light of byte 255.
TEXTURE_PEAK = 2.0
LEVELS = 7
# Rows drawn at a time: 200 rows of 1600 fit the caches and were fastest (13 % less than all).
BAND_ROWS = 200


@njit(cache=True, nogil=True, inline="never")
def _project_points(points: Any, cam: Any, k: Any, s: Any, cx: Any, cy: Any, out: Any) -> None:
    """Project (n, 3) points to x, y in pixels and depth in mm; `cam` is one row of a view table.

    A row: rotation (9), pupil centre (3), pupil point (2), shift in pixels (2).
    """
    r00, r01, r02 = cam[0], cam[1], cam[2]
    r10, r11, r12 = cam[3], cam[4], cam[5]
    r20, r21, r22 = cam[6], cam[7], cam[8]
    ax, ay = cam[12], cam[13]
    scale = k / s
    for i in range(points.shape[0]):
        px = points[i, 0] - cam[9]
        py = points[i, 1] - cam[10]
        pz = points[i, 2] - cam[11]
        x = r00 * px + r01 * py + r02 * pz
        y = r10 * px + r11 * py + r12 * pz
        z = r20 * px + r21 * py + r22 * pz
        f = s / z
        out[i, 0] = (ax + (x - ax) * f) * scale + cx + cam[14]
        out[i, 1] = (ay + (y - ay) * f) * scale + cy + cam[15]
        out[i, 2] = z


@njit(cache=True, nogil=True)
def _fill_depth(proj: Any, tris: Any, zbuf: Any, ids: Any) -> None:  # noqa: PLR0912
    """Draw triangles into the depth buffer `zbuf` (H, W) and write their numbers into `ids`."""
    h, w = zbuf.shape
    eps = 1e-3
    for t in range(tris.shape[0]):
        a, b, c = tris[t, 0], tris[t, 1], tris[t, 2]
        x0, y0 = proj[a, 0], proj[a, 1]
        x1, y1 = proj[b, 0], proj[b, 1]
        x2, y2 = proj[c, 0], proj[c, 1]
        area = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
        if area <= 1e-9:
            continue
        lo = min(y0, y1, y2)
        hi = max(y0, y1, y2)
        ya = max(0, math.ceil(lo - eps))
        yb = min(h - 1, math.floor(hi + eps))
        if ya > yb:
            continue
        left = min(x0, x1, x2)
        right = max(x0, x1, x2)
        if right < 0.0 or left > w - 1.0:
            continue
        z0, z1, z2 = proj[a, 2], proj[b, 2], proj[c, 2]
        zx = ((z1 - z0) * (y2 - y0) - (z2 - z0) * (y1 - y0)) / area
        zy = ((z2 - z0) * (x1 - x0) - (z1 - z0) * (x2 - x0)) / area
        # edge i: n . p >= c inside
        e0x, e0y = y0 - y1, x1 - x0
        e1x, e1y = y1 - y2, x2 - x1
        e2x, e2y = y2 - y0, x0 - x2
        for y in range(ya, yb + 1):
            xa = left
            xb = right
            ok = True
            # edge from p0 to p1
            v = e0y * (y - y0)
            if e0x > 1e-12:
                xa = max(xa, x0 - v / e0x)
            elif e0x < -1e-12:
                xb = min(xb, x0 - v / e0x)
            elif v < -1e-6:
                ok = False
            v = e1y * (y - y1)
            if e1x > 1e-12:
                xa = max(xa, x1 - v / e1x)
            elif e1x < -1e-12:
                xb = min(xb, x1 - v / e1x)
            elif v < -1e-6:
                ok = False
            v = e2y * (y - y2)
            if e2x > 1e-12:
                xa = max(xa, x2 - v / e2x)
            elif e2x < -1e-12:
                xb = min(xb, x2 - v / e2x)
            elif v < -1e-6:
                ok = False
            if not ok or xb + eps < 0.0:
                continue
            ia = max(0, math.ceil(xa - eps))
            ib = min(w - 1, math.floor(xb + eps))
            base = z0 + zy * (y - y0) - zx * x0
            for x in range(ia, ib + 1):
                z = np.float32(base + zx * x)
                if z < zbuf[y, x]:
                    zbuf[y, x] = z
                    ids[y, x] = t


@njit(cache=True, nogil=True)
def _texture_map(  # noqa: PLR0913, PLR0917
    proj: Any, tris: Any, uv: Any, patch: Any, tex_at: Any, tex_w: Any, tex_h: Any,
    s: Any, disc_px: Any, root_n: Any, rows: Any, dither: Any, ju: Any, jv: Any,
    grad: Any, where: Any,
) -> None:  # fmt: skip
    """Per triangle: texture coordinates as a plane over the frame, and which mip level to read.

    The level follows the larger of a pixel and the part of the blur disc that one of the views
    stands for, so that the views don't show as copies; `dither` (one per view) blends levels in
    the mean of the views, `ju`, `jv` do the same between texels.
    """
    for t in range(tris.shape[0]):
        a, b, c = tris[t, 0], tris[t, 1], tris[t, 2]
        x0, y0 = proj[a, 0], proj[a, 1]
        x1, y1 = proj[b, 0], proj[b, 1]
        x2, y2 = proj[c, 0], proj[c, 1]
        if max(y0, y1, y2) < 0.0 or min(y0, y1, y2) > rows:
            continue
        area = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
        if area <= 1e-9:
            continue
        u0, v0 = uv[a, 0], uv[a, 1]
        u1, v1 = uv[b, 0], uv[b, 1]
        u2, v2 = uv[c, 0], uv[c, 1]
        g = 1.0 / area
        ux = ((u1 - u0) * (y2 - y0) - (u2 - u0) * (y1 - y0)) * g
        uy = ((u2 - u0) * (x1 - x0) - (u1 - u0) * (x2 - x0)) * g
        vx = ((v1 - v0) * (y2 - y0) - (v2 - v0) * (y1 - y0)) * g
        vy = ((v2 - v0) * (x1 - x0) - (v1 - v0) * (x2 - x0)) * g
        texels = math.sqrt(abs(ux * vy - uy * vx))
        z = (proj[a, 2] + proj[b, 2] + proj[c, 2]) / 3.0
        cell = disc_px * abs(1.0 - s / z) / root_n
        # a little less than the cell: texels widen the disc, 0.8 keeps that below 1.5 %
        foot = texels * max(1.0, 0.8 * cell)
        level = 0
        if foot > 1.0:
            level = int(math.log2(foot) + dither)
            level = min(level, LEVELS - 1)
        p = patch[t]
        q = 1.0 / (1 << level)
        grad[t, 0] = (u0 - ux * x0 - uy * y0) * q + ju
        grad[t, 1] = ux * q
        grad[t, 2] = uy * q
        grad[t, 3] = (v0 - vx * x0 - vy * y0) * q + jv
        grad[t, 4] = vx * q
        grad[t, 5] = vy * q
        where[t, 0] = tex_at[p, level]
        where[t, 1] = tex_w[p, level]
        where[t, 2] = tex_h[p, level]


@njit(cache=True, nogil=True)
def _texel(grad: Any, where: Any, t: Any, x: Any, y: Any) -> Any:
    """Find the texel that triangle `t` shows at pixel (x, y)."""
    u = int(grad[t, 0] + grad[t, 1] * x + grad[t, 2] * y)
    v = int(grad[t, 3] + grad[t, 4] * x + grad[t, 5] * y)
    w = where[t, 1]
    h = where[t, 2]
    u = min(max(u, 0), w - 1)
    v = min(max(v, 0), h - 1)
    return where[t, 0] + v * w + u


@njit(cache=True, nogil=True)
def _add_surfaces(
    zbuf: Any, ids: Any, grad: Any, where: Any, tex: Any, acc: Any, count: Any
) -> None:
    """Add the textured surfaces of one view to the sum `acc` (H, W, 3) and to `count` (H, W)."""
    h, w = zbuf.shape
    f = np.float32(TEXTURE_PEAK / 65025.0)
    for y in range(h):
        last = -1
        tw, th, at = 0, 0, 0
        u0 = v0 = ux = vx = np.float32(0.0)
        fy = np.float32(y)
        for x in range(w):
            if zbuf[y, x] < np.float32(1e8):
                t = ids[y, x]
                if t != last:
                    # neighbours mostly show the same triangle
                    last = t
                    at, tw, th = where[t, 0], where[t, 1], where[t, 2]
                    u0 = grad[t, 0] + grad[t, 2] * fy
                    v0 = grad[t, 3] + grad[t, 5] * fy
                    ux = grad[t, 1]
                    vx = grad[t, 4]
                fx = np.float32(x)
                u = min(max(int(u0 + ux * fx), 0), tw - 1)
                v = min(max(int(v0 + vx * fx), 0), th - 1)
                i = at + v * tw + u
                r = np.float32(tex[i, 0])
                g = np.float32(tex[i, 1])
                b = np.float32(tex[i, 2])
                acc[y, x, 0] += r * r * f
                acc[y, x, 1] += g * g * f
                acc[y, x, 2] += b * b * f
                count[y, x] += np.float32(1.0)


@njit(cache=True, nogil=True)
def _add_hairs(  # noqa: PLR0913, PLR0915, PLR0917
    proj: Any, width: Any, colour: Any, order: Any, k: Any, s: Any, disc_px: Any, root_n: Any,
    zbuf: Any, ids: Any, grad: Any, where: Any, tex: Any, back: Any, left: Any, acc: Any,
) -> None:  # fmt: skip
    """Lay hair pieces, nearest first, over one view that `_add_surfaces` has already summed.

    A piece is a slanted strip with a soft edge as wide as a pixel or as the part of the blur disc
    that the view stands for; its weight falls as it widens, so that light is kept. `left` (H, W)
    is the share of a pixel that no nearer hair has taken yet.
    """
    h, w = zbuf.shape
    f = np.float32(TEXTURE_PEAK / 65025.0)
    for oi in range(order.shape[0]):
        i = order[oi]
        x0, y0, z0 = proj[2 * i, 0], proj[2 * i, 1], proj[2 * i, 2]
        x1, y1, z1 = proj[2 * i + 1, 0], proj[2 * i + 1, 1], proj[2 * i + 1, 2]
        zm = 0.5 * (z0 + z1)
        w0 = width[i, 0] * k / zm
        w1 = width[i, 1] * k / zm
        soft = max(1.0, disc_px * abs(1.0 - s / zm) / root_n)
        dx, dy = x1 - x0, y1 - y0
        length = math.sqrt(dx * dx + dy * dy)
        reach = 0.5 * (max(w0, w1) + soft)
        if length < 1e-6:
            continue
        ix, iy = dx / length, dy / length
        # a strip seen end-on is still drawn one pixel long
        if length < 0.5:
            x0 -= ix * 0.25
            y0 -= iy * 0.25
            length += 0.5
        xa = max(0, math.ceil(min(x0, x1) - reach))
        xb = min(w - 1, math.floor(max(x0, x1) + reach))
        ya = max(0, math.ceil(min(y0, y1) - reach))
        yb = min(h - 1, math.floor(max(y0, y1) + reach))
        if xa > xb or ya > yb:
            continue
        inv = 1.0 / length
        across = abs(iy) > 1e-4
        slope = ix / iy if across else 0.0
        half = reach / abs(iy) if across else 0.0
        for y in range(ya, yb + 1):
            qy = y - y0
            la, lb = xa, xb
            if across:
                # the strip's two edges on this row
                mid = x0 + qy * slope
                la = max(xa, math.ceil(mid - half))
                lb = min(xb, math.floor(mid + half))
            for x in range(la, lb + 1):
                qx = x - x0
                t = (qx * ix + qy * iy) * inv
                if t < 0.0 or t >= 1.0:
                    continue
                d = abs(qx * iy - qy * ix)
                ww = w0 + (w1 - w0) * t
                # box of the hair's width met by a box of the soft edge's width
                cover = min((0.5 * (ww + soft) - d), ww, soft) / soft
                if cover <= 0.0:
                    continue
                z = z0 + (z1 - z0) * t
                if z >= zbuf[y, x]:
                    continue
                share = np.float32(cover) * left[y, x]
                if share < np.float32(1e-3):
                    continue
                left[y, x] -= share
                tt = np.float32(t)
                r = colour[i, 0] + (colour[i, 3] - colour[i, 0]) * tt
                g = colour[i, 1] + (colour[i, 4] - colour[i, 1]) * tt
                b = colour[i, 2] + (colour[i, 5] - colour[i, 2]) * tt
                if zbuf[y, x] < np.float32(1e8):
                    j = _texel(grad, where, ids[y, x], x, y)
                    ur = np.float32(tex[j, 0])
                    ug = np.float32(tex[j, 1])
                    ub = np.float32(tex[j, 2])
                    acc[y, x, 0] += share * (r - ur * ur * f)
                    acc[y, x, 1] += share * (g - ug * ug * f)
                    acc[y, x, 2] += share * (b - ub * ub * f)
                else:
                    acc[y, x, 0] += share * (r - back[y, x, 0])
                    acc[y, x, 1] += share * (g - back[y, x, 1])
                    acc[y, x, 2] += share * (b - back[y, x, 2])


@njit(cache=True, nogil=True)
def sum_views(  # noqa: PLR0913, PLR0917
    verts: Any, tris: Any, uv: Any, patch: Any, tex: Any, tex_at: Any, tex_w: Any, tex_h: Any,
    hair_pts: Any, hair_width: Any, hair_colour: Any, order: Any,
    views: Any, jitter: Any, k: Any, s: Any, cx: Any, cy: Any, disc_px: Any, back: Any,
) -> Any:  # fmt: skip
    """Mean linear light (H, W, 3) float32 of all rows of `views`; see `_project_points` for a row.

    `jitter` (n, 3) holds the shares of texel (u, v) and mip level that each view is offset by.

    Parameters
    ----------
    verts : ndarray of float32, shape (V, 3)
        Vertices, mm.
    tris : ndarray of int32, shape (T, 3)
        Triangles, clockwise as the camera sees them.
    uv : ndarray of float32, shape (V, 2)
        Texture coordinates in texels of level 0.
    patch : ndarray of int32, shape (T,)
        Patch of each triangle.
    tex : ndarray of uint8, shape (n, 3)
        All texels of all levels.
    tex_at, tex_w, tex_h : ndarray of int32, shape (P, LEVELS)
        Where a patch's level starts, and its size.
    hair_pts : ndarray of float32, shape (2 S, 3)
        Ends of hair pieces, mm.
    hair_width : ndarray of float32, shape (S, 2)
        Widths at both ends, mm.
    hair_colour : ndarray of float32, shape (S, 6)
        Linear light at both ends.
    order : ndarray of int32, shape (S,)
        Hair pieces, nearest first; empty draws none.
    views : ndarray of float64, shape (n, 16)
        View table.
    jitter : ndarray of float64, shape (n, 3)
        Offsets of each view.
    k : float
        Focal length, pixels.
    s : float
        Distance from the pupil to the plane of focus, mm.
    cx, cy : float
        Principal point, pixels.
    disc_px : float
        Diameter of the blur disc of a point infinitely far away; 0 for a pinhole.
    back : ndarray of float32, shape (H, W, 3)
        Linear light of the background.
    """
    h, w = back.shape[0], back.shape[1]
    n = views.shape[0]
    nt = tris.shape[0]
    proj = np.empty((verts.shape[0], 3), np.float32)
    hproj = np.empty((hair_pts.shape[0], 3), np.float32)
    acc = np.zeros((h, w, 3), np.float32)
    count = np.zeros((h, w), np.float32)
    grad = np.zeros((nt, 6), np.float32)
    where = np.zeros((nt, 3), np.int32)
    root_n = math.sqrt(n)
    # all views of a band of rows before the next band: what is drawn into stays in the cache
    for top in range(0, h, BAND_ROWS):
        end = min(top + BAND_ROWS, h)
        zbuf = np.empty((end - top, w), np.float32)
        left = np.empty((end - top, w), np.float32)
        ids = np.zeros((end - top, w), np.int32)
        for i in range(n):
            cam = views[i]
            _project_points(verts, cam, k, s, cx, cy - top, proj)
            zbuf[:] = np.float32(1e9)
            _fill_depth(proj, tris, zbuf, ids)
            _texture_map(proj, tris, uv, patch, tex_at, tex_w, tex_h, s, disc_px, root_n,
                         end - top, jitter[i, 2], jitter[i, 0], jitter[i, 1],
                         grad, where)  # fmt: skip
            _add_surfaces(zbuf, ids, grad, where, tex, acc[top:end], count[top:end])
            if order.shape[0] > 0:
                _project_points(hair_pts, cam, k, s, cx, cy - top, hproj)
                left[:] = np.float32(1.0)
                _add_hairs(hproj, hair_width, hair_colour, order, k, s, disc_px, root_n,
                           zbuf, ids, grad, where, tex, back[top:end], left,
                           acc[top:end])  # fmt: skip
    inv = np.float32(1.0 / n)
    for y in range(h):
        for x in range(w):
            m = np.float32(n) - count[y, x]
            for c in range(3):
                acc[y, x, c] = (acc[y, x, c] + m * back[y, x, c]) * inv
    return acc


@njit(cache=True, nogil=True)
def look(  # noqa: PLR0913, PLR0917
    verts: Any, tris: Any, hair_pts: Any, hair_width: Any, cam: Any,
    k: Any, s: Any, cx: Any, cy: Any, h: Any, w: Any,
) -> Any:  # fmt: skip
    """Depth along the axis (H, W) in mm, and number of the triangle, of one pinhole view.

    The number is -1 where nothing is and -2 - i where hair piece i covers at least half a pixel.

    Parameters
    ----------
    verts : ndarray of float32, shape (V, 3)
        Vertices, mm.
    tris : ndarray of int32, shape (T, 3)
        Triangles, clockwise as the camera sees them.
    hair_pts : ndarray of float32, shape (2 S, 3)
        Ends of hair pieces, mm.
    hair_width : ndarray of float32, shape (S, 2)
        Widths at both ends, mm.
    cam : ndarray of float64, shape (16,)
        Row of a view table.
    k : float
        Focal length, pixels.
    s : float
        Distance from the pupil to the plane of focus, mm.
    cx, cy : float
        Principal point, pixels.
    h, w : int
        Rows and columns.
    """
    proj = np.empty((verts.shape[0], 3), np.float32)
    _project_points(verts, cam, k, s, cx, cy, proj)
    zbuf = np.empty((h, w), np.float32)
    zbuf[:] = np.float32(1e9)
    ids = np.empty((h, w), np.int32)
    ids[:] = -1
    _fill_depth(proj, tris, zbuf, ids)
    hp = np.empty((hair_pts.shape[0], 3), np.float32)
    _project_points(hair_pts, cam, k, s, cx, cy, hp)
    for i in range(hair_width.shape[0]):
        x0, y0, z0 = hp[2 * i, 0], hp[2 * i, 1], hp[2 * i, 2]
        x1, y1, z1 = hp[2 * i + 1, 0], hp[2 * i + 1, 1], hp[2 * i + 1, 2]
        dx, dy = x1 - x0, y1 - y0
        length = math.sqrt(dx * dx + dy * dy)
        if length < 1e-6:
            continue
        ix, iy = dx / length, dy / length
        w0 = hair_width[i, 0] * k / z0
        w1 = hair_width[i, 1] * k / z1
        reach = 0.5 * max(w0, w1)
        for y in range(
            max(0, int(min(y0, y1) - reach)), min(h - 1, int(max(y0, y1) + reach + 1)) + 1
        ):
            for x in range(
                max(0, int(min(x0, x1) - reach)), min(w - 1, int(max(x0, x1) + reach + 1)) + 1
            ):
                qx, qy = x - x0, y - y0
                t = (qx * ix + qy * iy) / length
                if t < 0.0 or t >= 1.0:
                    continue
                ww = w0 + (w1 - w0) * t
                if min(0.5 * (ww + 1.0) - abs(qx * iy - qy * ix), ww) < 0.5:
                    continue
                z = np.float32(z0 + (z1 - z0) * t)
                if z < zbuf[y, x]:
                    zbuf[y, x] = z
                    ids[y, x] = -2 - i
    return zbuf, ids
