"""How the detail of each place rises and falls while the plane of focus passes through it."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache, lru_cache, partial

import cv2
import numpy as np
from numba import njit
from numpy.typing import NDArray

from haltere.align.ahead import in_turn
from haltere.align.bands import Picture
from haltere.align.lumas import Lumas
from haltere.align.pose import homography, plane_depth
from haltere.align.solve import centred
from haltere.progress import Progress, silent

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class CurveNumbers:
    """Numbers that steer focus curves.

    Attributes
    ----------
    cell_px : int
        Spacing of the places, analysis pixels.
    window_px : float
        Sigma of the window a place's detail is gathered in: large enough for texture to be
        there, small enough to stay on one surface.
    fine_px : float
        Sigma of the finer Gaussian of the detail band: just above what noise and sampling leave.
    spectrum : float
        Power spectrum of surface texture falls as frequency to minus this (natural pictures:
        2 to 3, Field 1987, from memory).
    step_dof : float
        Spacing of the depths tried, in depths of field.
    beyond_dof : float
        How far outside the planes a peak is still looked for.
    """

    cell_px: int = 8
    window_px: float = 7.0
    fine_px: float = 0.8
    spectrum: float = 2.5
    step_dof: float = 0.1
    beyond_dof: float = 4.0


NUMBERS = CurveNumbers()

_TABLE_PX = 0.05


@dataclass(frozen=True, slots=True)
class Stack:
    """Detail of every place in every frame, on a grid of the reference view.

    Attributes
    ----------
    energy : ndarray of float32, shape (N, R, C)
        Mean squared band-passed luma, gain evened out; NaN where the frame did not see it.
    along : ndarray of float32, shape (N, R, C)
        Relative depth of the frame's (tilted) plane of focus there.
    points_px : ndarray of float64, shape (R * C, 2)
        Centred reference pixels of the places, row by row.
    luma : ndarray of float32, shape (R, C)
        Mean brightness of the place over the frames.
    """

    energy: NDArray[np.float32]
    along: NDArray[np.float32]
    points_px: Floats
    luma: NDArray[np.float32]


def detail(picture: Picture) -> Picture:
    """Band-passed luma in which sharpness shows.

    Parameters
    ----------
    picture : ndarray of float32, shape (H, W)
        Grey picture.
    """
    fine = cv2.GaussianBlur(picture, (0, 0), NUMBERS.fine_px)
    coarse = cv2.GaussianBlur(picture, (0, 0), 2.0 * NUMBERS.fine_px)
    # into a picture that is there: a fresh one of this size costs as much as the blur
    return np.asarray(cv2.subtract(fine, coarse, dst=fine), np.float32)


def places(shape: tuple[int, int]) -> tuple[Floats, tuple[int, int]]:
    """Centred pixels of the grid of places for pictures of `shape`, and its rows and columns.

    Parameters
    ----------
    shape : tuple of int
        Rows and columns of an analysis picture.
    """
    step = NUMBERS.cell_px
    rows, cols = shape[0] // step, shape[1] // step
    y, x = np.mgrid[0:rows, 0:cols].astype(np.float64)
    xs = (x + 0.5) * step - 0.5 - (shape[1] - 1) / 2
    ys = (y + 0.5) * step - 0.5 - (shape[0] - 1) / 2
    return np.column_stack([xs.ravel(), ys.ravel()]), (rows, cols)


_THINNED = 4
"""Gathered energy is smooth: every fourth pixel holds it, and all frames' stay in memory."""


