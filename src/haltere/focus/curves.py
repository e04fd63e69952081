"""How the detail of each place rises and falls while the plane of focus passes through it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

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
    """Band-passed luma in which sharpness shows."""
    s = NUMBERS.fine_px
    fine = cv2.GaussianBlur(picture, (0, 0), s)
    coarse = cv2.GaussianBlur(picture, (0, 0), 2.0 * s)
    return np.asarray(fine - coarse, np.float32)


def places(shape: tuple[int, int]) -> tuple[Floats, tuple[int, int]]:
    """Centred pixels of the grid of places for pictures of `shape`, and its rows and columns."""
    step = NUMBERS.cell_px
    rows, cols = shape[0] // step, shape[1] // step
    y, x = np.mgrid[0:rows, 0:cols].astype(np.float64)
    xs = (x + 0.5) * step - 0.5 - (shape[1] - 1) / 2
    ys = (y + 0.5) * step - 0.5 - (shape[0] - 1) / 2
    return np.column_stack([xs.ravel(), ys.ravel()]), (rows, cols)


def focus_stack(
    lumas: Lumas, poses: Floats, gains: Floats, focal_px: float, progress: Progress = silent
) -> Stack:
    """Measure the detail of every place in every frame.

    The band is taken in the frame itself, before any warp, so that interpolation costs no
    sharpness; its energy is then carried to the reference view.  Holds one frame at a time.

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
    """
    n = len(lumas)
    points, (rows, cols) = places(lumas.shape)
    step = NUMBERS.cell_px
    energy = np.empty((n, rows, cols), np.float32)
    along = np.empty((n, rows, cols), np.float32)
    total = np.zeros((rows, cols), np.float32)
    shrink = np.diag([1.0 / step, 1.0 / step, 1.0])
    small = (rows, cols)
    for k in range(n):
        picture = lumas.full(k)
        squared = detail(picture) ** 2
        gathered = cv2.GaussianBlur(squared, (0, 0), NUMBERS.window_px)
        matrix = homography(poses[k], float(poses[k, 2]), focal_px)
        # cells of the reference view -> pixels of the frame
        full = centred(matrix, lumas.shape, lumas.shape)
        cells = np.diag([float(step), float(step), 1.0])
        cells[:2, 2] = (step - 1) / 2
        to_frame = full @ cells
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        size = (small[1], small[0])
        carried = cv2.warpPerspective(
            gathered, to_frame, size, flags=flags, borderMode=cv2.BORDER_CONSTANT, borderValue=-1.0
        )
        inside = np.zeros(lumas.shape, np.uint8)
        inside[step:-step, step:-step] = 1
        seen = cv2.warpPerspective(inside, to_frame, size, flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP)
        gain2 = np.float32(gains[k] ** 2)
        energy[k] = np.where(seen > 0, carried * gain2, np.nan)
        along[k] = plane_depth(poses[k], points, focal_px).reshape(rows, cols)
        blurred = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
        total += np.asarray(blurred, np.float32) * np.float32(gains[k])
        progress("measuring focus", k + 1, n)
    del shrink
    return Stack(energy, along, points, total / max(n, 1))


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
    f = np.linspace(0.004, 0.5, 250)
    s = NUMBERS.fine_px
    passed = np.exp(-2 * (np.pi * f * s) ** 2) - np.exp(-2 * (np.pi * f * 2 * s) ** 2)
    cut = np.clip(f * airy_px / 2.44, 0, 1)
    lens = (2 / np.pi) * (np.arccos(cut) - cut * np.sqrt(1 - cut**2))
    pixel = np.sinc(f)
    power = f ** (1 - NUMBERS.spectrum) * (passed * lens * pixel) ** 2
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


def find_peaks(stack: Stack, usable: NDArray[np.bool_], dof: float, c_px: float, airy_px: float) -> Peaks:
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

    Returns
    -------
    Peaks
    """
    rows, cols = stack.energy.shape[1:]
    energy = stack.energy[usable].reshape(int(usable.sum()), -1).astype(np.float64)
    along = stack.along[usable].reshape(energy.shape).astype(np.float64)
    seen = np.isfinite(energy)
    energy = np.where(seen, energy, 0.0)
    lowest = np.nanpercentile(np.where(seen, energy, np.nan), 8, axis=0) if len(energy) else 0.0
    noise = np.nan_to_num(np.asarray(lowest, np.float64))
    signal = np.where(seen, energy - noise, 0.0)
    middle = np.median(along, axis=1)
    tilt = along - middle[:, None]
    first, last = middle.min(), middle.max()
    reach = NUMBERS.beyond_dof * dof
    tries = np.arange(first - reach, last + reach + 1e-12, NUMBERS.step_dof * dof)
    table = np.linspace(0, 400, 4001)
    shape = curve_shape(table, airy_px)
    blur_per = 2 * c_px / dof
    count = energy.shape[1]
    best = np.full(count, -1.0)
    scores = np.zeros((len(tries), count), np.float32)
    power = np.maximum((signal**2).sum(0), 1e-12)
    amplitudes = np.zeros((len(tries), count), np.float32)
    for t, z in enumerate(tries):
        # tilt is small: it moves the plane under the place
        away = np.abs(middle[:, None] + tilt - z) * blur_per
        expected = np.interp(away, table, shape) * seen
        size = np.maximum((expected**2).sum(0), 1e-12)
        inner = (expected * signal).sum(0)
        scores[t] = np.maximum(inner, 0) ** 2 / (size * power)
        amplitudes[t] = inner / size
    at = scores.argmax(0)
    columns = np.arange(count)
    best = scores[at, columns].astype(np.float64)
    lower, upper = np.clip(at - 1, 0, None), np.clip(at + 1, None, len(tries) - 1)
    a, b = scores[lower, columns].astype(float), scores[upper, columns].astype(float)
    bend = np.maximum(2 * best - a - b, 1e-9)
    shift = np.clip(0.5 * (b - a) / bend, -0.5, 0.5) * ((at > 0) & (at < len(tries) - 1))
    depth = tries[at] + shift * NUMBERS.step_dof * dof
    frames = np.maximum(seen.sum(0), 3)
    misfit = np.maximum(1 - best, 1e-4) / (frames - 2)
    sigma = NUMBERS.step_dof * dof * np.sqrt(2 * misfit / bend)
    shape2 = (rows, cols)
    return Peaks(
        depth.reshape(shape2),
        amplitudes[at, columns].astype(np.float64).reshape(shape2),
        noise.reshape(shape2),
        np.sqrt(best).reshape(shape2),
        sigma.reshape(shape2),
    )
