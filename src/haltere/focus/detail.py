"""How sharp a place of one picture is, whatever its contrast, its exposure and its noise."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.errors import UsageError

Picture = NDArray[np.float32]
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class DetailNumbers:
    """Numbers that steer the measure of sharpness.

    Attributes
    ----------
    finest_px : float
        Sigma of the finest Gaussian: finer bands hold more noise and coding than lens.
    bands : int
        Bands of an octave each: five reach from the pixel to blur discs of 16 pixels.
    block_px : int
        Side of the blocks in which noise is looked for.
    flattest : float
        Share of blocks, of about one brightness, that are taken as flat (assumed).
    levels : int
        Most brightnesses at which noise is told apart.
    least_blocks : int
        Fewest blocks that tell the noise of one brightness.
    flattest_over_mean : tuple of float
        Pure noise: how low the flattest tenth of blocks lies against their mean, in the first
        and in the second band (measured on made noise).
    coded : float
        How much stronger than in the finest band noise may be in the next: coding at quality 60
        takes up to two thirds of the finest noise and none of the coarser (measured); texture
        grows by more than this from the finest band to the next.
    doubt : float
        How wrong the noise may be, as a share of it: detail that is no stronger counts little.
    """

    finest_px: float = 0.6
    bands: int = 5
    block_px: int = 16
    flattest: float = 0.1
    levels: int = 8
    least_blocks: int = 24
    flattest_over_mean: tuple[float, float] = (0.87, 0.76)
    coded: float = 3.0
    doubt: float = 0.25


NUMBERS = DetailNumbers()


def band_frequencies(bands: int = NUMBERS.bands) -> Floats:
    """Fineness at which each band passes most.

    Parameters
    ----------
    bands : int, optional
        How many bands.

    Returns
    -------
    ndarray of float64, shape (bands,)
        Cycles per pixel, finest first: 0.255, then half of it each.
    """
    _check_bands(bands)
    sigma = NUMBERS.finest_px * 2.0 ** np.arange(bands)
    return np.asarray(math.sqrt(math.log(4.0) / 6.0) / (math.pi * sigma), np.float64)


def band_energies(luma: Picture, *, bands: int = NUMBERS.bands) -> Picture:
    """Split the detail of a picture by fineness.

    Band k is the squared difference of two Gaussian blurs, sigma 0.6 * 2^k and twice as much;
    each is an octave wide (after P. Burt, E. Adelson, 1983, from memory).  From the third band
    on the picture is halved before it is blurred further: nothing finer is left in it.

    Parameters
    ----------
    luma : ndarray of float32, shape (H, W)
        Grey picture, 0 to 255.
    bands : int, optional
        How many, 1 to 8.

    Returns
    -------
    ndarray of float32, shape (bands, H, W)
        Squared detail, finest first, noise still in it; not averaged over places.

    Raises
    ------
    UsageError
        If it is no grey picture.
    """
    _check_bands(bands)
    luma = _grey(luma)
    height, width = luma.shape
    energies = np.empty((bands, height, width), np.float32)
    sigma = NUMBERS.finest_px
    finer = cv2.GaussianBlur(luma, (0, 0), sigma)
    for k in range(bands):
        if k >= 3 and min(finer.shape) >= 8:
            half = ((finer.shape[1] + 1) // 2, (finer.shape[0] + 1) // 2)
            finer = cv2.resize(finer, half, interpolation=cv2.INTER_AREA)
            sigma /= 2.0
        # from sigma to twice sigma
        coarser = cv2.GaussianBlur(finer, (0, 0), math.sqrt(3.0) * sigma)
        squared = cv2.absdiff(finer, coarser)
        squared = cv2.multiply(squared, squared)
        if squared.shape != luma.shape:
            squared = cv2.resize(squared, (width, height), interpolation=cv2.INTER_LINEAR)
        energies[k] = squared
        finer = coarser
        sigma *= 2.0
    return energies


def noise_variance(luma: Picture) -> Picture:
    """Noise of a picture at each brightness, told from the picture itself.

    Of the blocks of about one brightness, the flattest hold noise alone.  Noise of a sensor is
    the same at each fineness; coding as JPEG thins it in the finest band only, while texture
    grows much faster from the finest band to the next: so the second band is believed as far as
    the first allows.

    Parameters
    ----------
    luma : ndarray of float32, shape (H, W)
        Grey picture, 0 to 255; at least 64 x 64 pixels, else no noise is told.

    Returns
    -------
    ndarray of float32, shape (2, 256)
        Variance of one pixel at brightness 0, 1, ... 255, as white noise that leaves the same
        energy in the finest band (first row) and in the others (second row).

    Raises
    ------
    UsageError
        If it is no grey picture.
    """
    luma = _grey(luma)
    block = NUMBERS.block_px
    rows, cols = luma.shape[0] // block, luma.shape[1] // block
    told = np.zeros((2, 256), np.float32)
    if min(rows, cols) < 4:
        return told
    cut = luma[: rows * block, : cols * block]
    size = (cols, rows)
    bright = cv2.resize(cut, size, interpolation=cv2.INTER_AREA).ravel()
    energies = band_energies(cut, bands=2)
    blocks = np.stack(
        [
            cv2.resize(energies[k], size, interpolation=cv2.INTER_AREA).ravel()
            / (_noise_gains(2)[k] * NUMBERS.flattest_over_mean[k])
            for k in range(2)
        ]
    )
    # black and white ends are cut off, and their noise with them
    kept = (bright > 4.0) & (bright < 250.0)
    blocks, bright = blocks[:, kept], bright[kept]
    count = min(NUMBERS.levels, len(bright) // NUMBERS.least_blocks)
    if count < 1:
        return told
    parts = np.array_split(np.argsort(bright, kind="stable"), count)
    at = [float(bright[part].mean()) for part in parts]
    low = np.array([np.quantile(blocks[:, part], NUMBERS.flattest, axis=1) for part in parts])
    low[:, 1] = np.clip(low[:, 1], low[:, 0], NUMBERS.coded * low[:, 0])
    for k in range(2):
        told[k] = np.interp(np.arange(256.0), at, low[:, k])
    return told


def sharpness(
    picture: Picture,
    box: tuple[int, int, int, int],
    *,
    noise: Picture | None = None,
    bands: int = NUMBERS.bands,
) -> float:
    """How fine the detail at a place is.

    The root mean square fineness of its detail: each band weighs by its energy, noise taken
    off.  Contrast and exposure change all bands alike and drop out.  A blur disc takes the
    bands above its size away, so more blur is always less; what is in the picture counts too:
    compare one place over several frames, not two places.

    Parameters
    ----------
    picture : ndarray of float32, shape (H, W)
        Grey picture, 0 to 255.
    box : tuple of int
        Left, top, right and bottom of the place, pixels; right and bottom are outside.
    noise : ndarray of float32, shape (2, 256), optional
        From `noise_variance` of the whole picture; measured if left out.
    bands : int, optional
        How many bands take part.

    Returns
    -------
    float
        Cycles per pixel: 0 where there is no detail, about 0.13 to 0.2 where the picture is as
        sharp as its pixels, 0.05 at a blur disc of 16 pixels.

    Raises
    ------
    UsageError
        If it is no grey picture, or the place is not in it.
    """
    picture = _grey(picture)
    left, top, right, bottom = box
    height, width = picture.shape
    inside = min(left, top) >= 0 and right <= width and bottom <= height
    if not (inside and min(right - left, bottom - top) >= 8):
        raise UsageError(
            "the place is not in the picture, or smaller than 8 pixels: choose one inside it."
        )
    _check_bands(bands)
    if noise is None:
        noise = noise_variance(picture)
    # what lies further away than two sigmas of the coarsest blur does not reach the place
    edge = int(4.0 * NUMBERS.finest_px * 2.0**bands / 2.0)
    x0, y0 = max(0, left - edge), max(0, top - edge)
    cut = picture[y0 : min(height, bottom + edge), x0 : min(width, right + edge)]
    inner = (slice(top - y0, bottom - y0), slice(left - x0, right - x0))
    energy = band_energies(cut, bands=bands)[:, inner[0], inner[1]].mean(axis=(1, 2)).astype(float)
    codes = np.clip(np.rint(cut[inner]), 0, 255).astype(np.uint8)
    finest, others = (float(row[codes].mean()) for row in np.asarray(noise, np.float32))
    floor = _noise_gains(bands) * np.where(np.arange(bands) == 0, finest, others)
    # a band averages over fewer independent values the coarser it is
    sigma = NUMBERS.finest_px * 2.0 ** np.arange(bands)
    values = np.maximum(codes.size / (8.0 * np.pi * sigma**2), 1.0)
    unsure = floor * (NUMBERS.doubt + np.sqrt(2.0 / values))
    left_over = np.maximum(energy - floor, 0.0)
    # full weight where detail is far above the doubt, hardly any below it
    signal = left_over**2 / np.maximum(left_over + unsure, 1e-12)
    total = float(signal.sum())
    # a coded grey value has steps of one: less than a tenth of a step is nothing
    if total < 0.01:
        return 0.0
    return float(np.sqrt((signal * band_frequencies(bands) ** 2).sum() / total))


@functools.cache
def _noise_gains(bands: int) -> Floats:
    """Energy that white noise of variance 1 leaves in each band."""
    side = 64 * 2 ** max(bands - 3, 0)
    spot = np.zeros((side, side), np.float32)
    # averaged over the places a pixel can take in the halved grids
    gains = np.zeros(bands)
    for step in range(4):
        spot[:] = 0.0
        spot[side // 2 + step, side // 2 + step] = 1.0
        gains += band_energies(spot, bands=bands).sum(axis=(1, 2)) / 4.0
    gains.setflags(write=False)
    return gains


def _check_bands(bands: int) -> None:
    if not 1 <= bands <= 8:
        raise UsageError(f"{bands} bands were asked for: ask for 1 to 8.")


def _grey(luma: Picture) -> Picture:
    """Picture as float32; refuses what is none."""
    values = np.asarray(luma, np.float32)
    if values.ndim != 2 or min(values.shape) < 8:
        raise UsageError(
            "detail is measured on a grey picture of at least 8 x 8 pixels: give such a one."
        )
    if not np.isfinite(values).all():
        raise UsageError("the picture has pixels that are no numbers: give another one.")
    return np.ascontiguousarray(values)
