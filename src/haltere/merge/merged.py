"""What is said of a merged picture: its files, what went in, where to look first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A frame that was not merged, and why."""

    frame: str
    why: str


@dataclass(frozen=True, slots=True)
class Suspicious:
    """A place on the merged picture where a person should look first.

    `box_px` is (x0, y0, x1, y1) on the reference frame.
    """

    kind: Literal["gap", "halo", "ghost", "moved", "clipped"]
    box_px: tuple[float, float, float, float]
    text: str


@dataclass(frozen=True, slots=True)
class Merge:
    """One deep picture and its by-products; file names relative to the folder written to.

    Attributes
    ----------
    picture, picture_jpeg : str
        16-bit TIFF and the JPEG beside it.
    origin_map, depth_map, confidence_map : str
        16-bit TIFF of indices into `frames_used` (65535 = none), float32 TIFF of depth
        (NaN = unknown), float32 TIFF from 0 to 1.
    seen_map : str
        8-bit TIFF over the whole reference frame: 255 is in the picture, 128 was cropped with
        its surroundings, 0 was not seen by any frame that is sharp there.
    views : str
        How each frame saw the animal: what `haltere repair` works with.
    depth_unit : {"mm", "dof"}
        Unit of the depth map.
    reference : str
        Frame whose view the picture has.
    frames_used, left_out : tuple
        What went in and what did not.
    crop_px : tuple of int
        (x0, y0, x1, y1): picture pixel (x, y) is (x + x0, y + y0) of the reference frame.
    kept_share : float
        Share of the reference frame that the picture shows.
    suspicious : tuple of Suspicious
        Places to look at first.
    seconds, peak_mib : float
        What it cost.
    noise_map : str or None
        Small float32 TIFF over the picture: how much of one frame's noise averaging left, as
        variance; None in a merge by an older haltere.
    depth_order : {"away", "unknown"}
        Away: depth grows away from the camera. Unknown: the focus ring was turned, so that near and
        far may be swapped.
    """

    picture: str
    picture_jpeg: str
    origin_map: str
    depth_map: str
    confidence_map: str
    seen_map: str
    views: str
    depth_unit: Literal["mm", "dof"]
    reference: str
    frames_used: tuple[str, ...]
    left_out: tuple[LeftOut, ...]
    crop_px: tuple[int, int, int, int]
    kept_share: float
    suspicious: tuple[Suspicious, ...]
    seconds: float
    peak_mib: float
    noise_map: str | None = None
    depth_order: Literal["away", "unknown"] = "away"
