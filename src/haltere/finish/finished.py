"""A picture with its settings applied, in one order: dust, sharpness, tone, crop, bar."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haltere.errors import UsageError
from haltere.finish.crop import Box, crop_box
from haltere.finish.noise import Averaged, measure_noise
from haltere.finish.restoring import Wanted, restore
from haltere.finish.scale_bar import Bar, bar_for, burnt_in
from haltere.finish.settings import Settings
from haltere.finish.tone import toned
from haltere.kit import Capture, effective_f_number_of
from haltere.progress import Progress, silent

Light = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Rendered:
    """A finished picture.

    Attributes
    ----------
    picture : ndarray of float32, shape (H, W, 3)
        Linear light, cropped.
    before : ndarray of float32, shape (H, W, 3)
        The same part before anything was done.
    box_px : tuple of int
        The part.
    bar : Bar or None
        The scale bar, burnt in or to be laid over.
    restored_at : float or None
        Effective f-number whose diffraction was undone.
    noise_share : float or None
        One sigma of the noise at a light of 0.2, over that light, on average over a merge; None
        where it was not measured.
    """

    picture: Light
    before: Light
    box_px: Box
    bar: Bar | None
    restored_at: float | None
    noise_share: float | None


def render(
    light: Light,
    settings: Settings,
    capture: Capture,
    mm_per_px: float | None,
    averaged: Averaged | None = None,
    *,
    progress: Progress = silent,
) -> Rendered:
    """Apply settings to a picture.

    Parameters
    ----------
    light : ndarray of float32, shape (H, W, 3)
        Linear light at full size.
    settings : Settings
        What shall be done.
    capture : Capture
        How it was taken.
    mm_per_px : float or None
        Size of a pixel on the animal, for the bar.
    averaged : Averaged, optional
        For a merge: what averaging left of one frame's noise.
    progress : Progress, optional
        Told of the tiles; it may raise to cancel.

    Returns
    -------
    Rendered
        With the same part as it was before.

    Raises
    ------
    UsageError
        When something that is needed is not known.
    """
    box = crop_box((light.shape[1], light.shape[0]), settings.crop)
    bar = None
    if settings.bar != "none":
        if mm_per_px is None:
            told = (
                ("--magnification", capture.magnification),
                ("--kit, which knows the width of a pixel", capture.pixel_pitch_mm),
            )
            missing = " and ".join(words for words, value in told if value is None)
            raise UsageError(f"a scale bar needs the size of a pixel on the animal; give {missing}")
        bar = bar_for(box[2] - box[0], mm_per_px, settings.bar_mm)
    done, restored_at, noise_share = light, None, None
    if settings.sharpness > 0.0 or settings.calm > 0.0:
        wanted = wanted_of(settings, capture)
        noise = measure_noise(light, averaged)
        at = np.full(1, 0.2, np.float32)
        left = 1.0 if averaged is None else float(np.mean(averaged.share))
        noise_share = float(np.sqrt(left * noise.variance(at)[0]) / 0.2)
        done = restore(light, wanted, noise, averaged, progress=progress)
        restored_at = wanted.effective if settings.sharpness > 0.0 else None
    done = toned(done, settings.tone)
    part = (slice(box[1], box[3]), slice(box[0], box[2]))
    picture = np.ascontiguousarray(done[part])
    if bar is not None and settings.bar == "burnt":
        picture = burnt_in(picture, bar, settings.corner)
    return Rendered(picture, light[part], box, bar, restored_at, noise_share)


def wanted_of(settings: Settings, capture: Capture) -> Wanted:
    """Tell what restoring needs to know.

    Parameters
    ----------
    settings : Settings
        How much of what.
    capture : Capture
        How the picture was taken.

    Returns
    -------
    Wanted
        Without sharpness any f-number will do, and one is made up.

    Raises
    ------
    UsageError
        When sharpness is asked for and the effective f-number or the pixel is not known.
    """
    effective, pitch = effective_f_number_of(capture), capture.pixel_pitch_mm
    if settings.sharpness <= 0.0:
        return Wanted(8.0, 0.004, 0.0, settings.calm)
    if effective is None or pitch is None:
        missing = "the f-number at the sensor" if effective is None else "the width of a pixel"
        raise UsageError(
            f"what diffraction took can't be told: {missing} is not known; give --kit and "
            "--magnification"
        )
    return Wanted(effective, pitch, settings.sharpness, settings.calm)


def before_and_after(rendered: Rendered, side_px: int = 700) -> Light:
    """Put the same place side by side at 100 per cent: as it was, and finished.

    Parameters
    ----------
    rendered : Rendered
        From `render`.
    side_px : int, optional
        Longest side of each half.

    Returns
    -------
    ndarray of float32
        Where the finished picture has most detail, a white line between the halves.
    """
    import cv2

    grey = rendered.picture[..., 1]
    high, wide = (min(side_px, size) for size in grey.shape)
    detail = np.abs(cv2.Laplacian(np.sqrt(np.clip(grey, 0.0, 1.0)), cv2.CV_32F))
    mean = cv2.boxFilter(detail, -1, (wide, high), anchor=(0, 0), borderType=cv2.BORDER_REPLICATE)
    room = mean[: grey.shape[0] - high + 1, : grey.shape[1] - wide + 1]
    y, x = (int(v) for v in np.unravel_index(int(np.argmax(room)), room.shape))
    part = (slice(y, y + high), slice(x, x + wide))
    line = np.ones((high, 4, 3), np.float32)
    return np.concatenate([rendered.before[part], line, rendered.picture[part]], axis=1)
