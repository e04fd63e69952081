"""One frame carried to the reference view along the depth of each pixel, in one resampling."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from haltere.merge.threads import compiled, in_stretches

Map = NDArray[np.float32]

PHASES = 512


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


def _paint(
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
    total: Map,
    weight: Map,
    largest: Map,
    origin: NDArray[np.uint16],
    index: int,
) -> None:
    """Add rows `top` to `bottom` of one warped frame to the sums.

    `turn` is focal * rotation * [[1,0,-a],[0,1,-b],[0,0,1]]-like, see `paint_frame`.
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
    gr, gg, gb = np.float32(0.0), np.float32(0.0), np.float32(0.0)
    for y in range(top, bottom):
        py = (y - (height - 1) * 0.5) * scale
        for x in range(width):
            px = (x - (width - 1) * 0.5) * scale
            z = depth[y, x]
            s = width_of[y, x]
            away = abs(p0 + p1 * px + p2 * py - z)
            near = best[y, x]
            power = 0.5 * (away * away - near * near) / (s * s)
            if power > 0.5 * reach * reach:
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
            edge = min(min(u, cols - 1 - u), min(v, rows - 1 - v)) - lobes + 1.0
            share = np.float32(np.exp(-max(power, 0.0)) * min(edge / feather, 1.0))
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


def _closest(
    top: int,
    bottom: int,
    size_px: NDArray[np.float64],
    turn: NDArray[np.float64],
    numbers: NDArray[np.float64],
    depth: Map,
    scale: float,
    best: Map,
    seen: Map,
) -> None:
    """Note how near this frame's plane comes, of all frames and of those that saw the place."""
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


_fast_paint = compiled(_paint)
_fast_closest = compiled(_closest)


def paint_frame(*given: object) -> None:
    """Add one warped frame to the sums; see `_paint` for what it takes after the rows."""
    depth = given[5]
    assert isinstance(depth, np.ndarray)
    in_stretches(_fast_paint, depth.shape[0], *given)


def note_closest(*given: object) -> None:
    """Note how near a frame's plane comes; see `_closest` for what it takes after the rows."""
    depth = given[3]
    assert isinstance(depth, np.ndarray)
    in_stretches(_fast_closest, depth.shape[0], *given)
