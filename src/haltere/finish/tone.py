"""The little light and colour that a finished picture needs, in linear light."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.errors import UsageError
from haltere.finish.limits import TONE

Light = NDArray[np.float32]
Box = tuple[int, int, int, int]


@dataclass(frozen=True, slots=True)
class Tone:
    """What shall be done to light and colour; as it stands here nothing.

    Attributes
    ----------
    exposure_stops : float
        Light doubled so many times.
    black, white : float
        Linear light that becomes black and white, after exposure.
    balance : tuple of 3 floats
        What red, green and blue are multiplied by.
    highlights : float
        0 to 1: clipped colours are rebuilt from their surroundings, and the light parts drawn
        together so that they show.
    """

    exposure_stops: float = 0.0
    black: float = 0.0
    white: float = 1.0
    balance: tuple[float, float, float] = (1.0, 1.0, 1.0)
    highlights: float = 0.0

    def __post_init__(self) -> None:
        if not abs(self.exposure_stops) <= TONE.most_stops:
            raise UsageError(
                f"--exposure lies between {-TONE.most_stops:g} and {TONE.most_stops:g} stops, "
                f"got {self.exposure_stops:g}"
            )
        if not 0.0 <= self.black < self.white <= 16.0:
            raise UsageError(
                "--black and --white are linear light, 0 to 1, black below white; got "
                f"{self.black:g} and {self.white:g}"
            )
        if not 0.0 <= self.highlights <= 1.0:
            raise UsageError(f"--highlights lies between 0 and 1, got {self.highlights:g}")
        if not all(math.isfinite(one) and 0.1 <= one <= 10.0 for one in self.balance):
            raise UsageError("--balance multiplies each colour by 0.1 to 10; choose a greyer patch")


def balance_of(picture: Light, box_px: Box) -> tuple[float, float, float]:
    """Give the white balance that makes a patch grey, its lightness kept.

    Parameters
    ----------
    picture : ndarray of float32, shape (H, W, 3)
        Linear light.
    box_px : tuple of int
        (x0, y0, x1, y1) of something grey.

    Returns
    -------
    tuple of 3 floats
        For `Tone.balance`.

    Raises
    ------
    UsageError
        When the patch is too small, too dark or clipped.
    """
    x0, y0, x1, y1 = box_px
    high, wide = picture.shape[:2]
    if not (0 <= x0 < x1 <= wide and 0 <= y0 < y1 <= high):
        raise UsageError(f"--grey: the patch leaves the picture of {wide} x {high} px")
    patch = picture[y0:y1, x0:x1].reshape(-1, 3)
    if len(patch) < TONE.patch_px:
        raise UsageError(f"--grey: take a patch of {TONE.patch_px} pixels or more")
    middle = np.median(patch, axis=0).astype(np.float64)
    low, top = TONE.patch_range
    if middle.min() < low or middle.max() > top:
        raise UsageError(
            "--grey: the patch is too dark or clipped to tell a colour; take a mid-grey one"
        )
    # weights of light of IEC 61966-2-1; near enough for other primaries
    light = float(middle @ np.array([0.2126, 0.7152, 0.0722]))
    red, green, blue = (round(light / float(one), 4) for one in middle)
    return red, green, blue


def toned(picture: Light, tone: Tone) -> Light:
    """Apply exposure, balance, black, white and highlights.

    Parameters
    ----------
    picture : ndarray of float32, shape (H, W, 3)
        Linear light.
    tone : Tone
        What shall be done.

    Returns
    -------
    ndarray of float32, same shape
        Linear light, 0 or more; above 1 is white.
    """
    if tone == Tone():
        return picture
    light = _rebuilt(picture, tone.highlights) if tone.highlights > 0.0 else picture
    gain = np.array(tone.balance, np.float32) * np.float32(2.0**tone.exposure_stops)
    light = (light * gain - np.float32(tone.black)) / np.float32(tone.white - tone.black)
    light = np.maximum(light, np.float32(0.0))
    return _drawn_together(light, tone.highlights) if tone.highlights > 0.0 else light


def _rebuilt(picture: Light, strength: float) -> Light:
    """Give clipped channels the colour of what lies about them, from a channel that isn't."""
    import cv2

    clipped = picture >= TONE.clipped
    some = clipped.any(axis=2) & ~clipped.all(axis=2)
    if not some.any():
        return picture
    telling = (~clipped.any(axis=2) & (picture.max(axis=2) > TONE.bright)).astype(np.float32)
    weight = cv2.GaussianBlur(telling, (0, 0), TONE.around_px)
    around = cv2.GaussianBlur(picture * telling[..., None], (0, 0), TONE.around_px)
    known = weight > 1e-4
    around /= np.maximum(weight, 1e-4)[..., None]
    # how much brighter than its surroundings the place is, by the channels that are not clipped
    share = np.where(clipped, np.nan, picture / np.maximum(around, 1e-4))
    rows, columns = np.nonzero(some & known)
    brighter = np.nanmean(share[rows, columns], axis=1)
    want = around[rows, columns] * brighter[:, None]
    here = picture[rows, columns]
    found = np.where(clipped[rows, columns], np.maximum(want, here), here)
    out = picture.copy()
    out[rows, columns] = here + np.float32(strength) * (
        np.minimum(found, TONE.most_beyond) - here
    ).astype(np.float32)
    return out


def _drawn_together(light: Light, strength: float) -> Light:
    """Bend the light parts so that the lightest just is white; hue stays."""
    top = float(light.max())
    knee = 1.0 - strength * (1.0 - TONE.knee)
    if top <= max(knee, 1.0) or knee > 1.0 - 1e-6:
        return light
    most = light.max(axis=2)
    bent = knee + (1.0 - knee) * (1.0 - np.exp(-np.maximum(most - knee, 0.0) / (1.0 - knee)))
    full = 1.0 - math.exp(-(top - knee) / (1.0 - knee))
    bent = knee + (bent - knee) / full
    factor = np.where(most > knee, bent / np.maximum(most, 1e-6), 1.0)
    return np.asarray(light * factor[..., None], np.float32)
