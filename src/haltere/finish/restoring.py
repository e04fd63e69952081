"""Sharpness that diffraction took is brought back as far as noise allows, and noise is calmed."""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere import optics
from haltere.errors import UsageError
from haltere.finish.limits import RESTORE
from haltere.finish.noise import Averaged, Noise, measure_noise, resampled
from haltere.progress import Progress, silent

Light = NDArray[np.float32]
Floats = NDArray[np.float64]
# light, red against blue, green against both: noise of colour is calmed by itself
_OPPOSED = np.array([[1.0, 1.0, 1.0], [1.5, 0.0, -1.5], [-0.75, 1.5, -0.75]]) / 3.0
_GRID = 64


@dataclass(frozen=True, slots=True)
class Wanted:
    """What shall be restored.

    Attributes
    ----------
    effective : float
        Effective f-number that the picture was taken at.
    pixel_pitch_mm : float
        Width of one of its pixels on the sensor.
    sharpness : float
        0 leaves diffraction's blur, 1 takes out as much as noise allows.
    calm : float
        0 leaves the noise, 1 takes out all that is no detail.
    """

    effective: float
    pixel_pitch_mm: float
    sharpness: float = 1.0
    calm: float = 1.0


def restore(
    picture: Light,
    wanted: Wanted,
    noise: Noise | None = None,
    averaged: Averaged | None = None,
    *,
    threads: int = 2,
    progress: Progress = silent,
) -> Light:
    """Bring back what diffraction at the known f-number took, as far as noise allows.

    Each colour is divided by the contrast that waves leave it (weighted over its part of the
    spectrum), bounded by noise; what is noise then is taken out in small blocks; from there
    Richardson and Lucy's rule, sped up, brings the result nearer to what, blurred again, is the
    picture without its noise; and nothing may leave the range of light about it by more than a
    trace, so that no ring stands about an edge or a catch light. Tiles are worked on one by one:
    beside the picture and the result about 150 MB a thread are held.

    Parameters
    ----------
    picture : ndarray of float32, shape (H, W, 3)
        Linear light, 1 = white.
    wanted : Wanted
        How much of what.
    noise : Noise, optional
        Of one pixel, before a merge averaged; measured on the picture itself when left out.
    averaged : Averaged, optional
        For a merge: how much of that noise is left at each place.
    threads : int, optional
        Tiles at a time; the result does not depend on it.
    progress : Progress, optional
        Told after each tile; it may raise to cancel.

    Returns
    -------
    ndarray of float32, shape (H, W, 3)
        Linear light, 0 or more.

    Raises
    ------
    UsageError
        When a number makes no sense or the picture is too small.
    """
    _refuse(picture, wanted)
    if wanted.sharpness <= 0.0 and wanted.calm <= 0.0:
        return picture.copy()
    known = noise or measure_noise(picture, averaged)
    left = 1.0 if averaged is None else float(np.mean(averaged.share))
    detail = _detail(picture, wanted, known, left)
    high, wide = picture.shape[:2]
    out = np.empty_like(picture)
    side = RESTORE.tile_px
    tiles = [(y, x) for y in range(0, high, side) for x in range(0, wide, side)]
    mean = left * float(np.mean(known.variance(picture[::8, ::8])))
    filters = _Filters.of(wanted, RESTORE.doubt * mean / detail, averaged is not None)

    def one(place: tuple[int, int]) -> None:
        y, x = place
        bottom, right = min(y + side, high), min(x + side, wide)
        out[y:bottom, x:right] = _tile(
            picture, (y, x, bottom, right), wanted, known, averaged, filters
        )

    with ThreadPoolExecutor(max(1, threads)) as pool:
        jobs = [pool.submit(one, tile) for tile in tiles]
        try:
            for done, job in enumerate(jobs, 1):
                job.result()
                progress("restoring", done, len(jobs))
        except BaseException:
            for job in jobs:
                job.cancel()
            raise
    return out


def _refuse(picture: Light, wanted: Wanted) -> None:
    if picture.ndim != 3 or picture.shape[2] != 3:
        raise UsageError("only a picture in colour can be restored; give one with three channels")
    if not np.isfinite(picture).all():
        raise UsageError("the picture holds numbers that are none; merge or develop it again")
    for name, value in (
        ("the effective f-number", wanted.effective),
        ("the pixel's width in mm", wanted.pixel_pitch_mm),
    ):
        if not (math.isfinite(value) and value > 0.0):
            raise UsageError(f"{name} must be above 0, got {value:g}")
    for name, value in (("--sharpness", wanted.sharpness), ("--calm", wanted.calm)):
        if not 0.0 <= value <= 1.0:
            raise UsageError(f"{name} lies between 0 and 1, got {value:g}")


def _fineness(rows: int, columns: int, *, half: bool) -> Floats:
    """Cycles per pixel on the grid of a Fourier transform."""
    across = np.fft.rfftfreq(columns) if half else np.fft.fftfreq(columns)
    return np.asarray(np.hypot(np.fft.fftfreq(rows)[:, None], across[None, :]), np.float64)


