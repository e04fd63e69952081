"""How much contrast is left at each fineness, measured on one straight, slightly tilted edge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from haltere.errors import HaltereError, UsageError
from haltere.frames.icc import SRGB

Floats = NDArray[np.float64]


class EdgeError(HaltereError):
    """Raised when a piece of a picture holds no edge that sharpness can be measured on."""


@dataclass(frozen=True, slots=True)
class EdgeNumbers:
    """Numbers that say which edges are measured.

    Attributes
    ----------
    least_px : int
        Fewest rows and columns: fewer do not hold the edge, its blur and a plain margin.
    tilts_deg : tuple of float
        Tilt allowed. About 5 degrees is asked for; below the lower limit the rows repeat each
        other, above the upper one a row cuts the edge too slantingly (both assumed).
    least_contrast : float
        Least (light - dark) / (light + dark), linear light: below it noise and shading are as
        strong as the edge (assumed).
    least_step_noise : float
        Least height of the edge over the noise of one pixel (assumed).
    most_bow_px : float
        Furthest that the middle of the edge may stand off the straight line through it: a bow
        of this size already takes 2 per cent of the contrast at a quarter cycle per pixel.
    most_crooked_px : float
        Largest standing off of a tenth of the edge (assumed).
    most_uneven : float
        Largest spread of brightness within each side, share of the edge's height: more is a
        second edge or texture (assumed).
    most_left : float
        Share of the edge's height that may still rise in the outer quarter of a side: more is
        shading, or a blur wider than the piece (assumed).
    most_white : float
        Share of pixels that may be at the white end: a blown side looks sharper than it is.
    per_px : int
        Bins in a pixel: 4 (ISO 12233:2014, 6.2).
    transform : int
        Least bins in the Fourier transform, so that frequencies lie 1/256 cycle apart.
    """

    least_px: int = 20
    tilts_deg: tuple[float, float] = (1.5, 15.0)
    least_contrast: float = 0.1
    least_step_noise: float = 5.0
    most_bow_px: float = 0.4
    most_crooked_px: float = 0.6
    most_uneven: float = 0.1
    most_left: float = 0.06
    most_white: float = 0.05
    per_px: int = 4
    transform: int = 1024


NUMBERS = EdgeNumbers()


@dataclass(frozen=True, slots=True)
class EdgeResponse:
    """What an edge says about sharpness.

    Attributes
    ----------
    frequencies : ndarray of float64, shape (F,)
        Fineness across the edge, cycles per pixel, 0 to 1.
    mtf : ndarray of float64, shape (F,)
        Contrast left there, 1 at zero.
    mtf50 : float or None
        Fineness at which half the contrast is left, cycles per pixel; None if it never falls
        so far.
    tilt_deg : float
        Tilt against the nearer side of the picture, degrees, 0 to 45.
    upright : bool
        Whether the edge runs up and down (else from left to right).
    contrast : float
        (light - dark) / (light + dark), linear light.
    bow_px : float
        How far the middle of the edge stands off its straight line, pixels.
    """

    frequencies: Floats
    mtf: Floats
    mtf50: float | None
    tilt_deg: float
    upright: bool
    contrast: float
    bow_px: float

    def at(self, frequency: float) -> float:
        """Contrast left at a fineness.

        Parameters
        ----------
        frequency : float
            Cycles per pixel, 0 to 1.

        Returns
        -------
        float
            1 at zero; by straight lines between the measured frequencies.
        """
        if not 0.0 <= frequency <= 1.0:
            raise UsageError(f"{frequency} cycles per pixel were asked for: ask for 0 to 1.")
        return float(np.interp(frequency, self.frequencies, self.mtf))


def slanted_edge(
    picture: NDArray[Any], *, tone: Literal["srgb", "linear"] = "srgb", white: float = 255.0
) -> EdgeResponse:
    """Measure the contrast that lens, focus and sensor leave, on one tilted edge.

    The method of ISO 12233:2014, 6.2 (excerpt seen): linear light; the edge found in every row
    by the centroid of its derivative; a straight line through it; pixels sorted into quarter
    pixels by their distance along the row; derivative [-1/2, 0, 1/2]; Hamming window; modulus
    of the Fourier transform over that of the derivative filter.  Frequencies are those across
    the edge: along the row, over the cosine of the tilt (0.4 per cent at 5 degrees).

    Parameters
    ----------
    picture : ndarray, shape (H, W)
        Grey piece of a picture with one edge through its middle, from side to side, and plain
        on both sides of it.
    tone : {"srgb", "linear"}, optional
        What the numbers mean.
    white : float, optional
        The value of white.

    Returns
    -------
    EdgeResponse
        Contrast over fineness, and the fineness at which half is left.

    Raises
    ------
    UsageError
        If it is no grey picture, or too small.
    EdgeError
        If there is no straight edge, or one that is too flat, tilted too little or too much,
        blown out, or beside another one.
    """
    light = _linear(picture, tone, white)
    upright = bool(np.abs(np.diff(light, axis=1)).sum() >= np.abs(np.diff(light, axis=0)).sum())
    rows = light if upright else np.ascontiguousarray(light.T)
    if rows[:, -1].mean() < rows[:, 0].mean():
        rows = np.ascontiguousarray(rows[:, ::-1])
    places, slope, offset = _line(rows)
    tilt = float(np.degrees(np.arctan(abs(slope))))
    bow = _straightness(places)
    low, high = NUMBERS.tilts_deg
    if not low <= tilt <= high:
        raise EdgeError(
            f"the edge is tilted {tilt:.1f} degrees: choose one tilted {low:g} to {high:g}, "
            "best about 5."
        )
    # whole turns of the sub-pixel place of the edge, so that no place weighs more than others
    turns = int(len(rows) * abs(slope))
    used = round(turns / abs(slope)) if turns else len(rows)
    first = (len(rows) - used) // 2
    spread, contrast = _spread(rows[first : first + used], slope, offset + slope * first)
    frequencies, mtf = _response(spread, float(np.cos(np.radians(tilt))))
    return EdgeResponse(frequencies, mtf, _half(frequencies, mtf), tilt, upright, contrast, bow)


def _linear(picture: NDArray[Any], tone: str, white: float) -> Floats:
    """Linear light, 0 to 1, of a piece that can be measured at all."""
    values = np.asarray(picture, np.float64)
    least = NUMBERS.least_px
    if values.ndim != 2 or min(values.shape) < least:
        raise UsageError(
            f"an edge is measured on a grey piece of at least {least} x {least} pixels: "
            "choose a larger one."
        )
    if tone not in {"srgb", "linear"} or not (np.isfinite(white) and white > 0.0):
        raise UsageError("say whether the numbers are srgb or linear, and a white above 0.")
    if not np.isfinite(values).all():
        raise UsageError("the piece has pixels that are no numbers: choose another one.")
    if np.mean(values >= 0.995 * white) > NUMBERS.most_white:
        raise EdgeError("a side of the edge is blown out: choose one that is not white.")
    values = values / white
    return SRGB.light(values) if tone == "srgb" else values


def _line(rows: Floats) -> tuple[Floats, float, float]:
    """Place of the edge in every row, and the slope and offset of the line through them."""
    count, width = rows.shape
    columns = np.arange(width, dtype=np.float64)
    derivative = np.zeros_like(rows)
    derivative[:, 1:-1] = (rows[:, 2:] - rows[:, :-2]) / 2.0
    overall = derivative.mean(axis=0)
    total = float(overall.sum())
    if total <= 0.0:
        raise EdgeError("there is no edge here: choose a piece with a straight edge through it.")
    centre = np.full(count, float((columns * overall).sum() / total))
    y = np.arange(count, dtype=np.float64)
    slope, offset = 0.0, 0.0
    places = centre
    # the window follows the line just found: noise far from the edge weighs less each time
    for reach in (width, 0.7 * width, 0.5 * width, 0.5 * width):
        inside = np.clip((columns[None, :] - centre[:, None]) / reach, -0.5, 0.5)
        weighted = derivative * (0.54 + 0.46 * np.cos(2.0 * np.pi * inside))
        weighted[np.abs(inside) >= 0.5] = 0.0
        heights = weighted.sum(axis=1)
        good = heights > 0.25 * np.median(heights)
        if good.sum() < max(0.8 * count, 8):
            raise EdgeError(
                "the edge does not run clearly through the whole piece: choose a shorter piece, "
                "or more contrast."
            )
        places = np.where(
            good, (weighted * columns).sum(axis=1) / np.where(good, heights, 1.0), np.nan
        )
        slope, offset = (float(v) for v in np.polyfit(y[good], places[good], 1))
        centre = np.clip(offset + slope * y, 0.0, width - 1.0)
    return places, slope, offset


def _straightness(places: Floats) -> float:
    """How far the middle of the edge stands off; refuses what is bowed or crooked."""
    good = np.isfinite(places)
    y = np.linspace(-1.0, 1.0, len(places))[good]
    found = places[good]
    basis = np.column_stack([np.ones_like(y), y, y * y - 1.0 / 3.0])
    fitted, *_ = np.linalg.lstsq(basis, found, rcond=None)
    noise = float(np.median(np.abs(np.diff(found)))) * 1.05
    bow = abs(float(fitted[2]))
    # three standard deviations of a bow that is only noise
    chance = 3.0 * noise / np.sqrt(len(found)) * 3.35
    straight = found - basis[:, :2] @ fitted[:2]
    tenths = np.array([part.mean() for part in np.array_split(straight, 10)])
    crooked = float(np.abs(tenths).max())
    unsure = 3.0 * noise / np.sqrt(len(found) / 10.0)
    if bow > NUMBERS.most_bow_px + chance or crooked > NUMBERS.most_crooked_px + unsure:
        raise EdgeError("the edge is not straight: choose a straight one, or a shorter piece.")
    return bow


def _spread(rows: Floats, slope: float, offset: float) -> tuple[Floats, float]:
    """Brightness across the edge in quarter pixels, and its contrast; refuses uneven sides."""
    count, width = rows.shape
    per = NUMBERS.per_px
    line = offset + slope * np.arange(count)[:, None]
    away = np.arange(width)[None, :] - line
    middle = offset + slope * (count - 1) / 2.0
    reach = int(min(middle, width - 1 - middle))
    if reach < NUMBERS.least_px // 3:
        raise EdgeError("the edge lies at the side of the piece: put it in the middle.")
    half = reach * per
    index = np.floor(away * per + 0.5).astype(np.int64) + half
    inside = (index >= 0) & (index <= 2 * half)
    number = np.bincount(index[inside], minlength=2 * half + 1)
    total = np.bincount(index[inside], weights=rows[inside], minlength=2 * half + 1)
    filled = number > 0
    if filled.mean() < 0.9:
        raise EdgeError("too few rows hold the edge: choose a longer piece of it.")
    bins = np.arange(2 * half + 1)
    spread = np.interp(bins, bins[filled], total[filled] / number[filled])
    quarter = max(half // 2, per)
    dark, bright = spread[:quarter], spread[-quarter:]
    step = float(np.median(bright) - np.median(dark))
    contrast = step / max(float(np.median(bright) + np.median(dark)), 1e-9)
    if contrast < NUMBERS.least_contrast:
        raise EdgeError("the edge has too little contrast: choose light against dark.")
    # neighbours along a row differ by noise alone on the plain sides
    flat = np.diff(rows, axis=1)[np.abs(away[:, 1:]) > reach / 2]
    noise = 1.4826 * float(np.median(np.abs(flat))) / np.sqrt(2.0)
    if step < NUMBERS.least_step_noise * noise:
        raise EdgeError("the edge is lost in noise: choose one with more contrast.")
    average = noise * np.sqrt(1.0 / max(float(np.mean(number)), 1.0))
    uneven = max(float(np.std(dark)), float(np.std(bright)))
    if uneven > NUMBERS.most_uneven * step + 3.0 * average:
        raise EdgeError("the sides of the edge are not plain: choose one without texture.")
    outer = max(half // 4, per)
    left = max(
        float(np.mean(spread[outer : outer + per]) - np.mean(spread[:per])),
        float(np.mean(spread[-per:]) - np.mean(spread[-outer - per : -outer])),
    )
    if left > NUMBERS.most_left * step + 3.0 * average:
        raise EdgeError(
            "the light still changes at the side of the piece: it is shading and no edge, or the "
            "piece is too narrow for the blur."
        )
    return spread, contrast


def _response(spread: Floats, cosine: float) -> tuple[Floats, Floats]:
    """Frequencies across the edge, cycles per pixel, and the contrast left there."""
    per = NUMBERS.per_px
    derivative = np.zeros_like(spread)
    derivative[1:-1] = (spread[2:] - spread[:-2]) / 2.0
    derivative *= np.hamming(len(spread))
    size = max(NUMBERS.transform, 1 << (len(spread) - 1).bit_length())
    modulus = np.abs(np.fft.rfft(derivative, size))
    along = np.fft.rfftfreq(size) * per
    keep = along <= cosine
    # the derivative spans two bins: sinc(2 nu / 4), sinc(x) = sin(pi x) / (pi x)
    mtf = modulus[keep] / modulus[0] / np.sinc(2.0 * along[keep] / per)
    return np.asarray(along[keep] / cosine, np.float64), np.asarray(mtf, np.float64)


def _half(frequencies: Floats, mtf: Floats) -> float | None:
    """First fineness at which half the contrast is left, by a straight line between values."""
    below = np.flatnonzero(mtf < 0.5)
    if not len(below):
        return None
    k = int(below[0])
    share = (mtf[k - 1] - 0.5) / (mtf[k - 1] - mtf[k])
    return float(frequencies[k - 1] + share * (frequencies[k] - frequencies[k - 1]))
