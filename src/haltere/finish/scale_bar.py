"""A bar of a round length, burnt into a picture or laid over it."""

from __future__ import annotations

import io
import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from haltere.errors import UsageError
from haltere.finish.limits import SCALE

Light = NDArray[np.float32]
Corner = Literal["bottom-right", "bottom-left", "top-right", "top-left"]


@dataclass(frozen=True, slots=True)
class Bar:
    """A scale bar.

    Attributes
    ----------
    length_mm : float
        What it stands for, in the plane of focus of the reference frame.
    length_px : float
        Its length in the picture.
    text : str
        As "2 mm".
    """

    length_mm: float
    length_px: float
    text: str


def bar_for(width_px: int, mm_per_px: float, length_mm: float | None = None) -> Bar:
    """Choose a bar of a round length, about a fifth of the picture long.

    Parameters
    ----------
    width_px : int
        Width of the picture.
    mm_per_px : float
        Size of its pixels on the animal.
    length_mm : float, optional
        Length that is wanted instead.

    Returns
    -------
    Bar
        1, 2 or 5 times a power of ten unless a length was wanted.

    Raises
    ------
    UsageError
        When a number makes no sense, or the bar would not fit.
    """
    if width_px < 1 or not (math.isfinite(mm_per_px) and mm_per_px > 0.0):
        raise UsageError("a scale bar needs the size of a pixel; give --magnification or --known")
    if length_mm is None:
        aim = SCALE.bar_share * width_px * mm_per_px
        power = 10.0 ** math.floor(math.log10(aim))
        steps = [power * step for step in (1.0, 2.0, 5.0, 10.0)]
        length_mm = min(steps, key=lambda one: abs(math.log(one / aim)))
    if not (math.isfinite(length_mm) and length_mm > 0.0):
        raise UsageError(f"--bar: a length above 0 mm is wanted, got {length_mm:g}")
    long = length_mm / mm_per_px
    if not 8.0 <= long <= 0.9 * width_px:
        raise UsageError(
            f"--bar {length_mm:g}: it would be {long:.0f} px long in a picture of {width_px} px; "
            "choose another length"
        )
    return Bar(length_mm, long, f"{length_mm:g} mm")


def bar_layers(
    size_px: tuple[int, int], bar: Bar, corner: Corner
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Draw the bar with its length: what is white of it, and the dark rim about that.

    Parameters
    ----------
    size_px : tuple of int
        Width and height of the picture.
    bar : Bar
        From `bar_for`.
    corner : str
        Where it stands.

    Returns
    -------
    white, rim : ndarray of float32, shape (H, W)
        Coverage, 0 to 1; the rim lies below.
    """
    import cv2
    from PIL import Image, ImageDraw, ImageFont

    wide, high = size_px
    short = min(size_px)
    thick = max(2, round(SCALE.bar_high * short))
    margin = max(4, round(SCALE.bar_margin * short))
    letters = max(SCALE.least_letters_px, round(SCALE.bar_text * short))
    font = ImageFont.load_default(letters)
    page = Image.new("L", size_px, 0)
    draw = ImageDraw.Draw(page)
    left, top, right, bottom = draw.textbbox((0, 0), bar.text, font=font)
    long = round(bar.length_px)
    broad = max(long, round(right - left))
    x = margin if corner.endswith("left") else wide - margin - broad
    gap = max(2, letters // 4)
    tall = round(bottom - top) + gap + thick
    y = margin if corner.startswith("top") else high - margin - tall
    middle = x + broad / 2.0
    draw.text((middle - (right - left) / 2.0 - left, y - top), bar.text, font=font, fill=255)
    first = round(middle - long / 2.0)
    base = y + tall - thick
    draw.rectangle((first, base, first + long - 1, base + thick - 1), fill=255)
    white = np.asarray(page, np.float32) / np.float32(255.0)
    reach = max(1, round(0.35 * thick))
    dark = cv2.dilate(white, np.ones((2 * reach + 1, 2 * reach + 1), np.uint8))
    rim = cv2.GaussianBlur(dark, (0, 0), 0.5 * reach + 0.3)
    return white, np.maximum(np.asarray(rim, np.float32), white)


def burnt_in(picture: Light, bar: Bar, corner: Corner = "bottom-right") -> Light:
    """Draw a bar into a picture.

    Parameters
    ----------
    picture : ndarray of float32, shape (H, W, 3)
        Linear light.
    bar : Bar
        From `bar_for`.
    corner : str, optional
        Where it stands.

    Returns
    -------
    ndarray of float32, same shape
        With a white bar that has a dark rim, readable on light and dark.
    """
    white, rim = bar_layers((picture.shape[1], picture.shape[0]), bar, corner)
    darkened = picture * (1.0 - np.float32(0.9) * rim)[..., None]
    return np.asarray(darkened * (1.0 - white)[..., None] + white[..., None], np.float32)


def overlay(size_px: tuple[int, int], bar: Bar, corner: Corner = "bottom-right") -> bytes:
    """Draw a bar as a picture of its own that lies over the other.

    Parameters
    ----------
    size_px : tuple of int
        Width and height of the picture below.
    bar : Bar
        From `bar_for`.
    corner : str, optional
        Where it stands.

    Returns
    -------
    bytes
        PNG with transparency, nothing else in it.
    """
    from PIL import Image

    white, rim = bar_layers(size_px, bar, corner)
    cover = np.maximum(white, np.float32(0.9) * rim)
    grey = np.where(cover > 0.0, white / np.maximum(cover, 1e-6), 0.0)
    layers = np.stack([grey, grey, grey, cover], axis=-1)
    buffer = io.BytesIO()
    codes = np.rint(np.clip(layers, 0.0, 1.0) * 255.0).astype(np.uint8)
    Image.fromarray(codes, "RGBA").save(buffer, "PNG")
    return buffer.getvalue()
