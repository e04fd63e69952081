"""What is known of one exposure before any pixel is judged."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from haltere.frames.marks import Marks

FileKind = Literal["jpeg", "tiff", "raw"]


@dataclass(frozen=True, slots=True)
class Shooting:
    """Shooting data read from a file; None where the file does not say.

    Attributes
    ----------
    time : datetime or None
        Moment of exposure with sub-seconds; aware when the file gives an offset, else naive.
    exposure_s, f_number, iso, focal_mm : float or None
        Exposure time, marked f-number, ISO speed, focal length.
    flash_fired : bool or None
        Whether the flash fired.
    pixel_pitch_mm : float or None
        Width of a pixel of *this picture's full size* on the sensor, from the focal-plane
        resolution tags, corrected when the picture was reduced; None when it can't be trusted.
    serial, number : str, int or None
        Body serial number and running image number, for ordering.
    """

    time: datetime | None = None
    exposure_s: float | None = None
    f_number: float | None = None
    iso: float | None = None
    focal_mm: float | None = None
    flash_fired: bool | None = None
    pixel_pitch_mm: float | None = None
    serial: str | None = None
    number: int | None = None


@dataclass(frozen=True, slots=True)
class Frame:
    """One exposure: a picture file, with its raw partner if it was written twice.

    Attributes
    ----------
    path : Path
        The file that is analysed (of a raw + JPEG pair: the JPEG).
    name : str
        The name used in every result: path relative to what the caller gave, with '/'.
    kind : {"jpeg", "tiff", "raw"}
        Told by content, not by suffix.
    width_px, height_px : int
        Size of the upright picture.
    orientation : int
        Exif orientation of the stored picture, 1..8.
    shooting : Shooting
        Shooting data.
    raw_path : Path or None
        The raw member of a pair, None when there is none.
    raw_name : str or None
        Its name, relative like `name`.
    """

    path: Path
    name: str
    kind: FileKind
    width_px: int
    height_px: int
    orientation: int
    shooting: Shooting
    raw_path: Path | None = None
    raw_name: str | None = None


@dataclass(frozen=True, slots=True)
class Skipped:
    """A file that was left out, and why, in the photographer's words."""

    file: str
    why: str


@dataclass(frozen=True, slots=True)
class Pixels:
    """Decoded upright pixels.

    Attributes
    ----------
    array : ndarray of uint8 or uint16, shape (H, W) or (H, W, 3)
        Grey or RGB values; encoded with the file's own tone curve, or linear light when `linear`.
    scale : float
        Size of this array over the full size (1.0 = full).
    linear : bool
        True for raw development (linear 16 bit, white at 65535), False for encoded values.
    icc : bytes or None
        The file's own ICC profile, None when untagged or from raw.
    marks : Marks or None
        Where the file's parts lie, if that was asked for and could be noted.
    """

    array: NDArray[np.uint8] | NDArray[np.uint16]
    scale: float
    linear: bool
    icc: bytes | None
    marks: Marks | None = None