def _gathered(whole: Callable[[], Picture]) -> Picture:
    """Energy of the detail of one frame, gathered about every fourth pixel."""
    squared = detail(whole())
    cv2.multiply(squared, squared, dst=squared)
    rows, cols = (n // _THINNED for n in squared.shape)
    cut = squared[: rows * _THINNED, : cols * _THINNED]
    thin = cv2.resize(cut, (cols, rows), interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.GaussianBlur(thin, (0, 0), NUMBERS.window_px / _THINNED), np.float32)


def _reduced(whole: Callable[[], Picture], size: tuple[int, int]) -> Picture:
    """One frame averaged down to `size` (columns, rows)."""
    small = cv2.resize(whole(), size, interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.float32)


def focus_stack(
    lumas: Lumas,
    poses: Floats,
    gains: Floats,
    focal_px: float,
    progress: Progress = silent,
) -> Stack:
    """Measure the detail of every place in every frame.

    The band is taken in the frame itself, before any warp, so that interpolation costs no
    sharpness; its energy is then carried to the reference view.  Holds a few frames at a time.

    Parameters
    ----------
    lumas : Lumas
        Analysis frames.
    poses : ndarray of float64, shape (N, 6)
        Poses of the frames.
    gains : ndarray of float64, shape (N,)
        Factors that even out brightness.
    focal_px : float
        See `haltere.align.pose`.
    progress : Progress, optional
        Told of each frame.

    Returns
    -------
    Stack
        Detail over the grid of places.
    """
    n = len(lumas)
    points, (rows, cols) = places(lumas.shape)
    step = NUMBERS.cell_px
    energy = np.empty((n, rows, cols), np.float32)
    along = np.empty((n, rows, cols), np.float32)
    total = np.zeros((rows, cols), np.float32)
    size = (cols, rows)

    def made(k: int) -> tuple[Picture, Picture]:
        whole = cache(partial(lumas.full, k))  # both are made of it, or neither
        gathered = lumas.made(k, ("energy", NUMBERS), partial(_gathered, whole))
        return gathered, lumas.made(k, ("mean", size), partial(_reduced, whole, size))

    for k, (gathered, blurred) in enumerate(in_turn(made, range(n))):
        matrix = homography(poses[k], float(poses[k, 2]), focal_px)
        # cells of the reference view -> pixels of the frame
        full = centred(matrix, lumas.shape, lumas.shape)
        cells = np.diag([float(step), float(step), 1.0])
        cells[:2, 2] = (step - 1) / 2
        to_frame = full @ cells
        thinned = np.diag([1 / _THINNED, 1 / _THINNED, 1.0])
        thinned[:2, 2] = 0.5 / _THINNED - 0.5
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        carried = cv2.warpPerspective(
            gathered,
            thinned @ to_frame,
            size,
            flags=flags,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=-1.0,
        )
        inside = np.zeros(lumas.shape, np.uint8)
        inside[step:-step, step:-step] = 1
        seen = cv2.warpPerspective(
            inside, to_frame, size, flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
        )
        # gains even out light; encoded values follow about its 2.2nd root
        gain2 = np.float32(gains[k] ** (2 / 2.2))
        energy[k] = np.where(seen > 0, carried * gain2, np.nan)
        along[k] = plane_depth(poses[k], points, focal_px).reshape(rows, cols)
        total += blurred * np.float32(gains[k] ** (1 / 2.2))
        progress("measuring focus", k + 1, n)
    return Stack(energy, along, points, (total / max(n, 1)).astype(np.float32))


@lru_cache(maxsize=64)
def _table(airy_px: float) -> Floats:
    """Curve by diameter of the disc, in steps of `_TABLE_PX`; the same for all of a run."""
    return curve_shape(np.arange(0.0, 120.0, _TABLE_PX), airy_px)


def _sharp_power(airy_px: float) -> tuple[Floats, Floats]:
    """Frequencies, and the power of sharp texture in the band at each."""
    f = np.linspace(0.004, 0.5, 250)
    s = NUMBERS.fine_px
    passed = np.exp(-2 * (np.pi * f * s) ** 2) - np.exp(-2 * (np.pi * f * 2 * s) ** 2)
    cut = np.clip(f * airy_px / 2.44, 0, 1)
    lens = (2 / np.pi) * (np.arccos(cut) - cut * np.sqrt(1 - cut**2))
    pixel = np.sinc(f)
    return f, f ** (1 - NUMBERS.spectrum) * (passed * lens * pixel) ** 2


def curve_at(blur_px: Floats, airy_px: float) -> Floats:
    """Look `curve_shape` up in a table that is kept; good to a few parts in a hundred thousand.

    Parameters
    ----------
    blur_px : ndarray of float64
        Diameter of the defocus disc, analysis pixels.
    airy_px : float
        Diameter of the Airy disc, analysis pixels.

    Returns
    -------
    ndarray of float64, same shape
        1 at zero blur.
    """
    table = _table(float(airy_px))
    at = np.abs(blur_px) * (1 / _TABLE_PX)
    return np.interp(at, np.arange(len(table), dtype=np.float64), table)


def smeared_energy(length_px: Floats, airy_px: float) -> Floats:
    """Energy that movement leaves in the detail band of sharp texture, against the unmoved one.

    Parameters
    ----------
    length_px : ndarray of float64
        Lengths of straight, even movement, analysis pixels.
    airy_px : float
        Diameter of the Airy disc, analysis pixels.

    Returns
    -------
    ndarray of float64, same shape
        1 without movement; texture is taken to have no direction.
    """
    f, power = _sharp_power(airy_px)
    way = np.linspace(0.0, np.pi, 36, endpoint=False)
    along = f[:, None] * np.cos(way)
    left = np.sinc(np.asarray(length_px)[..., None, None] * along) ** 2
    result: Floats = (power * left.mean(-1)).sum(-1) / power.sum()
    return result


def curve_shape(blur_px: Floats, airy_px: float) -> Floats:
    """Energy in the detail band of texture blurred by a disc, against the sharp one.

    Integral over frequency of texture x band x diffraction x disc, each squared.

    Parameters
    ----------
    blur_px : ndarray of float64
        Diameter of the defocus disc, analysis pixels.
    airy_px : float
        Diameter of the Airy disc, analysis pixels.

    Returns
    -------
    ndarray of float64, same shape
        1 at zero blur.
    """
    f, power = _sharp_power(airy_px)
    x = np.pi * np.abs(blur_px)[..., None] * f
    from scipy.special import j1

    disc = np.where(x > 1e-6, 2 * j1(x) / np.maximum(x, 1e-6), 1.0)
    result: Floats = (power * disc**2).sum(-1) / power.sum()
    return result


@dataclass(frozen=True, slots=True)
class Peaks:
    """Where each place is sharpest.

    Attributes
    ----------
    depth : ndarray of float64, shape (R, C)
        Relative depth of the peak.
    amplitude : ndarray of float64, shape (R, C)
        Energy at the peak, noise taken off.
    noise : ndarray of float64, shape (R, C)
        Energy that is there without any focus.
    fit : ndarray of float64, shape (R, C)
        Correlation of the curve with the expected one, 0 to 1.
    sigma : ndarray of float64, shape (R, C)
        One standard deviation of `depth`, from the curve's curvature and its misfit.
    """

    depth: Floats
    amplitude: Floats
    noise: Floats
    fit: Floats
    sigma: Floats


def _floor(energy: Floats, seen: NDArray[np.bool_]) -> Floats:
    """Energy a place has without focus: its low 8 per cent over the frames that saw it."""
    ordered = np.sort(np.where(seen, energy, np.inf), axis=1)
    index = np.maximum((0.08 * (seen.sum(1) - 1)).astype(int), 0)
    lowest = ordered[np.arange(len(energy)), index]
    return np.where(np.isfinite(lowest), lowest, 0.0)


_EVERY = 4
_HIGH = 0.85
"""Tries 0.4 of a depth of field apart miss at most a twentieth of a curve's top."""

_PLAIN = 0.4
"""Score below which a place shows no focus curve at all: 0.77 is believed (`depths`)."""


@njit(cache=True, nogil=True, fastmath={"reassoc", "contract", "nsz"})  # type: ignore[misc, unused-ignore]
def _match(
    signal: Floats, along: Floats, tries: Floats, table_per_depth: float, shape: Floats, out: Floats
) -> None:
    """Best depth of every place: matched filter over `tries`, refined by a parabola.

    Fills depth, score, amplitude and bend of each row; `along` is far away where a frame saw
    nothing, and `shape` ends in 0.
    """
    count, frames = signal.shape
    scores, heights = np.empty(len(tries)), np.empty(len(tries))
    last = len(shape) - 1
    for k in range(count):
        power = 1e-12
        for i in range(frames):
            power += signal[k, i] ** 2
        scores[:] = -1.0
        bar = 0.0
        # first every few tries; then those about every high one: between them the curve is smooth
        for closer in (False, True):
            for t in range(len(tries)):
                if closer:
                    before = t // _EVERY * _EVERY
                    after = min(before + _EVERY, (len(tries) - 1) // _EVERY * _EVERY)
                    if t == before or max(scores[before], scores[after]) < bar:
                        continue
                elif t % _EVERY != 0:
                    continue
                inner, size = 0.0, 1e-12
                for i in range(frames):
                    away = abs(along[k, i] - tries[t]) * table_per_depth + 0.5
                    # without a sign: an index below zero would be asked after at each step
                    expected = shape[np.uint64(min(away, last))]
                    inner += expected * signal[k, i]
                    size += expected * expected
                heights[t] = max(inner, 0.0) / size
                scores[t] = max(inner, 0.0) * heights[t] / power
            bar = np.max(scores)
            # where nothing fits only the best is looked at closer
            bar *= _HIGH if bar > _PLAIN else 1.0
        top = int(np.argmax(scores))
        value = scores[top]
        lower = scores[max(top - 1, 0)]
        upper = scores[min(top + 1, len(tries) - 1)]
        curve = max(2 * value - lower - upper, 1e-9)
        shift = 0.0
        if 0 < top < len(tries) - 1:
            shift = min(max(0.5 * (upper - lower) / curve, -0.5), 0.5)
        out[k, 0] = tries[top] + shift * (tries[1] - tries[0])
        out[k, 1], out[k, 2], out[k, 3] = value, heights[top], curve


_LONG = 50_000_000
"""Comparisons from which two threads share the places: a tenth of a second."""


def _matched(
    signal: Floats, along: Floats, tries: Floats, table_per_depth: float, shape: Floats
) -> Floats:
    """Run `_match`, on two threads where there is much to do."""
    out = np.empty((len(signal), 4))
    closed = np.append(shape, 0.0)
    if signal.size * len(tries) < _LONG:
        _match(signal, along, tries, table_per_depth, closed, out)
        return out
    half = len(signal) // 2
    with ThreadPoolExecutor(2) as pool:
        jobs = [
            pool.submit(_match, signal[p], along[p], tries, table_per_depth, closed, out[p])
            for p in (slice(0, half), slice(half, None))
        ]
        for job in jobs:
            job.result()
    return out


def quietest(stack: Stack, usable: NDArray[np.bool_]) -> float:
    """Energy that noise alone has: that of the emptiest places in their emptiest frames.

    Parameters
    ----------
    stack : Stack
        Measured detail.
    usable : ndarray of bool, shape (N,)
        Frames that take part.
    """
    energy = stack.energy[usable].reshape(int(usable.sum()), -1).T.astype(np.float64)
    seen = np.isfinite(energy)
    floors = _floor(energy, seen)[seen.any(1)]
    return float(np.percentile(floors, 3)) if floors.size else 0.0


def find_peaks(
    stack: Stack,
    usable: NDArray[np.bool_],
    dof: float,
    c_px: float,
    airy_px: float,
    most_noise: float = np.inf,
) -> Peaks:
    """Fit the expected focus curve to every place, over irregularly spaced planes.

    Parameters
    ----------
    stack : Stack
        Measured detail.
    usable : ndarray of bool, shape (N,)
        Frames that take part.
    dof : float
        Relative depth of field.
    c_px : float
        Circle of confusion, analysis pixels: the blur at half a depth of field.
    airy_px : float
        Airy diameter, analysis pixels.
    most_noise : float, optional
        Energy above which a place's least energy is not taken for noise: a run that moved little
        leaves no place quite without focus, and its curves would seem narrower than they are.

    Returns
    -------
    Peaks
        Depth and strength of the peak of every place.
    """
    rows, cols = stack.energy.shape[1:]
    chosen = np.flatnonzero(usable)
    energy = stack.energy[chosen].reshape(len(chosen), -1).T.astype(np.float64)
    along = stack.along[chosen].reshape(len(chosen), -1).T.astype(np.float64)
    seen = np.isfinite(energy)
    middle = np.median(along, axis=0)
    reach = NUMBERS.beyond_dof * dof
    step = NUMBERS.step_dof * dof
    tries = np.arange(middle.min() - reach, middle.max() + reach + 1e-12, step)
    shape = _table(float(airy_px))
    noise = np.minimum(_floor(energy, seen), most_noise)
    signal = np.where(seen, energy - noise[:, None], 0.0)
    told = _matched(signal, np.where(seen, along, 1e6), tries, 2 * c_px / dof / _TABLE_PX, shape)
    depth, best, amplitude, bend = told.T
    frames = np.maximum(seen.sum(1), 3)
    misfit = np.maximum(1 - best, 1e-4) / (frames - 2)
    sigma = step * np.sqrt(2 * misfit / bend)
    shape2 = (rows, cols)
    return Peaks(
        depth.reshape(shape2),
        amplitude.reshape(shape2),
        noise.reshape(shape2),
        np.sqrt(best).reshape(shape2),
        sigma.reshape(shape2),
    )
