"""The sheet's inks for day and night, and the shading of depth."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

Ink = Literal[
    "paper", "card", "ink", "soft", "line", "accent", "warn", "wash", "warnwash",
    "pass1", "pass2", "pass3", "pass4",
]  # fmt: skip
Theme = dict[Ink, str]

DAY: Theme = {
    "paper": "#faf8f2",
    "card": "#f2efe5",
    "ink": "#23271f",
    "soft": "#595f55",
    "line": "#c9c4b4",
    "accent": "#1c5a55",
    "warn": "#92400f",
    "wash": "#c4dcd5",
    "warnwash": "#f4e0cd",
    "pass1": "#1c5a55",
    "pass2": "#2d5ea8",
    "pass3": "#7c3d8c",
    "pass4": "#5d6410",
}
NIGHT: Theme = {
    "paper": "#161916",
    "card": "#1f231f",
    "ink": "#e9e6db",
    "soft": "#acb0a4",
    "line": "#464b43",
    "accent": "#84cabd",
    "warn": "#eeae7a",
    "wash": "#2a4a45",
    "warnwash": "#45301f",
    "pass1": "#84cabd",
    "pass2": "#94b8f2",
    "pass3": "#d5a4e6",
    "pass4": "#c9cf76",
}

NEAR_LCH = (0.92, 0.085, 88.0)
FAR_LCH = (0.33, 0.095, 262.0)
UNKNOWN_RGB = ((214, 210, 200), (150, 146, 138))
"""Ends of the depth shading (lightness, chroma, hue in degrees: amber to deep blue through
green), and the two greys of the hatching for 'no frame'.

Lightness falls steadily from near to far, so the order survives print in grey and any
kind of colour vision; the change of hue only helps those who see it. Greys are not on the way.
"""


def depth_shades(steps: int) -> NDArray[np.uint8]:
    """Colours from near to far at even steps of perceived lightness.

    Interpolated in lightness, chroma and hue of Oklab (B. Ottosson, 2020).

    Parameters
    ----------
    steps : int
        How many, at least 1.

    Returns
    -------
    ndarray of uint8, shape (steps, 3)
        sRGB.
    """
    t = np.linspace(0.0, 1.0, steps)
    light, chroma, hue = ((1 - t) * a + t * b for a, b in zip(NEAR_LCH, FAR_LCH, strict=True))
    angle = np.deg2rad(hue)
    return _srgb(np.stack([light, chroma * np.cos(angle), chroma * np.sin(angle)], axis=-1))


_TO_LMS = np.array(
    [
        [0.4122214708, 0.5363325363, 0.0514459929],
        [0.2119034982, 0.6806995451, 0.1073969566],
        [0.0883024619, 0.2817188376, 0.6299787005],
    ]
)
_TO_LAB = np.array(
    [
        [0.2104542553, 0.7936177850, -0.0040720468],
        [1.9779984951, -2.4285922050, 0.4505937099],
        [0.0259040371, 0.7827717662, -0.8086757660],
    ]
)


def _oklab(rgb: NDArray[np.generic]) -> NDArray[np.float64]:
    v = np.asarray(rgb, np.float64) / 255
    linear = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)
    lab: NDArray[np.float64] = np.cbrt(linear @ _TO_LMS.T) @ _TO_LAB.T
    return lab


def _srgb(lab: NDArray[np.float64]) -> NDArray[np.uint8]:
    linear = (lab @ np.linalg.inv(_TO_LAB).T) ** 3 @ np.linalg.inv(_TO_LMS).T
    linear = np.clip(linear, 0, 1)
    v = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.round(v * 255).astype(np.uint8)


def lightness(rgb: NDArray[np.generic]) -> NDArray[np.float64]:
    """Perceived lightness (Oklab L, 0 to 1) of sRGB values, shape (..., 3).

    Parameters
    ----------
    rgb : ndarray
        sRGB values, shape (..., 3).
    """
    return _oklab(rgb)[..., 0]


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two '#rrggbb' colours (W3C, WCAG 2.1, 1.4.3): 1 to 21.

    Parameters
    ----------
    one : str
        '#rrggbb'.
    other : str
        '#rrggbb'.
    """
    a, b = sorted((_luminance(one), _luminance(other)))
    return (b + 0.05) / (a + 0.05)


def _luminance(colour: str) -> float:
    v = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    linear = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)
    return float(linear @ np.array([0.2126, 0.7152, 0.0722]))