def _detail(picture: Light, wanted: Wanted, noise: Noise, left: float) -> float:
    """Power of the picture's own detail times frequency, squared: what the lens left, undone."""
    side = min(RESTORE.prior_px, *picture.shape[:2])
    cut = optics.sharp_limit(optics.LAST_TRACE) / wanted.effective * wanted.pixel_pitch_mm
    low, top = (share * min(cut, 0.5) / 0.5 for share in RESTORE.prior_band)
    nu = _fineness(side, side, half=True)
    band = (nu > low) & (nu < max(top, low + 4.0 / side))
    passed = optics.channel_mtf(nu / wanted.pixel_pitch_mm, wanted.effective)[1]
    window = np.hanning(side)[:, None] * np.hanning(side)[None, :]
    count = max(1, math.isqrt(RESTORE.prior_tiles))
    found = []
    for y in np.linspace(0, picture.shape[0] - side, count).round().astype(int):
        for x in np.linspace(0, picture.shape[1] - side, count).round().astype(int):
            piece = picture[y : y + side, x : x + side, 1].astype(np.float64)
            power = np.abs(np.fft.rfft2((piece - piece.mean()) * window)) ** 2 / (window**2).sum()
            power = power[band] - left * float(np.mean(noise.variance(piece.astype(np.float32))))
            found.append(float(np.mean(power / passed[band] ** 2 * nu[band] ** 2)))
    return max(float(np.mean(found)), RESTORE.least_variance)


@dataclass(frozen=True, slots=True)
class _Filters:
    """Numbers of the inverse that are alike for all tiles.

    `bound` is noise over detail; `plain` and `powers` (3, 8, 8) say how noise of each channel
    reaches the cosines of a block, before and after the inverse.
    """

    wanted: Wanted
    bound: float
    plain: NDArray[np.float32]
    powers: NDArray[np.float32]

    @classmethod
    def of(cls, wanted: Wanted, bound: float, merged: bool) -> _Filters:
        from haltere.finish.blocks import block_powers

        nothing = np.zeros((3, 8, 8), np.float32)
        start = cls(wanted, bound, nothing, nothing)
        white = np.ones((_GRID, _GRID))
        if merged:
            along = np.sqrt(resampled(np.asarray(np.fft.fftfreq(_GRID), np.float64)))
            white = along[:, None] * along[None, :]
        gains = white * start.gains(_fineness(_GRID, _GRID, half=False))
        plain = np.broadcast_to(block_powers(white), (3, 8, 8))
        return cls(wanted, bound, plain, np.stack([block_powers(gain) for gain in gains]))

    def passed(self, nu: Floats) -> Floats:
        """Contrast of each channel at frequencies in cycles per pixel, shape (3, ...)."""
        return optics.channel_mtf(nu / self.wanted.pixel_pitch_mm, self.wanted.effective)

    def gains(self, nu: Floats) -> Floats:
        """Gain of each channel at frequencies in cycles per pixel, shape (3, ...)."""
        passed = self.passed(nu)
        noise = self.bound * np.maximum(nu, 1.0 / _GRID) ** RESTORE.steepness
        return np.minimum(passed / (passed**2 + noise + 1e-9), RESTORE.most_gain)


def _tile(
    picture: Light,
    box: tuple[int, int, int, int],
    wanted: Wanted,
    noise: Noise,
    averaged: Averaged | None,
    filters: _Filters,
) -> Light:
    import cv2

    m = RESTORE.margin_px
    y, x, bottom, right = box
    rows = _mirrored(np.arange(y - m, bottom + m), picture.shape[0])
    columns = _mirrored(np.arange(x - m, right + m), picture.shape[1])
    piece = np.ascontiguousarray(picture[rows[:, None], columns[None, :]])
    left = np.ones((1, 1), np.float32)
    if averaged is not None:
        left = averaged.at(rows, columns, (picture.shape[0], picture.shape[1]))
    variances = [
        left * noise.variance(np.asarray(cv2.blur(piece[..., c], (5, 5)), np.float32))
        for c in range(3)
    ]
    calm = np.maximum(_calmed(piece, variances, filters.plain), np.float32(0.0))
    done = calm
    if wanted.sharpness > 0.0:
        nu = _fineness(*piece.shape[:2], half=True)
        start = _calmed(_filtered(piece, filters.gains(nu)), variances, filters.powers)
        full = _held(
            piece,
            _nearer(start, calm, filters.passed(nu), rounds_of(wanted, filters.bound)),
            wanted,
        )
        done = calm + np.float32(wanted.sharpness) * (full - calm)
    if wanted.calm < 1.0:  # the grain comes back as it was, not sharpened
        done = done + np.float32(1.0 - wanted.calm) * (piece - calm)
    inside = done[m : m + bottom - y, m : m + right - x]
    return np.maximum(inside, np.float32(0.0))


