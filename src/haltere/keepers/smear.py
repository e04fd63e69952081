"""Which frames moved during the exposure, how far, and which way."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from haltere.align.bands import Picture
from haltere.focus.curves import NUMBERS as CURVES
from haltere.focus.curves import Stack, detail

Floats = NDArray[np.float64]

CLOSE_DOF = 0.25
"""Planes nearer to each other than this, in depths of field, show the same detail."""


def kept_detail(stack: Stack, along: Floats, taking: NDArray[np.bool_], dof: float) -> Floats:
    """Share of detail energy that each frame shows against those focused next to it.

    A clean frame gains detail where its plane lies and loses it elsewhere, a smeared one loses
    it everywhere: so where no other frame was focused close by, the places that kept most speak.

    Parameters
    ----------
    stack : Stack
        Measured detail.
    along : ndarray of float64, shape (N,)
        Relative position of each frame's plane.
    taking : ndarray of bool, shape (N,)
        Frames to compare with.
    dof : float
        Relative depth of field.

    Returns
    -------
    ndarray of float64, shape (N,)
        About 1 for a clean frame, NaN where there is nothing to compare with.
    """
    energy = stack.energy.reshape(stack.energy.shape[0], -1)
    out = np.full(energy.shape[0], np.nan)
    for k in range(out.size):
        others = np.array([j for j in np.flatnonzero(taking) if j != k])
        if others.size < 2:
            continue
        apart = np.abs(along[others] - along[k]) / dof
        near = np.argsort(apart, kind="stable")[:3]
        weight = 1 / (apart[near] ** 2 + 0.3**2)
        expected = np.average(energy[others[near]], axis=0, weights=weight)
        able = np.isfinite(expected) & np.isfinite(energy[k])
        if int(able.sum()) < 40:
            continue
        strong = able & (expected >= np.percentile(expected[able], 90))
        close = apart[near[0]] < CLOSE_DOF
        share = 50.0 if close else 80.0
        out[k] = float(np.percentile(energy[k][strong] / expected[strong], share))
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
