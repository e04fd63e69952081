"""Which frames moved during the exposure, how far, and which way."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.align.bands import Picture
from haltere.focus.curves import NUMBERS as CURVES
from haltere.focus.curves import Peaks, Stack, curve_shape, detail

Floats = NDArray[np.float64]

_TABLE_PX = np.linspace(0, 400, 4001)


def kept_detail(stack: Stack, peaks: Peaks, dof: float, c_px: float, airy_px: float) -> Floats:
    """Share of the expected detail energy that each frame shows where it should be sharp.

    Parameters
    ----------
    stack : Stack
        Measured detail.
    peaks : Peaks
        Where each place is sharpest.
    dof, c_px, airy_px : float
        See `haltere.focus.curves.find_peaks`.

    Returns
    -------
    ndarray of float64, shape (N,)
        1 for a clean frame, NaN where a frame shows nothing sharp.
    """
    shape = curve_shape(_TABLE_PX, airy_px)
    good = (peaks.fit > 0.8) & (peaks.amplitude > 1.5 * peaks.noise)
    out = np.full(stack.energy.shape[0], np.nan)
    for k in range(out.size):
        away = np.abs(stack.along[k] - peaks.depth) * 2 * c_px / dof
        expected = np.interp(away, _TABLE_PX, shape)
        seen_here = good & np.isfinite(stack.energy[k])
        taken = seen_here & (expected > 0.4)
        if int(taken.sum()) < 40:
            taken = seen_here & (expected > 0.2)
        if int(taken.sum()) >= 12:
            seen = (stack.energy[k] - peaks.noise)[taken]
            out[k] = float(np.median(seen / (peaks.amplitude * expected)[taken]))
    return out


def length_of(kept: float, airy_px: float) -> float:
    """Length of the straight smear that leaves this share of the detail energy.

    Parameters
    ----------
    kept : float
        See `kept_detail`.
    airy_px : float
        Airy diameter, analysis pixels.

    Returns
    -------
    float
        Analysis pixels, at most 30.
    """
    lengths = np.linspace(0, 30, 121)
    return float(np.interp(-np.clip(kept, 0.0, 1.0), -_left(lengths, airy_px), lengths))


def _left(lengths_px: Floats, airy_px: float) -> Floats:
    """Share of detail energy left by smears, averaged over directions of texture."""
    f = np.linspace(0.004, 0.5, 120)
    s = CURVES.fine_px
    passed = np.exp(-2 * (np.pi * f * s) ** 2) - np.exp(-2 * (np.pi * f * 2 * s) ** 2)
    cut = np.clip(f * airy_px / 2.44, 0, 1)
    lens = (2 / np.pi) * (np.arccos(cut) - cut * np.sqrt(1 - cut**2))
    power = f ** (1 - CURVES.spectrum) * (passed * lens * np.sinc(f)) ** 2
    turn = np.cos(np.linspace(0, np.pi / 2, 24))
    smeared = np.sinc(lengths_px[:, None, None] * f[:, None] * turn) ** 2
    result: Floats = (smeared.mean(-1) * power).sum(-1) / power.sum()
    return np.minimum.accumulate(result)


def direction_of(smeared: Picture, clean: Picture) -> tuple[float, float]:
    """Direction along which a smeared picture lost detail that a clean neighbour has.

    Parameters
    ----------
    smeared, clean : ndarray of float32, shape (H, W)
        Grey pictures of about the same view.

    Returns
    -------
    angle_deg : float
        0 = along x, growing clockwise on the screen, 0 to 180.
    anisotropy : float
        0 = the same loss all around (defocus), 1 = lost one way only.
    """
    tensors = [_tensor(p) for p in (smeared, clean)]
    ratio = tensors[0] @ np.linalg.inv(tensors[1] + 1e-9 * np.eye(2))
    values, vectors = np.linalg.eigh(0.5 * (ratio + ratio.T))
    lost = vectors[:, 0]
    angle = float(np.degrees(np.arctan2(lost[1], lost[0]))) % 180.0
    return angle, float(1 - max(values[0], 0.0) / max(values[1], 1e-9))


def _tensor(picture: Picture) -> Floats:
    band = detail(picture)
    gx = cv2.Sobel(band, cv2.CV_32F, 1, 0, ksize=3, scale=0.125)
    gy = cv2.Sobel(band, cv2.CV_32F, 0, 1, ksize=3, scale=0.125)
    cross = float((gx * gy).mean())
    return np.array([[float((gx * gx).mean()), cross], [cross, float((gy * gy).mean())]])
