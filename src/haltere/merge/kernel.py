"""One frame carried to the reference view along the depth of each pixel, in one resampling."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from haltere.frames.bits import fetch
from haltere.merge.threads import compiled, in_stretches

Map = NDArray[np.float32]
Codes = NDArray[np.uint8]  # or of 16 bit
Parts = tuple[Any, ...]

PHASES = 512
LOBES = 3
TAPS = 2 * LOBES
BLOCK = 32  # pixels
_LANES = 4  # red, green, blue and one that is idle, so that a processor takes two pixels at once
_WIDE = TAPS * _LANES
_ROOM = 96  # pixels: a block and the kernel's reach, and twice as much where depth jumps


def kernel_table() -> Map:
    """Weights of the interpolation kernel by phase, rows sum to 1.

    A sinc windowed by a sinc of three lobes (Lanczos; Duchon 1979, from memory), each row made to
    keep constants and ramps.  Two lobes keep less of the finest detail (measured: 1 to 1.3 % of
    the gradient, 0.1 to 0.2 dB).

    Returns
    -------
    ndarray of float32, shape (PHASES + 1, TAPS)
        A row of weights per phase.
    """
    t = np.arange(PHASES + 1)[:, None] / PHASES
    at = np.arange(1 - LOBES, LOBES + 1)[None, :]
    x = np.abs(t - at)
    rows = np.where(x < LOBES, np.sinc(x) * np.sinc(x / LOBES), 0.0)
    rows /= rows.sum(1, keepdims=True)
    # the ramp: shift the error of the first moment onto the two middle taps
    error = (rows * at).sum(1) - t[:, 0]
    rows[:, LOBES - 1] += error
    rows[:, LOBES] -= error
    return np.asarray(rows, np.float32)


def _bounds(first: int, past: int, depth: Map, low: Map, high: Map) -> None:
    """Least and largest depth of rows of blocks."""
    height, width = depth.shape
    for by in range(first, past):
        low[by], high[by] = np.inf, -np.inf
        for y in range(by * BLOCK, min(by * BLOCK + BLOCK, height)):
            for bx in range(low.shape[1]):
                least, most = low[by, bx], high[by, bx]
                for x in range(bx * BLOCK, min(bx * BLOCK + BLOCK, width)):
                    least, most = min(least, depth[y, x]), max(most, depth[y, x])
                low[by, bx], high[by, bx] = least, most


_fast_bounds = compiled(_bounds)


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
    low, high = np.empty((2, len(ys), len(xs)), np.float32)
    in_stretches(_fast_bounds, len(ys), depth, low, high)
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


def _choose(  # noqa: PLR0913, PLR0917 - a compiled loop takes plain arrays only
    by: int,
    bx: int,
    numbers: NDArray[np.float64],
    depth: Map,
    best: Map,
    width_of: Map,
    blocks: Map,
    region: NDArray[np.uint8],
    taken: NDArray[np.uint8],
    eased: Map,
    spots: NDArray[np.float64],
) -> int:
    """Collect the pixels of a block that lie near enough to the frame's plane; count them.

    Fills rows 0 to 4 of `spots`: x, y, depth, nearest plane's distance, width of the weight; and
    row 7: what the weight is a share of.
    """
    height, width = depth.shape
    rows, cols = best.shape
    p0, p1, p2, scale, reach = numbers[4], numbers[5], numbers[6], numbers[7], numbers[9]
    begin = bx * BLOCK
    size = min(BLOCK, width - begin)
    column = np.empty(size, np.int64)
    line = np.empty(size, np.float32)
    bound = np.empty(size, np.float32)
    gap = np.empty(size, np.float32)
    for k in range(size):
        column[k] = (begin + k) * cols // width
        line[k] = p1 * (begin + k - (width - 1) * 0.5) * scale
    middle = p1 * (begin + 0.5 * BLOCK - (width - 1) * 0.5) * scale
    tilt = abs(p1) * 0.5 * BLOCK * scale
    low, high, limit = blocks[0, by, bx], blocks[1, by, bx], blocks[2, by, bx]
    count = 0
    place = -1
    for y in range(by * BLOCK, min(by * BLOCK + BLOCK, height)):
        across = np.float32(p0 + p2 * (y - (height - 1) * 0.5) * scale)
        if max(low - across - middle, across + middle - high) - tilt > limit:
            continue
        cy = y * rows // height
        if cy != place:
            place = cy
            for k in range(size):
                cx = column[k]
                bound[k] = best[cy, cx] + np.float32(reach) * width_of[cy, cx]
        here = depth[y, begin : begin + size]
        for k in range(size):
            gap[k] = abs(line[k] + across - here[k]) - bound[k]
        for k in range(size):
            if gap[k] > 0:
                continue
            cx = column[k]
            share = eased[cy, cx] if taken[region[cy, cx]] == 0 else np.float32(1.0)
            if share <= 0:
                continue
            spots[7, count] = share
            spots[0, count] = begin + k
            spots[1, count] = y
            spots[2, count] = here[k]
            spots[3, count] = best[cy, cx]
            spots[4, count] = width_of[cy, cx]
            count += 1
    return count


def _carry(
    count: int,
    shape: tuple[int, int],
    size: tuple[int, int],
    turn: NDArray[np.float64],
    numbers: NDArray[np.float64],
    spots: NDArray[np.float64],
) -> None:
    """Tell where chosen pixels of a picture lie in a frame of another size, and their weight.

    Fills rows 5 and 6 of `spots`: x and y in the frame; row 7 becomes the weight, 0 outside of it.
    """
    height, width = shape
    rows, cols = size
    focal, a, b, c = numbers[0], numbers[1], numbers[2], numbers[3]
    p0, p1, p2, scale, feather = numbers[4], numbers[5], numbers[6], numbers[7], numbers[10]
    for n in range(count):
        px = (spots[0, n] - (width - 1) * 0.5) * scale
        py = (spots[1, n] - (height - 1) * 0.5) * scale
        z = spots[2, n]
        far = 1.0 + z
        sx, sy, sz = far * px - a, far * py - b, (far - c) * focal
        w = focal / ((turn[2, 0] * sx + turn[2, 1] * sy + turn[2, 2] * sz) * scale)
        u = (turn[0, 0] * sx + turn[0, 1] * sy + turn[0, 2] * sz) * w + (cols - 1) * 0.5
        v = (turn[1, 0] * sx + turn[1, 1] * sy + turn[1, 2] * sz) * w + (rows - 1) * 0.5
        edge = min(u, cols - 1 - u, v, rows - 1 - v) - LOBES
        # against the nearest plane of all, so that gaps are painted too
        behind = max(abs(p0 + p1 * px + p2 * py - z) - spots[3, n], 0.0) / spots[4, n]
        # the bell curve by its series at a sixteenth, good to 1e-4: many at once, unlike exp
        share = -behind * behind / 32
        share = 1 + share * (1 + share * (1 / 2 + share * (1 / 6 + share / 24)))
        share *= share
        share *= share
        share *= share
        share *= share
        spots[5, n] = u
        spots[6, n] = v
        spots[7, n] *= share * min((edge + 1.0) / feather, 1.0) if edge >= 0 else 0.0


def _window(count: int, spots: NDArray[np.float64]) -> tuple[int, int, int, int]:
    """Tell the part of the frame that a block is taken from: left, top, right, bottom."""
    left, top, right, bottom = 1e9, 1e9, -1e9, -1e9
    for n in range(count):
        if spots[7, n] > 0:
            left, right = min(left, spots[5, n]), max(right, spots[5, n])
            top, bottom = min(top, spots[6, n]), max(bottom, spots[6, n])
    reach = LOBES - 1
    return int(left) - reach, int(top) - reach, int(right) + LOBES + 1, int(bottom) + LOBES + 1


def _light_up(
    left: int, top: int, wide: int, high: int, frame: Codes, light: Map, room: Map
) -> None:
    """Copy a part of the frame, as linear light, to the corner of `room`."""
    for y in range(high):
        for x in range(wide):
            for channel in range(3):
                code = frame[top + y, left + x, channel]
                room[y, _LANES * x + channel] = light[code, channel]


def _light_up_parts(
    left: int, top: int, wide: int, high: int, parts: Parts, light: Map, room: Map
) -> None:
    """Do the same with samples of luma and colour, smoothed as libjpeg does."""
    _, rows, cols, wide_unit, high_unit, factor, colour = parts[:7]
    across, down = wide_unit * colour // factor, high_unit * colour // factor
    luma, blue, red = parts[18:]
    last_x, last_y = (cols - 1) // across, (rows - 1) // down
    for y in range(top, top + high):
        own_y = y // down
        other_y = own_y
        if down == 2:
            other_y = min(max(own_y + 2 * (y & 1) - 1, 0), last_y)
        line, out = luma[y], room[y - top]
        blue0, red0, blue1, red1 = blue[own_y], red[own_y], blue[other_y], red[other_y]
        for x in range(left, left + wide):
            # places without a sign: numba would look whether each counts from the end
            own_x = np.uint64(x // across)
            b, r = int(blue0[own_x]), int(red0[own_x])
            if across == 2:
                side = np.uint64(min(max(x // across + 2 * (x & 1) - 1, 0), last_x))
                b1, r1 = int(blue0[side]), int(red0[side])
                if down == 2:
                    b = 3 * b + int(blue1[own_x])
                    r = 3 * r + int(red1[own_x])
                    b1 = 3 * b1 + int(blue1[side])
                    r1 = 3 * r1 + int(red1[side])
                    half = 8 - (x & 1)
                    b, r = (3 * b + b1 + half) >> 4, (3 * r + r1 + half) >> 4
                else:
                    half = 1 + (x & 1)
                    b, r = (3 * b + b1 + half) >> 2, (3 * r + r1 + half) >> 2
            own = int(line[np.uint64(x)])
            b -= 128
            r -= 128
            at = _LANES * (x - left)
            # ITU-R BT.601 by sixteen bits, as JFIF has it
            code = own + ((91881 * r + 32768) >> 16)
            out[np.uint64(at)] = light[np.uint64(min(max(code, 0), 255)), 0]
            code = own + ((-22554 * b - 46802 * r + 32768) >> 16)
            out[np.uint64(at + 1)] = light[np.uint64(min(max(code, 0), 255)), 1]
            code = own + ((116130 * b + 32768) >> 16)
            out[np.uint64(at + 2)] = light[np.uint64(min(max(code, 0), 255)), 2]


_fast_choose = compiled(_choose)
_fast_carry = compiled(_carry)
_fast_window = compiled(_window)
_fast_light_up = compiled(_light_up)
_fast_light_up_parts = compiled(_light_up_parts)


def _paint(  # noqa: PLR0913, PLR0917 - a compiled loop takes plain arrays only
    first: int,
    past: int,
    frame: Codes,
    parts: Parts,
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
    eased: Map,
    total: Map,
    weight: Map,
    largest: Map,
    origin: NDArray[np.uint16],
    index: int,
) -> None:
    """Add rows of blocks `first` to `past` of one warped frame to the sums.

    `frame` (h, w, 3) holds code values, unless `parts` has them (see `haltere.frames.parts`);
    `light` (levels, 3) is their linear light; `taps` the kernel; `turn` the frame's rotation;
    `numbers` (focal, a, b, c, p0, p1, p2, analysis pixels per pixel, gain, reach, feather);
    `depth` (H, W) is full size, `best` (nearest plane's distance), `width_of` (standard deviation
    of the weight) and `region` may be smaller; `blocks` is what `block_bounds` gives; `taken` is 0
    for regions that this frame must stay out of, but for the share that `eased` has.
    """
    spots = np.empty((8, BLOCK * BLOCK))
    room = np.zeros((_ROOM, _ROOM * _LANES), np.float32)
    lanes = np.empty(_WIDE, np.float32)
    across = np.repeat(taps, _LANES).reshape(taps.shape[0], _WIDE)
    in_parts, size = parts[0] != 0, (parts[1], parts[2])
    done = np.zeros(parts[16].shape, np.uint8)
    gain = np.float32(numbers[8])
    for by in range(first, past):
        for bx in range(blocks.shape[2]):
            count = _fast_choose(
                by, bx, numbers, depth, best, width_of, blocks, region, taken, eased, spots
            )
            if count == 0:
                continue
            _fast_carry(count, depth.shape, size, turn, numbers, spots)
            left, top, right, bottom = _fast_window(count, spots)
            if right < left:
                continue
            wide, high = right - left, bottom - top
            # a pixel in many kernels is turned to light once; for a few pixels that takes longer
            shared = max(wide, high) <= _ROOM and wide * high < count * TAPS * TAPS
            if in_parts and shared:
                fetch(left, top, right, bottom, parts, done)
                _fast_light_up_parts(left, top, wide, high, parts, light, room)
            elif shared:
                _fast_light_up(left, top, wide, high, frame, light, room)
            for n in range(count):
                share = np.float32(spots[7, n])
                if share <= 0:
                    continue
                iu, iv = int(spots[5, n]), int(spots[6, n])
                tu = int((spots[5, n] - iu) * PHASES + 0.5)
                tv = int((spots[6, n] - iv) * PHASES + 0.5)
                at, to = _LANES * (iu - LOBES + 1 - left), iv - LOBES + 1 - top
                if not shared:
                    at, to = 0, 0
                    cx, cy = iu - LOBES + 1, iv - LOBES + 1
                    if in_parts:
                        fetch(cx, cy, cx + TAPS, cy + TAPS, parts, done)
                        _fast_light_up_parts(cx, cy, TAPS, TAPS, parts, light, room)
                    else:
                        _fast_light_up(cx, cy, TAPS, TAPS, frame, light, room)
                # six rows by name: a loop over them would not be taken eight lanes at once
                row0, row1 = room[to, at : at + _WIDE], room[to + 1, at : at + _WIDE]
                row2, row3 = room[to + 2, at : at + _WIDE], room[to + 3, at : at + _WIDE]
                row4, row5 = room[to + 4, at : at + _WIDE], room[to + 5, at : at + _WIDE]
                t0, t1, t2 = taps[tv, 0], taps[tv, 1], taps[tv, 2]
                t3, t4, t5 = taps[tv, 3], taps[tv, 4], taps[tv, 5]
                flat = across[tu]
                for k in range(_WIDE):
                    upper = t0 * row0[k] + t1 * row1[k] + t2 * row2[k]
                    lower = t3 * row3[k] + t4 * row4[k] + t5 * row5[k]
                    lanes[k] = (upper + lower) * flat[k]
                x, y = int(spots[0, n]), int(spots[1, n])
                part = share * gain
                for channel in range(3):
                    near = lanes[channel] + lanes[channel + 4] + lanes[channel + 8]
                    far = lanes[channel + 12] + lanes[channel + 16] + lanes[channel + 20]
                    total[y, x, channel] += part * (near + far)
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
    # a place has been seen when all its pixels have: the outermost lie half of it further out
    border = 4.0 * numbers[7] + 0.5 * scale
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
