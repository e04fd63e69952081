"""How much of a picture is noise, measured where the lens can bring nothing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.errors import UsageError
from haltere.finish.limits import RESTORE

Light = NDArray[np.float32]
Places = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Noise:
    """Noise of one pixel of one channel by its light.

    Attributes
    ----------
    per_light : float
        Variance for each unit of linear light (light comes in grains).
    dark : float
        Variance in the dark.
    """

    per_light: float
    dark: float

    def variance(self, light: Light) -> Light:
        """Give the variance at places of such light.

        Parameters
        ----------
        light : ndarray of float32
            Linear light, 1 = white.

        Returns
        -------
        ndarray of float32, same shape
            Variance of one pixel.
        """
        return np.maximum(light, np.float32(0.0)) * np.float32(self.per_light) + np.float32(
            self.dark
        )


@dataclass(frozen=True, slots=True)
class Averaged:
    """What a merge left of the noise of one frame, place by place.

    Attributes
    ----------
    share : ndarray of float32, shape (h, w)
        Variance over that of one frame; over the whole picture, and as coarse as it likes.
    """

    share: Light

    def at(self, rows: Places, columns: Places, size: tuple[int, int]) -> Light:
        """Give the share at places of the picture.

        Parameters
        ----------
        rows, columns : ndarray of int64
            Places along either side.
        size : tuple of int
            Rows and columns of the whole picture.

        Returns
        -------
        ndarray of float32, shape (len(rows), len(columns))
            Of the nearest place that is known.
        """
        down, across = self.share.shape
        y = np.minimum(rows * down // size[0], down - 1)
        x = np.minimum(columns * across // size[1], across - 1)
        return np.asarray(self.share[y[:, None], x[None, :]], np.float32)


def resampled(nu: NDArray[np.float64]) -> NDArray[np.float64]:
    """Tell how much of white noise's power a merge's resampling leaves at a fineness.

    Parameters
    ----------
    nu : ndarray of float64
        Cycles per pixel along one side.

    Returns
    -------
    ndarray of float64, same shape
        The mean over all places between pixels.
    """
    from haltere.merge.kernel import kernel_table

    taps = kernel_table().astype(np.float64)
    waves = np.exp(-2j * np.pi * np.multiply.outer(np.arange(taps.shape[1]), nu))
    return np.asarray(np.mean(np.abs(np.tensordot(taps, waves, 1)) ** 2, axis=0), np.float64)


def measure_noise(picture: Light, averaged: Averaged | None = None) -> Noise:
    """Measure a picture's noise from its finest chequers, by brightness.

    The second difference across rows and columns (Immerkaer, 1996) answers to the fineness that a
    lens leaves least of; in each brightness the calmest blocks tell the noise.

    Parameters
    ----------
    picture : ndarray of float32, shape (H, W, 3)
        Linear light.
    averaged : Averaged, optional
        For a merge: what averaging left of the noise.

    Returns
    -------
    Noise
        Variance over light, of one frame where it is known what a merge left of it; never quite
        nothing.

    Raises
    ------
    UsageError
        When the picture is smaller than a few blocks.
    """
    side = RESTORE.noise_block_px
    high, wide = (n // side * side for n in (picture.shape[0] - 2, picture.shape[1] - 2))
    if picture.ndim != 3 or min(high, wide) < 4 * side:
        raise UsageError(
            f"a picture of {picture.shape[1]} x {picture.shape[0]} px is too small to tell detail "
            f"from noise; {5 * side} px a side is the least"
        )
    lights, variances = [], []
    left = np.ones(1, np.float32)
    if averaged is not None:
        rows, columns = (np.arange(side // 2, size, side) + 1 for size in (high, wide))
        left = averaged.at(rows, columns, (picture.shape[0], picture.shape[1])).ravel()
        left = left * np.float32(_chequer_left())
    for channel in range(3):
        p = picture[: high + 2, : wide + 2, channel]
        rows = p[:-2] - 2.0 * p[1:-1] + p[2:]
        chequer = rows[:, :-2] - 2.0 * rows[:, 1:-1] + rows[:, 2:]
        shape = (high // side, side, wide // side, side)
        variances.append((chequer**2).reshape(shape).mean((1, 3)).ravel() / 36.0 / left)
        lights.append(p[1:-1, 1:-1].reshape(shape).mean((1, 3)).ravel())
    light, variance = np.concatenate(lights).astype(float), np.concatenate(variances).astype(float)
    usable = light < RESTORE.noise_below
    if usable.sum() < RESTORE.noise_bins:
        usable[:] = True
    return _fitted(light[usable], variance[usable])


def _chequer_left() -> float:
    """Share of a chequer's noise that resampling leaves: it takes most where chequers look."""
    nu = np.arange(256) / 256.0
    along = (2.0 - 2.0 * np.cos(2.0 * np.pi * nu)) ** 2
    return float((np.mean(resampled(nu) * along) / np.mean(along)) ** 2)


def _fitted(light: NDArray[np.float64], variance: NDArray[np.float64]) -> Noise:
    order = np.argsort(light, kind="stable")
    at, calm = [], []
    for part in np.array_split(order, RESTORE.noise_bins):
        if len(part):
            at.append(float(np.mean(light[part])))
            calm.append(float(np.percentile(variance[part], RESTORE.noise_percentile)))
    x, y = np.array(at), np.array(calm) / RESTORE.noise_calmest
    # relative errors are alike, so dark bins count as much as light ones
    weight = 1.0 / np.maximum(y, RESTORE.least_variance)
    design = np.column_stack([np.maximum(x, 0.0), np.ones_like(x)]) * weight[:, None]
    slope, dark = (float(v) for v in np.linalg.lstsq(design, y * weight, rcond=None)[0])
    if dark < 0.0:
        slope, dark = float(np.median(y / np.maximum(x, 1e-6))), 0.0
    if slope < 0.0:
        slope, dark = 0.0, float(np.median(y))
    return Noise(slope, max(dark, RESTORE.least_variance))
