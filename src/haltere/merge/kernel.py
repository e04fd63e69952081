"""One frame carried to the reference view along the depth of each pixel, in one resampling."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from haltere.merge.threads import compiled

Map = NDArray[np.float32]

PHASES = 512
BLOCK = 64  # pixels


def kernel_table(lobes: int = 2) -> Map:
    """Weights of the interpolation kernel by phase, rows sum to 1.

    Parameters
    ----------
    lobes : int
        2 for Catmull & Rom's cubic (1974), 3 for a sinc windowed by a sinc (Lanczos; Duchon
        1979), both from memory.  Each row is made to keep constants; the cubic keeps ramps too.

    Returns
    -------
    ndarray of float32, shape (PHASES + 1, 2 * lobes)
        A row of weights per phase.
    """
    t = np.arange(PHASES + 1)[:, None] / PHASES
    x = np.abs(t - np.arange(1 - lobes, lobes + 1)[None, :])
    if lobes == 2:
        near = 1.5 * x**3 - 2.5 * x**2 + 1
        far = -0.5 * x**3 + 2.5 * x**2 - 4 * x + 2
        rows = np.where(x < 1, near, np.where(x < 2, far, 0.0))
    else:
        rows = np.where(x < lobes, np.sinc(x) * np.sinc(x / lobes), 0.0)
        rows /= rows.sum(1, keepdims=True)
        # the ramp: shift the error of the first moment onto the two middle taps
        at = np.arange(1 - lobes, lobes + 1)[None, :]
        error = (rows * at).sum(1) - t[:, 0]
        rows[:, lobes - 1] += error
        rows[:, lobes] -= error
    return np.asarray(rows, np.float32)


def block_bounds(depth: Map, best: Map, width_of: Map, reach: float) -> Map:
    """Bounds by which whole blocks of `BLOCK` pixels are passed over.

    Parameters
    ----------
    depth : ndarray of float32, shape (H, W)
        Depth of every pixel.
    best, width_of : ndarray of float32, shape (h, w)
        Nearest plane's distance, and standard deviation of the weight.
    reach : float
        Standard deviations after which a weight is nothing.

    Returns
    -------
    ndarray of float32, shape (3, rows of blocks, columns of blocks)
        Least and largest depth, and how far from these a plane may lie and still count.
    """
    height, width = depth.shape
    ys, xs = np.arange(0, height, BLOCK), np.arange(0, width, BLOCK)
    low = np.minimum.reduceat(np.minimum.reduceat(depth, ys, axis=0), xs, axis=1)
    high = np.maximum.reduceat(np.maximum.reduceat(depth, ys, axis=0), xs, axis=1)
    bound = best + np.float32(reach) * width_of
    # a block's last pixels may lie in the first place of the next
    wide = np.pad(bound, ((0, 1), (0, 1)), mode="edge")
    for axis in (0, 1):
        wide = np.maximum(wide, np.roll(wide, -1, axis))
    rows, cols = best.shape
    limit = np.maximum.reduceat(wide[:rows], ys * rows // height, axis=0)
    limit = np.maximum.reduceat(limit[:, :cols], xs * cols // width, axis=1)
    # a hair more, for rounding
    return np.stack([low, high, np.float32(1.0001) * limit + np.float32(1e-7)]).astype(np.float32)


def _paint(  # noqa: PLR0913, PLR0917 - a compiled loop takes plain arrays only
    top: int,
    bottom: int,
    frame: NDArray[np.uint8],
    light: Map,
    taps: Map,
    turn: NDArray[np.float64],
    numbers: NDArray[np.float64],
    depth: Map,
    best: Map,
    width_of: Map,
    blocks: Map,
    region: NDArray[np.uint8],
    taken: NDArray[np.uint8],
    total: Map,
    weight: Map,
    largest: Map,
    origin: NDArray[np.uint16],
    index: int,
) -> None:
    """Add rows `top` to `bottom` of one warped frame to the sums.

    `frame` (h, w, 3) holds code values, `light` (levels, 3) their linear light; `taps` the
    kernel; `turn` the frame's rotation; `numbers` (focal, a, b, c, p0, p1, p2, analysis pixels
    per pixel, gain, reach, feather); `depth` (H, W) is full size, `best` (nearest plane's
    distance), `width_of` (standard deviation of the weight) and `region` may be smaller;
    `blocks` is what `block_bounds` gives; `taken` is 0 for regions that this frame must stay out
    of.
    """
    height, width = depth.shape
    rows, cols = frame.shape[:2]
    size = taps.shape[1]
    lobes = size // 2
    phases = taps.shape[0] - 1
    focal, a, b, c, p0, p1, p2, scale, gain, reach, feather = (
        numbers[0],
        numbers[1],
        numbers[2],
        numbers[3],
        numbers[4],
        numbers[5],
        numbers[6],
        numbers[7],
        numbers[8],
        numbers[9],
        numbers[10],
    )
    for y in range(top, bottom):
        py = (y - (height - 1) * 0.5) * scale
        cy = y * best.shape[0] // height
        across = p0 + p2 * py
        tilt = abs(p1) * 0.5 * BLOCK * scale
        for block in range(blocks.shape[2]):
            begin = block * BLOCK
            by = y // BLOCK
            middle = across + p1 * (begin + 0.5 * BLOCK - (width - 1) * 0.5) * scale
            low, high, limit = blocks[0, by, block], blocks[1, by, block], blocks[2, by, block]
            if max(low - middle, middle - high) - tilt > limit:
                continue
            for x in range(begin, min(begin + BLOCK, width)):
                px = (x - (width - 1) * 0.5) * scale
                z = depth[y, x]
                cx = x * best.shape[1] // width
                if taken[region[cy, cx]] == 0:
                    continue
                away = abs(p0 + p1 * px + p2 * py - z)
                # against the nearest plane of all, so that gaps are painted too
                behind = max(away - best[cy, cx], 0.0) / width_of[cy, cx]
                if behind > reach:
                    continue
                far = 1.0 + z
                sx, sy, sz = far * px - a, far * py - b, (far - c) * focal
                u = turn[0, 0] * sx + turn[0, 1] * sy + turn[0, 2] * sz
                v = turn[1, 0] * sx + turn[1, 1] * sy + turn[1, 2] * sz
                w = turn[2, 0] * sx + turn[2, 1] * sy + turn[2, 2] * sz
                u = focal * u / w / scale + (cols - 1) * 0.5
                v = focal * v / w / scale + (rows - 1) * 0.5
                if u < lobes or v < lobes or u > cols - 1 - lobes or v > rows - 1 - lobes:
                    continue
                edge = min(u, cols - 1 - u, v, rows - 1 - v) - lobes + 1.0
                share = np.float32(np.exp(-0.5 * behind * behind) * min(edge / feather, 1.0))
                iu, iv = int(np.floor(u)), int(np.floor(v))
                tu = int((u - iu) * phases + 0.5)
                tv = int((v - iv) * phases + 0.5)
                gr, gg, gb = np.float32(0.0), np.float32(0.0), np.float32(0.0)
                for j in range(size):
                    yy = iv - lobes + 1 + j
                    rr, rg, rb = np.float32(0.0), np.float32(0.0), np.float32(0.0)
                    for i in range(size):
                        xx = iu - lobes + 1 + i
                        t = taps[tu, i]
                        rr += t * light[frame[yy, xx, 0], 0]
                        rg += t * light[frame[yy, xx, 1], 1]
                        rb += t * light[frame[yy, xx, 2], 2]
                    t = taps[tv, j]
                    gr += t * rr
                    gg += t * rg
                    gb += t * rb
                part = share * np.float32(gain)
                total[y, x, 0] += part * gr
                total[y, x, 1] += part * gg
                total[y, x, 2] += part * gb
                weight[y, x] += share
                if share > largest[y, x]:
                    largest[y, x] = share
                    origin[y, x] = np.uint16(index)


def _closest(  # noqa: PLR0913, PLR0917 - a compiled loop takes plain arrays only
    top: int,
    bottom: int,
    size_px: NDArray[np.float64],
    turn: NDArray[np.float64],
    numbers: NDArray[np.float64],
    depth: Map,
    scale: float,
    region: NDArray[np.uint8],
    taken: NDArray[np.uint8],
    best: Map,
    seen: Map,
) -> None:
    """Note how near this frame's plane comes, of all frames and of those that saw the place.

    `size_px` is the frame's size in analysis pixels; `numbers` as in `_paint`, up to scale;
    `scale` here is analysis pixels per place of `depth`; `region` and `taken` as there.
    """
    height, width = depth.shape
    focal, a, b, c, p0, p1, p2 = (
        numbers[0],
        numbers[1],
        numbers[2],
        numbers[3],
        numbers[4],
        numbers[5],
        numbers[6],
    )
    border = 4.0 * numbers[7]
    for y in range(top, bottom):
        py = (y - (height - 1) * 0.5) * scale
        for x in range(width):
            if taken[region[y, x]] == 0:
                continue
            px = (x - (width - 1) * 0.5) * scale
            z = depth[y, x]
            away = np.float32(abs(p0 + p1 * px + p2 * py - z))
            if away >= seen[y, x]:
                continue
            best[y, x] = min(best[y, x], away)
            far = 1.0 + z
            sx, sy, sz = far * px - a, far * py - b, (far - c) * focal
            u = turn[0, 0] * sx + turn[0, 1] * sy + turn[0, 2] * sz
            v = turn[1, 0] * sx + turn[1, 1] * sy + turn[1, 2] * sz
            w = turn[2, 0] * sx + turn[2, 1] * sy + turn[2, 2] * sz
            u = abs(focal * u / w)
            v = abs(focal * v / w)
            if u < size_px[0] / 2 - border and v < size_px[1] / 2 - border:
                seen[y, x] = away


fast_paint = compiled(_paint)
fast_closest = compiled(_closest)
