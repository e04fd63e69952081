"""How much of a picture is noise, measured where the lens can bring nothing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.errors import UsageError
from haltere.finish.limits import RESTORE

Light = NDArray[np.float32]


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


def measure_noise(picture: Light) -> Noise:
    """Measure a picture's noise from its finest chequers, by brightness.

    The second difference across rows and columns (Immerkaer, 1996) answers to the fineness that a
    lens leaves least of; in each brightness the calmest blocks tell the noise.

    Parameters
    ----------
    picture : ndarray of float32, shape (H, W, 3)
        Linear light.

    Returns
    -------
    Noise
        Variance over light; never quite nothing.

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
    for channel in range(3):
        p = picture[: high + 2, : wide + 2, channel]
        rows = p[:-2] - 2.0 * p[1:-1] + p[2:]
        chequer = rows[:, :-2] - 2.0 * rows[:, 1:-1] + rows[:, 2:]
        shape = (high // side, side, wide // side, side)
        variances.append((chequer**2).reshape(shape).mean((1, 3)).ravel() / 36.0)
        lights.append(p[1:-1, 1:-1].reshape(shape).mean((1, 3)).ravel())
    light, variance = np.concatenate(lights).astype(float), np.concatenate(variances).astype(float)
    usable = light < RESTORE.noise_below
    if usable.sum() < RESTORE.noise_bins:
        usable[:] = True
    return _fitted(light[usable], variance[usable])


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