def rounds_of(wanted: Wanted, bound: float) -> int:
    """Tell how many rounds of Richardson and Lucy's rule a picture needs and stands.

    Parameters
    ----------
    wanted : Wanted
        Tells how wide the blur is: a wider one needs more.
    bound : float
        Power of its noise over that of its detail: the more noise, the sooner they sharpen it.

    Returns
    -------
    int
        Within bounds; the same for all tiles of a picture.
    """
    wide = optics.WAVELENGTH_MM * wanted.effective / wanted.pixel_pitch_mm
    low, top = RESTORE.rounds
    return round(min(max(RESTORE.rounds_noise * wide / math.sqrt(max(bound, 1e-9)), low), top))


def _filtered(piece: Light, gains: Floats) -> Light:
    import scipy.fft

    out = np.empty_like(piece)
    for c in range(3):
        waves = scipy.fft.rfft2(piece[..., c], workers=1)
        waves *= gains[c].astype(np.float32)
        out[..., c] = scipy.fft.irfft2(waves, s=piece.shape[:2], workers=1)
    return out


def _nearer(start: Light, seen: Light, passed: Floats, rounds: int) -> Light:
    """Bring a result nearer to what, blurred, is the picture: never below 0 (Richardson, Lucy).

    Each round sets out from a point ahead on the way of the last two (Biggs & Andrews, 1997).
    """
    least = np.float32(RESTORE.least_light)
    data = np.maximum(seen, least)
    now = np.maximum(start, least)
    before = now
    for _ in range(rounds):
        # the same share everywhere: one that looked at the content would differ from tile to tile
        ahead = np.maximum(now + np.float32(RESTORE.ahead) * (now - before), least)
        ratio = np.asarray(data / np.maximum(_filtered(ahead, passed), least), np.float32)
        after = np.asarray(
            ahead * np.maximum(_filtered(ratio, passed), np.float32(0.05)), np.float32
        )
        before, now = now, after
    return now


def _mirrored(index: NDArray[np.int64], size: int) -> NDArray[np.int64]:
    if size == 1:
        return np.zeros_like(index)
    turn = np.abs(index) % (2 * size - 2)
    return np.asarray(np.minimum(turn, 2 * size - 2 - turn), np.int64)


def _calmed(sharp: Light, variances: list[Light], powers: NDArray[np.float32]) -> Light:
    """Take out of small blocks what does not stand above the noise."""
    from haltere.finish.blocks import calm

    opposed = (sharp @ _OPPOSED.T.astype(np.float32)).astype(np.float32)
    means = [float(one.mean()) for one in variances]
    nothing = np.zeros((0, 0), np.float32)
    cut = np.float32(RESTORE.cut_sigma)
    for k in range(3):
        mixed = _OPPOSED[k] ** 2
        place = np.asarray(sum(mixed[c] * variances[c] for c in range(3)), np.float32)
        total = sum(mixed[c] * means[c] * powers[c] for c in range(3))
        of_one = np.asarray(total / max(float(place.mean()), 1e-30), np.float32)
        channel = np.ascontiguousarray(opposed[..., k])
        pilot = calm(channel, nothing, place, of_one, cut, RESTORE.step_px)
        opposed[..., k] = calm(channel, pilot, place, of_one, cut, RESTORE.step_px)
    return np.asarray(opposed @ np.linalg.inv(_OPPOSED).T.astype(np.float32), np.float32)


def _held(piece: Light, sharp: Light, wanted: Wanted) -> Light:
    """Keep the result within the light about each place, but for a trace: no rings."""
    import cv2

    reach = RESTORE.reach * optics.WAVELENGTH_MM * wanted.effective / wanted.pixel_pitch_mm
    side = 2 * min(max(2, round(reach)), RESTORE.margin_px // 2) + 1
    box = np.ones((side, side), np.uint8)
    smooth = cv2.GaussianBlur(piece, (0, 0), RESTORE.smooth_px)
    low, top = cv2.erode(smooth, box), cv2.dilate(smooth, box)
    room = (top - low) * np.float32(RESTORE.overshoot) + np.float32(1e-6)
    # what is narrow is truly lighter or darker than its blur; beside an edge nothing is narrow
    narrow = np.ones((2 * max(1, round(RESTORE.narrow * reach / RESTORE.reach)) + 1,) * 2, np.uint8)
    light = room + RESTORE.beyond * (smooth - cv2.morphologyEx(smooth, cv2.MORPH_OPEN, narrow))
    dark = room + RESTORE.beyond * (cv2.morphologyEx(smooth, cv2.MORPH_CLOSE, narrow) - smooth)
    above = top + light * np.tanh((sharp - top) / light)
    # beside a catch light the kernel's sum is not known, for it is clipped: darken hardly at all
    first, last = RESTORE.bright
    bright = np.clip((top.max(axis=2, keepdims=True) - first) / (last - first), 0.0, 1.0)
    under = (1.0 - bright) * dark + bright * np.minimum(dark, RESTORE.darken * low)
    under = np.maximum(under, np.float32(1e-6))
    below = low - under * np.tanh((low - sharp) / under)
    return np.where(sharp > top, above, np.where(sharp < low, below, sharp)).astype(np.float32)
